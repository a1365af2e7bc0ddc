"""The simulator: every rule of the block world at half-tick resolution, event by event.

Its cost follows what changes. At the start each thing that can be on ("driver": a sensor,
buffer, inverter, button, or one direction of a wire) is bound to the inputs that it feeds, so
that a change is a walk along a short list. Blocks that never move are folded into those lists;
cells that the tape may enter keep a gate, open while a tape block rests there.

This module shares no code with the search.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import IntEnum

from models.geometry import HORIZONTAL, VECTOR, Cell, Face, add, step
from models.machine import Case, Machine, MachineFault
from models.parts import CONDUCTIVE, FULL, RAMS, Part

UP: Cell = (0, 0, 1)
DOWN: Cell = (0, 0, -1)
SIDES: tuple[Cell, ...] = tuple(VECTOR[face] for face in HORIZONTAL)
SIX: tuple[Cell, ...] = (*SIDES, UP, DOWN)
REST_LIMIT = 4000
"""Half-ticks after which a machine that still moves counts as never coming to rest."""


class Stroke(IntEnum):
    """What a ram is doing."""

    IN = 0
    EXTENDING = 1
    OUT = 2
    RETRACTING = 3


@dataclass
class Gate:
    """A cell that conducts only while a tape block rests in it."""

    any_on: int = 0
    strong_on: int = 0
    open: bool = False
    inputs: list[int] = field(default_factory=list)
    wires: list[int] = field(default_factory=list)


@dataclass
class Driver:
    """Something that can be on, and all that it feeds."""

    on: bool = False
    inputs: list[int] = field(default_factory=list)
    wires: list[int] = field(default_factory=list)
    gates: list[tuple[int, bool]] = field(default_factory=list)

    def feeds(self) -> bool:
        """Whether switching this driver can matter at all."""
        return bool(self.inputs or self.wires or self.gates)


@dataclass
class WireState:
    """One wire: its links, the directions it points in, and its drivers."""

    at: Cell
    level: int = 0
    seeds: int = 0
    net: int = -1
    links: list[tuple[int, Cell | None, Cell | None]] = field(default_factory=list)
    """(other wire, cell that must not conduct, cell that must conduct) for level to come in."""
    fixed_sides: int = 0
    """Bit mask of the sides on which it always connects."""
    step_sides: list[tuple[int, Cell]] = field(default_factory=list)
    """Sides on which it connects while the given cell does not conduct."""
    points: int = 0
    side_drivers: list[int] = field(default_factory=lambda: [-1, -1, -1, -1])
    base_driver: int = -1


@dataclass
class RamState:
    """One ram. `count` active terms power it."""

    at: Cell
    face: Face
    grip: bool
    count: int = 0
    state: Stroke = Stroke.IN
    pushed: int = -1
    """The block next to the head that the stroke under way pushes, or -1."""
    blocked_fault: bool = False


@dataclass
class LogicState:
    """A buffer or an inverter."""

    at: Cell
    inverter: bool
    delay: int
    driver: int
    count: int = 0
    pending: bool = False
    on: bool = False


@dataclass
class SensorState:
    """A sensor: `busy` while it waits or is on."""

    at: Cell
    watched: Cell
    driver: int
    busy: bool = False
    seen: object = None


@dataclass(frozen=True)
class PressReport:
    """What one press did."""

    press: int
    half_ticks: int
    """From the press until everything is at rest."""
    faults: tuple[MachineFault, ...]

    @property
    def ok(self) -> bool:
        """Whether the press broke no rule."""
        return not self.faults


Event = tuple[int, str, int, object]
"""(half-tick, what, which, new value): what is "wire", "on", "ram", "head" or "tape"."""


class Simulation:
    """A machine in one world, ready to be pressed.

    `order` +1 lets rams start in file order, -1 in the reverse: a sound machine does not care.
    Raises nothing: breaches of the rules are collected in `faults`.
    """

    def __init__(
        self, machine: Machine, case: Case, *, order: int = 1, record: bool = False
    ) -> None:
        self.machine = machine
        self.rules = machine.rules
        self.case = case
        self.now = 0
        self.faults: list[MachineFault] = []
        self.events: list[Event] | None = [] if record else None
        self._known_faults: set[tuple[str, tuple[Cell, ...]]] = set()
        self._order = order
        self.part_at: dict[Cell, Part] = {part.at: part for part in machine.parts}
        self._dug = machine.dug_cells
        self._tape_cells = frozenset(machine.tape)
        self.tape: dict[Cell, int] = {cell: i for i, cell in enumerate(machine.tape)}
        self.block_at: list[Cell] = list(machine.tape)
        self._transit: dict[int, int] = {}
        self._moved: dict[int, tuple[int, int]] = {}
        self.heads: dict[Cell, int] = {}
        self._strokes: dict[int, list[tuple[str, int, int]]] = {}
        self._queue: list[tuple[int, int, int, int]] = []
        self._serial = 0
        self._dirty_cells: set[Cell] = set()
        self._dirty_nets: set[int] = set()
        self._touched: set[int] = set()
        self._ready: set[int] = set()
        """Rams whose power or surroundings may ask for a stroke."""
        self._build()
        self._settle()

    # ---------------------------------------------------------------- the world

    def _fixed_conductive(self, cell: Cell) -> bool | None:
        """True / False for cells that never change, None where tape may come."""
        part = self.part_at.get(cell)
        if part is not None:
            return part.kind in CONDUCTIVE
        if self.is_ground(cell):
            return True
        return None

    def is_ground(self, cell: Cell) -> bool:
        """Whether the cell is undug ground in this world."""
        return (
            self.case.ground
            and cell not in self.part_at
            and cell not in self._tape_cells
            and cell not in self._dug
            and not self.machine.in_room(cell)
        )

    def conducts(self, cell: Cell) -> bool:
        """Whether the cell holds something that passes power now."""
        fixed = self._fixed_conductive(cell)
        if fixed is not None:
            return fixed
        block = self.tape.get(cell)
        return block is not None and block not in self._transit

    # ---------------------------------------------------------------- building

    def _build(self) -> None:
        self.drivers: list[Driver] = []
        self.wires: list[WireState] = []
        self.rams: list[RamState] = []
        self.logic: list[LogicState] = []
        self.sensors: list[SensorState] = []
        self.buttons: list[tuple[Cell, int, int]] = []
        self.gates: list[Gate] = []
        self._wire_at: dict[Cell, int] = {}
        self._ram_at: dict[Cell, int] = {}
        self._logic_at: dict[Cell, int] = {}
        self._driver_at: dict[Cell, int] = {}
        self._gate_at: dict[Cell, int] = {}
        self._watchers: dict[Cell, list[int]] = {}
        self._step_cells: dict[Cell, list[int]] = {}
        self._inputs: list[RamState | LogicState] = []
        self._sensor_on: dict[Cell, int] = {}
        for part in self.machine.parts:
            self._add_part(part)
        self._link_wires()
        for index, wire in enumerate(self.wires):
            self._bind_wire(index, wire)
        for index, reader in enumerate(self._inputs):
            self._bind_input(index, reader)

    def _new_driver(self) -> int:
        self.drivers.append(Driver())
        return len(self.drivers) - 1

    def _add_part(self, part: Part) -> None:
        at, kind = part.at, part.kind
        if kind == "wire":
            self._wire_at[at] = len(self.wires)
            self.wires.append(WireState(at))
        elif kind in RAMS:
            assert part.face is not None
            self._ram_at[at] = len(self.rams)
            ram = RamState(at, part.face, kind == "grip_ram")
            self.rams.append(ram)
            self._inputs.append(ram)
        elif kind in ("buffer", "inverter"):
            driver = self._driver_at[at] = self._new_driver()
            inverter = kind == "inverter"
            delay = self.rules.inverter_delay if inverter else (part.delay or 1)
            self._logic_at[at] = len(self.logic)
            logic = LogicState(at, inverter, 2 * delay, driver)
            self.logic.append(logic)
            self._inputs.append(logic)
        elif kind == "sensor":
            assert part.face is not None
            driver = self._driver_at[at] = self._new_driver()
            watched = step(at, part.face)
            self._sensor_on[at] = len(self.sensors)
            self._watchers.setdefault(watched, []).append(len(self.sensors))
            self.sensors.append(SensorState(at, watched, driver))
        elif kind == "button":
            driver = self._driver_at[at] = self._new_driver()
            self.buttons.append((at, driver, 2 * (part.press or self.rules.press)))

    def _link_wires(self) -> None:
        for index, wire in enumerate(self.wires):
            for side, vector in enumerate(SIDES):
                self._link_side(index, wire, side, vector)
        self._name_nets()

    def _link_side(self, index: int, wire: WireState, side: int, vector: Cell) -> None:
        beside = add(wire.at, vector)
        bit = 1 << side
        if beside in self._wire_at:
            wire.links.append((self._wire_at[beside], None, None))
            wire.fixed_sides |= bit
            return
        part = self.part_at.get(beside)
        if part is not None and self._connects(wire.at, part, vector):
            wire.fixed_sides |= bit
        upper = self._wire_at.get(add(beside, UP))
        if upper is not None:
            # The level of the upper wire comes down only over a block that conducts.
            self._step_link(index, wire, bit, upper, add(wire.at, UP), beside)
        lower = self._wire_at.get(add(beside, DOWN))
        if lower is not None:
            self._step_link(index, wire, bit, lower, beside, None)

    def _step_link(
        self, index: int, wire: WireState, bit: int, other: int, clear: Cell, under: Cell | None
    ) -> None:
        fixed = self._fixed_conductive(clear)
        if fixed is True:
            return
        wire.links.append((other, None if fixed is False else clear, under))
        if fixed is False:
            wire.fixed_sides |= bit
        else:
            wire.step_sides.append((bit, clear))
            self._step_cells.setdefault(clear, []).append(index)

    @staticmethod
    def _connects(at: Cell, part: Part, vector: Cell) -> bool:
        if part.kind in ("inverter", "button"):
            return True
        if part.face is None:
            return False
        ahead = VECTOR[part.face]
        back = (-ahead[0], -ahead[1], -ahead[2])
        if part.kind == "buffer":
            return vector in (ahead, back)
        # A sensor's output is opposite to its face, so the wire lies behind it.
        return part.kind == "sensor" and vector == ahead

    def _name_nets(self) -> None:
        around: list[set[int]] = [set() for _ in self.wires]
        self._feeds: list[list[tuple[int, Cell | None, Cell | None]]] = [[] for _ in self.wires]
        """Links seen from the feeding wire."""
        for index, wire in enumerate(self.wires):
            for other, clear, under in wire.links:
                around[index].add(other)
                around[other].add(index)
                self._feeds[other].append((index, clear, under))
        self.nets: list[list[int]] = []
        for index, wire in enumerate(self.wires):
            if wire.net >= 0:
                continue
            members, wire.net = [index], len(self.nets)
            for member in members:
                for other in sorted(around[member]):
                    if self.wires[other].net < 0:
                        self.wires[other].net = len(self.nets)
                        members.append(other)
            self.nets.append(members)

    def _bind_wire(self, index: int, wire: WireState) -> None:
        wire.base_driver = self._new_driver()
        wire.side_drivers = [self._new_driver() for _ in SIDES]
        seeds: set[int] = set()
        for vector in SIX:
            beside = add(wire.at, vector)
            part = self.part_at.get(beside)
            if part is not None and self._source_powers(part, wire.at):
                seeds.add(self._driver_at[beside])
            strong = [d for d, is_strong in self._block_drivers(beside) if is_strong]
            fixed = self._fixed_conductive(beside)
            if fixed is True:
                seeds.update(strong)
            elif fixed is None and strong:
                self.gates[self._gate(beside)].wires.append(index)
        for driver in sorted(seeds):
            self.drivers[driver].wires.append(index)

    @staticmethod
    def _source_powers(part: Part, cell: Cell) -> bool:
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

    def _block_drivers(self, cell: Cell) -> list[tuple[int, bool]]:
        """All drivers that power a conductive block in `cell`; True where strongly."""
        found: list[tuple[int, bool]] = []
        for vector in SIX:
            beside = add(cell, vector)
            part = self.part_at.get(beside)
            if part is None:
                continue
            if part.kind == "wire":
                wire = self.wires[self._wire_at[beside]]
                if vector == UP:
                    found.append((wire.base_driver, False))
                elif vector != DOWN:
                    found.append((wire.side_drivers[_side(vector) ^ 1], False))
            elif self._strongly(part, cell, vector):
                found.append((self._driver_at[beside], True))
        return [(d, s) for d, s in found if d >= 0]

    @staticmethod
    def _strongly(part: Part, cell: Cell, vector: Cell) -> bool:
        if part.face is None:
            return False
        if part.kind == "inverter":
            return vector == DOWN
        if part.kind in ("button", "buffer"):
            return step(part.at, part.face) == cell
        return part.kind == "sensor" and step(part.at, part.face, -1) == cell

    def _gate(self, cell: Cell) -> int:
        if cell not in self._gate_at:
            self._gate_at[cell] = index = len(self.gates)
            self.gates.append(Gate(open=self.conducts(cell)))
            for driver, strong in self._block_drivers(cell):
                self.drivers[driver].gates.append((index, strong))
        return self._gate_at[cell]

    def _bind_input(self, index: int, reader: RamState | LogicState) -> None:
        direct: set[int] = set()
        gates: set[int] = set()
        for neighbour, cell in self._read_from(reader):
            part = self.part_at.get(neighbour)
            if part is not None and part.kind not in CONDUCTIVE:
                direct.update(self._part_drivers(part, cell, reader))
                continue
            drivers = self._block_drivers(neighbour)
            if not drivers:
                continue
            if self._fixed_conductive(neighbour):
                direct.update(driver for driver, _ in drivers)
            else:
                gates.add(self._gate(neighbour))
        for driver in sorted(direct):
            self.drivers[driver].inputs.append(index)
        for gate in sorted(gates):
            self.gates[gate].inputs.append(index)

    def _read_from(self, reader: RamState | LogicState) -> Iterator[tuple[Cell, Cell]]:
        """(neighbour, the cell it would power) for everything the reader looks at."""
        if isinstance(reader, LogicState):
            face = self.part_at[reader.at].face
            assert face is not None
            if reader.inverter:
                mount = step(reader.at, face)
                if self._fixed_conductive(mount):
                    yield mount, reader.at
            else:
                yield step(reader.at, face, -1), reader.at
            return
        ahead = step(reader.at, reader.face)
        for vector in SIX:
            neighbour = add(reader.at, vector)
            if neighbour != ahead:
                yield neighbour, reader.at
        if self.case.overhead:
            above = add(reader.at, UP)
            for vector in SIX:
                neighbour = add(above, vector)
                if neighbour != reader.at:
                    yield neighbour, above

    def _part_drivers(self, part: Part, cell: Cell, reader: RamState | LogicState) -> list[int]:
        if part.kind != "wire":
            return [self._driver_at[part.at]] if self._source_powers(part, cell) else []
        wire = self.wires[self._wire_at[part.at]]
        if isinstance(reader, LogicState):
            return [wire.base_driver]
        vector = (cell[0] - part.at[0], cell[1] - part.at[1], cell[2] - part.at[2])
        if vector == DOWN:
            return [wire.base_driver]
        return [] if vector == UP else [wire.side_drivers[_side(vector)]]

    # ---------------------------------------------------------------- the idle state

    def _settle(self) -> None:
        """Find the idle state: logic at a fixed point, then rams where their power puts them."""
        for wire in self.wires:
            wire.points = self._pointing(wire)
        for _ in range(2 * len(self.logic) + 8):
            changed = False
            for logic in self.logic:
                on = (logic.count == 0) if logic.inverter else (logic.count > 0)
                if on != logic.on:
                    logic.on = changed = True
                    logic.on = on
                    self._switch(logic.driver, on)
                    self._update_wires()
            if not changed:
                break
        else:
            self._fault("idle oscillates", tuple(x.at for x in self.logic[:2]), "no idle state")
        for index, ram in enumerate(self._inputs):
            if isinstance(ram, RamState) and ram.count > 0:
                self._rest_extended(index, ram)
        self._update_wires()
        self._touched.clear()
        self._dirty_cells.clear()
        for sensor in self.sensors:
            sensor.seen = self._look(sensor.watched)
        for index in range(len(self._inputs)):
            self._consider(index)

    def _rest_extended(self, index: int, ram: RamState) -> None:
        head = step(ram.at, ram.face)
        if head in self.tape or head in self.part_at or self.is_ground(head) or head in self.heads:
            return  # It will try when the clock starts, and the attempt is judged there.
        ram.state = Stroke.OUT
        self.heads[head] = index

    # ---------------------------------------------------------------- power

    def _switch(self, driver_index: int, on: bool) -> None:
        driver = self.drivers[driver_index]
        if driver.on == on:
            return
        driver.on = on
        delta = 1 if on else -1
        for index in driver.inputs:
            self._feed(index, delta)
        for index in driver.wires:
            self._seed(index, delta)
        for gate_index, strong in driver.gates:
            gate = self.gates[gate_index]
            had_any, had_strong = gate.any_on, gate.strong_on
            gate.any_on += delta
            gate.strong_on += delta if strong else 0
            if gate.open:
                self._pass_on(
                    gate, gate.any_on > 0, had_any > 0, gate.strong_on > 0, had_strong > 0
                )

    def _pass_on(self, gate: Gate, power: bool, had: bool, strong: bool, had_strong: bool) -> None:
        if power != had:
            for index in gate.inputs:
                self._feed(index, 1 if power else -1)
        if strong != had_strong:
            for index in gate.wires:
                self._seed(index, 1 if strong else -1)

    def _feed(self, index: int, delta: int) -> None:
        reader = self._inputs[index]
        reader.count += delta
        self._touched.add(index)

    def _seed(self, index: int, delta: int) -> None:
        wire = self.wires[index]
        wire.seeds += delta
        self._dirty_nets.add(wire.net)

    def _open_gate(self, cell: Cell) -> None:
        """A tape block came to, or left, or rested in the cell: does it conduct now?"""
        gate_index = self._gate_at.get(cell)
        steps = self._step_cells.get(cell)
        if gate_index is None and steps is None:
            return
        conducts = self.conducts(cell)
        if gate_index is not None:
            gate = self.gates[gate_index]
            if gate.open != conducts:
                gate.open = conducts
                power, strong = gate.any_on > 0, gate.strong_on > 0
                self._pass_on(
                    gate,
                    power and conducts,
                    power and not conducts,
                    strong and conducts,
                    strong and not conducts,
                )
        for index in steps or ():
            wire = self.wires[index]
            self._dirty_nets.add(wire.net)
            self._repoint(wire)

    def _pointing(self, wire: WireState) -> int:
        sides = wire.fixed_sides
        for bit, cell in wire.step_sides:
            if not self.conducts(cell):
                sides |= bit
        if sides == 0:
            return 0b1111
        if sides & 0b0011 and not sides & 0b1100:
            return 0b0011
        if sides & 0b1100 and not sides & 0b0011:
            return 0b1100
        return sides

    def _repoint(self, wire: WireState) -> None:
        wire.points = self._pointing(wire)
        self._drive_wire(wire)

    def _drive_wire(self, wire: WireState) -> None:
        on = wire.level > 0
        self._switch(wire.base_driver, on)
        for side, driver in enumerate(wire.side_drivers):
            self._switch(driver, on and bool(wire.points >> side & 1))

    def _update_wires(self) -> None:
        """Bring every net whose feeding changed up to date."""
        while self._dirty_nets:
            nets = sorted(self._dirty_nets)
            self._dirty_nets.clear()
            for net in nets:
                self._update_net(self.nets[net])

    def _update_net(self, members: list[int]) -> None:
        wires, reach = self.wires, self.rules.reach
        level = dict.fromkeys(members, 0)
        front = [index for index in members if wires[index].seeds > 0]
        for index in front:
            level[index] = reach
        value = reach
        feeds = self._feeds
        while front and value > 1:
            value -= 1
            following: list[int] = []
            for index in front:
                for other, clear, under in feeds[index]:
                    if level[other] == 0 and self._passes(clear, under):
                        level[other] = value
                        following.append(other)
            front = following
        for index in members:
            wire = wires[index]
            if wire.level != level[index]:
                wire.level = level[index]
                self._note("wire", index, wire.level)
                self._dirty_cells.add(wire.at)
                self._drive_wire(wire)

    def _passes(self, clear: Cell | None, under: Cell | None) -> bool:
        return (clear is None or not self.conducts(clear)) and (
            under is None or self.conducts(under)
        )

    # ---------------------------------------------------------------- the clock

    def _schedule(self, at: int, kind: int, index: int) -> None:
        self._serial += 1
        heapq.heappush(self._queue, (at, kind, self._serial, index))

    def _consider(self, index: int) -> None:
        """Schedule a buffer or inverter whose output no longer follows its input."""
        reader = self._inputs[index]
        if isinstance(reader, RamState):
            self._ready.add(index)
            return
        wanted = (reader.count == 0) if reader.inverter else (reader.count > 0)
        if wanted != reader.on and not reader.pending:
            reader.pending = True
            self._schedule(self.now + reader.delay, INVERTER if reader.inverter else BUFFER, index)

    def _take_touched(self) -> None:
        for index in sorted(self._touched):
            self._consider(index)
        self._touched.clear()

    def step(self) -> None:
        """Let one half-tick pass."""
        self.now += 1
        self._switch_logic()
        self._look_around()
        self._start_strokes()
        self._look_around()
        self._end_strokes()
        self._look_around()

    def _due(self, kinds: tuple[int, ...]) -> list[tuple[int, int]]:
        due: list[tuple[int, int]] = []
        later: list[tuple[int, int, int, int]] = []
        while self._queue and self._queue[0][0] <= self.now:
            entry = heapq.heappop(self._queue)
            (due.append((entry[1], entry[3])) if entry[1] in kinds else later.append(entry))
        for entry in later:
            heapq.heappush(self._queue, entry)
        return due

    def _switch_logic(self) -> None:
        first = self._due((BUFFER, BUTTON_ON, BUTTON_OFF, SENSOR_ON, SENSOR_OFF, SEED_ON, SEED_OFF))
        decided = [(kind, index, self._decide_buffer(kind, index)) for kind, index in first]
        for kind, index, value in decided:
            self._apply(kind, index, value)
        self._update_wires()
        self._take_touched()
        inverters = [(index, self._inputs[index].count == 0) for _, index in self._due((INVERTER,))]
        for index, lit in inverters:
            logic = self._inputs[index]
            assert isinstance(logic, LogicState)
            logic.pending = False
            self._set_logic(index, logic, lit)
        self._update_wires()
        self._take_touched()

    def _decide_buffer(self, kind: int, index: int) -> bool:
        """What a due buffer reads as the half-tick begins: (whether its input is on)."""
        return kind == BUFFER and self._inputs[index].count > 0

    def _apply(self, kind: int, index: int, value: bool) -> None:
        if kind == BUFFER:
            self._turn_buffer(index, value)
        elif kind in (BUTTON_ON, BUTTON_OFF):
            self._set_driver(self.buttons[index][0], self.buttons[index][1], kind == BUTTON_ON)
        elif kind in (SEED_ON, SEED_OFF):
            self._seed(index, 1 if kind == SEED_ON else -1)
        else:
            sensor = self.sensors[index]
            self._set_driver(sensor.at, sensor.driver, kind == SENSOR_ON)
            if kind == SENSOR_ON:
                self._schedule(self.now + 2 * self.rules.sensor_pulse, SENSOR_OFF, index)
            else:
                sensor.busy = False

    def _turn_buffer(self, index: int, powered: bool) -> None:
        buffer = self._inputs[index]
        assert isinstance(buffer, LogicState)
        buffer.pending = False
        if not buffer.on:
            # A pulse shorter than the delay still comes out, as long as the delay.
            self._set_logic(index, buffer, True)
            if not powered:
                buffer.pending = True
                self._schedule(self.now + buffer.delay, BUFFER, index)
        elif not powered:
            self._set_logic(index, buffer, False)

    def _set_logic(self, index: int, logic: LogicState, on: bool) -> None:
        if logic.on != on:
            logic.on = on
            self._set_driver(logic.at, logic.driver, on)
        self._touched.add(index)

    def _set_driver(self, at: Cell, driver: int, on: bool) -> None:
        self._switch(driver, on)
        self._dirty_cells.add(at)
        self._note("on", driver, int(on))

    # ---------------------------------------------------------------- sensors

    def _look(self, cell: Cell) -> object:
        """What a sensor sees in a cell; two looks differ exactly where it must fire."""
        block = self.tape.get(cell)
        if block is not None:
            return (1, block, block in self._transit)
        head = self.heads.get(cell)
        if head is not None:
            return (2, head, self._stroke(head))
        if cell in self._wire_at:
            return (3, self.wires[self._wire_at[cell]].level)
        if cell in self._ram_at:
            return (4, self.rams[self._ram_at[cell]].state)
        driver = self._driver_at.get(cell)
        return None if driver is None else (5, self.drivers[driver].on)

    def _stroke(self, index: int) -> Stroke:
        ram = self._inputs[index]
        assert isinstance(ram, RamState)
        return ram.state

    def _look_around(self) -> None:
        if not self._dirty_cells:
            return
        watchers = self._watchers
        for cell in self._dirty_cells:
            for index in watchers.get(cell, ()):
                sensor = self.sensors[index]
                seen = self._look(cell)
                if seen == sensor.seen:
                    continue
                sensor.seen = seen
                if not sensor.busy:
                    sensor.busy = True
                    self._schedule(self.now + 2 * self.rules.sensor_delay, SENSOR_ON, index)
        self._dirty_cells.clear()

    # ---------------------------------------------------------------- rams

    def _start_strokes(self) -> None:
        waiting: set[int] = set()
        self._check_shared()
        started = True
        while started:
            started = False
            for index in sorted(self._ready, reverse=self._order < 0):
                ram = self._inputs[index]
                assert isinstance(ram, RamState)
                moved = self._try_stroke(index, ram)
                if moved is True:
                    started = True
                    waiting.discard(index)
                elif moved is None:
                    waiting.add(index)
                self._ready.discard(index)
            self._update_wires()
            self._take_touched()
            if started:
                self._ready.update(waiting)
        self._ready.update(waiting)

    def _try_stroke(self, index: int, ram: RamState) -> bool | None:
        """True: a stroke began; False: none is wanted; None: wanted, but not possible now."""
        if ram.count > 0:
            if ram.state == Stroke.IN:
                return True if self._extend(index, ram) else None
            return None if ram.state == Stroke.RETRACTING else False
        if ram.state in (Stroke.EXTENDING, Stroke.OUT):
            self._retract(index, ram)
            return True
        return False

    def _line(self, ram: RamState) -> tuple[list[int], Cell, str]:
        """Blocks in front of a ram, the cell past them, and what stops a push ("" if nothing)."""
        blocks: list[int] = []
        cell = step(ram.at, ram.face)
        while cell in self.tape:
            block = self.tape[cell]
            if block in self._transit:
                return blocks, cell, "transit"
            blocks.append(block)
            if len(blocks) > self.rules.push_limit:
                return blocks, cell, "limit"
            cell = step(cell, ram.face)
        if cell in self.heads:
            return blocks, cell, "head"
        part = self.part_at.get(cell)
        if part is None:
            return blocks, cell, "ground" if self.is_ground(cell) else ""
        if part.kind in RAMS and self.rams[self._ram_at[cell]].state != Stroke.IN:
            return blocks, cell, "ram"
        return blocks, cell, part.kind

    def _extend(self, index: int, ram: RamState) -> bool:
        blocks, cell, stop = self._line(ram)
        if stop:
            if stop not in ("transit", "limit", "head", "ram"):
                self._fault("stroke into part", (ram.at, cell), f"a ram strokes into a {stop}")
            return False
        for block in reversed(blocks):
            self._move(block, step(self.block_at[block], ram.face), index)
        ram.state = Stroke.EXTENDING
        ram.pushed = blocks[0] if blocks else -1
        head = step(ram.at, ram.face)
        self.heads[head] = index
        self._changed(index, ram, head)
        return True

    def _retract(self, index: int, ram: RamState) -> None:
        head = step(ram.at, ram.face)
        self.heads.pop(head, None)
        unfinished = ram.state == Stroke.EXTENDING
        ram.state = Stroke.RETRACTING
        self._changed(index, ram, head)
        if not ram.grip:
            return
        far = step(head, ram.face)
        if unfinished and ram.pushed >= 0:
            self._put_back(ram.pushed)
            return
        block = self.tape.get(far)
        if block is not None:
            if block not in self._transit:
                self._move(block, head, index)
            return
        part = self.part_at.get(far)
        if part is not None and (part.kind in FULL or part.kind in RAMS and self._is_in(far)):
            self._fault("drags a part", (ram.at, far), f"a grip ram drags a {part.kind}")

    def _is_in(self, cell: Cell) -> bool:
        return self.rams[self._ram_at[cell]].state == Stroke.IN

    def _put_back(self, block: int) -> None:
        """The stroke was cut short: the block stays where the push put it, at rest at once."""
        if block in self._transit:
            del self._transit[block]
            self._rested(block)

    def _changed(self, index: int, ram: RamState, head: Cell) -> None:
        self._dirty_cells.add(ram.at)
        self._dirty_cells.add(head)
        self._note("ram", self._ram_at[ram.at], int(ram.state))
        self._strokes.setdefault(self.now + self.rules.stroke_half_ticks - 1, []).append(
            ("ram", index, int(ram.state))
        )

    def _move(self, block: int, to: Cell, by: int) -> None:
        origin = self.block_at[block]
        if self.tape.get(origin) == block:
            del self.tape[origin]
        end = self.now + self.rules.stroke_half_ticks - 1
        self.tape[to] = block
        self.block_at[block] = to
        self._transit[block] = end
        self._moved[block] = (self.now, by)
        self._strokes.setdefault(end, []).append(("tape", block, end))
        self._dirty_cells.add(origin)
        self._dirty_cells.add(to)
        self._note("tape", block, (to, True))
        self._open_gate(origin)
        self._open_gate(to)

    def _rested(self, block: int) -> None:
        cell = self.block_at[block]
        self._dirty_cells.add(cell)
        self._note("tape", block, (cell, False))
        self._open_gate(cell)

    def _check_shared(self) -> None:
        """Two rams that both could move one block now: the outcome would hang on their order."""
        if len(self._ready) < 2:
            return
        taken: dict[int, int] = {}
        for index in sorted(self._ready):
            ram = self._inputs[index]
            assert isinstance(ram, RamState)
            for block in self._would_move(ram):
                if block in taken:
                    other = self._inputs[taken[block]]
                    self._fault(
                        "moved twice", (other.at, ram.at), "two rams move one block at once"
                    )
                taken[block] = index

    def _would_move(self, ram: RamState) -> list[int]:
        if ram.count > 0:
            if ram.state != Stroke.IN:
                return []
            blocks, _, stop = self._line(ram)
            return [] if stop else blocks
        if not ram.grip or ram.state not in (Stroke.EXTENDING, Stroke.OUT):
            return []
        if ram.state == Stroke.EXTENDING and ram.pushed >= 0:
            return []
        block = self.tape.get(step(ram.at, ram.face, 2))
        return [] if block is None or block in self._transit else [block]

    def _end_strokes(self) -> None:
        for what, index, value in self._strokes.pop(self.now, ()):
            if what == "tape":
                if self._transit.get(index) == value:
                    del self._transit[index]
                    self._rested(index)
                continue
            ram = self._inputs[index]
            assert isinstance(ram, RamState)
            if ram.state != value:
                continue
            if ram.state == Stroke.EXTENDING:
                ram.state = Stroke.OUT
                self._dirty_cells.add(step(ram.at, ram.face))
            else:
                ram.state = Stroke.IN
            ram.pushed = -1
            self._ready.add(index)
            self._dirty_cells.add(ram.at)
            self._note("ram", self._ram_at[ram.at], int(ram.state))
        self._update_wires()
        self._take_touched()

    # ---------------------------------------------------------------- pressing and watching

    def _note(self, what: str, which: int, value: object) -> None:
        if self.events is not None:
            self.events.append((self.now, what, which, value))

    def _fault(self, code: str, cells: tuple[Cell, ...], text: str) -> None:
        if (code, cells) not in self._known_faults:
            self._known_faults.add((code, cells))
            self.faults.append(MachineFault(code, cells, text, self.now))

    def pulse_wire(self, cell: Cell, delay: int, length: int) -> None:
        """Power the wire in `cell` from outside, `delay` half-ticks from now, for `length`."""
        index = self._wire_at[cell]
        self._schedule(self.now + delay, SEED_ON, index)
        self._schedule(self.now + delay + length, SEED_OFF, index)

    def press(self, length: int | None = None, delay: int = 1, button: int = 0) -> None:
        """Press a button `delay` half-ticks from now, for `length` half-ticks (default: its own)."""
        at, _, own = self.buttons[button]
        self._schedule(self.now + delay, BUTTON_ON, button)
        self._schedule(self.now + delay + (length or own), BUTTON_OFF, button)

    def at_rest(self) -> bool:
        """Whether nothing is due, moving, or able to move."""
        return not self._queue and not self._strokes and not self._transit

    def run_to_rest(self, limit: int = REST_LIMIT) -> bool:
        """Step until at rest; False if `limit` half-ticks are not enough."""
        for _ in range(limit):
            self.step()
            if self.at_rest():
                return True
        return False

    def state(self) -> tuple[object, ...]:
        """All that decides the future, tape blocks taken as alike. Valid at rest."""
        return (
            tuple(ram.state for ram in self.rams),
            tuple(driver.on for driver in self.drivers),
            tuple(wire.level for wire in self.wires),
            frozenset(self.tape),
        )

    def misplaced(self, presses: int) -> list[tuple[int, Cell, Cell]]:
        """Blocks that are not where `presses` presses must have brought them: (block, is, must)."""
        n = len(self.block_at)
        wrong = []
        for block, cell in enumerate(self.block_at):
            must = self.machine.tape[(block + presses) % n]
            if cell != must or block in self._transit:
                wrong.append((block, cell, must))
        return wrong


BUFFER, BUTTON_ON, BUTTON_OFF, SENSOR_ON, SENSOR_OFF, INVERTER, SEED_ON, SEED_OFF = range(8)


def _side(vector: Cell) -> int:
    return SIDES.index(vector)


def run_presses(
    simulation: Simulation, presses: int, *, stop_at_fault: bool = True
) -> list[PressReport]:
    """Press `presses` times, each press left to come to rest.

    A press counts as faulty where a rule is broken, the machine does not come to rest, or a block
    is not flush on its next cell.
    """
    reports: list[PressReport] = []
    idle = simulation.run_to_rest(200)
    if not idle:
        simulation._fault("idle oscillates", (), "the machine is not at rest before the press")
    for press in range(1, presses + 1):
        seen = 0 if press == 1 else len(simulation.faults)
        start = simulation.now
        if simulation.buttons:
            simulation.press()
        else:
            simulation._fault("no button", (), "the machine has no button to press")
        if not simulation.run_to_rest():
            simulation._fault("never rests", (), "the machine does not come to rest")
        faults = list(simulation.faults[seen:]) + _placement_faults(simulation, press)
        reports.append(PressReport(press, simulation.now - start, tuple(faults)))
        if faults and stop_at_fault:
            break
    return reports


def _placement_faults(simulation: Simulation, press: int) -> list[MachineFault]:
    faults = []
    for block, cell, must in simulation.misplaced(press):
        text = f"tape block {block} is at {cell}, must be at {must}"
        faults.append(MachineFault("misplaced", (cell, must), text, simulation.now))
    return faults


@dataclass(frozen=True)
class CaseResult:
    """The outcome of a full turn of the tape in one case."""

    case: Case
    presses: int
    """Presses proven: those simulated, and those that repeat a state already seen."""
    simulated: int
    faults: tuple[MachineFault, ...]
    half_ticks: int = 0

    @property
    def ok(self) -> bool:
        """Whether every press of a full turn broke no rule."""
        return not self.faults


def prove_case(machine: Machine, case: Case, *, order: int = 1) -> CaseResult:
    """A full turn of the tape (n presses) in one case.

    Tape blocks are alike and the clock is deterministic. So once a press ends in the very state
    in which it began, all later presses repeat it, and simulating them again proves nothing new.
    """
    simulation = Simulation(machine, case, order=order)
    n = len(machine.tape)
    states: set[tuple[object, ...]] = set()
    longest = 0
    if not simulation.run_to_rest(200):
        fault = MachineFault("idle oscillates", (), "the machine is not at rest before a press")
        return CaseResult(case, 0, 0, (*simulation.faults, fault))
    states.add(simulation.state())
    for press in range(1, n + 1):
        start = simulation.now
        if not simulation.buttons:
            return CaseResult(case, 0, 0, (MachineFault("no button", (), "no button to press"),))
        simulation.press()
        rested = simulation.run_to_rest()
        longest = max(longest, simulation.now - start)
        faults = [*simulation.faults, *_placement_faults(simulation, press)]
        if not rested:
            faults.append(MachineFault("never rests", (), "no rest after a press", simulation.now))
        if faults:
            return CaseResult(case, press - 1, press, tuple(faults), longest)
        state = simulation.state()
        if state in states:
            return CaseResult(case, n, press, (), longest)
        states.add(state)
    return CaseResult(case, n, n, (), longest)


def prove(machine: Machine, cases: Iterable[Case]) -> list[CaseResult]:
    """Run a full turn in each case, with rams starting in file order and in reverse."""
    results = []
    for case in cases:
        result = prove_case(machine, case)
        if result.ok:
            backwards = prove_case(machine, case, order=-1)
            result = result if backwards.ok else backwards
        results.append(result)
    return results
