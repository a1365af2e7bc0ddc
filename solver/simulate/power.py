"""Who is powered: every change walks along the lists of what it feeds, and no further."""

from __future__ import annotations

from collections.abc import Iterable

from models.geometry import Cell
from solver.simulate.circuit import Circuit, Gate, Wire
from solver.simulate.journal import Journal
from solver.simulate.world import World


class Power:
    """Keeps the counts of all readers and the levels of all wires right."""

    def __init__(self, circuit: Circuit, world: World, journal: Journal) -> None:
        self.circuit = circuit
        self.world = world
        self.journal = journal
        self.touched: set[int] = set()
        """Readers that may read something new."""
        self._stale_nets: set[int] = set()
        for wire in circuit.wires:
            wire.points = self._pointing(wire)

    def switch(self, index: int, on: bool) -> None:
        """Turn a driver on or off. Wires follow with `update_wires`."""
        driver = self.circuit.drivers[index]
        if driver.on == on:
            return
        driver.on = on
        delta = 1 if on else -1
        if driver.readers:
            self._feed(driver.readers, delta)
        for wire in driver.wires:
            self.seed(wire, delta)
        for gate_index, strong in driver.gates:
            gate = self.circuit.gates[gate_index]
            had_any, had_strong = gate.any_on > 0, gate.strong_on > 0
            gate.any_on += delta
            gate.strong_on += delta if strong else 0
            if gate.open:
                self._through(gate, had_any, gate.any_on > 0, had_strong, gate.strong_on > 0)

    def _through(self, gate: Gate, had: bool, has: bool, had_strong: bool, strong: bool) -> None:
        if had != has:
            self._feed(gate.readers, 1 if has else -1)
        if had_strong != strong:
            for wire in gate.wires:
                self.seed(wire, 1 if strong else -1)

    def _feed(self, readers: list[int], delta: int) -> None:
        for index in readers:
            self.circuit.readers[index].count += delta
        self.touched.update(readers)

    def seed(self, index: int, delta: int) -> None:
        """One source more, or fewer, next to a wire."""
        wire = self.circuit.wires[index]
        wire.seeds += delta
        self._stale_nets.add(wire.net)

    def refresh(self, cells: Iterable[Cell]) -> None:
        """Tape came to these cells, left them or came to rest there: do they conduct now?"""
        circuit = self.circuit
        for cell in cells:
            gate_index = circuit.gate_at.get(cell)
            if gate_index is not None:
                gate = circuit.gates[gate_index]
                has = self.world.conducts(cell)
                if gate.open != has:
                    gate.open = has
                    power, strong = gate.any_on > 0, gate.strong_on > 0
                    self._through(
                        gate, power and not has, power and has, strong and not has, strong and has
                    )
            for index in circuit.steppers.get(cell, ()):
                wire = circuit.wires[index]
                self._stale_nets.add(wire.net)
                wire.points = self._pointing(wire)
                self._drive(wire)
            over = circuit.wire_at.get((cell[0], cell[1], cell[2] + 1))
            if over is not None:  # Its level may come down over this cell.
                self._stale_nets.add(circuit.wires[over].net)

    def _pointing(self, wire: Wire) -> int:
        sides = wire.fixed_sides
        for bit, cell in wire.step_sides:
            if not self.world.conducts(cell):
                sides |= bit
        if sides == 0:
            return 0b1111
        if sides & 0b0011 and not sides & 0b1100:
            return 0b0011
        if sides & 0b1100 and not sides & 0b0011:
            return 0b1100
        return sides

    def _drive(self, wire: Wire) -> None:
        on, points = wire.level > 0, wire.points
        for driver, bit in wire.outlets:
            self.switch(driver, on and (not bit or bool(points & bit)))

    def update_wires(self) -> None:
        """Bring every net whose feeding changed up to date; no wire feeds another net."""
        if self._stale_nets:
            for net in sorted(self._stale_nets):
                self._update_net(self.circuit.nets[net])
            self._stale_nets.clear()

    def _update_net(self, members: list[int]) -> None:
        wires = self.circuit.wires
        level = self._levels(members)
        for index in members:
            wire = wires[index]
            new = level.get(index, 0)
            if wire.level != new:
                was, wire.level = wire.level, new
                self.journal.note("wire", index, new)
                self.world.changed.add(wire.at)
                if not (was and new):
                    self._drive(wire)

    def _levels(self, members: list[int]) -> dict[int, int]:
        """The level of every live wire of a net: full beside sources, then one less a cell."""
        wires = self.circuit.wires
        value = self.world.machine.rules.reach
        front = [index for index in members if wires[index].seeds > 0]
        level = dict.fromkeys(front, value)
        while front and value > 1:
            value -= 1
            following: list[int] = []
            for index in front:
                for other, clear, under in wires[index].feeds:
                    if other not in level and (
                        (clear is None and under is None) or self._passes(clear, under)
                    ):
                        level[other] = value
                        following.append(other)
            front = following
        return level

    def _passes(self, clear: Cell | None, under: Cell | None) -> bool:
        conducts = self.world.conducts
        return (clear is None or not conducts(clear)) and (under is None or conducts(under))
