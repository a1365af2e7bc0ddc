"""What a machine with a clock or a hold-off must show, by simulation in every case."""

from __future__ import annotations

from collections.abc import Iterable

from models.machine import Case, Machine, MachineFault
from models.trigger import Proof
from solver.simulate import Simulation
from solver.simulate.press import IDLE_LIMIT
from solver.trigger.any_presses import AnyPresses, turns_of

IDLE = "idle oscillates"
"""The one fault that a clock has by its nature: it has no idle state."""


# ------------------------------------------------------------------ clock


def prove_clock(machine: Machine, cases: Iterable[Case], half_period: int) -> Proof:
    """In each period the tape advances by one cell and lies flush, for as many as it has cells.

    `half_period` in half-ticks. There is no rest to wait for. So the blocks are looked at in
    every half-tick of n periods, all of which begin in the same state; a moment of the period at
    which all lie flush, one cell further on each time, must come in every one of them.
    """
    period, shortest = 2 * half_period, 2 * half_period
    for case in cases:
        flush = _flush_time(machine, case, period)
        if isinstance(flush, str):
            return Proof(False, f"{case}: {flush}")
        shortest = min(shortest, flush)
    n = len(machine.tape)
    text = (
        f"{n} periods of {period / 2:g} ticks: in each the tape advances by one cell "
        f"and lies flush for at least {shortest / 2:g} ticks"
    )
    return Proof(True, text, {"period": period / 2, "flush": shortest / 2})


def _flush_time(machine: Machine, case: Case, period: int) -> int | str:
    """For how many half-ticks of every period the tape lies flush; else what is wrong."""
    simulation = Simulation(machine, case)
    n = len(machine.tape)
    for _ in range(2 * period):  # after the first edge the ring runs regularly
        simulation.step()
    done = _advanced(simulation)
    while done is None and simulation.now < 4 * period:
        simulation.step()
        done = _advanced(simulation)
    if done is None:
        return _told(simulation.faults) or "the tape never lies flush"
    good, state = set(range(period)), simulation.state()
    for turn in range(n + 1):
        if simulation.state() != state:
            return _told(simulation.faults) or f"period {turn + 1} does not begin like the first"
        for moment in range(period):
            if moment in good and simulation.misplaced(done + turn):
                good.discard(moment)
            simulation.step()
        if not good:
            return _told(simulation.faults) or f"the tape is not flush in period {turn + 1}"
    return _told(simulation.faults) or len(good)


def _advanced(simulation: Simulation, least: int = 0, button: int = 0) -> int | None:
    """By how many cells the tape of a button has advanced, if all lies flush."""
    machine = simulation.machine
    tried = range(least, least + len(machine.tape))
    return next((k for k in tried if not simulation.misplaced(*turns_of(machine, button, k))), None)


def _told(faults: Iterable[MachineFault]) -> str:
    return next((fault.text for fault in faults if fault.code != IDLE), "")


# ------------------------------------------------------------------ hold-off


def prove_hold_off(machine: Machine, cases: Iterable[Case], button: int = 0) -> Proof:
    """Whatever presses come, the tape ends flush, and each cycle begins when all is calm.

    A press that counts begins a cycle; all that come before rams and tape rest again do nothing.
    Second presses at every half-tick come first, as they soon show what fails, and since when they
    count; then all trains of presses that there are.
    """
    ignored = rest = calm = situations = 0
    for case in cases:
        found = _Presser(Simulation(machine, case), button).trial()
        if isinstance(found, str):
            return Proof(False, f"{case}: {found}")
        every = AnyPresses(machine, case, button)
        if wrong := every.fault():
            return Proof(False, f"{case}: {wrong}")
        rest, ignored = max(rest, found[0]), max(ignored, found[1])
        calm = max(calm, every.calm)
        situations = max(situations, len(every.known))
    text = (
        f"after any presses at any times ({situations} situations, all that there are) "
        f"a cycle begins only when every ram and block rests after the one before it, and moves "
        f"the tape by one cell; {calm / 2:g} ticks after a press from rest they rest again, and "
        f"presses up to {ignored / 2:g} ticks after it do nothing"
    )
    figures = {"rest": rest / 2, "calm": calm / 2, "ignored": ignored / 2}
    return Proof(True, text, figures)


class _Presser:
    """Presses a machine and counts by how many cells the tape has advanced."""

    def __init__(self, simulation: Simulation, button: int) -> None:
        self._simulation = simulation
        self._button = button
        self.count = 0

    def why(self) -> str:
        """What is wrong."""
        return _told(self._simulation.faults) or "the tape is not left flush"

    def trial(self) -> tuple[int, int] | str:
        """All second presses: half-ticks until rest, and how long they do nothing; or the fault."""
        if len(self._simulation.buttons) <= self._button:
            return "the machine has no button"
        if not self._simulation.run_to_rest(IDLE_LIMIT):
            return "the machine is not at rest before a press"
        took = self.press()
        if took is None or self.count != 1:
            return self.why()
        counted = []
        for wait in range(1, took + 3):
            before = self.count
            if self.press_twice(wait) is None or self.press() is None:
                return f"again after {wait / 2:g} ticks: {self.why()}"
            counted.append(self.count - before - 1)
            if counted[-1] not in (1, 2):
                return f"again after {wait / 2:g} ticks: {counted[-1]} cells on"
        if counted[-1] != 2:
            return "a press after rest is ignored"
        if counted != sorted(counted):
            return "a later second press does nothing where an earlier one counts"
        return took, counted.index(2)

    def press(self) -> int | None:
        """A press from rest; half-ticks until rest, None if anything is wrong."""
        self._simulation.press(button=self._button)
        return self._settle()

    def press_twice(self, wait: int) -> int | None:
        """A second press so many half-ticks after the first."""
        self._simulation.press(button=self._button)
        for _ in range(wait):
            self._simulation.step()
        self._simulation.press(button=self._button)
        return self._settle()

    def _settle(self) -> int | None:
        start = self._simulation.now
        if not self._simulation.run_to_rest() or self._simulation.faults:
            return None
        advanced = _advanced(self._simulation, self.count, self._button)
        if advanced is None:
            return None
        self.count = advanced
        return self._simulation.now - start
