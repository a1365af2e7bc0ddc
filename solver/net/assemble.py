"""From placed units to a machine: parts in the world, covers, and the cells to dig."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from models.catalogue import Design
from models.geometry import Box, Cell, Frame
from models.machine import Machine
from models.parts import Part
from models.rules import Rules


@dataclass(frozen=True)
class Placed:
    """A design put somewhere."""

    design: Design
    frame: Frame
    unit: str

    def parts(self) -> list[Part]:
        """The parts in the world."""
        return self.design.place(self.frame, self.unit)

    def air(self) -> list[Cell]:
        """The cells it needs free."""
        return [self.frame.cell(cell) for cell in self.design.air]


class CollisionError(Exception):
    """Two units want one cell. Carries the cell and both parties, for a cut."""

    def __init__(self, cell: Cell, first: str, second: str) -> None:
        super().__init__(f"{first} and {second} meet in {cell}")
        self.cell, self.first, self.second = cell, first, second


def merge(placed: Iterable[Placed], loose: Iterable[Part] = ()) -> tuple[list[Part], set[Cell]]:
    """All parts, each cell once, and all cells to dig (in the world, surface layers included).

    Two units may share a plain block or insulator. Everything else that meets is a CollisionError.
    """
    parts: dict[Cell, Part] = {}
    air: dict[Cell, str] = {}

    def put(part: Part) -> None:
        other = parts.get(part.at)
        if other is not None and not (other.kind == part.kind in ("block", "insulator")):
            raise CollisionError(part.at, other.unit, part.unit)
        if part.at in air:
            raise CollisionError(part.at, air[part.at], part.unit)
        parts.setdefault(part.at, part)

    units = list(placed)
    for unit in units:
        for part in unit.parts():
            put(part)
    for unit in units:
        for cell in unit.air():
            if cell in parts or cell in air:
                other = parts[cell].unit if cell in parts else air[cell]
                raise CollisionError(cell, other, unit.unit)
            air[cell] = unit.unit
    for part in loose:
        put(part)
    return list(parts.values()), {*parts, *air}


def boxes(cells: Iterable[Cell]) -> list[Box]:
    """Cover the cells exactly with few disjoint boxes: rows, then slabs of equal rows, then stacks.

    Boxes are sorted; no cell outside `cells` is covered.
    """
    rows: list[Box] = []
    for x, y, z in sorted(cells, key=lambda c: (c[2], c[1], c[0])):
        if rows and rows[-1].high == (x - 1, y, z):
            rows[-1] = Box(rows[-1].low, (x, y, z))
        else:
            rows.append(Box((x, y, z), (x, y, z)))
    return sorted(_grow(_grow(rows, 1), 2))


def _grow(pieces: Sequence[Box], axis: int) -> list[Box]:
    """Join boxes that are equal but for being next to each other along the axis."""
    done: list[Box] = []
    tops: dict[tuple[tuple[int, ...], tuple[int, ...], int], int] = {}
    for box in sorted(pieces, key=lambda b: (b.low[axis], b)):
        side = (_without(box.low, axis), _without(box.high, axis))
        index = tops.pop((*side, box.low[axis] - 1), None)
        if index is None:
            index = len(done)
            done.append(box)
        else:
            done[index] = Box(done[index].low, box.high)
        tops[(*side, box.high[axis])] = index
    return done


def _without(cell: Cell, axis: int) -> tuple[int, ...]:
    return cell[:axis] + cell[axis + 1 :]


def assemble(
    title: str,
    room: tuple[int, int, int],
    rules: Rules,
    tape: Sequence[Cell],
    placed: Iterable[Placed],
    loose: Iterable[Part] = (),
    surface_cells: Iterable[Cell] = (),
    may_dig: Callable[[Cell], bool] = lambda cell: True,
    air: Iterable[Cell] = (),
) -> Machine:
    """The machine: `surface_cells` (all visible cells of used surfaces) become covers or tape.

    Beside what the units need and `air`, their vents are dug where `may_dig` allows.
    """
    units = list(placed)
    parts, dug = merge(units, loose)
    dug |= set(air)
    dug |= {c for u in units for c in map(u.frame.cell, u.design.vents) if may_dig(c)}
    on_tape = set(tape)
    covers = [Part("cover", c, unit="surface") for c in surface_cells if c not in on_tape]
    layer = {part.at for part in covers} | on_tape
    behind = [c for c in dug if c not in layer and not _inside(c, room)]
    return Machine(
        title,
        room,
        rules,
        tuple(tape),
        tuple(sorted(parts, key=lambda p: p.at)) + tuple(covers),
        tuple(boxes(behind)),
    )


def _inside(cell: Cell, room: tuple[int, int, int]) -> bool:
    return all(0 <= a < s for a, s in zip(cell, room, strict=True))
