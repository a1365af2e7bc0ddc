"""Where a loop may lie anywhere: one look at a route settles it wherever in the room it lies.

A room without a wish has the same small loop in thousands of places. What it comes to at best is
found once, in open ground where nothing is in its way. If even that is no better than the machine
at hand, all its copies are refused at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from models.geometry import add, sub
from models.machine import Machine
from models.problem import Problem
from models.route import CornerOption, Route, RouteCut, RouteProblem
from models.scenario import Scenario
from models.surface import Mark, Surface, plane_of
from models.system import System
from solver.flatten import flatten
from solver.net.realise import Refused, net_search, realise
from solver.route.problem import this_route

MOST_CELLS = 40
"""Longer loops have too many shapes to be settled one by one."""
AROUND = 14
"""Open ground on each side: no drive, button or shortest link reaches further."""


def may_lie_anywhere(problem: Problem) -> bool:
    """Whether no wish says where on its one floor or ceiling a loop is to be.

    What is dug depends on the place, as no vents are dug where nothing may be.
    """
    scenario = problem.scenario
    fixed = scenario.required() or scenario.loop.around is not None
    level = set(scenario.surfaces) <= {"floor", "ceiling"} and len(scenario.surfaces) == 1
    return level and not fixed and "dug" not in scenario.loop.minimise


def settled_anywhere(
    problem: Problem, system: System, route: Route, better: Callable[[Machine], bool]
) -> bool:
    """Whether no copy of a route, with the same drives, has a machine that is better, or any."""
    if len(route.cells) > MOST_CELLS:
        return False
    ground = flatten(_open_ground(problem, route))
    moved = _moved(problem, ground, route)
    nets = net_search(ground, system)
    found = realise(ground, system, nets, moved, better)
    return isinstance(found, Refused) and found.proven and (nets.exhaustive or not found.beaten)


def copies(problem: Problem, routes: RouteProblem, route: Route) -> Iterator[RouteCut]:
    """The clauses that refuse a route wherever it fits into the room, there and nothing else."""
    cells = problem.graph.cells
    here: dict[int, list[CornerOption]] = {}
    for option in routes.options:
        here.setdefault(option.cell, []).append(option)
    for cell in sorted(routes.allowed):
        by = sub(cells[cell], cells[route.cells[0]])
        places = {i: problem.index.get(add(cells[i], by), -1) for i in route.cells}
        if not routes.allowed.issuperset(places.values()):
            continue
        near = [option for i in places.values() for option in here.get(i, ())]
        wanted = {(places[c.cell], c.in_port, c.out_port, c.variant) for c in route.corners}
        corners = [o for o in near if (o.cell, o.in_port, o.out_port, o.variant) in wanted]
        if len(corners) == len(wanted):
            copy = replace(route, cells=tuple(places.values()), corners=tuple(corners))
            yield this_route(near, copy)


def _open_ground(problem: Problem, route: Route) -> Scenario:
    """A room without anything in the way, with space for the route in its middle."""
    scenario = problem.scenario
    ((name, surface),) = scenario.surfaces.items()
    spots = [problem.graph.cells[i] for i in route.cells]
    wide, long = (1 + max(c[k] for c in spots) - min(c[k] for c in spots) for k in (0, 1))
    room = (wide + 2 * AROUND, long + 2 * AROUND, scenario.room[2])
    plane = plane_of(name, room)
    open_: Mark = "."
    marks = ((open_,) * plane.columns,) * plane.rows
    return replace(
        scenario,
        path=Path(),
        room=room,
        surfaces={name: Surface(name, surface.depth, AROUND, marks, plane)},
        requirements={},
        taken=frozenset(),
    )


def _moved(problem: Problem, ground: Problem, route: Route) -> Route:
    """The route in the middle of the open ground."""
    cells = [problem.graph.cells[i] for i in route.cells]
    low = (min(c[0] for c in cells), min(c[1] for c in cells), 0)
    places = {
        i: ground.index[add(sub(cell, low), (AROUND, AROUND, 0))]
        for i, cell in zip(route.cells, cells, strict=True)
    }
    corners = (replace(corner, cell=places[corner.cell]) for corner in route.corners)
    return replace(route, cells=tuple(places.values()), corners=tuple(corners))
