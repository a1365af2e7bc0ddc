"""The trigger net of a floor: where the button stands, how its line reaches the loop, boosters.

The wires below the tape are one line that closes on itself. It is fed at one place; the pulse
runs both ways, and boosters (buffers of delay 1 in the line) renew it every few cells. Where two
arms meet they must agree to the half-tick, or some lift would be fired twice. So the line is cut
into *nets* of wires: within a net all wires fire at once, and a booster stands between a net and
the next, one tick later.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Protocol

from models.geometry import Cell, Frame, add, scale, sub
from models.parts import Part
from models.problem import Problem, face_name
from models.route import Route, RouteCut
from models.system import System
from solver.net import clearance
from solver.net.arms import TwoArms
from solver.net.assemble import Placed
from solver.net.boosters import Allowance, place_boosters
from solver.net.timing import InStep, drives_in_step
from solver.route.problem import corner_frame

MAX_MACHINES = 3
"""Lines of one route that are tried in full machines."""
LONG = 220
"""Cells of a loop from which on no quicker line is searched for than a plain one."""
MAX_TRIES = 12
"""Feeding places tried for a line with as little skew as can be hoped for."""

Places = tuple[list[Cell], set[Cell]]
"""Covers where the button may hang, and cells below which a link may run."""


@dataclass(frozen=True)
class Line:
    """A trigger net, decided."""

    trigger: Cell
    """The cover that the button hangs on."""
    link: tuple[Cell, ...]
    """Surface cells below which the line runs from the trigger to the loop."""
    boosters: dict[Cell, tuple[Cell, int]]
    """Surface cells whose line cell is a buffer: (direction it faces, delay in ticks)."""
    ticks: int
    """How many ticks the last net fires after the first."""

    def cost(self) -> int:
        """Parts beyond those of the columns."""
        return 2 * len(self.link)


@dataclass(frozen=True)
class NoLine:
    """No trigger net for this route, and why."""

    reason: str
    proven: bool = True
    """Whether no other net of the catalogue would do either."""
    cut: RouteCut | None = None
    """What all routes have in common that this is true of; None: this route only."""


@dataclass(frozen=True)
class Net:
    """All that fires the lifts of a loop, the lifts included, in the world."""

    trigger: Cell
    """The cover that the button hangs on."""
    units: tuple[Placed, ...]
    loose: tuple[Part, ...]
    """Parts that belong to no design."""
    replaced: Mapping[Cell, Part] = field(default_factory=dict)
    """What stands in the place of a design's part."""
    air: frozenset[Cell] = frozenset()
    """Further cells to dig."""


class NetSearch(Protocol):
    """Finds trigger nets for routes of one problem and one system."""

    exhaustive: bool
    """Whether the first net is the cheapest, and a route that it does not fit fits none."""

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets, best first; one `NoLine` if there are none."""
        ...


class LineSearch:
    """Finds the lines of floors and ceilings: one layer of wires."""

    exhaustive: bool = True

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system
        self.reach = problem.scenario.rules.reach

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """The best lines, or why there is none."""
        lines = self.find(route)
        if isinstance(lines, NoLine):
            yield lines
            return
        for line in lines:
            yield self.net_of(route, line)

    def net_of(self, route: Route, line: Line) -> Net:
        """The parts of a line, with the lifts and the trigger."""
        trigger = Placed(self.system.trigger, upright(self.problem, line.trigger), "trigger")
        normal = self.problem.normal(route.cells[0])
        loose, replaced = line_parts(line, self.system, normal)
        return Net(line.trigger, (*self.lifts(route), trigger), tuple(loose), replaced)

    def lifts(self, route: Route) -> list[Placed]:
        """The lift columns of a route."""
        problem, column = self.problem, self.system.column
        return [
            Placed(column, upright(problem, problem.graph.cells[i]), f"lift {k}")
            for k, i in enumerate(route.cells)
        ]

    def find(self, route: Route) -> list[Line] | NoLine:
        """The lines with the shortest link for a route, those with the least skew first."""
        loop = {self.problem.graph.cells[i] for i in route.cells}
        return self.lines(route, self.places(route, loop, self.problem.normal(route.cells[0])))

    def lines(self, route: Route, places: Places) -> list[Line] | NoLine:
        """The same, of lines from and through these places only."""
        loop = [self.problem.graph.cells[i] for i in route.cells]
        paths = self._paths(loop, self.problem.normal(route.cells[0]), *places)
        found: list[Line] = []
        reached = False
        arms = TwoArms(loop, self.reach, self._window)
        allowance = Allowance()
        for path, easy in self._easy_first(arms, paths):
            reached = True
            if found and len(path) > 1 + len(found[0].link):
                break
            if not easy and any(line.ticks <= self._least_ticks(loop, path) for line in found):
                continue
            line = self._fed(arms, path, allowance)
            if line is not None:
                found.append(line)
                allowance.settle()
            elif not found:
                # A shorter link was passed over; what is found is no longer sure to be the best.
                self.exhaustive = False
            if len(found) >= MAX_TRIES:
                break
        if found:
            return sorted(found, key=lambda line: line.ticks)[:MAX_MACHINES]
        if not places[0]:
            return NoLine("no cover is free for the button beside the loop and its drives")
        if not reached:
            return NoLine("no way is free for a trigger line from the button to the loop")
        return NoLine("no trigger line was found whose arms agree", proven=False)

    # ------------------------------------------------------------------ places

    def places(self, route: Route, loop: set[Cell], normal: Cell) -> Places:
        """Covers where the button may hang, and cells below which a link wire may lie."""
        problem, system = self.problem, self.system
        taken: set[Cell] = set()
        near: dict[str, set[Cell]] = {"wire": set(), "trigger": set()}
        for corner in route.corners:
            frame = corner_frame(problem, corner.cell, corner.in_port, corner.out_port)
            taken |= system.drive(corner.variant).claimed(frame)
            for what, cells in near.items():
                for dx, dy in clearance.offsets(system.table, corner.variant, what):
                    cells.add(add(frame.origin, add(scale(frame.x, dx), scale(frame.y, dy))))
        line, stand = system.line_level, system.stand_level
        wires = {
            cell
            for cell in self._ground_cells()
            if cell not in loop
            and cell not in near["wire"]
            and all(
                self.problem.digging.allows(c) and c not in taken
                for c in (add(cell, scale(normal, line)), add(cell, scale(normal, stand)))
            )
        }
        triggers = [c for c in button_covers(problem) if c in wires and c not in near["trigger"]]
        triggers = [c for c in triggers if self._trigger_fits(c, normal, taken)]
        return triggers, wires

    def _trigger_fits(self, cell: Cell, normal: Cell, taken: set[Cell]) -> bool:
        cells = {
            add(cell, scale(normal, p.at[2])) for p in self.system.trigger.parts if p.at[2] < 0
        }
        cells |= {add(cell, scale(normal, c[2])) for c in self.system.trigger.air}
        return all(self.problem.digging.allows(c) and c not in taken for c in cells)

    def _ground_cells(self) -> Iterator[Cell]:
        """Cells of the surface's plane, the margin counted."""
        ((_, surface),) = self.problem.scenario.surfaces.items()
        plane, margin = surface.plane, surface.margin
        for row in range(-margin, plane.rows + margin):
            for column in range(-margin, plane.columns + margin):
                yield plane.cell(row, column)

    # ------------------------------------------------------------------ links

    def _paths(
        self, loop: Sequence[Cell], normal: Cell, triggers: Sequence[Cell], wires: set[Cell]
    ) -> Iterator[tuple[Cell, ...]]:
        """Paths from a trigger (first) to the cell beside the loop (last), shortest first."""
        sides = sides_of(self.problem, loop[0], normal)
        distance: dict[Cell, int] = {}
        onward: dict[Cell, Cell] = {}
        queue: deque[Cell] = deque()
        for cell in loop:
            for side in sides:
                near = add(cell, side)
                if near in wires and near not in distance:
                    distance[near] = 0
                    queue.append(near)
        while queue:
            cell = queue.popleft()
            for side in sides:
                near = add(cell, side)
                if near in wires and near not in distance:
                    distance[near], onward[near] = distance[cell] + 1, cell
                    queue.append(near)
        order = {cell: i for i, cell in enumerate(triggers)}
        for trigger in sorted(
            (t for t in order if t in distance), key=lambda t: (distance[t], order[t])
        ):
            path = [trigger]
            while path[-1] in onward:
                path.append(onward[path[-1]])
            yield tuple(path)

    # ------------------------------------------------------------------ boosters

    def _easy_first(
        self, arms: TwoArms, paths: Iterable[tuple[Cell, ...]]
    ) -> Iterator[tuple[tuple[Cell, ...], bool]]:
        """Of paths of one length first those that need no search: in long loops it takes minutes.

        There even longer ones come first; with them no line is claimed to be the cheapest.
        """
        hard: list[tuple[Cell, ...]] = []
        for length, group in groupby(paths, key=len):
            for path in group:
                plain, least = arms.fed(path), self._least_ticks(arms.loop, path)
                if plain is not None and (plain[1] <= least or len(arms.loop) >= LONG):
                    if hard and len(hard[0]) < length:
                        self.exhaustive = False
                    yield path, True
                else:
                    hard.append(path)
            if len(arms.loop) < LONG:
                yield from ((path, False) for path in hard)
                hard = []
        yield from ((path, False) for path in hard)

    def _least_ticks(self, loop: Sequence[Cell], path: Sequence[Cell]) -> int:
        """No line of so many cells is quicker: each net carries the pulse `reach` cells."""
        far = len(loop) // 2 + len(path) - 1
        return max(0, -(-(far - self.reach + 1) // (self.reach + 1)))

    def _fed(self, arms: TwoArms, path: tuple[Cell, ...], allowance: Allowance) -> Line | None:
        """Boosters for a line fed through `path`; None if its arms cannot agree."""
        loop, least = arms.loop, self._least_ticks(arms.loop, path)
        plain = arms.fed(path) if len(loop) >= LONG else None
        boosters = plain or place_boosters(arms, path, least, allowance)
        if boosters is None:
            return None
        facing, ticks = boosters
        fired = firing_times(loop, path, facing)
        step = drives_in_step([fired[loop[i]] for i in arms.feeds], self._window)
        return Line(path[0], path[1:], facing, ticks) if isinstance(step, InStep) else None

    @property
    def _window(self) -> tuple[int, int]:
        """Ticks by which a drive may be earlier or later than the one before it."""
        early, late = self.system.window(self.problem.scenario.rules)
        return -(-early // 2), late // 2


def firing_times(
    loop: Sequence[Cell], path: Sequence[Cell], boosters: Mapping[Cell, tuple[Cell, int]]
) -> dict[Cell, int]:
    """Ticks from the trigger's wire to each cell of the line."""
    cells = {*path, *loop}
    times = {path[0]: 0}
    queue = deque(times)
    while queue:
        cell = queue.popleft()
        for step in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)):
            near = add(cell, step)
            if near not in cells or near in times or boosters.get(cell, (step, 0))[0] != step:
                continue
            direction, delay = boosters.get(near, (step, 0))
            if direction == step:
                times[near] = times[cell] + delay
                queue.append(near)
    return times


def sides_of(problem: Problem, cell: Cell, normal: Cell) -> tuple[Cell, ...]:
    right = problem.heading(problem.index[cell], 0)
    up = problem.heading(problem.index[cell], 1)
    return (right, up, sub((0, 0, 0), right), sub((0, 0, 0), up))


def button_covers(problem: Problem) -> Iterator[Cell]:
    """Cells of the surfaces that may carry the button, better ones first."""
    scenario = problem.scenario
    fixed = scenario.button()
    if fixed is not None:
        yield fixed.cell
        return
    for marks in (".o", "#"):
        for name, surface in scenario.surfaces.items():
            if scenario.button_surface in (None, name):
                yield from surface.cells(marks)


def upright(problem: Problem, at: Cell) -> Frame:
    """The frame of a column or a trigger at a surface cell."""
    cell = problem.index[at]
    return Frame(at, problem.heading(cell, 0), problem.heading(cell, 1), problem.normal(cell))


def line_parts(line: Line, system: System, normal: Cell) -> tuple[list[Part], dict[Cell, Part]]:
    """The parts of the link, and the line parts (by cell) that replace a column's wire."""
    level = system.line_level
    parts: list[Part] = []
    replaced: dict[Cell, Part] = {}
    for cell in line.link:
        at, below = add(cell, scale(normal, level)), add(cell, scale(normal, system.stand_level))
        parts += [Part("wire", at, unit="link"), Part("block", below, unit="link")]
    for cell, (direction, delay) in line.boosters.items():
        at = add(cell, scale(normal, level))
        replaced[at] = Part("buffer", at, face_name(direction), delay, unit="booster")
    return parts, replaced
