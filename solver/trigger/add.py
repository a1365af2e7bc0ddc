"""Try sizes and places of a unit until the machine with it proves itself."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import islice
from typing import Literal

from models.machine import Machine
from models.plan import Timing
from models.problem import Digging
from models.scenario import Scenario
from models.trigger import Added, NotAdded, Proof, Unit
from solver.check import check_against, check_machine
from solver.plan.watch import timing
from solver.simulate import prove
from solver.simulate.several import prove_apart
from solver.trigger.place import Place, build, places, site_of
from solver.trigger.prove import prove_clock, prove_hold_off
from solver.trigger.units import clocks, hold_offs, led, shut_ticks

What = Literal["clock", "hold-off"]
PLACES = 3
"""So many places of each size are tried."""
LOOKED_AT = 12
"""Of so many."""
MISSES = 3
"""Sizes in a row without any place; larger ones will have none either."""
Say = Callable[[str], None]


def add_trigger(
    machine: Machine, scenario: Scenario, what: What, budget_s: float, say: Say, loop: int = 0
) -> Added | NotAdded:
    """The machine with the unit of fewest parts that was found to work in it.

    Units that are joined to the trigger by wires come first, then those with a lead of sensors.
    A clock's period is at least the interval at which presses of the machine's button are safe.
    """
    deadline = time.monotonic() + budget_s
    if what == "clock" and machine.triggers > 1:
        return NotAdded("with a clock before one of its loops the others could not be judged", 0)
    site = site_of(machine, Digging(scenario), loop)
    if isinstance(site, str):
        return NotAdded(site, 0)
    times = timing(machine)
    if times is None:
        return NotAdded("the machine as it is does not work", 0)
    units = _units(machine, what, times)
    tried, why = 0, "no place was found in the ground that may be dug"
    for kind in (units, [led(unit) for unit in units]):
        in_vain = 0
        for unit in kind:
            before = tried
            near = islice(places(site, unit), LOOKED_AT)
            slow = [place for place in near if _slow_enough(unit, place, times)]
            # Pulses under way in long leads multiply what a proof has to look at.
            for place in sorted(slow, key=lambda place: len(place.parts))[:PLACES]:
                if time.monotonic() > deadline:
                    return NotAdded(f"the time given ran out; {why}", tried)
                tried += 1
                new = build(site, place)
                proof = judged(new, scenario, unit, loop)
                if proof.ok:
                    return Added(new, unit, proof, tried, loop)
                why = f"the last try failed: {proof.text}"
            say(f"{what} of {unit.cost} parts: {why if tried > before else 'no place'}")
            in_vain = 0 if tried > before else in_vain + 1
            if in_vain == MISSES:
                break
    return NotAdded(why, tried)


def _units(machine: Machine, what: What, times: Timing) -> list[Unit]:
    """The sizes that this world has buffers for and that are not too fast for the machine."""
    if what == "clock":
        interval = times.interval_half_ticks or times.rest_half_ticks
        units = [unit for unit in clocks() if 2 * half_period(machine, unit) >= interval]
    else:
        units = [unit for unit in hold_offs() if shut_ticks(unit) >= times.press_ticks]
    known = machine.rules.buffer_delays
    return [
        unit
        for unit in units
        if all(part.delay in known for part in unit.parts if part.kind == "buffer")
    ]


def _slow_enough(unit: Unit, place: Place, times: Timing) -> bool:
    """Whether a hold-off stays shut for all that comes after a press, and for its lead."""
    after = times.rest_half_ticks - 2 * times.press_ticks
    return unit.entry is None or 2 * (shut_ticks(unit) - place.late_ticks) >= after


def judged(machine: Machine, scenario: Scenario, unit: Unit, loop: int = 0) -> Proof:
    """The static rules, the scenario's digging, and the simulations that the unit calls for.

    Of several loops the others are not the scenario's: that nothing else was dug than it allows
    follows from how the place was found.
    """
    faults = check_machine(machine)
    if not machine.loops:
        faults += check_against(machine, scenario)
    if faults:
        return Proof(False, faults[0].text)
    cases = machine.cases
    if unit.entry is None:
        return prove_clock(machine, cases, half_period(machine, unit))
    usual = next((r for r in prove(machine, cases) if not r.ok), None)
    if usual is not None:
        return Proof(False, f"{usual.case}: {usual.faults[0].text}")
    if apart := prove_apart(machine, cases):
        return Proof(False, apart[0].text)
    return prove_hold_off(machine, cases, loop)


def half_period(machine: Machine, unit: Unit) -> int:
    """Half-ticks that a ring is on, and then off: what an edge takes once round."""
    delays = sum(part.delay or 0 for part in unit.parts if part.kind == "buffer")
    return 2 * (machine.rules.inverter_delay + delays)
