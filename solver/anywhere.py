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

AROUND = 14
"""Open ground on each side: no drive, button or shortest link reaches further."""
MOST_CELLS = 40
"""Longer loops have too many shapes to be settled one by one."""
SHORT = 2 * AROUND
"""Loops of so many cells at most fit into open ground, from their lowest cell on."""


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
    spots = [problem.graph.cells[i] for i in route.cells]
    wide, long = (1 + max(c[k] for c in spots) - min(c[k] for c in spots) for k in (0, 1))
    ground = flatten(_open_ground(problem, wide, long))
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


def all_short_loops(problem: Problem) -> Problem:
    """Open ground in which each short loop lies once: its lowest cell is a wish.

    What none of its machines beats, no machine with a short loop beats, wherever it may lie.
    """
    half = SHORT // 2

    def mark(x: int, y: int) -> Mark:
        if (x, y) == (half, 0):
            return "o"
        return "." if y >= 0 and 0 <= x <= 2 * half and (y or x > half) else "#"

    return flatten(_open_ground(problem, 2 * half + 1, half + 1, mark))


def _open_ground(
    problem: Problem, wide: int, long: int, mark: Callable[[int, int], Mark] = lambda x, y: "."
) -> Scenario:
    """A room without anything in the way beyond a box of this size in its middle."""
    scenario = problem.scenario
    ((name, surface),) = scenario.surfaces.items()
    room = (wide + 2 * AROUND, long + 2 * AROUND, scenario.room[2])
    plane = plane_of(name, room)
    cells = [[plane.cell(r, c) for c in range(plane.columns)] for r in range(plane.rows)]
    marks = tuple(tuple(mark(x - AROUND, y - AROUND) for x, y, _ in row) for row in cells)
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
