"""Which cells a drive puts power into: no ram of anything else may stand there.

Read off the design by the rules of power, with and without overhead pickup. Used where no
clearances were measured; what it lets pass is judged by simulation.
"""

from __future__ import annotations

from functools import cache

from models.catalogue import Design
from models.geometry import FACES, OPPOSITE, Cell, Frame, step
from models.parts import RAMS


@cache
def powers(design: Design) -> frozenset[Cell]:
    """Local cells in which a ram would be powered at some time during a press."""
    filled = {part.at for part in design.parts}
    found: set[Cell] = set()
    for part in design.parts:
        if part.kind == "block":
            found.update(step(part.at, face) for face in FACES)
        elif part.kind == "inverter" and part.face is not None:
            found.update(step(part.at, face) for face in FACES if face != part.face)
        elif part.kind in ("sensor", "buffer") and part.face is not None:
            out = OPPOSITE[part.face] if part.kind == "sensor" else part.face
            found.add(step(part.at, out))
    below = {step(cell, OPPOSITE[design.up]) for cell in found}
    return frozenset((found | below) - filled)


@cache
def rams(design: Design) -> frozenset[Cell]:
    """Local cells of a design's rams."""
    return frozenset(part.at for part in design.parts if part.kind in RAMS)


def wakes(design: Design, frame: Frame, other: Design, other_frame: Frame) -> bool:
    """Whether power of the first drive reaches a ram of the second."""
    cells = {frame.cell(cell) for cell in powers(design)}
    return any(other_frame.cell(cell) in cells for cell in rams(other))
