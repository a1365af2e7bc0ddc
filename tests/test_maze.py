"""Tours of wishes and the maze router against the exact search, on rooms that it settles."""

from __future__ import annotations

import random
import time
from dataclasses import replace
from itertools import pairwise

import pytest

from models.route import CornerOption, EdgeLimits, Route, RouteFound, RouteProblem
from solver.route import RouteSearch
from solver.route.check import route_faults
from solver.route.large import LargeRoom, suits
from solver.route.maze import EFFORTS, Laying, Maze
from solver.route.narrow import Narrowed, narrow
from solver.route.topology import topology
from solver.route.tours import SCALE, Tour, Tours
from solver.route.zigzag import least_zigzag
from tests.route_rooms import plain_room, weighted_room


def soon() -> float:
    return time.monotonic() + 60


def hall(seed: int, side: int, wishes: int, blocked: float = 0.12) -> RouteProblem:
    """A square floor with wishes, clockwise for even seeds."""
    rng = random.Random(seed)
    plain = weighted_room(
        side, side, ("parts",), limits=EdgeLimits(), inside_on_right=seed % 2 == 0
    )
    while True:
        allowed = frozenset(c for c in plain.allowed if rng.random() >= blocked)
        required = frozenset(rng.sample(sorted(allowed), wishes))
        problem = replace(plain, allowed=allowed, required=required)
        if isinstance(narrow(problem), Narrowed):
            return problem


def laid(problem: RouteProblem, efforts: int, clash=None) -> list[Route]:
    maze = Maze(problem, clash)
    hard = [effort for effort in EFFORTS if effort.fine is None][:efforts]
    return [route for effort in hard for route in maze.routes(effort, soon())]


def apart(a: CornerOption, b: CornerOption) -> bool:
    """A right turn and a left one that are less than three steps from each other."""
    ways = {(option.out_port - option.in_port) % 4 for option in (a, b)}
    (x, y), (u, v) = (divmod(option.cell, 12) for option in (a, b))
    return len(ways) == 2 and abs(x - u) + abs(y - v) < 3


@pytest.mark.parametrize("wishes", [1, 2, 3, 5, 8])
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("clash", [None, apart])
def test_the_router_lays_right_routes_and_mostly_the_best(seed: int, wishes: int, clash) -> None:
    problem = hall(seed, 12, wishes)
    best = RouteSearch(problem, clash=clash).solve(soon())
    found = laid(problem, 2 if wishes <= 3 else 1, clash)
    for route in found:
        assert not route_faults(problem, route, clash=clash)
    if not isinstance(best, RouteFound):
        assert not found
        return
    assert best.optimal
    if wishes <= 3:
        assert found, "with few wishes there is always one to be had"
    if found:
        least = min(route.costs for route in found)
        assert best.route.costs <= least
        assert least[0] <= 1.35 * best.route.costs[0]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("clash", [None, apart])
def test_no_route_costs_less_than_the_cheapest_tour(seed: int, clash) -> None:
    """Of four wishes every order is among the tours."""
    problem = hall(seed, 12, 4)
    tours = Tours(problem, least_zigzag(problem, clash)).cheapest(1000)
    orders = {frozenset(pairwise((*tour.stops, tour.stops[0]))) for tour in tours}
    assert len(orders) <= 6
    best = RouteSearch(problem, clash=clash).solve(soon())
    if isinstance(best, RouteFound):
        least = SCALE * (best.route.costs[0]) + len(best.route.cells)
        assert min(tour.least for tour in tours) <= least


def test_what_is_ahead_of_a_tour_is_what_its_walk_costs() -> None:
    problem = hall(1, 12, 4)
    tours = Tours(problem, 1)
    for tour in tours.cheapest(20):
        ahead = tours.ahead(tour)
        assert len(ahead) == len(tour.stops)
        goes = (tour.came + tour.way) % 4
        first = tours.anchors[tour.stops[0]]
        there = problem.graph.ports[first][goes]
        entered = problem.graph.arrive[first][goes]
        turn = int(tours.turn_cost[first, tour.came, goes])
        sheets = [ahead[0].on_way[s][4 * there + entered] for s in range(tours.sheets)]
        if there not in problem.required:
            assert turn + int(tours.cell_cost[there]) + min(sheets) <= tour.least


def test_an_open_floor_is_laid_at_the_price_of_its_tour() -> None:
    """Nothing is in the way: the walk is the route, and no state beside it is looked at twice."""
    corners = frozenset({2 * 20 + 2, 2 * 20 + 12, 12 * 20 + 2, 12 * 20 + 12})
    problem = weighted_room(20, 20, ("parts",), required=corners, limits=EdgeLimits())
    maze = Maze(problem, None)
    tour = maze.tours.cheapest(1)[0]
    right_way_round = [
        route for route in maze.routes(EFFORTS[0], soon()) if route.costs == (40 * 5 + 4 * 14,)
    ]
    assert right_way_round
    assert tour.least == SCALE * (40 * 5 + 4 * 14) + 40


def test_the_direction_is_kept() -> None:
    corners = frozenset({2 * 20 + 2, 2 * 20 + 12, 12 * 20 + 2, 12 * 20 + 12})
    plain = weighted_room(20, 20, ("parts",), required=corners, limits=EdgeLimits())
    for right in (True, False):
        problem = replace(plain, inside_on_right=right)
        routes = laid(problem, 1)
        assert routes
        for route in routes:
            area = 0
            for a, b in pairwise((*route.cells, route.cells[0])):
                (x, y, _), (u, v, _) = problem.graph.cells[a], problem.graph.cells[b]
                area += x * v - u * y
            assert (area < 0) == right, "on a floor seen from above, clockwise is negative"


def test_a_hopeless_tour_is_given_up() -> None:
    problem = plain_room(6, 6, required=frozenset({0, 35}))
    problem = replace(
        problem, terms=("length",), cell_costs=((1,) * 36,), options=problem.options[:0]
    )
    maze = Maze(problem, None)
    assert not maze.tours.cheapest(5)
    tour = Tour(0, 0, 2, (0, 1))
    assert Laying(maze, tour, EFFORTS[0]).route() is None


def test_prices_below_zero_are_left_to_the_exact_search() -> None:
    problem = hall(0, 40, 2)
    assert suits(problem, problem.allowed)
    cheap = replace(problem, cell_costs=((-1,) * 1600,))
    assert not suits(cheap, problem.allowed)


@pytest.mark.parametrize("seed", range(4))
def test_drafts_disturb_something_only_where_a_fine_was_paid_and_are_mended(seed: int) -> None:
    problem = hall(seed, 12, 6)
    maze = Maze(problem, apart)
    soft = next(effort for effort in EFFORTS if effort.fine is not None)
    room = LargeRoom(problem, topology(problem.graph), apart, [], [])
    for draft in maze.drafts(soft, soon()):
        wrong = maze.disturbed(draft)
        faults = route_faults(problem, draft, clash=apart)
        assert bool(faults) == bool(wrong)
        assert wrong <= {corner.cell for corner in draft.corners}
    for route in room._mended(maze, maze.drafts(soft, soon()), soon()):
        assert not route_faults(problem, route, clash=apart)


def test_a_fine_too_high_to_be_worth_it_is_not_paid() -> None:
    """Where a route without a fault is as cheap, a draft is that route."""
    problem = hall(0, 12, 3)
    maze = Maze(problem, apart)
    clean = min(route.costs for route in maze.routes(EFFORTS[0], soon()))
    soft = EFFORTS[0]._replace(fine=1_000)
    assert min(draft.costs for draft in maze.drafts(soft, soon())) == clean
