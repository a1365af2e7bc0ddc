"""Trees of cables with the fewest sensors: a bound for every trigger at once, and the tree itself.

A cable is a chain of sensors, one cell and one tick each. All goals must be reached a set number of
ticks before the lifts, so a tree is laid out in cells and ticks: `least[t][S][v]` is how many
sensors it takes at least to serve the goals S, given that cell v changes t ticks before the lifts.
That is the method of Dreyfus and Wagner for Steiner trees (Networks 1, 1971), layer by layer.
The table lets cables share cells, so it is a lower bound; a search through what it allows then
finds a tree in which no cell is used twice, or shows that there is none of so few sensors.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from models.geometry import VECTOR, Cell, add
from solver.net.cables import Feed, Space, ahead

MOST_GOALS = 7
"""Goals that a table is made for: it doubles with each."""
MOST_TICKS = 90
FAR = 1 << 12
"""More sensors than any net has."""
_STEPS: tuple[Cell, ...] = tuple(VECTOR.values())
Layer = npt.NDArray[np.int16]
Task = tuple[int, int, Cell]
"""Goals still to serve, ticks left, the cell that changes then."""


@dataclass(frozen=True)
class Goal:
    """Something to fire: any of these feeds will do."""

    feeds: tuple[Feed, ...]
    lead: int
    """Ticks before the lifts at which it must be reached."""


class CableTable:
    """The least sensors of trees from every cell, for every set of goals and every time."""

    def __init__(self, space: Space, goals: Sequence[Goal], ends: Iterable[Cell]) -> None:
        """`ends`: cells that cables may begin at though no sensor can stand there."""
        assert len(goals) <= MOST_GOALS
        self.space, self.goals = space, tuple(goals)
        self.ends = frozenset(ends)
        self.cells = sorted(space.free | self.ends)
        self.index = {cell: i for i, cell in enumerate(self.cells)}
        self.full = (1 << len(goals)) - 1
        self.onward = np.stack([self._onward(step) for step in _STEPS])
        self.layers: list[Layer] = [self._blank()]
        self.layers[0][0] = 0
        self.feeds: dict[tuple[int, Cell], list[tuple[int, Cell]]] = {}
        """By time and watched cell: goals that a sensor there serves, and where it stands."""
        for number, goal in enumerate(goals):
            for feed in goal.feeds:
                if feed.watched in self.index:
                    key = (goal.lead + 1, feed.watched)
                    self.feeds.setdefault(key, []).append((number, feed.last))

    def _blank(self) -> Layer:
        return np.full((self.full + 1, len(self.cells) + 1), FAR, dtype=np.int16)

    def _onward(self, step: Cell) -> npt.NDArray[np.int64]:
        """For each cell the next one that way, if a sensor there may watch it."""
        found = np.full(len(self.cells), len(self.cells))
        for i, cell in enumerate(self.cells):
            there = add(cell, step)
            if there in self.space.free and ahead(cell, there) in self.space.inert:
                found[i] = self.index[there]
        return found

    def extend(self) -> None:
        """One tick more."""
        before, layer, ticks = self.layers[-1], self._blank(), len(self.layers)
        step = np.empty((self.full + 1, len(self.cells)), dtype=np.int16)
        for row in self.onward:
            np.take(before, row, axis=1, out=step, mode="clip")
            np.minimum(layer[:, :-1], step, out=layer[:, :-1])
        layer[:, :-1] += 1
        for (when, watched), ways in self.feeds.items():
            if when == ticks:
                at = self.index[watched]
                for number, last in ways:
                    self._serve(layer, before, number, self.index[last], at)
        for goals in range(1, self.full + 1):
            for part in parts_of(goals):
                np.minimum(layer[goals], layer[part] + layer[goals ^ part], out=layer[goals])
        np.minimum(layer, FAR, out=layer)
        layer[0] = 0
        self.layers.append(layer)

    def _serve(self, layer: Layer, before: Layer, number: int, last: int, at: int) -> None:
        """A sensor at `last` that watches `at` serves a goal, and the cable may go on from it."""
        for goals in range(self.full + 1):
            if goals >> number & 1:
                rest = goals ^ (1 << number)
                onward = before[rest, last] if rest else 0
                layer[goals, at] = min(int(layer[goals, at]), 1 + int(onward))

    def least(self, goals: int, ticks: int, cell: Cell) -> int:
        """Sensors that it takes at least."""
        return int(self.layers[ticks][goals, self.index[cell]])

    def from_roots(self, ticks: int, roots: Sequence[tuple[Cell, Cell]]) -> list[int]:
        """The same for all goals, for each pair of cells that a trigger changes at once."""
        if not roots:
            return []
        first, second = ([self.index[pair[i]] for pair in roots] for i in (0, 1))
        # What the one cell does not serve, the other must: the complement is the row from the end.
        both = self.layers[ticks][:, first] + self.layers[ticks][::-1, second]
        return [int(least) for least in both.min(axis=0)]


def parts_of(goals: int) -> Iterator[int]:
    """Half of all ways to split a set in two: the parts that hold its first goal."""
    first = goals & -goals
    rest = goals ^ first
    part = (rest - 1) & rest
    while rest:
        yield part | first
        if part == 0:
            return
        part = (part - 1) & rest


class EffortSpentError(Exception):
    """The search was given up; nothing is shown."""


@dataclass
class TreeSearch:
    """Looks for a tree of so many sensors at most in which no cell is used twice."""

    table: CableTable
    blocked: Set[Cell]
    """Cells that no sensor may take."""
    silent: Set[Cell]
    """Cells that no sensor may put power into."""
    effort: int
    watches: dict[Cell, Cell] = field(default_factory=dict)
    """The cell that each sensor watches."""

    def run(self, ticks: int, roots: Sequence[Cell], most: int) -> Mapping[Cell, Cell] | None:
        """A tree, or None if there is none. Raises EffortSpentError."""
        table, (first, second) = self.table, roots
        for part in range(table.full + 1):
            tasks = [
                (goals, ticks, cell, True)
                for goals, cell in ((part, first), (table.full & ~part, second))
                if goals
            ]
            spare = most - sum(table.least(*task[:3]) for task in tasks)
            if spare >= 0 and self._finish(tasks, spare):
                return self.watches
        return None

    def _finish(self, tasks: list[tuple[int, int, Cell, bool]], spare: int) -> bool:
        """Serve all tasks with so many sensors to spare."""
        if not tasks:
            return True
        self.effort -= 1
        if self.effort < 0:
            raise EffortSpentError
        *others, (goals, ticks, cell, may_split) = tasks
        known = spare + self.table.least(goals, ticks, cell)
        ways = sorted(self._ways(goals, ticks, cell, may_split, known), key=lambda way: -way[0])
        for left, place, more in ways:
            if place is not None:
                if place in self.watches:
                    continue
                self.watches[place] = cell
            if self._finish([*others, *more], left):
                return True
            if place is not None:
                del self.watches[place]
        return False

    def _ways(
        self, goals: int, ticks: int, cell: Cell, may_split: bool, known: int
    ) -> Iterator[tuple[int, Cell | None, list[tuple[int, int, Cell, bool]]]]:
        """What can be done next: sensors then to spare, the sensor placed, the tasks it leaves."""
        table = self.table
        for number, last in table.feeds.get((ticks, cell), ()):
            if goals >> number & 1 and last not in self.blocked and last not in self.watches:
                rest = goals ^ (1 << number)
                left = known - 1 - (table.least(rest, ticks - 1, last) if rest else 0)
                if left >= 0:
                    yield left, last, [(rest, ticks - 1, last, True)] if rest else []
        for part in parts_of(goals) if may_split else ():
            left = known - table.least(part, ticks, cell) - table.least(goals ^ part, ticks, cell)
            if left >= 0:
                yield left, None, [(goals ^ part, ticks, cell, True), (part, ticks, cell, False)]
        for step in _STEPS:
            there = add(cell, step)
            if (
                there in self.blocked
                or there in self.watches
                or not table.space.passes(cell, there)
            ):
                continue
            left = known - 1 - table.least(goals, ticks - 1, there)
            if left >= 0 and ahead(cell, there) not in self.silent:
                yield left, there, [(goals, ticks - 1, there, True)]
