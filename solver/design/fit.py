"""Makes a design of a wiring: which cells round it must be dug, and does it work in whole machines.

Undug ground conducts. Where power of the drive goes into a cell next to something that listens,
that cell has to be air; which cells those are is tried out on small machines, snugly dug.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from models.catalogue import LED_AFTER, Design
from models.geometry import FACES, Cell, Face, step
from models.machine import ALL_CASES, Case
from models.parts import Part
from solver.characterise.testbed import (
    CEILING,
    EAST,
    FLOOR,
    NORTH,
    Ground,
    Spot,
    build,
    corner_frames,
    judge,
    mirrored,
    up_of,
)
from solver.design.task import HEADS, RAMS, Off
from solver.net.lift_lines import ClashError

GROUNDS: dict[str, tuple[Ground, ...]] = {
    "deep": (FLOOR,),
    "flat": (FLOOR,),
    "over": (CEILING,),
    "wall": (NORTH, EAST),
    "led": (FLOOR, CEILING),
    "led-floor": (FLOOR,),
}
SNUG = (Case(False, True), Case(True, True))


def as_design(
    name: str, system: str, up: Face, parts: Iterable[Part], air: Iterable[Cell] = ()
) -> Design:
    """A wiring with its rams, as a design."""
    return Design(name, "drive", up, (*parts, *RAMS), (*HEADS, *air), system)


def works(
    design: Design,
    others: Mapping[Face, Design],
    shapes: Iterable[Sequence[Spot]],
    *,
    cases: Iterable[Case] = ALL_CASES,
    orders: Iterable[int] = (1, -1),
    grounds: int | None = None,
) -> bool:
    """Whether whole machines of these shapes run, in both directions."""
    designs = {**others, design.up: design}
    for shape in shapes:
        for spots in (shape, mirrored(shape)):
            for ground in GROUNDS[design.system][:grounds]:
                try:
                    bench = build(ground, spots, designs, design.system)
                except ClashError:
                    return False
                if not judge(
                    bench,
                    tuple(cases),
                    orders=tuple(orders),
                    afters=LED_AFTER if design.led else LED_AFTER[:1],
                ).ok:
                    return False
    return True


def first_unborne(
    design: Design, others: Mapping[Face, Design], shape: Sequence[Spot], margin: int
) -> Off | None:
    """The first delay of the design that may not be off by as much; None if all may.

    As `ringwright margins` counts: all sensors together, all inverters together, each buffer alone.
    """
    return next((o for o in offs(design, margin) if not bears(design, others, shape, o)), None)


def bears(design: Design, others: Mapping[Face, Design], shape: Sequence[Spot], off: Off) -> bool:
    """Whether a whole machine runs in every case with this delay of its drives off."""
    ground = GROUNDS[design.system][0]
    bench = build(ground, shape, {**others, design.up: design}, design.system)
    frames = corner_frames(bench.machine.tape, ground.inward)
    late = {
        frame.cell(part.at): 2 * (part.delay or 1) + more
        for frame in frames
        for part in design.parts
        if up_of(frame) == design.up and (more := off.late(part.kind, part.at))
    }
    return judge(bench, orders=(1,), late=late).ok


def offs(design: Design, margin: int) -> Iterator[Off]:
    """All delays of a design that may be off, each by every amount up to the margin."""
    kinds = {part.kind for part in design.parts}
    for amount in range(1, margin + 1):
        for kind in ("sensor", "inverter"):
            if kind in kinds:
                yield from (Off(kind, way * amount) for way in (-1, 1) if 2 + way * amount > 0)
        for part in design.parts:
            if part.kind == "buffer":
                delay = 2 * (part.delay or 1)
                ways = (way for way in (-1, 1) if delay + way * amount > 0)
                yield from (Off("buffer", way * amount, part.at) for way in ways)


def fit_air(
    design: Design, others: Mapping[Face, Design], shapes: Sequence[Sequence[Spot]]
) -> Design | None:
    """The design with as few extra air cells as a greedy pass finds; None if it never works."""

    def tried(air: Iterable[Cell]) -> Design | None:
        candidate = replace(design, air=(*design.air, *air))
        grounds = None if design.led else 1
        fine = works(candidate, others, shapes, cases=SNUG, orders=(1,), grounds=grounds)
        return candidate if fine else None

    bare = tried(())
    if bare is not None:
        return bare
    air = [cell for cell in _shell(design) if _is_free(design, others, shapes, cell)]
    best = tried(air)
    if best is None:
        return None
    for cell in sorted(air, key=_remoteness, reverse=True):
        fewer = [other for other in air if other != cell]
        candidate = tried(fewer)
        if candidate is not None:
            best, air = candidate, fewer
    return best


def shelled(
    design: Design, others: Mapping[Face, Design], shapes: Sequence[Sequence[Spot]]
) -> Design:
    """The design with all cells round it dug that no unit needs: certainly enough air."""
    rest = {up: other for up, other in others.items() if up != design.up}
    air = [cell for cell in _shell(design) if _is_free(design, rest, shapes, cell)]
    return replace(design, air=(*design.air, *air))


def _is_free(
    design: Design, others: Mapping[Face, Design], shapes: Sequence[Sequence[Spot]], cell: Cell
) -> bool:
    """Whether no unit of the machines stands in that cell."""
    designs = {**others, design.up: replace(design, air=(*design.air, cell))}
    for shape in shapes:
        for spots in (shape, mirrored(shape)):
            try:
                build(GROUNDS[design.system][0], spots, designs, design.system)
            except ClashError:
                return False
    return True


def _shell(design: Design) -> list[Cell]:
    """Cells behind the surface that touch the design, outside the columns."""
    filled = {part.at for part in design.parts}
    found = set()
    for cell in filled:
        for face in FACES:
            beside = step(cell, face)
            column = (beside[1] == 0 and beside[0] <= 0) or (beside[0] == 0 and beside[1] >= 0)
            if beside[2] < 0 and not column and beside not in filled and beside not in design.air:
                found.add(beside)
    return sorted(found)


def _remoteness(cell: Cell) -> int:
    return abs(cell[0] + 1) + abs(cell[1] + 2) + abs(cell[2] + 1)
