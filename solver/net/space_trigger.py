"""Where a trigger over several surfaces may stand, and what must keep clear of it."""

from __future__ import annotations

from collections.abc import Mapping

from models.catalogue import Design
from models.geometry import VECTOR, Cell, Frame, add, scale, sub
from models.parts import RAMS, Part
from models.problem import Problem
from solver.net.lift_lines import DOWN, UP
from solver.net.reach import output_of

_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_MUTE = frozenset({*RAMS, "sensor", "insulator"})
"""What may stand beside the trigger's ram, if it does not power it straight ahead."""


def trigger_cells(problem: Problem, cover: Cell) -> tuple[Cell, Cell]:
    """The cells of a trigger that change: its ram's, and where the head goes."""
    inward = problem.normal(problem.index[cover])
    return sub(cover, inward), sub(cover, scale(inward, 2))


def kept_clear(problem: Problem) -> frozenset[Cell]:
    """The cells that the only trigger there can be needs for itself."""
    button = problem.scenario.button()
    return frozenset() if button is None else frozenset(trigger_cells(problem, button.cell))


def is_quiet(ram: Cell, parts: Mapping[Cell, Part]) -> bool:
    """Whether nothing beside a ram, or beside the cell above it, would power it.

    Nor may a ram lie below: its overhead pickup would hear the button through the cover.
    """
    heard = (ram, add(ram, UP))
    near = [p for cell in heard for side in _SIDES if (p := parts.get(add(cell, side)))]
    below = parts.get(add(ram, DOWN))
    return all(part.kind in _MUTE and output_of(part) not in heard for part in near) and (
        below is None or below.kind not in RAMS
    )


def leaves_room(problem: Problem, drive: Design, frame: Frame) -> bool:
    """Whether a drive is out of the way of the only trigger there can be.

    By the rules alone: on one surface the cover that the button hangs on touches no cell behind
    it but one, so a part must stand there that reads it, and no block may be drawn into it.
    """
    button = problem.scenario.button()
    if button is None:
        return True
    ram, head = trigger_cells(problem, button.cell)
    if drive.system == "world":
        blocks = {frame.cell(cell) for cell in drive.air}
        return len(problem.scenario.surfaces) > 1 or ram not in blocks
    parts = {part.at: part for part in drive.place(frame, "")}
    return drive.claimed(frame).isdisjoint((ram, head)) and is_quiet(ram, parts)
