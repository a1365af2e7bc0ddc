"""Machine -> circuit: who feeds whom, worked out once."""

from __future__ import annotations

from collections.abc import Iterator

from models.geometry import VECTOR, Cell, add, step, sub
from models.parts import CONDUCTIVE, RAMS, Part
from solver.simulate.circuit import (
    DOWN,
    SIDES,
    SIX,
    UP,
    Button,
    Circuit,
    Gate,
    Logic,
    Ram,
    Sensor,
    Wire,
)
from solver.simulate.world import World

SWITCHES = frozenset({"inverter", "buffer", "sensor", "button"})


def compile_circuit(world: World) -> Circuit:
    """The circuit of a machine in one world, everything off, all rams in."""
    circuit = Circuit()
    _list_parts(circuit, world)
    _link_wires(circuit, world)
    binder = _Binder(circuit, world)
    for index, wire in enumerate(circuit.wires):
        binder.bind_wire(index, wire)
    for index, reader in enumerate(circuit.readers):
        binder.bind_reader(index, reader)
    for wire in circuit.wires:
        drivers = [(wire.base, 0)] + [(d, 1 << side) for side, d in enumerate(wire.sides)]
        wire.outlets = [(d, bit) for d, bit in drivers if circuit.drivers[d].feeds()]
    return circuit


# ---------------------------------------------------------------- parts


def _list_parts(circuit: Circuit, world: World) -> None:
    for part in sorted((p for p in world.machine.parts if p.kind in RAMS), key=lambda p: p.at):
        assert part.face is not None
        circuit.ram_at[part.at] = len(circuit.rams)
        circuit.rams.append(Ram(part.at, part.face, part.kind == "grip_ram"))
    for part in world.machine.parts:
        if part.kind == "wire":
            circuit.wire_at[part.at] = len(circuit.wires)
            wire = Wire(part.at, base=circuit.new_driver())
            wire.sides = tuple(circuit.new_driver() for _ in SIDES)
            circuit.wires.append(wire)
        elif part.kind in SWITCHES:
            _list_switch(circuit, world, part)
    circuit.readers = [*circuit.rams, *circuit.logic]


def _list_switch(circuit: Circuit, world: World, part: Part) -> None:
    rules = world.machine.rules
    driver = circuit.driver_at[part.at] = circuit.new_driver()
    assert part.face is not None
    match part.kind:
        case "inverter":
            circuit.logic.append(Logic(part.at, True, 2 * rules.inverter_delay, driver))
        case "buffer":
            circuit.logic.append(Logic(part.at, False, 2 * (part.delay or 1), driver))
        case "sensor":
            watched = step(part.at, part.face)
            circuit.watchers.setdefault(watched, []).append(len(circuit.sensors))
            delay = 2 * rules.sensor_delay
            circuit.sensors.append(Sensor(part.at, watched, driver, delay))
        case _:
            circuit.buttons.append(Button(part.at, driver, 2 * (part.press or rules.press)))


# ---------------------------------------------------------------- wire to wire


def _link_wires(circuit: Circuit, world: World) -> None:
    around: list[set[int]] = [set() for _ in circuit.wires]
    for index, wire in enumerate(circuit.wires):
        for side, vector in enumerate(SIDES):
            for other in _link_side(circuit, world, index, wire, side, vector):
                around[index].add(other)
                around[other].add(index)
    for index, wire in enumerate(circuit.wires):
        if wire.net >= 0:
            continue
        members, wire.net = [index], len(circuit.nets)
        for member in members:
            for other in sorted(around[member]):
                if circuit.wires[other].net < 0:
                    circuit.wires[other].net = len(circuit.nets)
                    members.append(other)
        circuit.nets.append(members)


def _link_side(
    circuit: Circuit, world: World, index: int, wire: Wire, side: int, vector: Cell
) -> Iterator[int]:
    """Connect a wire on one side; gives the wires whose level can come in there."""
    beside, bit = add(wire.at, vector), 1 << side
    part = world.part_at.get(beside)
    if part is not None and _joins(part, vector):
        wire.fixed_sides |= bit
    if beside in circuit.wire_at:
        wire.fixed_sides |= bit
        yield from _link(circuit, index, circuit.wire_at[beside], None, None)
    for other, clear in (
        (circuit.wire_at.get(add(beside, UP)), add(wire.at, UP)),
        (circuit.wire_at.get(add(beside, DOWN)), beside),
    ):
        cut = world.always_conducts(clear)
        if other is None or cut is True:
            continue
        if cut is None:
            wire.step_sides.append((bit, clear))
            circuit.steppers.setdefault(clear, []).append(index)
        else:
            wire.fixed_sides |= bit
        # The level of an upper wire comes down only over a block that conducts.
        over = beside if clear != beside else None
        carries = over is None or world.always_conducts(over)
        if carries is not False:
            gap = clear if cut is None else None
            yield from _link(circuit, index, other, gap, None if carries else over)


def _link(
    circuit: Circuit, into: int, other: int, clear: Cell | None, under: Cell | None
) -> Iterator[int]:
    circuit.wires[other].feeds.append((into, clear, under))
    yield other


def _joins(part: Part, vector: Cell) -> bool:
    """Whether a wire connects to a part that is not a wire, and lies in direction `vector`."""
    if part.kind in ("inverter", "button"):
        return True
    if part.face is None:
        return False
    ahead = VECTOR[part.face]
    if part.kind == "buffer":
        return vector in (ahead, sub((0, 0, 0), ahead))
    # A sensor's output is opposite to its face, so the wire lies behind it.
    return part.kind == "sensor" and vector == ahead


# ---------------------------------------------------------------- power


def _powers(part: Part, cell: Cell) -> bool:
    """Whether the part, when on, powers a part in the neighbouring `cell`."""
    if part.kind == "button":
        return True
    if part.face is None:
        return False
    if part.kind == "inverter":
        return step(part.at, part.face) != cell
    if part.kind == "buffer":
        return step(part.at, part.face) == cell
    return part.kind == "sensor" and step(part.at, part.face, -1) == cell


def _powers_strongly(part: Part, cell: Cell) -> bool:
    """Whether the part, when on, strongly powers a block in the neighbouring `cell`."""
    if part.face is None:
        return False
    if part.kind == "inverter":
        return add(part.at, UP) == cell and part.face != "+z"
    if part.kind in ("button", "buffer"):
        return step(part.at, part.face) == cell
    return part.kind == "sensor" and step(part.at, part.face, -1) == cell


class _Binder:
    """Binds drivers to those who read them: directly, through blocks, through gates."""

    def __init__(self, circuit: Circuit, world: World) -> None:
        self.circuit = circuit
        self.world = world

    def bind_wire(self, index: int, wire: Wire) -> None:
        """Sources and strongly powered blocks next to a wire."""
        seeds: set[int] = set()
        for vector in SIX:
            beside = add(wire.at, vector)
            part = self.world.part_at.get(beside)
            if part is not None and part.kind in SWITCHES and _powers(part, wire.at):
                seeds.add(self.circuit.driver_at[beside])
            always = self.world.always_conducts(beside)
            if always is False:
                continue
            strong = [driver for driver, is_strong in self._around(beside) if is_strong]
            if always:
                seeds.update(strong)
            elif strong:
                self.circuit.gates[self._gate(beside)].wires.append(index)
        for driver in sorted(seeds):
            self.circuit.drivers[driver].wires.append(index)

    def bind_reader(self, index: int, reader: Ram | Logic) -> None:
        """All that a ram, buffer or inverter reads."""
        direct: set[int] = set()
        gates: set[int] = set()
        for neighbour, cell in self._looks_at(reader):
            part = self.world.part_at.get(neighbour)
            if part is not None and part.kind not in CONDUCTIVE:
                direct.update(self._part_drivers(part, cell, reader))
                continue
            drivers = self._around(neighbour)
            if not drivers:
                continue
            if self.world.always_conducts(neighbour):
                direct.update(driver for driver, _ in drivers)
            else:
                gates.add(self._gate(neighbour))
        for driver in sorted(direct):
            self.circuit.drivers[driver].readers.append(index)
        for gate in sorted(gates):
            self.circuit.gates[gate].readers.append(index)

    def _around(self, cell: Cell) -> list[tuple[int, bool]]:
        """All drivers that power a conductive block in `cell`; True where strongly."""
        found: list[tuple[int, bool]] = []
        for vector in SIX:
            part = self.world.part_at.get(add(cell, vector))
            if part is None:
                continue
            if part.kind == "wire":
                wire = self.circuit.wires[self.circuit.wire_at[part.at]]
                if vector == UP:
                    found.append((wire.base, False))
                elif vector != DOWN:
                    found.append((wire.sides[SIDES.index(vector) ^ 1], False))
            elif part.kind in SWITCHES and _powers_strongly(part, cell):
                found.append((self.circuit.driver_at[part.at], True))
        return found

    def _gate(self, cell: Cell) -> int:
        circuit = self.circuit
        if cell not in circuit.gate_at:
            circuit.gate_at[cell] = index = len(circuit.gates)
            circuit.gates.append(Gate(self.world.conducts(cell)))
            for driver, strong in self._around(cell):
                circuit.drivers[driver].gates.append((index, strong))
        return circuit.gate_at[cell]

    def _looks_at(self, reader: Ram | Logic) -> Iterator[tuple[Cell, Cell]]:
        """(neighbour, the cell that it would power) for everything the reader looks at."""
        if isinstance(reader, Logic):
            face = self.world.part_at[reader.at].face
            assert face is not None
            mount = step(reader.at, face)
            if not reader.inverter:
                yield step(reader.at, face, -1), reader.at
            elif self.world.always_conducts(mount) is not False:
                yield mount, reader.at
            return
        ahead = step(reader.at, reader.face)
        for vector in SIX:
            neighbour = add(reader.at, vector)
            if neighbour != ahead:
                yield neighbour, reader.at
        if self.world.case.overhead:
            above = add(reader.at, UP)
            for vector in SIX:
                neighbour = add(above, vector)
                if neighbour != reader.at:
                    yield neighbour, above

    def _part_drivers(self, part: Part, cell: Cell, reader: Ram | Logic) -> list[int]:
        """The drivers of a part that is no block, as far as they power a part in `cell`."""
        if part.kind in SWITCHES:
            return [self.circuit.driver_at[part.at]] if _powers(part, cell) else []
        if part.kind != "wire":
            return []
        wire = self.circuit.wires[self.circuit.wire_at[part.at]]
        vector = sub(cell, part.at)
        if isinstance(reader, Logic) or vector == DOWN:
            return [wire.base]
        return [] if vector == UP else [wire.sides[SIDES.index(vector)]]
