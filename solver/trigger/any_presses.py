"""All that a button can do to a machine: every press at every moment, in any number.

The machine is followed half-tick by half-tick; wherever its button is up, one branch goes on with
a press and one without. Situations that were met before need no second look, so this ends, and
what holds for all of them holds for every train of presses.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field

from models.machine import Case, Machine
from solver.simulate import Simulation, Stroke
from solver.simulate.press import IDLE_LIMIT

MOST = 60_000
"""Situations; a machine that has more is given up, unproven."""


def turns_of(machine: Machine, button: int, cycles: int) -> tuple[int, ...]:
    """By how many cells each loop has advanced after so many cycles of one button."""
    if machine.triggers == 1:
        return (cycles,) * len(machine.spans)
    return tuple(cycles * (loop == button) for loop in range(len(machine.spans)))


@dataclass
class _Run:
    """One train of presses, up to now."""

    simulation: Simulation
    presses: list[int]
    """When the button was pressed."""
    done: int = 0
    """By how many cells the tape has advanced in the cycles that are over."""
    out: bool = False
    """Whether the first ram of a cycle has begun to stroke and not yet to go back."""
    left: int = 0
    """Once it goes back, half-ticks until the cycle is over."""

    def branch(self, button: int) -> _Run:
        """The same run, with a press now."""
        # Three times as quick as `deepcopy`, and copying is what takes the time here.
        other: _Run = pickle.loads(pickle.dumps(self))
        other.simulation.press(button=button)
        other.presses.append(other.simulation.now)
        return other

    def situation(self, button: int) -> tuple[object, ...]:
        """All that decides the future, and which block is where, counted from the last cycle."""
        at, spans = self.simulation.block_at, self.simulation.machine.spans
        turns = turns_of(self.simulation.machine, button, self.done)
        order = tuple(
            at[span.start + (j - done) % len(span)]
            for span, done in zip(spans, turns, strict=True)
            for j in range(len(span))
        )
        up_in = self.simulation.pressed_for(button)
        return (self.simulation.situation(), order, up_in, self.out, self.left)


@dataclass
class AnyPresses:
    """Explores one machine in one case.

    A cycle begins when the ram begins to stroke that does so first after a press, and ends so long
    after that ram goes back as in a press from rest, where by then every ram and block rests.
    """

    machine: Machine
    case: Case
    button: int = 0
    """The one that is pressed."""
    calm: int = 0
    """Half-ticks from a press until every ram and block rests."""
    known: set[tuple[object, ...]] = field(default_factory=set)
    """All situations met."""

    def fault(self) -> str:
        """What goes wrong after some train of presses; empty if nothing ever does."""
        if wrong := self._watch_one():
            return wrong
        simulation = Simulation(self.machine, self.case)
        simulation.run_to_rest(IDLE_LIMIT)
        self._idle = simulation.state()
        self._rams = tuple(ram.state for ram in simulation.rams)
        waiting = [_Run(simulation, [])]
        while waiting:
            run = waiting.pop()
            if wrong := self._follow(run, waiting):
                ticks = ", ".join(f"{(t - run.presses[0]) / 2:g}" for t in run.presses)
                return f"pressed after {ticks} ticks: {wrong}"
        return ""

    def _watch_one(self) -> str:
        """The times of a press from rest."""
        simulation = Simulation(self.machine, self.case, record=True)
        if not simulation.run_to_rest(IDLE_LIMIT):
            return "the machine is not at rest before a press"
        if len(simulation.buttons) <= self.button:
            return "the machine has no button"
        start = simulation.now
        simulation.press(button=self.button)
        simulation.run_to_rest()
        events = [e for e in simulation.events or () if e[0] > start and e[1] in ("ram", "tape")]
        if not events:
            return "a press moves nothing"
        self._first = next(which for _, what, which, _ in events if what == "ram")
        back = [e[0] for e in events if e[1:] == ("ram", self._first, Stroke.RETRACTING)]
        if len(back) != 1 or back[0] == events[-1][0]:
            return "the ram that a press fires does not go out and back once"
        self.calm, self._after = events[-1][0] - start, events[-1][0] - back[0]
        return ""

    def _follow(self, run: _Run, waiting: list[_Run]) -> str:
        """Go on without a press until rest, or until nothing is new; note where to branch."""
        simulation = run.simulation
        while (situation := run.situation(self.button)) not in self.known:
            if len(self.known) >= MOST:
                return f"more than {MOST} situations, not all were tried"
            self.known.add(situation)
            if not simulation.pressed_for(self.button):
                waiting.append(run.branch(self.button))
            if simulation.at_rest():
                at_home = not run.out and not run.left and simulation.state() == self._idle
                return "" if at_home else "the machine does not rest as it did before"
            before = simulation.rams[self._first].state
            simulation.step()
            now = simulation.rams[self._first].state
            if simulation.faults:
                return simulation.faults[0].text
            if wrong := self._look(run, None if now == before else now):
                return wrong
        return ""

    def _look(self, run: _Run, stroke: Stroke | None) -> str:
        """Whether each cycle begins after the last one is over, and leaves all as it must be.

        `stroke` is what the first ram has just begun.
        """
        if stroke == Stroke.EXTENDING:
            wrong = run.out or run.left
            run.out = True
            return "a cycle begins before the last one is over" if wrong else ""
        if stroke == Stroke.RETRACTING:
            run.out, run.left = False, self._after
            return ""
        if run.out or run.left > 1:
            run.left = max(0, run.left - 1)
            return ""
        run.done, run.left = run.done + run.left, 0
        rams = tuple(ram.state for ram in run.simulation.rams)
        turns = turns_of(self.machine, self.button, run.done)
        if rams != self._rams or run.simulation.misplaced(*turns):
            return "the tape is not left flush, one cell on for each cycle, and all rams at rest"
        return ""
