"""Problem -> verdict: routes are proposed, carried through to a simulated machine, or refused.

Every refusal of a later stage (no trigger net, a static fault, a fault in the simulation) goes
back to the route search as a cut. So a verdict of "impossible" or "optimal" covers the whole
machine, over the catalogue of designs at hand.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from models.machine import ALL_CASES
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.problem import Problem
from models.route import Route, RouteFound, RouteNone, RouteUnknown
from models.system import System
from solver.check import check_against, check_machine
from solver.layout import lay_out, score
from solver.net import LineSearch, NoLine
from solver.route import RouteSearch
from solver.routing import clashing, route_problem, route_terms, this_route
from solver.simulate import prove

Say = Callable[[str], None]


@dataclass
class Progress:
    """The best machine so far, and what was refused on the way. Other threads may look."""

    best: Feasible | None = None
    refusals: list[str] = field(default_factory=list)
    bound: tuple[int, ...] = ()
    terms: tuple[str, ...] = ()

    @property
    def named_bound(self) -> dict[str, int]:
        """The lower bound, term by term."""
        return dict(zip(self.terms, self.bound, strict=False))


def search_system(
    problem: Problem, system: System, deadline: float, seed: int, say: Say, state: Progress
) -> Verdict:
    """The best machine of one system; `deadline` is a `time.monotonic()` time."""
    routes = RouteSearch(
        route_problem(problem, system),
        seed=seed,
        clash=lambda a, b: clashing(problem, system, a, b),
    )
    lines = LineSearch(problem, system)
    return _improve(problem, system, routes, lines, state, deadline, say)


def _improve(
    problem: Problem,
    system: System,
    routes: RouteSearch,
    lines: LineSearch,
    state: Progress,
    deadline: float,
    say: Say,
) -> Verdict:
    terms = state.terms = route_terms(problem)
    while True:
        verdict = routes.solve(deadline)
        match verdict:
            case RouteNone():
                if state.best is not None:
                    return _proven(state.best)
                return _impossible(verdict, state, system)
            case RouteUnknown():
                state.bound = max(state.bound, verdict.lower_bound)
                return Undecided(state.best, state.named_bound)
            case RouteFound():
                route, state.bound = verdict.route, max(state.bound, verdict.lower_bound)
                if state.best is not None and _value(state.best, terms) <= verdict.lower_bound:
                    return _proven(state.best)
                say(f"route of {len(route.cells)} cells, {len(route.corners)} corners")
                _carry_through(problem, system, lines, route, state, say)
                if state.best is not None and _value(state.best, terms) <= state.bound:
                    return _proven(state.best)
                routes.forbid(this_route(routes.problem, route))
        if time.monotonic() > deadline:
            return Undecided(state.best, state.named_bound)


def _carry_through(
    problem: Problem, system: System, lines: LineSearch, route: Route, state: Progress, say: Say
) -> None:
    """Take a route on to a simulated machine; keep it if it is the best so far."""
    terms = route_terms(problem)
    line = lines.find(route)
    if isinstance(line, NoLine):
        state.refusals.append(line.reason)
        say(f"refused: {line.reason}")
        return
    machine = lay_out(problem, system, route, line)
    breaches = check_machine(machine) + check_against(machine, problem.scenario)
    if not breaches:
        results = prove(machine, ALL_CASES)
        breaches = [fault for result in results for fault in result.faults]
    if breaches:
        state.refusals.append(breaches[0].text)
        say(f"refused by simulation: {breaches[0].text}")
        return
    values = score(machine, len(route.corners), system.depth)
    found = Feasible(machine, values, False, state.named_bound, system.name)
    if state.best is None or _value(found, terms) < _value(state.best, terms):
        state.best = found
        say("accepted in all four cases: " + ", ".join(f"{k} {v}" for k, v in values.items()))


def _value(found: Feasible, terms: tuple[str, ...]) -> tuple[int, ...]:
    return tuple(found.score[term] for term in terms)


def _proven(best: Feasible) -> Feasible:
    return Feasible(best.machine, best.score, True, best.score, best.system, best.notes)


def _impossible(verdict: RouteNone, state: Progress, system: System) -> Infeasible:
    proof = verdict.proof
    reasons = [Reason(proof.reason)] if proof.reason else []
    reasons += [Reason(f"refused: {text}") for text in dict.fromkeys(state.refusals)]
    return Infeasible(tuple(reasons), f"{proof.kind}, confirmed by {proof.confirmed_by}")
