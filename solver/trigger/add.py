"""Try sizes and places of a unit until the machine with it proves itself."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import islice, product
from typing import Literal

from models.machine import ALL_CASES, Case, Machine
from models.problem import Digging
from models.scenario import Scenario
from models.trigger import Added, NotAdded, Proof, Unit
from solver.check import check_against, check_machine
from solver.plan.watch import timing
from solver.simulate import prove
from solver.trigger.place import Site, build, places, site_of
from solver.trigger.prove import prove_clock, prove_hold_off
from solver.trigger.units import clocks, hold_offs

What = Literal["clock", "hold-off"]
ROUNDS = (2, 4)
"""So many places of each size are tried, and if no size is right there, so many more."""
Say = Callable[[str], None]


def cases_of(machine: Machine) -> tuple[Case, ...]:
    """The worlds that the machine must work in."""
    fixed = machine.rules.overhead_pickup
    return tuple(c for c in ALL_CASES if fixed is None or c.overhead == fixed)


def add_trigger(
    machine: Machine, scenario: Scenario, what: What, budget_s: float, say: Say
) -> Added | NotAdded:
    """The machine with the unit of fewest parts that was found to work in it.

    A clock's period is at least the interval at which presses of the machine's button are safe.
    """
    deadline = time.monotonic() + budget_s
    site = site_of(machine, Digging(scenario))
    if isinstance(site, str):
        return NotAdded(site, 0)
    times = timing(machine)
    if times is None:
        return NotAdded("the machine as it is does not work", 0)
    interval = times.interval_half_ticks or times.rest_half_ticks
    tried, why = 0, "no place was found in the ground that may be dug"
    waiting = [(unit, places(site, unit)) for unit in _units(machine, site, what, interval)]
    for count, (unit, found) in product(ROUNDS, waiting):
        before = tried
        for place in islice(found, count):
            if time.monotonic() > deadline:
                return NotAdded(f"the time given ran out; {why}", tried)
            tried += 1
            new = build(site, place)
            proof = judged(new, scenario, unit)
            if proof.ok:
                return Added(new, unit, proof, tried)
            why = f"the last try failed: {proof.text}"
        say(f"{what} of {unit.cost} parts: {why if tried > before else 'no place'}")
    return NotAdded(why, tried)


def _units(machine: Machine, site: Site, what: What, interval: int) -> list[Unit]:
    """The sizes that this world has buffers for; clocks that are not too fast for the machine."""
    known = machine.rules.buffer_delays
    units = [
        unit
        for unit in (clocks(site.covers) if what == "clock" else hold_offs(site.covers))
        if all(part.delay in known for part in unit.parts if part.kind == "buffer")
    ]
    if what == "hold-off":
        return units
    return [unit for unit in units if 2 * half_period(machine, unit) >= interval]


def judged(machine: Machine, scenario: Scenario, unit: Unit) -> Proof:
    """The static rules, the scenario's digging, and the simulations that the unit calls for."""
    faults = [*check_machine(machine), *check_against(machine, scenario)]
    if faults:
        return Proof(False, faults[0].text)
    cases = cases_of(machine)
    if unit.cover is None:
        return prove_clock(machine, cases, half_period(machine, unit))
    usual = next((r for r in prove(machine, cases) if not r.ok), None)
    if usual is not None:
        return Proof(False, f"{usual.case}: {usual.faults[0].text}")
    return prove_hold_off(machine, cases)


def half_period(machine: Machine, unit: Unit) -> int:
    """Half-ticks that a ring is on, and then off: what an edge takes once round."""
    delays = sum(part.delay or 0 for part in unit.parts if part.kind == "buffer")
    return 2 * (machine.rules.inverter_delay + delays)
