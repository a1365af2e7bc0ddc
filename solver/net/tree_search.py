"""From the table to a tree: a search through all that so few parts allow, no cell used twice."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence, Set
from functools import partial
from itertools import chain
from typing import NamedTuple

from models.geometry import Cell, add
from solver.net.cable_trees import STEPS, CableTable, parts_of
from solver.net.cables import Feed, ahead
from solver.net.net_layout import Laid, Layout
from solver.net.wire_ground import ALWAYS


class Task(NamedTuple):
    """Goals to serve from a cell that changes so many ticks before the lifts."""

    goals: int
    ticks: int
    cell: Cell
    level: int = 0
    """Of a wire; 0 where it is none."""
    may_split: bool = True


class Move(NamedTuple):
    """What can be done for a task: parts then to spare, how to place it, the tasks it leaves."""

    spare: int
    act: Callable[[], bool]
    tasks: list[Task]


class EffortSpentError(Exception):
    """The search was given up; nothing is shown."""


class TreeSearch:
    """Looks for a tree of so many parts at most in which no cell is used twice."""

    def __init__(
        self, table: CableTable, blocked: Set[Cell], silent: Set[Cell], effort: int
    ) -> None:
        """`blocked`: cells that nothing may take; `silent`: cells no sensor may put power into."""
        self.table, self.ground, self.effort = table, table.ground, effort
        self.layout = Layout(table.space, table.ground, blocked, silent)

    def run(self, ticks: int, roots: Sequence[Cell], most: int) -> Laid | None:
        """A tree, or None if there is none. Raises EffortSpentError."""
        full, (first, second) = self.table.full, roots
        for part in range(full + 1):
            tasks = [
                Task(goals, ticks, cell)
                for goals, cell in ((part, first), (full & ~part, second))
                if goals
            ]
            spare = most - sum(map(self._least, tasks))
            if spare >= 0 and self._finish(tasks, spare):
                return self.layout.laid()
        return None

    def _least(self, task: Task) -> int:
        return self.table.least(task.goals, task.ticks, task.cell, task.level)

    def _finish(self, tasks: list[Task], spare: int) -> bool:
        """Serve all tasks with so many parts to spare."""
        if not tasks:
            return True
        self.effort -= 1
        if self.effort < 0:
            raise EffortSpentError
        *others, task = tasks
        known, mark = spare + self._least(task), self.layout.mark()
        for move in sorted(self._moves(task, known), key=lambda move: -move.spare):
            if move.act() and self._finish([*others, *move.tasks], move.spare):
                return True
            self.layout.back(mark)
        return False

    def _moves(self, task: Task, known: int) -> Iterator[Move]:
        """Everything that can be done next, of `known` parts at most."""
        ways = chain(self._wires(task), self._splits(task), self._sensors(task, task.cell))
        for price, act, tasks in ways:
            spare = known - price - sum(map(self._least, tasks))
            if spare >= 0:
                yield Move(spare, act, tasks)

    def _splits(self, task: Task) -> Iterator[_Way]:
        for part in parts_of(task.goals) if task.may_split else ():
            others = task._replace(goals=task.goals ^ part)
            yield 0, _nothing, [others, task._replace(goals=part, may_split=False)]

    # ------------------------------------------------------------------ sensors

    def _sensors(self, task: Task, watched: Cell) -> Iterator[_Way]:
        """A sensor that watches the cell: it serves a goal, leads a wire, or leads on."""
        goals, then, place = task.goals, task.ticks - 1, self.layout.sense
        if then < 0:
            return
        for number, last in self.table.feeds.get((task.ticks, watched), ()):
            if goals >> number & 1:
                act = partial(place, last, watched, ahead(watched, last))
                yield 1, act, self._left(goals ^ 1 << number, then, last)
        for step in STEPS:
            sensor = add(watched, step)
            if not self.layout.is_free(sensor) or sensor not in self.table.space.free:
                continue
            yield 1, partial(place, sensor, watched), [Task(goals, then, sensor)]
            wire = add(sensor, step)
            price = self._entered(Feed(wire, sensor, watched), then)
            if price is None:
                continue
            act = partial(self._lead, sensor, watched, wire, then)
            part = goals
            while part:
                live = Task(part, then, wire, self.ground.reach)
                yield 1 + price, act, [*self._left(goals ^ part, then, sensor), live]
                part = (part - 1) & goals

    def _left(self, goals: int, ticks: int, cell: Cell) -> list[Task]:
        return [Task(goals, ticks, cell)] if goals else []

    def _entered(self, feed: Feed, ticks: int) -> int | None:
        """Parts of the wire that a sensor would lead; None if there can be none."""
        ground = self.ground
        if feed.wire in ground.line:
            return 0 if ground.line[feed.wire] == ticks and feed in self.table.entries else None
        fits = ground.when.get(feed.wire) in (ALWAYS, ticks)
        return ground.cost.get(feed.wire) if fits else None

    def _lead(self, sensor: Cell, watched: Cell, wire: Cell, ticks: int) -> bool:
        layout = self.layout
        led = wire in self.ground.line or layout.lead_on(wire, ticks, sensor)
        return led and layout.sense(sensor, watched, wire)

    # ------------------------------------------------------------------ wires

    def _wires(self, task: Task) -> Iterator[_Way]:
        """What power in a wire can do without delay."""
        if task.level == 0:
            return
        if task.cell in self.ground.line:
            yield from self._line(task)
            return
        for number, goal in enumerate(self.table.goals):
            if task.goals >> number & 1 and goal.lead == task.ticks:
                for wire, block in goal.firing:
                    if wire == task.cell:
                        yield from self._fires(task, number, block)
        for other in self.ground.joined(task.cell, task.ticks) if task.level > 1 else ():
            onward = task._replace(cell=other, level=task.level - 1, may_split=True)
            if other in self.ground.line:
                yield 0, partial(self.layout.join, task.cell, other, task.ticks), [onward]
            else:
                act = partial(self.layout.lead_on, other, task.ticks, task.cell)
                yield self.ground.cost[other], act, [onward]

    def _fires(self, task: Task, number: int, block: bool) -> Iterator[_Way]:
        """The wire of the task fires a lift: through its block, or as it ends there."""
        rest = task.goals ^ 1 << number
        if block:
            left = [task._replace(goals=rest)] if rest else []
            yield 0, partial(self.layout.on_block, task.cell, task.ticks), left
        elif not rest:
            lift = self.table.goals[number].feeds[0].wire
            yield 0, partial(self.layout.points_at, task.cell, lift), []

    def _line(self, task: Task) -> Iterator[_Way]:
        """Power in the line serves what it reaches, and leads on from everywhere there."""
        lost, levels = self.ground.reach - task.level, self.ground.levels[task.cell]
        live = {wire: level - lost for wire, level in levels.items() if level > lost}
        rest = task.goals
        for number, goal in enumerate(self.table.goals):
            if goal.wires and goal.lead == task.ticks and goal.wires <= live.keys():
                rest &= ~(1 << number)
        if rest != task.goals:
            yield 0, _nothing, [task._replace(goals=rest)] if rest else []
            return
        for wire, level in live.items():
            if wire != task.cell:
                yield from self._sensors(task, wire)
            for other in self.ground.joined(wire, task.ticks) if level > 1 else ():
                act = partial(self.layout.lead_on, other, task.ticks, wire)
                onward = task._replace(cell=other, level=level - 1, may_split=True)
                yield self.ground.cost[other], act, [onward]


_Way = tuple[int, Callable[[], bool], list[Task]]
"""Parts, how to place them, the tasks left."""


def _nothing() -> bool:
    """Nothing to place."""
    return True
