"""Which cells a drive puts power into: no ram of anything else may stand there.

Read off the design by the rules of power, with and without overhead pickup. Used where no
clearances were measured; what it lets pass is judged by simulation.
"""

from __future__ import annotations

from functools import cache

from models.catalogue import Design
from models.geometry import FACES, OPPOSITE, Cell, Frame, step, sub
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
def strong(design: Design) -> frozenset[Cell]:
    """Local cells that get strong power: a wire in one of them, or on a block there, is live."""
    found: set[Cell] = set()
    for part in design.parts:
        if part.kind in ("sensor", "buffer") and part.face is not None:
            out = OPPOSITE[part.face] if part.kind == "sensor" else part.face
            found.add(step(part.at, out))
    return frozenset(found)


@cache
def rams(design: Design) -> frozenset[Cell]:
    """Local cells of a design's rams."""
    return frozenset(part.at for part in design.parts if part.kind in RAMS)


def wakes(design: Design, frame: Frame, other: Design, other_frame: Frame) -> bool:
    """Whether power of the first drive reaches a ram of the second."""
    return sub(other_frame.origin, frame.origin) in _woken(
        design, frame[1:], other, other_frame[1:]
    )


@cache
def _woken(
    design: Design, axes: tuple[Cell, ...], other: Design, other_axes: tuple[Cell, ...]
) -> frozenset[Cell]:
    """The steps from one drive to another at which the first wakes the second."""
    here, there = (Frame((0, 0, 0), *a) for a in (axes, other_axes))
    return frozenset(
        sub(here.cell(power), there.cell(ram)) for power in powers(design) for ram in rams(other)
    )
