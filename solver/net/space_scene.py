"""What stands behind a loop over several surfaces before the first cable is led."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from models.geometry import VECTOR, Cell, add, sub
from models.machine import Machine
from models.parts import Part
from models.problem import Problem
from models.route import CornerOption, Route, RouteCut
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.dry_run import bare_machine, unfired
from solver.net.floor_line import NoLine
from solver.net.fold_sites import place_folds
from solver.net.layout import level_of, place_drives
from solver.net.lift_lines import ClashError
from solver.net.space_line import SpaceLine, space_line, thinned, without, yielding

_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())


@dataclass(frozen=True)
class Change:
    """How a scene differs from the usual one."""

    bare: frozenset[Cell] = frozenset()
    """Lifts without wires: cables are to fire them."""
    other_side: frozenset[int] = frozenset()
    """Folds, by number, with their sensors not where they meet least but opposite."""
    gone: frozenset[Cell] = frozenset()
    """Cells that the line must leave."""

    def bared(self, lifts: Iterable[Cell]) -> Change:
        """The same with more bare lifts."""
        return replace(self, bare=self.bare | set(lifts))

    def turned(self, fold: int) -> Change:
        """The same with one fold the other way round."""
        return replace(self, other_side=self.other_side ^ {fold})

    def less(self, cells: Iterable[Cell]) -> Change:
        """The same with more cells that the line must leave."""
        return replace(self, gone=self.gone | set(cells))

    def size(self) -> int:
        """What it may cost, roughly: a lift of its own cable counts most."""
        return 3 * len(self.bare) + len(self.other_side) + len(self.gone)


USUAL = Change()


@dataclass(frozen=True)
class Scene:
    """Lines, folds and drives of a loop."""

    line: SpaceLine
    folds: tuple[Placed, ...]
    parts: Mapping[Cell, Part]
    hard: frozenset[Cell]
    """Cells that must stay free of everything."""
    air: frozenset[Cell]
    """Cells to dig beside the parts."""
    mute: tuple[Cell, ...]
    """Lifts that no wire fires."""
    depth: int
    """How deep all this reaches."""
    machine: Machine
    """All this, without trigger and cables."""


def diggable(problem: Problem) -> Iterator[Cell]:
    """Every cell that may be dug."""
    scenario = problem.scenario
    far = 1 + max(max(s.depth, s.margin) for s in scenario.surfaces.values())
    spans = [range(-far - 1, size + far + 1) for size in scenario.room]
    for x in spans[0]:
        for y in spans[1]:
            for z in spans[2]:
                if problem.digging.allows((x, y, z)):
                    yield (x, y, z)


def lay_scene(problem: Problem, system: System, route: Route, change: Change) -> Scene | NoLine:
    """Lines, folds and drives; or why they do not go together."""
    tape = [problem.graph.cells[i] for i in route.cells]
    drives = place_drives(problem, system, route)
    try:
        line = space_line(problem, system, tape)
        folds = place_folds(problem, tape, line, drives, change.other_side)
        line = yielding(line, [*drives, *folds], problem.digging.allows)
        line = without(thinned(line, change.bare), change.gone)
        parts, _ = merge((*drives, *folds), line.parts.values())
    except ClashError as clash:
        return NoLine(f"the lines do not fit the loop: {clash}", proven=False)
    except CollisionError as collision:
        cut = around_drives(route, (collision.first, collision.second))
        return NoLine(str(collision), proven=False, cut=cut)
    where = {part.at: part for part in parts}
    hard = line.keep | {c for unit in (*drives, *folds) for c in unit.air()}
    missing = _missing(problem, tape, where, hard, line.air)
    if missing is not None:
        return NoLine(missing, proven=False)
    air = _breath(problem, where, hard | line.air)
    dug = dug_for(problem, where, air, drives)
    machine = bare_machine(problem, tape, where, dug)
    left, depth = unfired(machine, line), depth_of_cells(problem, dug)
    return Scene(line, tuple(folds), where, frozenset(hard), air, left, depth, machine)


def dug_for(
    problem: Problem, parts: Iterable[Cell], air: Iterable[Cell], drives: Iterable[Placed]
) -> set[Cell]:
    """What is dug for parts, for air and for the vents of drives."""
    vents = {c for drive in drives for c in map(drive.frame.cell, drive.design.vents)}
    return {*parts, *air, *(c for c in vents if problem.digging.allows_air(c))}


def depth_of_cells(problem: Problem, dug: Set[Cell]) -> int:
    """How deep it is dug."""
    return max(level_of(problem, cell) for cell in dug - set(problem.index))


def _missing(
    problem: Problem,
    tape: Sequence[Cell],
    parts: Mapping[Cell, Part],
    hard: Set[Cell],
    air: Set[Cell],
) -> str | None:
    """A cell that is needed and cannot be had."""
    for cell in sorted({*parts, *hard, *air} - set(tape)):
        if not problem.digging.allows(cell):
            return f"the cell {cell} is needed and may not be dug"
        if cell in parts and (cell in hard or cell in air):
            return f"the cell {cell} of {parts[cell].unit} must stay free"
    return None


def _breath(problem: Problem, parts: Mapping[Cell, Part], air: Set[Cell]) -> frozenset[Cell]:
    """What to dig beside the parts: all round wires, and where sensors put out."""
    found = set(air)
    for part in parts.values():
        if part.kind == "wire":
            found |= {add(part.at, side) for side in _SIDES}
        elif part.kind == "sensor" and part.face is not None:
            found.add(sub(part.at, VECTOR[part.face]))
    return frozenset(c for c in found if problem.digging.allows(c) and c not in parts)


def around_drives(route: Route, units: Iterable[str]) -> RouteCut | None:
    """Refuses the corners of these drives between the same neighbours, wherever else tape runs.

    More than the one route is refused on the strength of one collision; none is called
    impossible for that.
    """
    met = [int(unit.split()[1]) for unit in units if unit.startswith("drive ")]
    count = len(route.corners)
    if not met or count < 5:
        return None
    corners: set[CornerOption] = set()
    cells: set[int] = set()
    for k in met:
        corners |= {route.corners[(k + d) % count] for d in (-1, 0, 1)}
        first = route.cells.index(route.corners[k - 1].cell)
        last = route.cells.index(route.corners[(k + 1) % count].cell)
        length = (last - first) % len(route.cells)
        cells |= {route.cells[(first + i) % len(route.cells)] for i in range(length)}
    return RouteCut(bare=frozenset(cells), dropped=frozenset(corners))
