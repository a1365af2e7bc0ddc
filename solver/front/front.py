"""Problem -> Pareto front, by searches under every order of the terms and falling caps on length.

Within a system the depth is fixed, so a front over one other term and the length is exact: the
least of the term, then the least of it on loops shorter than that, until there are none. With
more terms a step is exact where one machine has the least of all of them; else a gap is stated,
unless a machine is known that beats whatever the bounds allow there.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from models.front import TIME, Front, unbeaten
from models.outcome import Feasible, Infeasible, Undecided, Verdict
from models.problem import Problem
from models.scenario import TERMS, Scenario, Term
from models.system import System
from solver.flatten import flatten
from solver.front.press_time import by_time
from solver.net.systems import systems_over
from solver.plan.watch import rest_after_press
from solver.search import Beaten, Progress, Say, search_system

SHARE = 0.5
"""How much of the time that is left one search may take."""
LENGTH: Term = "length"


@dataclass(frozen=True)
class Gap:
    """Where machines may lie that are not known."""

    text: str
    at_least: Mapping[str, int]
    """What such a machine needs of each term, as far as it is proven."""

    def covered(self, found: Iterable[Feasible], terms: tuple[str, ...]) -> bool:
        """Whether one of these machines beats all that may lie there."""
        if any(t not in self.at_least for t in terms):
            return False
        return any(all(f.score[t] <= self.at_least[t] for t in terms) for f in found)


@dataclass
class FrontSoFar:
    """What is known of a front. Other threads may look."""

    scenario: Scenario
    terms: tuple[str, ...]
    found: list[Feasible] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    bounds: list[Mapping[str, int]] = field(default_factory=list)
    """For each system that has machines: what they have at least."""
    current: Progress | None = None
    done: bool = False

    def front(self) -> Front:
        """The front as far as it is known."""
        current = self.current
        best = None if current is None else current.best
        found = [*self.found, *([self.timed(best)] if best is not None else [])]
        open_ = [gap for gap in list(self.gaps) if not gap.covered(found, self.terms)]
        gaps = list(dict.fromkeys(gap.text for gap in open_))
        if not self.done:
            gaps.append("the search did not come to its end")
        machines = unbeaten(found, self.terms, self.scenario.loop.minimise)
        return Front(self.terms, machines, self._least() if self.done else {}, tuple(gaps))

    def timed(self, found: Feasible) -> Feasible:
        """The machine with the time that a press takes among its figures, if time is a term."""
        if TIME not in self.terms or TIME in found.score:
            return found
        return replace(found, score={**found.score, TIME: rest_after_press(found.machine)})

    def _least(self) -> dict[str, int]:
        """Bounds that hold for all systems."""
        named = [t for t in self.terms if self.bounds and all(t in b for b in self.bounds)]
        return {t: min(b[t] for b in self.bounds) for t in named}


def search_front(so_far: FrontSoFar, deadline: float, seed: int, say: Say) -> None:
    """Fill in a front until it is complete or time is up (`deadline`: a `time.monotonic()`)."""
    problem = flatten(so_far.scenario)
    systems = systems_over(so_far.scenario.surfaces, so_far.scenario.rules)
    levels = [(0, system) for system in systems]
    if TIME in so_far.terms:
        levels = [pair for s in systems for pair in by_time(so_far.scenario, s, seed)]
    for i, (least, system) in enumerate(levels):
        now = time.monotonic()
        until = now + (deadline - now) / (len(levels) - i)
        SystemFront(problem, system, so_far, until, seed, say, least).search()
    if not systems:
        so_far.gaps.append(Gap("no system of designs is known for these surfaces", {}))
    so_far.done = True


@dataclass
class SystemFront:
    """The part of a front that one system has."""

    problem: Problem
    system: System
    so_far: FrontSoFar
    deadline: float
    seed: int
    say: Say
    least_time: int
    """Half-ticks that a press takes at least, with the slowest drives of the system."""
    needed: dict[str, int] = field(default_factory=dict)
    """What all machines that are still looked for need at least; grows as loops get shorter."""

    def search(self) -> None:
        """Each term first, then shorter and shorter loops."""
        terms = self.so_far.terms
        free = tuple(t for word in terms for t in TERMS if t == word and t != "depth")
        self.needed["depth"] = self.system.least_depth
        if TIME in terms:
            self.needed[TIME] = self.least_time
        before = len(self.so_far.gaps)
        if self.system.surfaces and "depth" in terms:
            self._gap("over several surfaces the depth is not searched for its own sake")
        if TIME in terms:
            least = f"at least {self.least_time / 2:g} ticks with its slowest drives"
            self._gap(f"the time of a press is measured, not searched for its own sake: {least}")
        firsts: dict[Term, Verdict] = {}
        for term in free:
            firsts[term] = self._least(_first(term, free), None)
            if isinstance(firsts[term], Infeasible):
                del self.so_far.gaps[before:]
                return
        if not free and isinstance(self._least((), None), Infeasible):
            return
        bound = dict(self.needed)
        self.so_far.bounds.append(bound)
        # What one search proved of its term narrows the gaps of the others.
        self.so_far.gaps[before:] = [Gap(g.text, bound) for g in self.so_far.gaps[before:]]
        rest = tuple(t for t in free if t != LENGTH)
        if rest and LENGTH in free:
            self._shorten(rest, firsts)
        else:
            self._ideal(firsts, None)

    def _shorten(self, rest: tuple[Term, ...], firsts: dict[Term, Verdict]) -> None:
        """The best machines under falling caps on length; no loop is shorter than the last."""
        shortest = firsts[LENGTH]
        least = shortest.lower_bound.get(LENGTH, 4) if not isinstance(shortest, Infeasible) else 4
        at_cap, cap = {t: firsts[t] for t in rest}, None
        while True:
            ideal = self._ideal(at_cap, cap)
            lengths = [f.score[LENGTH] for f in map(_machine, at_cap.values()) if f is not None]
            if not lengths:
                return
            cap = (max(lengths) if ideal is None else ideal.score[LENGTH]) - 1
            # The shortest loops are known already if the rest is a single term.
            known = isinstance(shortest, Feasible) and shortest.optimal and len(rest) == 1
            if cap < least + known * self._stride():
                return
            if Gap("", self.needed).covered(self.so_far.found, self.so_far.terms):
                return
            if time.monotonic() > self.deadline:
                self._gap(f"loops of {least} to {cap} cells: time ran out")
                return
            at_cap = {}
            for term in rest:
                at_cap[term] = self._least((*_first(term, rest), LENGTH), cap)
                if isinstance(at_cap[term], Infeasible):
                    return

    def _stride(self) -> int:
        """By how much lengths differ at least: on one surface every loop is even."""
        return 2 if len(self.problem.scenario.surfaces) == 1 else 1

    def _least(self, order: tuple[Term, ...], cap: int | None) -> Verdict:
        """The best machine under this order of the terms, on loops of at most `cap` cells."""
        scenario = self.problem.scenario
        loop = replace(scenario.loop, minimise=order)
        if cap is not None:
            loop = replace(loop, max_length=cap)
        problem = replace(self.problem, scenario=replace(scenario, loop=loop))
        what = f"front, {self.system.name}, {_what(order, cap)}"
        self.say(what)
        self.so_far.current = progress = Progress()
        now = time.monotonic()
        until = now + (self.deadline - now) * SHARE
        verdict = search_system(
            problem,
            self.system,
            until,
            self.seed,
            lambda line: self.say(f"{what}: {line}"),
            progress,
        )
        assert not isinstance(verdict, Beaten), "without a rival nothing is beaten"
        machine = _machine(verdict)
        if machine is not None:
            self.so_far.found.append(self.so_far.timed(machine))
        self.so_far.current = None
        if order and not isinstance(verdict, Infeasible) and order[0] in verdict.lower_bound:
            bound = verdict.lower_bound[order[0]]
            self.needed[order[0]] = max(bound, self.needed.get(order[0], 0))
        self._judge(verdict, order, cap)
        return verdict

    def _judge(self, verdict: Verdict, order: tuple[Term, ...], cap: int | None) -> None:
        """State the gap that a search leaves."""
        match verdict:
            case Feasible(optimal=True) | Infeasible():
                return
            case Feasible() | Undecided():
                best = _machine(verdict)
                why = verdict.why if isinstance(verdict, Undecided) else "not proven least"
                between = [
                    f"{t} between {verdict.lower_bound.get(t, 0)} and {best.score[t]}"
                    for t in order
                    if best is not None and verdict.lower_bound.get(t, 0) < best.score[t]
                ]
                words = f", {between[0]}" if between else ""
                self._gap(f"{_what(order, cap)}: {why}{words}")

    def _ideal(self, at_cap: Mapping[Term, Verdict], cap: int | None) -> Feasible | None:
        """The machine that has the least of every term at once; if there is none, that is a gap."""
        machines = {t: f for t, v in at_cap.items() if (f := _machine(v)) is not None}
        for machine in machines.values():
            if all(machine.score[t] <= other.score[t] for t, other in machines.items()):
                return machine
        if machines:
            self._gap(
                f"{_cells(cap)}: no machine has the least {' and '.join(machines)} at once, and "
                "those between are not all searched"
            )
        return None

    def _gap(self, text: str) -> None:
        self.so_far.gaps.append(Gap(f"system {self.system.name}, {text}", dict(self.needed)))


def _machine(verdict: Verdict) -> Feasible | None:
    match verdict:
        case Feasible():
            return verdict
        case Undecided():
            return verdict.best
        case Infeasible():
            return None


def _first(term: Term, terms: tuple[Term, ...]) -> tuple[Term, ...]:
    return (term, *(t for t in terms if t != term))


def _cells(cap: int | None) -> str:
    return "loops of any length" if cap is None else f"loops of at most {cap} cells"


def _what(order: tuple[Term, ...], cap: int | None) -> str:
    return f"{f'least {order[0]}' if order else 'any machine'}, {_cells(cap)}"
