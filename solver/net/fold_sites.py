"""Where the folds of a loop stand, and on which side their sensors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set

from models.geometry import VECTOR, Cell, add, cross, dot, scale, sub
from models.parts import RAMS, Part
from models.problem import Problem
from solver.net.assemble import Placed
from solver.net.folds import SENSOR_FOLD, fold_frame
from solver.net.lift_lines import DOWN
from solver.net.space_line import SpaceLine
from solver.net.space_trigger import kept_clear

WEIGHT = 100
"""What a cell that nobody can give up counts beside a wire that can be left out."""


def folds_of(problem: Problem, tape: Sequence[Cell]) -> list[int]:
    """Places in the tape of the edge-line cells."""
    return [i for i, cell in enumerate(tape) if problem.homes[problem.index[cell]] is None]


def place_folds(
    problem: Problem,
    tape: Sequence[Cell],
    line: SpaceLine,
    drives: Iterable[Placed],
    other_side: Set[int] = frozenset(),
) -> list[Placed]:
    """A fold at every edge-line cell, on the side where it meets least, or on the other one."""
    units = list(drives)
    found: list[Placed] = []
    for number, i in enumerate(folds_of(problem, tape)):
        arrives = sub(tape[i], tape[i - 1])
        leaves = sub(tape[(i + 1) % len(tape)], tape[i])
        assert dot(arrives, leaves) == 0, "an edge line is where two surfaces meet"
        along = cross(arrives, leaves)
        ways = [
            Placed(SENSOR_FOLD, fold_frame(tape, i, side), f"fold {number}")
            for side in (along, scale(along, -1))
        ]
        ways.sort(key=lambda way: _trouble(problem, way, line, [*units, *found]))
        found.append(ways[number in other_side])
    return found


def _trouble(problem: Problem, fold: Placed, line: SpaceLine, others: Sequence[Placed]) -> int:
    """How much a fold would be in the way of what stands already."""
    parts = {part.at: part for unit in others for part in unit.parts()}
    parts.update(line.parts)
    taken = {part.at for unit in others for part in unit.parts()}
    taken |= {cell for unit in others for cell in unit.air()}
    taken |= kept_clear(problem)
    trouble = 0
    own = {part.at for part in fold.parts()}
    for part in fold.parts():
        trouble += _meeting(part, line.parts)
        trouble += WEIGHT * (part.kind == "sensor" and _wakes(part, parts, own))
        if part.at in taken or part.at in line.keep or not problem.digging.allows(part.at):
            trouble += WEIGHT
    for cell in fold.air():
        blocked = cell in taken or cell in line.parts or not problem.digging.allows(cell)
        trouble += WEIGHT * blocked
    return trouble


def _wakes(sensor: Part, parts: Mapping[Cell, Part], own: Set[Cell]) -> bool:
    """Whether it puts power into something else, or over the head of a ram that picks it up."""
    assert sensor.face is not None
    out = sub(sensor.at, VECTOR[sensor.face])
    below = parts.get(add(out, DOWN))
    if out in own:
        return False
    return (out in parts and parts[out].kind not in ("sensor", "insulator")) or (
        below is not None and below.kind in RAMS
    )


def _meeting(part: Part, parts: Mapping[Cell, Part]) -> int:
    other = parts.get(part.at)
    if other is None or (other.kind == "insulator" and part.kind == "sensor"):
        return 0
    return 1 if other.kind == "wire" else WEIGHT
