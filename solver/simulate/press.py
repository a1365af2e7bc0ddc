"""Presses, full turns of the tape, and all cases: what a machine is judged by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from models.machine import Case, Machine, MachineFault
from solver.simulate.simulation import Simulation

IDLE_LIMIT = 200
"""Half-ticks that a machine may take to come to rest before its first press."""


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


def run_presses(
    simulation: Simulation, presses: int, *, stop_at_fault: bool = True
) -> list[PressReport]:
    """Press `presses` times, each press left to come to rest.

    A press counts as faulty where a rule is broken, the machine does not come to rest, or a block
    is not flush on its next cell. Faults before the first press count as the first press's.
    """
    reports: list[PressReport] = []
    if not simulation.run_to_rest(IDLE_LIMIT):
        simulation.fault("idle oscillates", (), "the machine is not at rest before the press")
    seen = 0
    for press in range(1, presses + 1):
        start = simulation.now
        _press_once(simulation)
        faults = [*simulation.faults[seen:], *_placement_faults(simulation, press)]
        seen = len(simulation.faults)
        reports.append(PressReport(press, simulation.now - start, tuple(faults)))
        if faults and stop_at_fault:
            break
    return reports


def _press_once(simulation: Simulation) -> None:
    if len(simulation.buttons) >= simulation.machine.triggers:
        simulation.press_all()
    else:
        simulation.fault("no button", (), "the machine has no button to press for some loop")
    if not simulation.run_to_rest():
        simulation.fault("never rests", (), "the machine does not come to rest")


def _placement_faults(simulation: Simulation, press: int) -> list[MachineFault]:
    faults = []
    for block, cell, must in simulation.misplaced(press):
        text = f"tape block {block} is at {cell}, must be at {must}"
        faults.append(MachineFault("misplaced", (cell, must), text, simulation.now))
    if faults:
        # To wait is no fault in itself, but here it is likely the cause.
        limit = simulation.rules.push_limit
        for since, ram, cell in simulation.overloads():
            text = f"the ram at {ram} has more than {limit} blocks in front, the last at {cell}"
            faults.append(MachineFault("too many blocks", (ram, cell), text, since))
    return faults


def distinct(simulations: Iterable[Simulation]) -> list[Simulation]:
    """Of fresh simulations of one machine one for each world that can do anything else.

    Two worlds with the same circuit go the same way until a ram strokes into ground, or draws at
    it. That is a fault where the ground is there, so that world is kept: it has all faults of both.
    """
    kept: list[Simulation] = []
    for simulation in sorted(simulations, key=lambda s: not s.case.ground):
        if not any(simulation.alike(other) for other in kept):
            kept.append(simulation)
    return kept


@dataclass(frozen=True)
class CaseResult:
    """The outcome of a full turn of the tape in one case."""

    case: Case
    presses: int
    """Presses proven: those simulated, and those that repeat a state already seen."""
    simulated: int
    faults: tuple[MachineFault, ...]
    half_ticks: int = 0
    """The longest press."""

    @property
    def ok(self) -> bool:
        """Whether every press of a full turn broke no rule."""
        return not self.faults


def prove_case(machine: Machine, case: Case, *, order: int = 1) -> CaseResult:
    """A full turn of the tape (n presses) in one case.

    Tape blocks are alike and the clock is deterministic. So once a press ends in a state in which
    an earlier one began, all later presses repeat it, and simulating them again proves nothing.
    """
    simulation = Simulation(machine, case, order=order)
    if not simulation.run_to_rest(IDLE_LIMIT):
        simulation.fault("idle oscillates", (), "the machine is not at rest before a press")
    if simulation.faults:
        return CaseResult(case, 0, 0, tuple(simulation.faults))
    n, longest = max(map(len, machine.spans)), 0
    states = {simulation.state()}
    for press in range(1, n + 1):
        start = simulation.now
        _press_once(simulation)
        longest = max(longest, simulation.now - start)
        faults = [*simulation.faults, *_placement_faults(simulation, press)]
        if faults:
            return CaseResult(case, press - 1, press, tuple(faults), longest)
        state = simulation.state()
        if state in states:
            return CaseResult(case, n, press, (), longest)
        states.add(state)
    return CaseResult(case, n, n, (), longest)


def prove(machine: Machine, cases: Iterable[Case]) -> list[CaseResult]:
    """Run a full turn in each case. The order of the rams needs no second run: see `strokes`."""
    return [prove_case(machine, case) for case in cases]
