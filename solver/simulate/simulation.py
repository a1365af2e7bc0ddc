"""A machine under simulation: its clock, and what can be done to it from outside."""

from __future__ import annotations

from models.geometry import Cell
from models.machine import Case, Machine, MachineFault
from models.parts import Part
from solver.simulate.circuit import Button, Driver, Ram, Sensor, Stroke, Wire
from solver.simulate.compile import compile_circuit
from solver.simulate.idle import settle
from solver.simulate.journal import Event, Journal
from solver.simulate.power import Power
from solver.simulate.standing import judge_standing
from solver.simulate.strokes import Strokes
from solver.simulate.switches import (
    BUTTON_OFF,
    BUTTON_ON,
    SEED_OFF,
    SEED_ON,
    Switches,
)
from solver.simulate.world import World

REST_LIMIT = 4000
"""Half-ticks after which a machine that still moves counts as never coming to rest."""


class Simulation:
    """A machine in one world, ready to be pressed.

    Raises nothing: breaches of the rules are collected in `faults`. With `record`, every change
    goes into `events`, the idle state first. `order` -1 lets the later one of two clashing rams
    go first; a machine without fault does not show a difference.
    """

    def __init__(
        self, machine: Machine, case: Case, *, order: int = 1, record: bool = False
    ) -> None:
        self.machine = machine
        self.rules = machine.rules
        self.case = case
        self._busy_until: dict[int, int] = {}
        self._journal = Journal(record=record)
        self._world = World(machine, case)
        self._circuit = compile_circuit(self._world)
        self._power = Power(self._circuit, self._world, self._journal)
        self._switches = Switches(self._circuit, self._world, self._power, self._journal)
        self._strokes = Strokes(self._circuit, self._world, self._journal, reverse=order < 0)
        judge_standing(self._world, self._journal)
        settle(self._circuit, self._world, self._power, self._journal)
        self._begin()

    def _begin(self) -> None:
        """The idle state is reached: note it, and let sensors and logic look for the first time."""
        self._world.changed.clear()
        for sensor in self._circuit.sensors:
            sensor.seen = self._switches.view(sensor.watched)
        self._power.touched.update(range(len(self._circuit.readers)))
        self._strokes.ready.update(self._switches.notice())
        if self.events is not None:
            self.events.clear()
            self._note_idle(self._journal)

    def _note_idle(self, journal: Journal) -> None:
        for index, wire in enumerate(self.wires):
            if wire.level:
                journal.note("wire", index, wire.level)
        for driver in self._circuit.driver_at.values():
            if self.drivers[driver].on:
                journal.note("on", driver, 1)
        for index, ram in enumerate(self.rams):
            if ram.state != Stroke.IN:
                journal.note("ram", index, int(ram.state))

    # ---------------------------------------------------------------- the clock

    def step(self) -> None:
        """Let one half-tick pass."""
        self._journal.now += 1
        self._switches.switch()
        self._look()
        if self._strokes.ready:
            self._strokes.start()
            self._look()
        self._strokes.end()
        self._look()

    def _look(self) -> None:
        """The end of a phase: tape conducts or not, wires follow, everyone looks."""
        strokes = self._strokes
        if strokes.stale:
            self._power.refresh(sorted(strokes.stale))
            strokes.stale.clear()
            self._power.update_wires()
        strokes.ready.update(self._switches.notice())
        self._switches.look()

    def at_rest(self) -> bool:
        """Whether nothing will ever happen again unless someone acts from outside."""
        return self._switches.idle() and self._strokes.idle()

    def run_to_rest(self, limit: int = REST_LIMIT) -> bool:
        """Step until at rest (not at all if it is); False if `limit` half-ticks are not enough."""
        for _ in range(limit):
            if self.at_rest():
                return True
            self.step()
        return self.at_rest()

    # ---------------------------------------------------------------- acting on it

    def press(self, length: int | None = None, delay: int = 1, button: int = 0) -> None:
        """Press a button `delay` half-ticks from now, for `length` half-ticks (default: its own).

        To press a button that is pressed already does nothing.
        """
        self._journal.new_page()
        self._strokes.overloads.clear()
        pressed = self.buttons[button]
        if self.pressed_for(button):
            return
        length = length or pressed.length
        self._busy_until[button] = self.now + delay + length
        self._switches.schedule(delay, BUTTON_ON, button)
        self._switches.schedule(delay + length, BUTTON_OFF, button)

    def pressed_for(self, button: int = 0) -> int:
        """Half-ticks until the button can be pressed again."""
        return max(0, self._busy_until.get(button, 0) - self.now)

    def press_all(self, length: int | None = None) -> None:
        """Press the button of every loop at once, or the one that all have."""
        for button in range(self.machine.triggers):
            self.press(length, button=button)

    def pulse_wire(self, cell: Cell, delay: int, length: int) -> None:
        """Power the wire in `cell` from outside, `delay` half-ticks from now, for `length`."""
        index = self._circuit.wire_at[cell]
        self._switches.schedule(delay, SEED_ON, index)
        self._switches.schedule(delay + length, SEED_OFF, index)

    def power_ram(self, cell: Cell, on: bool) -> None:
        """Power the ram in `cell` from outside, from now on, or take that power away again."""
        index = self._circuit.ram_at[cell]
        self.rams[index].count += 1 if on else -1
        self._strokes.ready.add(index)

    def retime(self, at: Cell, half_ticks: int) -> None:
        """Give the buffer, inverter or sensor in a cell another delay, to see what it can bear."""
        for logic in self._circuit.logic:
            if logic.at == at:
                logic.delay = half_ticks
        for sensor in self._circuit.sensors:
            if sensor.at == at:
                sensor.delay = half_ticks

    def fault(self, code: str, cells: tuple[Cell, ...], text: str) -> None:
        """Record a breach that shows only from outside."""
        self._journal.fault(code, cells, text)

    # ---------------------------------------------------------------- looking at it

    @property
    def now(self) -> int:
        """Half-ticks since the start."""
        return self._journal.now

    @property
    def faults(self) -> list[MachineFault]:
        """All breaches of the rules so far."""
        return self._journal.faults

    @property
    def events(self) -> list[Event] | None:
        """All changes so far, if they are recorded."""
        return self._journal.events

    @property
    def part_at(self) -> dict[Cell, Part]:
        """The part in each cell that holds one."""
        return self._world.part_at

    @property
    def tape(self) -> dict[Cell, int]:
        """Which tape block is in which cell."""
        return self._world.tape

    @property
    def block_at(self) -> list[Cell]:
        """Where each tape block is."""
        return self._world.block_at

    @property
    def wires(self) -> list[Wire]:
        """All wires, by the number that events use."""
        return self._circuit.wires

    @property
    def rams(self) -> list[Ram]:
        """All rams, by the number that events use."""
        return self._circuit.rams

    @property
    def sensors(self) -> list[Sensor]:
        """All sensors, in the order of the parts list."""
        return self._circuit.sensors

    @property
    def buttons(self) -> list[Button]:
        """All buttons, by the number that `press` takes."""
        return self._circuit.buttons

    @property
    def drivers(self) -> list[Driver]:
        """All that can be on, by the number that events use."""
        return self._circuit.drivers

    def switches(self) -> list[tuple[str, Cell, int]]:
        """(kind, cell, driver) of everything that is on or off: for waveforms."""
        kinds = self._world.part_at
        return [(kinds[at].kind, at, driver) for at, driver in self._circuit.driver_at.items()]

    def is_moving(self, block: int) -> bool:
        """Whether a tape block is in transit."""
        return block in self._world.moving

    def overloads(self) -> list[tuple[int, Cell, Cell]]:
        """Rams that had too many blocks in front since the last press.

        (the first half-tick, the ram, the first block that is too many).
        """
        found = self._strokes.overloads.items()
        return [(since, self.rams[index].at, cell) for index, (since, cell) in found]

    def state(self) -> tuple[object, ...]:
        """All that decides the future, tape blocks taken as alike. Valid at rest."""
        return (
            tuple(ram.state for ram in self.rams),
            tuple(driver.on for driver in self.drivers),
            tuple(wire.level for wire in self.wires),
            frozenset(self.tape),
        )

    def alike(self, other: Simulation) -> bool:
        """Whether both worlds of a machine, fresh, do the same as long as no ram meets ground."""
        return self._circuit == other._circuit and self.faults == other.faults

    def situation(self) -> tuple[object, ...]:
        """All that decides the future, at any time; tape blocks are alike, the clock starts now."""
        moving = {
            (self.block_at[block], end - self.now) for block, end in self._world.moving.items()
        }
        pushed = tuple(self.block_at[ram.pushed] if ram.pushed >= 0 else None for ram in self.rams)
        due = self._switches.due() | self._strokes.due()
        return (self.state(), frozenset(moving), pushed, due)

    def misplaced(self, *presses: int) -> list[tuple[int, Cell, Cell]]:
        """Blocks that are not where `presses` presses must have brought them: (block, is, must).

        One number for all loops, or one for each.
        """
        cells, spans = self.machine.tape, self.machine.spans
        turns = presses if len(presses) == len(spans) else presses * len(spans)
        if self.machine.swings:
            turns = tuple(count % 2 for count in turns)
        wrong = []
        for span, count in zip(spans, turns, strict=True):
            for block in span:
                cell = self.block_at[block]
                must = cells[span.start + (block - span.start + count) % len(span)]
                if cell != must or self.is_moving(block):
                    wrong.append((block, cell, must))
        return wrong
