"""The lift lines of a loop over several surfaces: each surface's own, and what joins at folds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import partial

from models.geometry import VECTOR, Cell, add, cross, dot, scale, sub
from models.parts import FULL, RAMS, Part
from models.problem import Problem
from models.surface import BEHIND, SurfaceName
from models.system import System
from solver.net.assemble import Placed
from solver.net.lift_lines import (
    DOWN,
    UP,
    LiftLine,
    deep_line,
    edges_of,
    over_line,
    wall_line,
)


def beside_line(tape: Sequence[Cell], inward: Cell, plane: int | None = None) -> LiftLine:
    """A thin floor's: wires beside the sunk tape, on blocks beside the lifts, but at corners."""
    line = LiftLine(lenient=True)
    deep = deep_line(tape, inward, plane)
    line.parts = {at: part for at, part in deep.parts.items() if part.kind in RAMS}
    edges = edges_of(tape)
    for i, edge in enumerate(edges):
        if any(dot(cell, inward) != plane for cell in edge):
            continue
        came = sub(edges[i - 1][-2], edge[0])
        goes = sub(edges[(i + 1) % len(edges)][1], edge[-1])
        turns = [side for side in (goes, came) if not dot(side, inward)]
        side = turns[0] if turns else cross(inward, sub(edge[1], edge[0]))
        first, last = (0 if dot(end, inward) else 1 for end in (came, goes))
        for cell in edge[first : len(edge) - last]:
            if add(cell, side) not in tape:
                block = sub(add(cell, side), scale(inward, 2))
                line.put("block", block)
                line.put("wire", add(block, inward))
    return line


LINES: dict[str, Callable[[Sequence[Cell], Cell, int | None], LiftLine]] = {
    "deep": deep_line,
    "over": over_line,
    "beside": beside_line,
    "wall": partial(wall_line, lenient=True),
}
DEEP_FLOOR = 5
"""Cells behind a floor that its usual line takes; a thinner one has its line beside the tape."""
LEAD_TICKS = {"deep": 1}
"""Ticks from a line's power to its lifts' strokes; 0 where not named."""


@dataclass(frozen=True)
class SpaceLine:
    """All lifts and lines of a loop; wires on different surfaces may not be joined."""

    parts: Mapping[Cell, Part]
    lead: Mapping[Cell, int]
    """For every wire, how many ticks its lifts follow it."""
    lifts: Mapping[Cell, Cell]
    """Every lift with the way it faces."""
    air: Set[Cell] = field(default_factory=set)
    """Cells to leave free of all that conducts."""
    keep: frozenset[Cell] = frozenset()
    """Cells behind the tape, in which blocks and heads move."""

    def wires(self) -> list[Cell]:
        """Every wire."""
        return list(self.lead)


def inward_of(name: SurfaceName) -> Cell:
    """The way from a surface into the room."""
    return scale(VECTOR[BEHIND[name]], -1)


def space_line(problem: Problem, system: System, tape: Sequence[Cell]) -> SpaceLine:
    """The lines of all surfaces that the tape runs on. Raises ClashError if two meet."""
    whole = LiftLine()
    lead: dict[Cell, int] = {}
    lifts: dict[Cell, Cell] = {}
    keep: set[Cell] = set()
    homes = {problem.homes[problem.index[cell]] for cell in tape}
    for name in problem.scenario.surfaces:
        if name not in homes:
            continue
        inward, kind = inward_of(name), system.on(name).name
        surface = problem.scenario.surfaces[name]
        plane = dot(surface.plane.origin, inward)
        if kind == "deep" and surface.depth < DEEP_FLOOR:
            kind = "beside"
        line = LINES[kind](tape, inward, plane)
        if kind == "wall":
            _reach_folds(line, tape, inward, plane)
            _drop_afloat(line)
        for k, cell in enumerate(tape):
            if dot(cell, inward) == plane:
                lift = sub(cell, scale(inward, 2))
                line.parts[lift] = line.parts[lift]._replace(unit=f"lift {k}")
                lifts[lift] = inward
                keep.add(sub(cell, inward))
        lead.update(dict.fromkeys(line.wires(), LEAD_TICKS.get(kind, 0)))
        _join(whole, line)
    return SpaceLine(whole.parts, lead, lifts, whole.air, frozenset(keep))


def _drop_afloat(line: LiftLine) -> None:
    """Where parts of a line met, a wire may have lost what it stands on."""
    for wire in line.wires():
        under = line.parts.get(add(wire, DOWN))
        if under is None or under.kind not in FULL:
            del line.parts[wire]


def _join(whole: LiftLine, line: LiftLine) -> None:
    for part in line.parts.values():
        old = whole.parts.get(part.at)
        if old is None:
            whole.parts[part.at] = part
        else:
            whole.put(part.kind, part.at, None if part.face is None else VECTOR[part.face])
    whole.air |= line.air


def _reach_folds(line: LiftLine, tape: Sequence[Cell], inward: Cell, plane: int) -> None:
    """Horizontal edges of a wall fire the lift of an edge-line cell as they do all others."""
    for edge in edges_of(tape):
        if edge[0][2] != edge[-1][2] or any(dot(cell, inward) != plane for cell in edge):
            continue
        for end, beyond in ((edge[0], edge[1]), (edge[-1], edge[-2])):
            if _turns_away(tape, end, inward) and beyond in edge:
                block = sub(end, scale(inward, 3))
                if block not in line.parts and add(block, UP) not in line.parts:
                    line.put("block", block)
                    line.put("wire", add(block, UP))


def _turns_away(tape: Sequence[Cell], cell: Cell, inward: Cell) -> bool:
    i = tape.index(cell)
    steps = (sub(cell, tape[i - 1]), sub(tape[(i + 1) % len(tape)], cell))
    return any(dot(step, inward) for step in steps)


_SOFT = ("wire", "insulator", "block")


def yielding(
    line: SpaceLine, units: Iterable[Placed], may_dig: Callable[[Cell], bool]
) -> SpaceLine:
    """The line without what stands in the way of units, or where nothing may be dug.

    Units cannot give way, a line can. A wire stands on a sensor as well as on an insulator. A lift
    that is no longer fired gets a cable of its own.
    """
    taken = {part.at: part for unit in units for part in unit.parts()}
    free = {cell for unit in units for cell in unit.air()}
    parts = dict(line.parts)
    for at, part in line.parts.items():
        unit = taken.get(at)
        if part.kind == "insulator" and unit is not None and unit.kind == "sensor":
            parts.pop(at, None)
        elif part.kind in _SOFT and (unit is not None or at in free or not may_dig(at)):
            if unit is not None and unit.kind == part.kind == "block":
                continue
            parts.pop(at, None)
            _drop_with(parts, part, taken)
    return _with(line, parts, air=line.air - set(taken))


def thinned(line: SpaceLine, lifts: Iterable[Cell]) -> SpaceLine:
    """The line without the wires behind some lifts, to make room for cables."""
    parts = dict(line.parts)
    for lift in lifts:
        for at in behind_lift(line, lift):
            if at in parts and parts[at].kind == "wire":
                gone = parts.pop(at)
                _drop_with(parts, gone, {})
    return _with(line, parts)


def without(line: SpaceLine, cells: Iterable[Cell]) -> SpaceLine:
    """The line without the parts in some cells, and what has no use or footing then."""
    parts = dict(line.parts)
    for at in cells:
        if at in parts and parts[at].kind in _SOFT:
            _drop_with(parts, parts.pop(at), {})
    return _with(line, parts)


def behind_lift(line: SpaceLine, lift: Cell) -> tuple[Cell, ...]:
    """The cells that a wire which fires this lift may stand in."""
    near = [sub(lift, scale(line.lifts[lift], behind)) for behind in (1, 2)]
    return (*near, *(add(cell, UP) for cell in near))


def _with(line: SpaceLine, parts: dict[Cell, Part], air: Set[Cell] | None = None) -> SpaceLine:
    """The line of these parts, less the sensors that have nothing left to watch."""
    for at, part in list(parts.items()):
        if part.kind == "sensor" and part.face and add(at, VECTOR[part.face]) not in parts:
            del parts[at]
    lead = {wire: ticks for wire, ticks in line.lead.items() if wire in parts}
    return replace(line, parts=parts, lead=lead, air=line.air if air is None else air)


def _drop_with(parts: dict[Cell, Part], gone: Part, taken: Mapping[Cell, Part]) -> None:
    """What has no use or no footing once a part is left out."""
    above, below = add(gone.at, UP), add(gone.at, DOWN)
    over, under = parts.get(above), parts.get(below)
    if gone.kind == "wire" and under is not None and under.kind in ("insulator", "block"):
        del parts[below]
    footing = taken.get(gone.at)
    held = footing is not None and footing.kind in FULL
    if gone.kind != "wire" and over is not None and over.kind == "wire" and not held:
        del parts[above]
