"""Sensors and wires of a net as they are placed: no cell twice, and nothing wakes what it must not.

Everything can be taken back, last in first out, so a search may try and undo.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, field

from models.geometry import VECTOR, Cell, add
from models.parts import Kind, Part
from solver.net.cables import Space, ahead, outputs_of, sensors_of
from solver.net.lift_lines import DOWN, UP
from solver.net.wire_ground import ALWAYS, JOINS, WireGround

_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())


@dataclass(frozen=True)
class Laid:
    """A tree of cables and wires."""

    watches: Mapping[Cell, Cell]
    """The cell that each sensor watches."""
    wires: Mapping[Cell, int] = field(default_factory=dict)
    """When each wire goes live, in ticks before the lifts."""
    footing: Mapping[Cell, Kind] = field(default_factory=dict)
    """What was placed for wires to stand on."""
    clear: frozenset[Cell] = frozenset()
    """Cells past which power climbs."""

    @property
    def size(self) -> int:
        """How many parts."""
        return len(self.watches) + len(self.wires) + len(self.footing)

    def parts(self) -> list[Part]:
        """Sensors, wires and what the wires stand on."""
        wires = [Part("wire", cell, unit="link") for cell in self.wires]
        footing = [Part(kind, cell, unit="link") for cell, kind in self.footing.items()]
        return [*sensors_of(self.watches), *wires, *footing]

    def air(self) -> set[Cell]:
        """Cells to dig beside the parts: no ground may hear a sensor or a wire."""
        beside = {add(wire, side) for wire in self.wires for side in _SIDES}
        return outputs_of(self.watches) | beside | self.clear


class Layout:
    """A tree that grows and shrinks."""

    def __init__(
        self, space: Space, ground: WireGround, blocked: Set[Cell], silent: Set[Cell]
    ) -> None:
        """`blocked`: cells of the trigger; `silent`: where power would reach its ram from above."""
        self.space, self.ground, self.blocked, self.silent = space, ground, blocked, silent
        self.heard = {add(cell, side) for cell in blocked | silent for side in _SIDES}
        self.watches: dict[Cell, Cell] = {}
        self.wires: dict[Cell, int] = {}
        self.came: dict[Cell, Cell] = {}
        """From where a wire has its power."""
        self.footing: dict[Cell, Kind] = {}
        self.outputs: Counter[Cell] = Counter()
        """Where sensors put out that lead no wire."""
        self.clear: Counter[Cell] = Counter()
        self._undo: list[Callable[[], None]] = []

    def laid(self) -> Laid:
        """The tree as it is now."""
        return Laid(
            dict(self.watches), dict(self.wires), dict(self.footing), frozenset(+self.clear)
        )

    def mark(self) -> int:
        """A point to go back to."""
        return len(self._undo)

    def back(self, mark: int) -> None:
        """Take back all that came after it."""
        while len(self._undo) > mark:
            self._undo.pop()()

    # ------------------------------------------------------------------ sensors

    def is_free(self, cell: Cell) -> bool:
        """Whether nothing of the net or its trigger stands there."""
        taken = cell in self.watches or cell in self.wires or cell in self.footing
        return not taken and cell not in self.blocked

    def sense(self, sensor: Cell, watched: Cell, wire: Cell | None = None) -> bool:
        """Place a sensor. It puts out into `wire`, a wire or a lift, or where all is deaf."""
        out = ahead(watched, sensor)
        if sensor not in self.space.free or not self.is_free(sensor):
            return False
        if wire is None:
            if out in self.silent or out not in self.space.inert or out in self.wires:
                return False
            if self.footing.get(out) == "block" or (out in self.ground.rock and self._by_wire(out)):
                return False
            self.outputs[out] += 1
            self._undo.append(lambda: self.outputs.subtract([out]))
        self.watches[sensor] = watched
        self._undo.append(lambda: self._forget(self.watches, sensor))
        return True

    def _by_wire(self, cell: Cell) -> bool:
        return any(add(cell, side) in self.wires for side in _SIDES)

    # ------------------------------------------------------------------ wires

    def lead_on(self, wire: Cell, ticks: int, came: Cell) -> bool:
        """Place a wire that has its power from a sensor or from another wire."""
        ground, below = self.ground, add(wire, DOWN)
        if not self.is_free(wire) or ground.when[wire] not in (ALWAYS, ticks):
            return False
        if wire in self.heard or self.outputs[wire] > 0:
            return False
        if any(self.wires.get(add(wire, side), ticks) != ticks for side in JOINS):
            return False
        if any(self.outputs[c] > 0 and c in ground.rock for c in (add(wire, s) for s in _SIDES)):
            return False
        if ground.cost[wire] == 2:
            if not self.is_free(below):
                return False
            self.footing[below] = "insulator"
            self._undo.append(lambda: self._forget(self.footing, below))
        self.wires[wire], self.came[wire] = ticks, came
        self._undo.append(lambda: self._forget(self.wires, wire))
        return self.join(came, wire, ticks) if came not in self.watches else True

    def join(self, wire: Cell, other: Cell, ticks: int) -> bool:
        """Whether power passes from a wire to one beside it; sees to the climb if there is one."""
        rise = other[2] - wire[2]
        if rise == 0:
            return True
        low, high = (wire, other) if rise > 0 else (other, wire)
        past = add(low, UP)
        if past not in self.ground.clear or self.footing.get(past) == "block":
            return False
        self.clear[past] += 1
        self._undo.append(lambda: self.clear.subtract([past]))
        return rise > 0 or high in self.ground.falling or self.on_block(high, ticks)

    def on_block(self, wire: Cell, ticks: int) -> bool:
        """Let a wire stand on a block."""
        below = add(wire, DOWN)
        if wire not in self.wires or self.ground.blocks.get(wire) not in (ALWAYS, ticks):
            return False
        if below in self.heard or self.outputs[below] > 0 or self.clear[below] > 0:
            return False
        if self.footing[below] != "block":
            self.footing[below] = "block"
            self._undo.append(lambda: self.footing.update({below: "insulator"}))
        return True

    def points_at(self, wire: Cell, target: Cell) -> bool:
        """Whether a wire that ends there points at the cell beside it."""
        came = self.came[wire]
        return (2 * wire[0] - came[0], 2 * wire[1] - came[1]) == target[:2]

    @staticmethod
    def _forget(cells: dict[Cell, Cell] | dict[Cell, int] | dict[Cell, Kind], key: Cell) -> None:
        del cells[key]
