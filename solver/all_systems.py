"""Problem -> verdict over all systems that its surfaces have, and how far the search has got."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.problem import Problem
from models.scenario import Scenario
from models.system import System
from solver.anywhere import SHORT, all_short_loops, may_lie_anywhere
from solver.flatten import flatten
from solver.net.systems import systems_over
from solver.route.large import LARGE
from solver.search import (
    Beaten,
    Progress,
    Say,
    bound_of_long_loops,
    no_worse,
    prepare,
    search_system,
    value,
)

Bound = tuple[int, ...]
SHARE_ANYWHERE = 0.3
"""The share of the time left for what short loops cost at least, wherever they lie."""
LATER = 0.2
"""The share of the time left that is kept for the systems still to come."""


@dataclass
class Live:
    """How far the search has got. Other threads may look."""

    terms: tuple[str, ...]
    systems: int = 1
    """How many systems there are to search."""
    results: list[Verdict | Beaten] = field(default_factory=list)
    """Those of the systems that are done."""
    done_best: Feasible | None = None
    current: Progress | None = None
    waiting: dict[str, Progress] = field(default_factory=dict)
    """Systems whose turn comes later, prepared."""

    @property
    def best(self) -> Feasible | None:
        """The best machine so far, of the system at work too."""
        current = self.current
        found = [self.done_best, None if current is None else current.best]
        return _best((f for f in found if f is not None), self.terms)

    @property
    def bound(self) -> dict[str, int]:
        """What no machine is better than; nothing as long as of a system nothing is known."""
        bounds = bounds_of(self.results, self.terms)
        known = [*self.waiting.values(), *([self.current] if self.current is not None else [])]
        if len(self.results) + len(known) < self.systems:
            return {}
        bounds += [tuple(progress.named_bound.values()) for progress in known]
        return dict(zip(self.terms, min(bounds, default=()), strict=False))


def _best(found: Iterable[Feasible], terms: tuple[str, ...]) -> Feasible | None:
    return min(found, key=lambda f: value(f, terms), default=None)


def search_all(scenario: Scenario, deadline: float, seed: int, say: Say, live: Live) -> Verdict:
    """All systems, one after the other; the first in order wins among equals.

    In a large room rectangles come first: they are soon listed. No system takes all the time
    there, as a bound holds only once every system was looked at.
    """
    problem = flatten(scenario)
    systems: Sequence[System] = systems_over(scenario.surfaces, scenario.rules)
    large = len(problem.graph.cells) >= LARGE
    if large:
        systems = sorted(systems, key=lambda system: not system.convex_only)
    live.systems = len(systems)
    least_length = scenario.loop.min_length or 0
    anywhere = large and least_length <= SHORT and may_lie_anywhere(problem)

    def prepare_others() -> None:
        """With a machine at hand the bounds of the systems to come are worth their time."""
        for system in systems[len(live.results) + 1 :]:
            if not system.convex_only and system.name not in live.waiting:
                live.waiting[system.name] = prepare(problem, system, seed, live.best)

    for system in systems:
        rival, last = live.done_best, system is systems[-1]
        left = deadline - time.monotonic()
        until = deadline if last or not large else deadline - LATER * left
        alone = live.waiting.pop(system.name, None)
        if alone is None:
            alone = prepare(problem, system, seed, rival) if anywhere else Progress()
        alone.rival = rival
        if large:
            alone.on_machine = prepare_others
        live.current = alone
        if anywhere:
            least = _least_anywhere(problem, system, alone, until, seed)
            alone.bound = max(alone.bound, least)
        if rival is not None and no_worse(rival, live.terms, alone.bound):
            result: Verdict | Beaten = Beaten(alone.bound, proven=True)
        else:
            result = search_system(problem, system, until, seed, say, alone)
        live.done_best, live.current = live.best, None
        live.results.append(result)
    return _verdict(live.results, live.best, live.terms)


def _least_anywhere(
    problem: Problem, system: System, alone: Progress, deadline: float, seed: int
) -> Bound:
    """What no machine of a system is better than where no wish says where its loop lies."""
    assert alone.ready is not None
    terms = problem.scenario.loop.minimise
    long = bound_of_long_loops(alone.ready.problem, system, terms, SHORT + 1)
    until = time.monotonic() + SHARE_ANYWHERE * (deadline - time.monotonic())
    ground, state = all_short_loops(problem), Progress()
    short = search_system(ground, system, until, seed, lambda line: None, state)
    return min([long, *bounds_of([short], terms)])


def _verdict(
    results: list[Verdict | Beaten], best: Feasible | None, terms: tuple[str, ...]
) -> Verdict:
    """One verdict from those of the systems."""
    if not results:
        reason = Reason("no system of designs is known for these surfaces")
        return Undecided(None, {}, reason.text, timed_out=False)
    open_ = [r for r in results if isinstance(r, Undecided)]
    late = [r for r in open_ if r.timed_out]
    bound = dict(zip(terms, min(bounds_of(results, terms), default=()), strict=False))
    if late:
        return Undecided(best, bound, late[0].why)
    if best is not None:
        sure = all(
            isinstance(r, Infeasible)
            or (isinstance(r, Beaten) and r.proven)
            or (isinstance(r, Feasible) and r.optimal)
            or any(no_worse(best, terms, b) for b in bounds_of([r], terms))
            for r in results
        )
        return replace(best, optimal=sure, lower_bound=best.score if sure else bound)
    if open_:
        return Undecided(None, bound, open_[0].why, details=open_[0].details, timed_out=False)
    refuted = [r for r in results if isinstance(r, Infeasible)]
    reasons = dict.fromkeys(reason for r in refuted for reason in r.reasons)
    return Infeasible(tuple(reasons), "; ".join(dict.fromkeys(r.proof for r in refuted)))


def bounds_of(results: Iterable[Verdict | Beaten], terms: tuple[str, ...]) -> list[Bound]:
    """What no machine of each system is better than; those without a machine have none."""
    bounds = []
    for result in results:
        match result:
            case Feasible() | Undecided():
                bounds.append(
                    tuple(result.lower_bound[t] for t in terms if t in result.lower_bound)
                )
            case Beaten():
                bounds.append(result.bound)
            case Infeasible():
                pass
    return bounds
