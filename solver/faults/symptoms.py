"""What each single fault looks like, from simulation: the dictionary of the fault finder.

A machine with a fault is pressed until a press goes wrong; seen is the state before that press,
what moved in it, and the state after it. Parts that have nothing left to stand on fall, but whoever
propped them up sees something else, so both are listed. So are the worlds that look different.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from functools import cached_property

from models.geometry import Cell, Face, step
from models.machine import Case, Machine
from models.parts import RAMS
from models.single_fault import SingleFault
from models.symptom import WHOLE, Dictionary, Entry, Observable, Sight
from solver.faults.single import as_built, fallen, single_faults
from solver.faults.unchanged import Bystanders
from solver.simulate import Simulation, Stroke

LIMIT = 600
"""Half-ticks to wait for rest."""
REACH = 2
"""Cells over which one thing can act on another: overhead pickup reads two cells up."""
SWITCHES = frozenset({"inverter", "buffer", "sensor"})
Say = Callable[[str], None]


def outward(machine: Machine, cell: Cell) -> Face | None:
    """The way from a cell of a surface into the room; None on an edge line, which is hidden."""
    ways: tuple[Face, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")
    return next((way for way in ways if machine.in_room(step(cell, way))), None)


class Watcher:
    """Turns simulations of machines built from one plan into bits."""

    def __init__(self, plan: Machine) -> None:
        self.plan = plan
        self.bystanders = Bystanders(plan)
        self.out = {cell: outward(plan, cell) for cell in plan.tape}

    @cached_property
    def observables(self) -> tuple[Observable, ...]:
        """All that can be looked at, in the order of the bits."""
        found = [Observable("first press", WHOLE), Observable("rests", WHOLE)]
        for cell in self.plan.tape:
            found += [Observable(sight, cell) for sight in _tape_sights(self.out[cell])]
        for part in self.plan.parts:
            if part.kind in RAMS:
                sights: tuple[Sight, ...] = ("out before", "stroked", "out after")
            elif part.kind in SWITCHES or part.kind == "wire":
                sights = ("lit before", "went on", "lit after")
            else:
                continue
            found += [Observable(sight, part.at) for sight in sights]
        return tuple(found)

    @cached_property
    def healthy(self) -> int:
        """What is seen of the machine as planned."""
        return self.watch(self.plan, self.plan.cases[0])[0]

    def looks_healthy(self, seen: int) -> bool:
        """Whether nothing that can be looked at is amiss."""
        return not (seen ^ self.healthy) & ~self._bit[Observable("first press", WHOLE)]

    @cached_property
    def _bit(self) -> dict[Observable, int]:
        return {observable: 1 << i for i, observable in enumerate(self.observables)}

    def watch(self, built: Machine, case: Case) -> tuple[int, bool]:
        """What is seen of the first press that goes wrong, and whether one did."""
        simulation = Simulation(built, case, record=True)
        simulation.run_to_rest(LIMIT)
        states = {simulation.state()}
        for press in range(1, len(self.plan.tape) + 1):
            seen = set(self._state(simulation, before=True))
            before, start = list(simulation.block_at), simulation.now
            rested = _press_each(simulation)
            seen |= set(self._changes(simulation, before, start))
            seen |= set(self._state(simulation, before=False))
            seen |= {Observable("rests", WHOLE)} if rested else set()
            wrong = bool(not rested or simulation.faults or simulation.misplaced(press))
            if wrong and press == 1:
                seen.add(Observable("first press", WHOLE))
            if wrong or simulation.state() in states:
                return self._bits(seen), wrong
            states.add(simulation.state())
        return self._bits(seen), False

    def _bits(self, seen: Iterable[Observable]) -> int:
        return sum(self._bit.get(observable, 0) for observable in seen)

    def _state(self, simulation: Simulation, *, before: bool) -> Iterator[Observable]:
        out: Sight = "out before" if before else "out after"
        lit: Sight = "lit before" if before else "lit after"
        for ram in simulation.rams:
            if ram.state in (Stroke.OUT, Stroke.EXTENDING):
                yield Observable(out, ram.at)
        for _, at, driver in simulation.switches():
            if simulation.drivers[driver].on:
                yield Observable(lit, at)
        for wire in simulation.wires:
            if wire.level:
                yield Observable(lit, wire.at)
        if before:
            return
        for cell, way in self.out.items():
            if way and step(cell, way) in simulation.tape:
                yield Observable("proud", cell)
            elif cell not in simulation.tape:
                sunk = way and step(cell, way, -1) in simulation.tape
                yield Observable("sunk" if sunk else "empty", cell)

    def _changes(
        self, simulation: Simulation, before: list[Cell], start: int
    ) -> Iterator[Observable]:
        assert simulation.events is not None
        switches = {driver: at for _, at, driver in simulation.switches()}
        at = list(before)
        first = bisect_right(simulation.events, start, key=lambda event: event[0])
        for _, what, which, value in simulation.events[first:]:
            if what == "ram":
                yield Observable("stroked", simulation.rams[which].at)
            elif what == "wire":
                yield Observable("went on", simulation.wires[which].at)
            elif what == "on":
                yield Observable("went on", switches[which])
            elif isinstance(value, tuple):
                if value[1]:
                    yield Observable("sank", at[which])
                at[which] = value[0]
        after = {cell: i for i, cell in enumerate(self.plan.tape)}
        for block, cell in enumerate(before):
            if cell in after:
                following = self.plan.tape[self.plan.following[after[cell]]]
                if self._place(simulation.block_at[block]) != following:
                    yield Observable("stayed", cell)

    def _place(self, cell: Cell) -> Cell:
        """The tape cell that a block belongs to, be it flush, proud or sunk."""
        for here in self._places.get(cell, ()):
            return here
        return cell

    @cached_property
    def _places(self) -> dict[Cell, list[Cell]]:
        found: dict[Cell, list[Cell]] = {cell: [cell] for cell in self.plan.tape}
        for cell, way in self.out.items():
            if way:
                found.setdefault(step(cell, way), []).append(cell)
                found.setdefault(step(cell, way, -1), []).append(cell)
        return found


def _press_each(simulation: Simulation) -> bool:
    """One press; of several loops one button after the other. Whether all came to rest."""
    rested = not simulation.buttons and simulation.run_to_rest(LIMIT)
    for button in range(min(len(simulation.buttons), simulation.machine.triggers)):
        simulation.press(button=button)
        rested = simulation.run_to_rest(LIMIT)
    return rested


def _tape_sights(way: Face | None) -> tuple[Sight, ...]:
    return ("proud", "sunk", "empty", "sank", "stayed") if way else ("empty", "stayed")


def entries_of(watcher: Watcher, fault: SingleFault, number: int) -> set[Entry]:
    """What a fault looks like; nothing if no press ever goes wrong.

    Machines stand in ground, so the worlds without it count only for what shows nowhere else.
    """
    built = as_built(watcher.plan, fault)
    worlds = watcher.bystanders.worlds(fault, built)
    grounded = [case for case in worlds if case.ground]
    others = [case for case in worlds if not case.ground]
    for those in (grounded, others):
        found = {e for case in those for e in _looks(watcher, built, case, number)}
        if found:
            # A fault that may look healthy (a wire in the air, say) is told by its other looks.
            return {e for e in found if not watcher.looks_healthy(e.seen)} or found
    return set()


def _looks(watcher: Watcher, built: Machine, case: Case, number: int) -> Iterator[Entry]:
    standing = fallen(built, case)
    for machine in (built,) if standing is built else (built, standing):
        seen, wrong = watcher.watch(machine, case)
        if wrong:
            yield Entry(number, seen)


def matters(plan: Machine) -> Callable[[SingleFault], bool]:
    """Tells faults that may show from those out of reach of every part and of the tape."""
    busy = {part.at for part in plan.parts if part.kind != "cover"} | set(plan.tape)
    near = {
        (x + a, y + b, z + c)
        for x, y, z in busy
        for a in range(-REACH, REACH + 1)
        for b in range(-REACH, REACH + 1)
        for c in range(-REACH, REACH + 1)
    }
    return lambda fault: fault.at in near or (fault.built is not None and fault.built.at in near)


def build_dictionary(
    plan: Machine, say: Say = lambda line: None, every: Iterable[SingleFault] | None = None
) -> Dictionary:
    """The symptoms of all the given faults, by default every single one, that show in a press.

    The plan itself must work.
    """
    watcher = Watcher(plan)
    faults: list[SingleFault] = []
    entries: list[Entry] = []
    tried = filter(matters(plan), single_faults(plan) if every is None else every)
    for count, fault in enumerate(tried, 1):
        if found := entries_of(watcher, fault, len(faults)):
            faults.append(fault)
            entries += sorted(found)
        if count % 500 == 0:
            say(f"{count} single faults simulated")
    return Dictionary(watcher.observables, tuple(faults), tuple(entries), watcher.healthy)
