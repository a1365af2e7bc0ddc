"""Machine with a button for each way -> whether every train of presses is right, and how soon.

Each press from rest ends in the state in which it began, so it stands for all that follow it from
rest. For shorter intervals every pair of buttons is tried, half-tick by half-tick, from rest
downwards. One interval after the second press the situation must be that after a first press of
that button, so two presses stand for any number.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from models.counter import TwoWays
from models.machine import ALL_CASES, Case, Machine
from solver.simulate import Simulation

LIMIT = 600
"""Half-ticks to wait for rest."""
WAYS = (1, -1)
"""What the buttons move the tape by, in their order."""


def prove_two_ways(machine: Machine) -> TwoWays:
    """Every case, either button, and the shortest interval between any two presses."""
    fixed = machine.rules.overhead_pickup
    cases = [case for case in ALL_CASES if fixed is None or case.overhead == fixed]
    slowest = 0
    for case in cases:
        took = _each_way(machine, case)
        if isinstance(took, str):
            return TwoWays(False, took)
        slowest = max(slowest, took)
    interval = slowest
    least = 2 * machine.rules.press + 1
    while interval > least and all(
        _pair(machine, case, first, second, interval - 1)
        for case in cases
        for first, second in product(range(2), repeat=2)
    ):
        interval -= 1
    text = "each button moves the tape its own way, after every press all is as it was"
    return TwoWays(True, text, slowest, interval)


def _each_way(machine: Machine, case: Case) -> int | str:
    """Half-ticks to rest after the slower button, or what went wrong."""
    simulation = Simulation(machine, case)
    if not simulation.run_to_rest(LIMIT):
        return "it never comes to rest"
    idle, count, slowest = simulation.state(), 0, 0
    for button in (0, 1, 1, 0):
        start = simulation.now
        simulation.press(button=button)
        rests = simulation.run_to_rest(LIMIT)
        count += WAYS[button]
        if simulation.faults:
            return f"with {case}, button {button + 1}: {simulation.faults[0].text}"
        if not rests or simulation.misplaced(count) or simulation.state() != idle:
            return f"with {case}, button {button + 1} does not move the tape by a cell and rest"
        slowest = max(slowest, simulation.now - start)
    return slowest


def _pair(machine: Machine, case: Case, first: int, second: int, interval: int) -> bool:
    """Whether a press so soon after another is right, and leaves nothing of the first behind."""
    alone = _after(machine, case, (second,), interval)
    both = _after(machine, case, (first, second), interval)
    if alone is None or both is None or alone.situation() != both.situation():
        return False
    rests = both.run_to_rest(LIMIT)
    return rests and not both.faults and not both.misplaced(WAYS[first] + WAYS[second])


def _after(
    machine: Machine, case: Case, buttons: Sequence[int], interval: int
) -> Simulation | None:
    """An interval after the last of these presses; None if the tape was not flush at one."""
    simulation, count = Simulation(machine, case), 0
    simulation.run_to_rest(LIMIT)
    for button in buttons:
        if simulation.misplaced(count):
            return None
        simulation.press(button=button)
        count += WAYS[button]
        for _ in range(interval):
            simulation.step()
    return simulation
