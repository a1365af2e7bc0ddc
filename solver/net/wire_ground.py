"""Where the wires of a net may lie, and what joins what: runs that carry a pulse without delay.

A wire costs two parts, itself and what it stands on, where a sensor costs one; but it takes no
time, several wires or sensors may go on from it, and it joins two pieces of a line. It stands on
an insulator, so that only the wire itself can wake anything; on a block where power comes down
from it, or where the block is to fire a lift.

Buffers are of no use here. With a delay of one tick a buffer does what a sensor does, for one
part more; with a longer delay it makes the pulse longer, and a lift pushes and draws on such a
pulse at once. Inverters swallow pulses of one tick.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field, replace

from models.geometry import VECTOR, Cell, add, sub
from models.parts import CONDUCTIVE, FULL, RAMS, Part
from solver.net.lift_lines import DOWN, UP

ALWAYS = -1
"""Said of a wire that may go live at any time."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
LEVEL: tuple[Cell, ...] = tuple(v for v in _SIDES if v[2] == 0)
JOINS: tuple[Cell, ...] = (
    *LEVEL,
    *(add(v, UP) for v in LEVEL),
    *(add(v, DOWN) for v in LEVEL),
)
"""From a wire to the wires that it may be joined with."""
_DEAF = ("sensor", "insulator")


@dataclass(frozen=True)
class WireGround:
    """Cells for wires of a net, and the wires of the line that they may join."""

    cost: Mapping[Cell, int] = field(default_factory=dict)
    """Parts of a wire in this cell."""
    when: Mapping[Cell, int] = field(default_factory=dict)
    """Ticks before the lifts at which a wire must go live there, or ALWAYS."""
    blocks: Mapping[Cell, int] = field(default_factory=dict)
    """The same where it may stand on a block."""
    line: Mapping[Cell, int] = field(default_factory=dict)
    """Ticks before the lifts at which each wire of the line goes live."""
    levels: Mapping[Cell, Mapping[Cell, int]] = field(default_factory=dict)
    """The level that each wire of the line, itself at the highest, gives to the others."""
    reach: int = 15
    clear: Set[Cell] = frozenset()
    """Cells in which nothing conducts, or that can be dug: power climbs past them."""
    rock: Set[Cell] = frozenset()
    """Cells that stay ground, and conduct."""

    falling: Set[Cell] = frozenset()
    """Wires of the line that power comes down from: they stand on what conducts."""

    def within(self, cells: Set[Cell]) -> WireGround:
        """The same, of these cells only."""
        cost = {
            cell: parts
            for cell, parts in self.cost.items()
            if cell in cells and (parts == 1 or add(cell, DOWN) in cells)
        }
        return replace(self, cost=cost)

    def joined(self, wire: Cell, ticks: int) -> Iterator[Cell]:
        """Cells and wires of the line that may be live at once with a wire, beside it."""
        for side in JOINS:
            there = add(wire, side)
            if there in self.cost:
                if self.when[there] in (ALWAYS, ticks):
                    yield there
            elif self.line.get(there) == ticks and wire not in self.line:
                yield there


NO_WIRES = WireGround()
"""Cables of sensors only."""


def wire_ground(
    parts: Mapping[Cell, Part],
    free: Set[Cell],
    rock: Set[Cell],
    surface: Set[Cell],
    lead: Mapping[Cell, int],
    lifts: Mapping[Cell, Cell],
) -> WireGround:
    """Where wires may lie without waking anything but lifts, and those in time.

    `free` cells have nothing in them and may be dug, `rock` stays ground beside them; `surface`
    is what can be seen; `lead` says when the wires of the line go live, `lifts` which way they
    face.
    """
    ears = _Ears(parts, rock, surface, lead, lifts)
    cost: dict[Cell, int] = {}
    when: dict[Cell, int] = {}
    blocks: dict[Cell, int] = {}
    for cell in free:
        below = add(cell, DOWN)
        stands = parts.get(below)
        footing = 2 if stands is None and below in free else 0
        if stands is not None and stands.kind in _DEAF:
            footing = 1
        times = ears.times(cell) if footing else None
        if times is not None and len(times) < 2:
            cost[cell], when[cell] = footing, next(iter(times), ALWAYS)
            if footing == 2 and below not in ears.outputs | ears.foreign:
                # Such a block also powers what hears of the line, and must do so in time.
                time = when[cell] if below not in ears.near else 0
                if time == when[cell] or when[cell] == ALWAYS:
                    blocks[cell] = time
    clear = free | {p.at for p in parts.values() if p.kind not in CONDUCTIVE}
    falling = {w for w in lead if add(w, DOWN) in parts and parts[add(w, DOWN)].kind in CONDUCTIVE}
    return WireGround(cost, when, blocks, lead, clear=clear, rock=rock, falling=falling)


class _Ears:
    """What hears a wire, by the rules of power, with overhead pickup."""

    def __init__(
        self,
        parts: Mapping[Cell, Part],
        rock: Set[Cell],
        surface: Set[Cell],
        lead: Mapping[Cell, int],
        lifts: Mapping[Cell, Cell],
    ) -> None:
        self.parts, self.rock, self.surface, self.lead = parts, rock, surface, lead
        self.lifts = lifts
        self.pointing = {w for w in lead if any(add(w, side) in lifts for side in LEVEL)}
        """Wires of the line that must point at a lift: nothing may turn them aside."""
        self.outputs = {
            sub(p.at, VECTOR[p.face]) for p in parts.values() if p.kind == "sensor" and p.face
        }
        self.near = _hearing(p for p in parts.values() if p.kind not in FULL)
        """Cells that would wake something if they conduct and have power."""
        self.foreign = _hearing(
            p for p in parts.values() if p.kind not in FULL and not self._own(p.at, p)
        )
        """The same without lifts and the line."""

    def times(self, cell: Cell) -> set[int] | None:
        """When a wire may go live there: at any of no times, at the only one, never if None."""
        if cell in self.outputs:
            return None
        found: set[int] = set()
        for heard in (self._beside(cell), self._below(cell)):
            if heard is None:
                return None
            found |= heard
        return found

    def _beside(self, cell: Cell) -> set[int] | None:
        found: set[int] = set()
        for side in _SIDES:
            near = add(cell, side)
            part = self.parts.get(near)
            if near in self.surface or (near in self.rock and near in self.near):
                return None
            if part is None or part.kind in _DEAF:
                continue
            if not self._own(near, part):
                return None
            found.add(self.lead.get(near, 0))
        for side in JOINS:
            near = add(cell, side)
            part = self.parts.get(near)
            if part is not None and part.kind == "wire":
                if near not in self.lead or near in self.pointing:
                    return None
                found.add(self.lead[near])
        return found

    def _below(self, cell: Cell) -> set[int] | None:
        """Rams that pick power up: one cell below the cells beside it, two cells below it."""
        found: set[int] = set()
        for cell_above in (*(add(cell, side) for side in LEVEL), add(cell, DOWN)):
            ram = self.parts.get(add(cell_above, DOWN))
            if ram is not None and ram.kind in RAMS:
                if ram.at not in self.lifts:
                    return None
                found.add(0)
        return found

    def _own(self, at: Cell, part: Part) -> bool:
        """Whether a part belongs to the line or is a lift: it fires with the wire."""
        return at in self.lead or at in self.lifts or (part.unit == "line" and part.kind == "block")


def firing(lift: Cell, face: Cell, ground: WireGround) -> dict[Cell, bool]:
    """Cells in which a wire fires a lift: through the block below it (True), or by pointing."""
    found: dict[Cell, bool] = {}
    for side in _SIDES:
        near = add(lift, side)
        if side == face:
            continue
        if side[2] == 0 and near in ground.cost:
            found.setdefault(near, False)
        if ground.blocks.get(add(near, UP)) in (ALWAYS, 0):
            found[add(near, UP)] = True
    return {cell: block for cell, block in found.items() if ground.when[cell] in (ALWAYS, 0)}


def _hearing(parts: Iterable[Part]) -> set[Cell]:
    """Cells beside what hears power there; a ram also hears what is beside the cell above it."""
    ears = set()
    for part in parts:
        ears |= {part.at, add(part.at, UP)} if part.kind in RAMS else {part.at}
    return {add(cell, side) for cell in ears for side in _SIDES}
