"""Problem, system and the machine to beat -> the search for routes that are worth while.

What is dug at least is a search of its own, as vents that fall together are dug once.
"""

from __future__ import annotations

from functools import partial

from models.outcome import Feasible
from models.problem import Problem
from models.route import CornerOption, RouteNone, RouteProblem
from models.system import System
from solver.route import RouteSearch
from solver.route.problem import clashing, route_problem
from solver.route.rectangles import RectangleSearch

Routes = RouteSearch | RectangleSearch


def route_search(problem: Problem, system: System, seed: int, rival: Feasible | None) -> Routes:
    """What finds the routes of a system that may be better than the rival."""
    asked = route_problem(problem, system)
    clash, below = partial(clashing, problem, system), worth(problem, system, rival)
    if system.convex_only:
        return RectangleSearch(asked, clash=clash, below=below)
    extra = _extra(asked, others_of(asked, system)) if system.settled else ()
    return RouteSearch(asked, seed=seed, clash=clash, below=below, extra=extra)


def least_with_digging(
    problem: Problem, system: System, seed: int, deadline: float
) -> tuple[int, ...] | None:
    """What no route of a system is better than, up to the digging; None: nothing is known.

    Of the vents none is counted. Terms in the order of the scenario, but for the depth.
    """
    if system.shares or system.surfaces:
        return None
    asked = route_problem(problem, system, vents=False)
    upto = asked.terms.index("dug") + 1
    clash = partial(clashing, problem, system)
    if system.convex_only:
        found = RectangleSearch(asked, clash=clash).solve(deadline)
    else:
        found = RouteSearch(asked, seed=seed, clash=clash).solve(deadline)
    return None if isinstance(found, RouteNone) else found.lower_bound[:upto]


def _extra(asked: RouteProblem, others: list[CornerOption]) -> tuple[int, ...]:
    """What one of the others costs at least beyond the cheapest drive at the same turn.

    At the same turn, since that is what the bounds of the routes count there.
    """
    here: dict[tuple[int, int, int], list[CornerOption]] = {}
    for option in asked.options:
        here.setdefault((option.cell, option.in_port, option.out_port), []).append(option)
    return tuple(
        min(
            o.costs[t] - min(p.costs[t] for p in here[o.cell, o.in_port, o.out_port])
            for o in others
        )
        for t in range(len(asked.terms))
        if others
    )


def others_of(asked: RouteProblem, system: System) -> list[CornerOption]:
    """The drives that no other system has settled: one of them must stand somewhere."""
    return [option for option in asked.options if option.variant not in system.settled]


def worth(problem: Problem, system: System, rival: Feasible | None) -> tuple[int, ...]:
    """What routes must cost less than to be worth looking for; nothing: whatever they cost.

    As far as routes are a measure: what they say of the digging is no bound, since vents that
    fall together are dug once.
    """
    values: list[int] = []
    for term in problem.scenario.loop.minimise if rival is not None else ():
        assert rival is not None
        if term == "dug" or (term == "depth" and system.least_depth < rival.score["depth"]):
            return _or_equal(values)
        if term == "depth" and system.least_depth > rival.score["depth"]:
            return tuple(values) or (-1,)
        if term != "depth":
            values.append(rival.score[term])
    return tuple(values)


def _or_equal(values: list[int]) -> tuple[int, ...]:
    return (*values[:-1], values[-1] + 1) if values else ()
