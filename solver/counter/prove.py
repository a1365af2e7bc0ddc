"""Machine that runs both ways -> whether every train of presses is right, and how soon.

It has a button for each way, or one that moves the tape forth and with the next press back. Each
press from rest (or the second of a pair) ends in the state in which it began, so it stands for all
that follow it from rest. For shorter intervals every pair of presses is tried, half-tick by
half-tick, from rest downwards. One interval after the second press the situation must be that after
a first press of that kind, so two presses stand for any number.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from models.counter import TwoWays
from models.machine import Case, Machine
from solver.simulate import Simulation

LIMIT = 600
"""Half-ticks to wait for rest."""
WAYS = (1, -1)
"""What the two buttons move the tape by, in their order."""


def prove_two_ways(machine: Machine) -> TwoWays:
    """Every case, either way, and the shortest interval between any two presses."""
    buttons = sum(part.kind == "button" for part in machine.parts)
    if buttons != (1 if machine.swings else 2):
        return TwoWays(False, f"the machine has {buttons} buttons")
    slowest = 0
    for case in machine.cases:
        took = _each_way(machine, case)
        if isinstance(took, str):
            return TwoWays(False, took)
        slowest = max(slowest, took)
    interval = slowest
    least = 2 * machine.rules.press + 1
    while interval > least and all(
        _pair(machine, case, *presses, interval - 1)
        for case in machine.cases
        for presses in _pairs(machine)
    ):
        interval -= 1
    text = "each button moves the tape its own way, after every press all is as it was"
    if machine.swings:
        text = "presses move the tape forth and back by turns, after every second all is as it was"
    return TwoWays(True, text, slowest, interval)


def _pairs(machine: Machine) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Presses left to come to rest, and the two that follow close upon each other."""
    if machine.swings:
        yield from (((0,) * before, (0, 0)) for before in range(2))
    else:
        yield from (((), pair) for pair in product(range(2), repeat=2))


def _way(machine: Machine, button: int) -> int:
    """What a press counts; of a machine that swings every second one takes back the first."""
    return 1 if machine.swings else WAYS[button]


def _each_way(machine: Machine, case: Case) -> int | str:
    """Half-ticks to rest after the slower press, or what went wrong."""
    simulation = Simulation(machine, case)
    if not simulation.run_to_rest(LIMIT):
        return "it never comes to rest"
    states, count, slowest = {0: simulation.state()}, 0, 0
    for number, button in enumerate((0, 0, 0, 0) if machine.swings else (0, 1, 1, 0)):
        start = simulation.now
        simulation.press(button=button)
        rests = simulation.run_to_rest(LIMIT)
        count += _way(machine, button)
        what = f"with {case}, press {number + 1}"
        if simulation.faults:
            return f"{what}: {simulation.faults[0].text}"
        kind = count % 2 if machine.swings else 0
        state = simulation.state()
        if not rests or simulation.misplaced(count) or states.setdefault(kind, state) != state:
            return f"{what} does not move the tape by a cell and rest"
        slowest = max(slowest, simulation.now - start)
    return slowest


def _pair(
    machine: Machine, case: Case, before: Sequence[int], pair: Sequence[int], interval: int
) -> bool:
    """Whether a press so soon after another is right, and leaves nothing of the first behind."""
    first, second = pair
    alone = _after(machine, case, (*before, first), (second,), interval)
    both = _after(machine, case, before, pair, interval)
    if alone is None or both is None or alone.situation() != both.situation():
        return False
    count = sum(_way(machine, button) for button in (*before, *pair))
    return both.run_to_rest(LIMIT) and not both.faults and not both.misplaced(count)


def _after(
    machine: Machine, case: Case, before: Sequence[int], presses: Sequence[int], interval: int
) -> Simulation | None:
    """An interval after the last of these presses; None if the tape was not flush at one."""
    simulation, count = Simulation(machine, case), 0
    simulation.run_to_rest(LIMIT)
    for close, buttons in ((False, before), (True, presses)):
        for button in buttons:
            if simulation.misplaced(count):
                return None
            simulation.press(button=button)
            count += _way(machine, button)
            for _ in range(interval if close else 0):
                simulation.step()
            if not close:
                simulation.run_to_rest(LIMIT)
    return simulation
