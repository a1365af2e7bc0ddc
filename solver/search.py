"""Problem -> verdict: routes are proposed, carried through to a simulated machine, or refused.

Every refusal of a later stage (no trigger net, a static fault, a fault in the simulation) goes
back to the route search as a cut. So a verdict of "impossible" or "optimal" covers the whole
machine, over the catalogue of designs at hand.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import takewhile

from models.geometry import Cell
from models.machine import Machine
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.problem import Problem
from models.route import (
    Route,
    RouteCut,
    RouteFound,
    RouteNone,
    RouteProblem,
    RouteUnknown,
    RouteVerdict,
)
from models.system import System
from solver.anywhere import copies, may_lie_anywhere, settled_anywhere
from solver.net.floor_line import NetSearch
from solver.net.layout import depth_of, score
from solver.net.realise import Refused, net_search, realise
from solver.net.space_net import SpaceNetSearch
from solver.net.wall_net import WallNetSearch
from solver.route import RouteSearch
from solver.route.button_reach import reach_cut
from solver.route.elsewhere import Tries
from solver.route.problem import clashing, route_problem
from solver.route.walks import term_bounds
from solver.route.worth import Routes, least_with_digging, others_of, route_search, worth

Say = Callable[[str], None]
PATIENCE = 4
"""Routes in a row without a better machine, after which a search that proves nothing ends."""
QUICK_SHARE = 0.4
"""How much of the time a wall may take before lines are searched for."""
UNPROVEN = "every route was refused, but not every trigger net was tried"
BEYOND = "no machine of this catalogue fits, but the rules alone do not exclude one"


@dataclass
class Progress:
    """The best machine so far, and what was refused on the way. Other threads may look."""

    best: Feasible | None = None
    rival: Feasible | None = None
    """The best machine of other systems: what must be beaten."""
    refusals: list[str] = field(default_factory=list)
    unproven: bool = False
    """Whether a route was refused that some other net might fit."""
    bound: tuple[int, ...] = ()
    floor: tuple[int, ...] | None = None
    """What no machine of the routes looked at beats, where their nets are bounded one by one."""
    terms: tuple[str, ...] = ()
    ready: Routes | None = None
    """A search for routes that was made before, with a rival no better than this one."""
    on_machine: Callable[[], None] = lambda: None
    """Called after each machine that is the best so far."""

    @property
    def named_bound(self) -> dict[str, int]:
        """The lower bound, term by term."""
        return _certain(dict(zip(self.terms, self.bound, strict=False)), self.terms)


@dataclass(frozen=True)
class Beaten:
    """This system has nothing better than the rival; `proven` if no route was left unsettled."""

    bound: tuple[int, ...]
    proven: bool


def search_system(
    problem: Problem, system: System, deadline: float, seed: int, say: Say, state: Progress
) -> Verdict | Beaten:
    """The best machine of one system; `deadline` is a `time.monotonic()` time."""
    result = _machines(problem, system, deadline, seed, say, state)
    if "dug" not in problem.scenario.loop.minimise or isinstance(result, Infeasible):
        return result
    least = least_with_digging(problem, system, seed, deadline)
    return _with_digging(system, state, result, least)


def _machines(
    problem: Problem, system: System, deadline: float, seed: int, say: Say, state: Progress
) -> Verdict | Beaten:
    nets = net_search(problem, system)
    if isinstance(nets, WallNetSearch):
        # Lines found by search take their time: first without them, on all routes.
        until = time.monotonic() + QUICK_SHARE * (deadline - time.monotonic())
        verdict = _search(problem, system, nets, until, seed, say, state)
        if not isinstance(verdict, Undecided) or verdict.best is not None:
            return verdict
        nets.weaves, state.unproven, state.floor = True, False, None
    return _search(problem, system, nets, deadline, seed, say, state)


def _search(
    problem: Problem,
    system: System,
    nets: NetSearch,
    deadline: float,
    seed: int,
    say: Say,
    state: Progress,
) -> Verdict | Beaten:
    free = isinstance(nets, SpaceNetSearch) and problem.scenario.loop.shape == "free"
    tries = Tries(partial(_routes, problem, system, seed, state), guesses=free)
    return _improve(problem, system, tries, nets, state, deadline, say)


def _routes(problem: Problem, system: System, seed: int, state: Progress) -> Routes:
    """The search for routes, with what is known to be of no use refused."""
    if state.ready is not None:
        routes, state.ready = state.ready, None
        if isinstance(routes, RouteSearch) and (below := worth(problem, system, state.rival)):
            routes.settle_for(below)
        return routes
    routes = route_search(problem, system, seed, state.rival)
    cut = reach_cut(problem, system)
    if cut is not None:
        routes.forbid(cut)
    if system.settled:
        routes.forbid(RouteCut(chosen=frozenset(others_of(routes.problem, system))))
    return routes


def prepare(problem: Problem, system: System, seed: int, rival: Feasible | None) -> Progress:
    """A search for routes and the bound that it begins with, before anything is searched."""
    state = Progress(rival=rival, terms=problem.scenario.loop.minimise)
    state.ready = _routes(problem, system, seed, state)
    if isinstance(state.ready, RouteSearch) and state.ready.proof is None:
        state.bound = _with_depth(system, state.terms, state.ready.lower_bound())
    return state


def bound_of_long_loops(
    asked: RouteProblem, system: System, terms: tuple[str, ...], length: int
) -> tuple[int, ...]:
    """What no machine is better than whose loop has so many cells."""
    asked = replace(asked, length_min=max(length, asked.length_min))
    least = (term_bounds(asked, asked.allowed, t).least for t in range(len(asked.terms)))
    return _with_depth(system, terms, tuple(least))


def any_route(problem: Problem, system: System, seed: int, deadline: float) -> RouteVerdict:
    """Whether a system has any route at all, good or bad."""
    loop = replace(problem.scenario.loop, minimise=())
    plain = replace(problem, scenario=replace(problem.scenario, loop=loop))
    routes = RouteSearch(
        route_problem(plain, system),
        seed=seed,
        clash=lambda a, b: clashing(plain, system, a, b),
    )
    return routes.solve(deadline)


def _improve(
    problem: Problem,
    system: System,
    tries: Tries,
    nets: NetSearch,
    state: Progress,
    deadline: float,
    say: Say,
) -> Verdict | Beaten:
    terms = state.terms = problem.scenario.loop.minimise
    idle = 0
    while True:
        verdict = tries.solve(deadline, again=state.best is None)
        routes = tries.routes
        match verdict:
            case RouteNone():
                if state.best is not None:
                    return _last(state, nets)
                if state.unproven:
                    return Undecided(
                        None, state.named_bound, UNPROVEN, details=_refusals(state), timed_out=False
                    )
                return _impossible(problem, system, routes.seed, verdict, state, deadline)
            case RouteUnknown():
                return _cut_short(system, routes, nets, state, verdict.lower_bound)
            case RouteFound():
                route = verdict.route
                bound = _with_depth(system, terms, verdict.lower_bound)
                _raise_bound(state, nets, bound)
                if state.best is not None and value(state.best, terms) <= bound:
                    return _by_bound(_last(state, nets), terms)
                if state.rival is not None and value(state.rival, terms) <= bound:
                    return _beaten(state, nets)
                say(f"route of {len(route.cells)} cells, {len(route.corners)} corners")
                better = partial(_better, problem, state, route)
                machine = realise(problem, system, nets, route, better)
                idle = 0 if _keep(problem, system, route, machine, state, say) else idle + 1
                cut = tries.refuse(route, *_told(machine))
                _refuse_copies(problem, system, routes, route, better)
                settled = _lower_floor(system, nets, route, cut, bound, state)
                _raise_bound(state, nets, bound)
                idle -= settled and idle > 0 and problem.scenario.loop.shape == "exact"
                if state.best is not None and value(state.best, terms) <= state.bound:
                    return _by_bound(_proven(state.best), terms)
                ended = _tried_enough(state, nets, idle)
                if ended is not None:
                    return ended
                _ask_for_less(routes, state)
        if time.monotonic() > deadline:
            return Undecided(state.best, state.named_bound)


def _refuse_copies(
    problem: Problem,
    system: System,
    routes: Routes,
    route: Route,
    better: Callable[[Machine], bool],
) -> None:
    """Refuse a route wherever it may lie, if it has nothing better anywhere."""
    if may_lie_anywhere(problem) and settled_anywhere(problem, system, route, better):
        for copy in copies(problem, routes.problem, route):
            routes.forbid(copy)


def _told(machine: Machine | Refused) -> tuple[RouteCut | None, Cell | None]:
    """What is told of a route's failure: a clause for good, or a place."""
    return (machine.cut, machine.at) if isinstance(machine, Refused) else (None, None)


def _ask_for_less(routes: Routes, state: Progress) -> None:
    """In a large room a machine at hand ends the search for good routes; the rest is proof."""
    if state.best is None or not isinstance(routes, RouteSearch) or routes.scout is None:
        return
    sure = takewhile(lambda term: term != "dug", routes.problem.terms)
    if below := tuple(state.best.score[term] for term in sure):
        routes.settle_for(below)


def _tried_enough(state: Progress, nets: NetSearch, idle: int) -> Feasible | Beaten | None:
    """What a search that proves nothing comes to; None while it goes on."""
    if nets.exhaustive:
        return None
    if state.best is None:
        return Beaten(state.bound, proven=False) if idle and state.rival else None
    return _good(state) if idle >= PATIENCE else None


def _cut_short(
    system: System,
    routes: Routes,
    nets: NetSearch,
    state: Progress,
    least: tuple[int, ...],
) -> Verdict | Beaten:
    """No further route is known: none is worth while, or time is up."""
    _raise_bound(state, nets, _with_depth(system, state.terms, least))
    if state.best is not None and value(state.best, state.terms) <= state.bound:
        return _by_bound(_proven(state.best), state.terms)
    if not routes.below or least[: len(routes.below)] < routes.below:
        return Undecided(state.best, state.named_bound)
    rival, best, terms = state.rival, state.best, state.terms
    if rival is not None and (best is None or value(rival, terms) <= value(best, terms)):
        return _beaten(state, nets)
    return _settled(state, nets)


def _beaten(state: Progress, nets: NetSearch) -> Beaten:
    sure = not state.unproven and (state.best is None or nets.exhaustive)
    return Beaten(tuple(state.named_bound.values()), proven=sure)


def _with_digging(
    system: System,
    state: Progress,
    result: Feasible | Undecided | Beaten,
    least: tuple[int, ...] | None,
) -> Verdict | Beaten:
    """The result of a system with what its machines dig at least."""
    terms = state.terms
    known = tuple(state.named_bound.values())
    bound = known if least is None else max(known, _with_depth(system, terms, least))
    named = dict(zip(terms, bound, strict=False))
    match result:
        case Beaten(proven=proven):
            assert state.rival is not None
            return Beaten(bound, proven and no_worse(state.rival, terms, bound))
        case Undecided():
            return replace(result, lower_bound=named)
        case Feasible(optimal=True):
            return result
    return _proven(result) if no_worse(result, terms, bound) else replace(result, lower_bound=named)


def no_worse(found: Feasible, terms: tuple[str, ...], bound: tuple[int, ...]) -> bool:
    """Whether nothing that this bound allows is better."""
    values = value(found, terms)
    return values[: len(bound)] < bound or (len(bound) == len(terms) and values <= bound)


def _raise_bound(state: Progress, nets: NetSearch, bound: tuple[int, ...]) -> None:
    """A bound over the routes that are left holds for all machines, if the others are settled."""
    if state.floor is not None:
        state.bound = max(state.bound, min(bound, state.floor))
    elif not state.unproven and (nets.exhaustive or state.best is None):
        state.bound = max(state.bound, bound)


def _lower_floor(
    system: System,
    nets: NetSearch,
    route: Route,
    cut: RouteCut | None,
    bound: tuple[int, ...],
    state: Progress,
) -> bool:
    """Take a route into the floor; whether it has no better machine than is known.

    A cut refuses more routes than were looked at: of those the bound is all that is known.
    """
    if not isinstance(nets, SpaceNetSearch):
        return False
    least = dict(zip(state.terms, _with_depth(system, state.terms, route.costs), strict=True))
    floor = nets.floors.get(route)
    if floor is not None:
        least |= {"parts": max(floor.parts, least.get("parts", 0)), "depth": floor.depth}
    lowest = bound if cut is not None else tuple(least[term] for term in state.terms)
    state.floor = lowest if state.floor is None else min(state.floor, lowest)
    return state.best is not None and value(state.best, state.terms) <= lowest


def _last(state: Progress, nets: NetSearch) -> Feasible:
    """No route that is left is better: the floor of those looked at is the bound."""
    if state.floor is None:
        return _settled(state, nets)
    assert state.best is not None
    state.bound = max(state.bound, min(state.floor, value(state.best, state.terms)))
    done = value(state.best, state.terms) <= state.bound
    return _by_bound(_proven(state.best), state.terms) if done else _good(state)


def _keep(
    problem: Problem,
    system: System,
    route: Route,
    machine: Machine | Refused,
    state: Progress,
    say: Say,
) -> bool:
    """Keep a simulated machine if it is the best so far; note why there is none."""
    terms = state.terms
    if isinstance(machine, Refused):
        if machine.beaten:
            return False
        state.refusals.append(machine.reason)
        state.unproven |= not machine.proven
        say(f"refused: {machine.reason}")
        return False
    values = _values(problem, route, machine)
    found = Feasible(machine, values, False, state.named_bound, system.name)
    if state.best is not None and value(found, terms) >= value(state.best, terms):
        return False
    state.best = found
    state.on_machine()
    say("accepted in all four cases: " + ", ".join(f"{k} {v}" for k, v in values.items()))
    return True


def _values(problem: Problem, route: Route, machine: Machine) -> dict[str, int]:
    return score(machine, len(route.corners), depth_of(problem, machine))


def _better(problem: Problem, state: Progress, route: Route, machine: Machine) -> bool:
    """Whether a machine is worth its simulation: better than the best of any system so far."""
    values = _values(problem, route, machine)
    known = [value(found, state.terms) for found in (state.best, state.rival) if found is not None]
    return all(tuple(values[term] for term in state.terms) < best for best in known)


def value(found: Feasible, terms: tuple[str, ...]) -> tuple[int, ...]:
    """The objective of a machine, term by term."""
    return tuple(found.score[term] for term in terms)


def _with_depth(system: System, terms: tuple[str, ...], bound: tuple[int, ...]) -> tuple[int, ...]:
    """A bound over the terms that routes decide, with the system's depth put in its place."""
    rest = iter(bound)
    full: list[int] = []
    for term in terms:
        number = system.least_depth if term == "depth" else next(rest, None)
        if number is None:
            break
        full.append(system.least_parts_of(number) if term == "parts" else number)
    return tuple(full)


def _proven(best: Feasible) -> Feasible:
    return Feasible(best.machine, best.score, True, best.score, best.system, best.notes)


def _by_bound(best: Feasible, terms: tuple[str, ...]) -> Feasible:
    """What a bound of the route search proves: nothing of the digging."""
    if "dug" not in terms or not best.optimal:
        return best
    return replace(best, optimal=False, lower_bound=_certain(best.score, terms))


def _certain(bound: Mapping[str, int], terms: tuple[str, ...]) -> dict[str, int]:
    """A bound without digging and what comes after it.

    Routes add up the vents of their drives; vents that fall together are dug once.
    """
    sure = terms[: terms.index("dug")] if "dug" in terms else terms
    return {term: bound[term] for term in sure if term in bound}


def _settled(state: Progress, nets: NetSearch) -> Feasible:
    """The best machine; optimal only if every better route was truly settled."""
    assert state.best is not None
    return _proven(state.best) if nets.exhaustive and not state.unproven else _good(state)


def _good(state: Progress) -> Feasible:
    """The best machine found, where no more is claimed than the bound."""
    assert state.best is not None
    return replace(state.best, lower_bound=state.named_bound)


def _refusals(state: Progress) -> tuple[str, ...]:
    return tuple(dict.fromkeys(state.refusals))


def _impossible(
    problem: Problem,
    system: System,
    seed: int,
    verdict: RouteVerdict,
    state: Progress,
    deadline: float,
) -> Verdict:
    """The catalogue has no machine; whether no other has one either is asked of the world."""
    refused = _refusals(state)
    if system.world is not None:
        verdict, refused = any_route(problem, system.world, seed, deadline), ()
    match verdict:
        case RouteNone(proof=proof):
            pass
        case RouteUnknown():
            return Undecided(None, state.named_bound)
        case _:
            why, told = BEYOND, _refusals(state)
            return Undecided(None, state.named_bound, why, details=told, timed_out=False)
    reasons = [Reason(proof.reason)] if proof.reason else []
    reasons += [Reason(f"refused: {text}") for text in refused]
    return Infeasible(tuple(reasons), f"{proof.kind}, confirmed by {proof.confirmed_by}")
