"""Phase 1 of a half-tick: buffers, buttons and sensors switch, then inverters; sensors look."""

from __future__ import annotations

from models.geometry import Cell
from solver.simulate.circuit import Circuit, Logic
from solver.simulate.journal import Journal
from solver.simulate.power import Power
from solver.simulate.world import World

BUFFER, BUTTON_ON, BUTTON_OFF, SENSOR_ON, SENSOR_OFF, SEED_ON, SEED_OFF = range(7)


class Switches:
    """Everything that switches by the clock: what is due when, and what it does then."""

    def __init__(self, circuit: Circuit, world: World, power: Power, journal: Journal) -> None:
        self.circuit = circuit
        self.world = world
        self.power = power
        self.journal = journal
        self.rules = world.machine.rules
        self._due: dict[int, list[tuple[int, int]]] = {}
        self._due_inverters: dict[int, list[int]] = {}

    def idle(self) -> bool:
        """Whether nothing is due."""
        return not self._due and not self._due_inverters

    def due(self) -> frozenset[tuple[object, ...]]:
        """All that is due, each with the half-ticks left."""
        now = self.journal.now
        listed = {(when - now, *item) for when, items in self._due.items() for item in items}
        inverters = {(when - now, i) for when, items in self._due_inverters.items() for i in items}
        return frozenset(listed | inverters)

    def schedule(self, after: int, kind: int, index: int) -> None:
        """Something falls due `after` half-ticks from now."""
        self._due.setdefault(self.journal.now + after, []).append((kind, index))

    def switch(self) -> None:
        """Phase 1. Buffers go by what they read as the half-tick begins, inverters by what the
        others have changed."""
        due = self._due.pop(self.journal.now, ())
        reads = [kind == BUFFER and self.circuit.readers[i].count > 0 for kind, i in due]
        for (kind, index), powered in zip(due, reads, strict=True):
            self._apply(kind, index, powered)
        self.power.update_wires()
        inverters = self._due_inverters.pop(self.journal.now, ())
        lit = [self.circuit.readers[index].count == 0 for index in inverters]
        for index, on in zip(inverters, lit, strict=True):
            inverter = self._logic(index)
            inverter.pending = False
            self._set_logic(index, inverter, on)
        self.power.update_wires()

    def _apply(self, kind: int, index: int, powered: bool) -> None:
        if kind == BUFFER:
            self._turn_buffer(index, powered)
        elif kind in (SEED_ON, SEED_OFF):
            self.power.seed(index, 1 if kind == SEED_ON else -1)
        elif kind in (BUTTON_ON, BUTTON_OFF):
            button = self.circuit.buttons[index]
            self._set_driver(button.at, button.driver, kind == BUTTON_ON)
        else:
            sensor = self.circuit.sensors[index]
            self._set_driver(sensor.at, sensor.driver, kind == SENSOR_ON)
            if kind == SENSOR_ON:
                self.schedule(2 * self.rules.sensor_pulse, SENSOR_OFF, index)
            else:
                sensor.busy = False

    def _turn_buffer(self, index: int, powered: bool) -> None:
        buffer = self._logic(index)
        buffer.pending = False
        if not buffer.on:
            # A pulse shorter than the delay still comes out, as long as the delay.
            self._set_logic(index, buffer, True)
            if not powered:
                buffer.pending = True
                self.schedule(buffer.delay, BUFFER, index)
        elif not powered:
            self._set_logic(index, buffer, False)

    def _logic(self, index: int) -> Logic:
        logic = self.circuit.readers[index]
        assert isinstance(logic, Logic)
        return logic

    def _set_logic(self, index: int, logic: Logic, on: bool) -> None:
        self.power.touched.add(index)
        if logic.on != on:
            logic.on = on
            self._set_driver(logic.at, logic.driver, on)

    def _set_driver(self, at: Cell, driver: int, on: bool) -> None:
        self.power.switch(driver, on)
        self.world.changed.add(at)
        self.journal.note("on", driver, int(on))

    # ---------------------------------------------------------------- the end of every phase

    def notice(self) -> list[int]:
        """The end of a phase: logic whose output is not what it should be falls due.

        Returns the rams that may read something new.
        """
        touched = self.power.touched
        if not touched:
            return []
        rams = []
        for index in sorted(touched):
            reader = self.circuit.readers[index]
            if not isinstance(reader, Logic):
                rams.append(index)
            elif not reader.pending and not reader.follows():
                reader.pending = True
                if reader.inverter:
                    at = self.journal.now + reader.delay
                    self._due_inverters.setdefault(at, []).append(index)
                else:
                    self.schedule(reader.delay, BUFFER, index)
        touched.clear()
        return rams

    def look(self) -> None:
        """The end of a phase: sensors look at what may have changed."""
        changed = self.world.changed
        if not changed:
            return
        for cell in sorted(changed & self.circuit.watchers.keys()):
            for index in self.circuit.watchers[cell]:
                sensor = self.circuit.sensors[index]
                seen = self.view(cell)
                if seen == sensor.seen:
                    continue
                sensor.seen = seen
                if not sensor.busy:
                    sensor.busy = True
                    self.schedule(sensor.delay, SENSOR_ON, index)
        changed.clear()

    def view(self, cell: Cell) -> object:
        """What a sensor sees in a cell; two views differ exactly where it must fire."""
        world, circuit = self.world, self.circuit
        block = world.tape.get(cell)
        if block is not None:
            return ("tape", block, block in world.moving)
        head = world.heads.get(cell)
        if head is not None:
            return ("head", head, circuit.rams[head].state)
        if cell in circuit.wire_at:
            return ("wire", circuit.wires[circuit.wire_at[cell]].level)
        if cell in circuit.ram_at:
            return ("ram", circuit.rams[circuit.ram_at[cell]].state)
        driver = circuit.driver_at.get(cell)
        return None if driver is None else ("on", circuit.drivers[driver].on)
