"""The list of rectangles against every loop, one by one, and shallow floors that rest on it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from models.outcome import Feasible, Infeasible
from models.route import RouteCut, RouteFound, RouteNone, RouteUnknown
from solver.machine_file import write_machine
from solver.pipeline import solve_scenario
from solver.route.rectangles import RectangleSearch
from tests.oracles.naive_route import best_costs
from tests.oracles.naive_simulator import run_presses
from tests.route_rooms import random_room
from tests.test_systems import ring


def convex_room(seed):
    """A random room whose drives all turn to the inside."""
    room = random_room(seed)
    turn = 1 if room.inside_on_right else 3
    kept = tuple(o for o in room.options if (o.out_port - o.in_port) % 4 == turn)
    return replace(room, options=kept)


def test_the_best_rectangle_is_the_best_of_all_loops():
    seen = set()
    for seed in range(100):
        room = convex_room(seed)
        best = best_costs(room)
        verdict = RectangleSearch(room).solve(0.0)
        if best is None:
            assert isinstance(verdict, RouteNone), seed
        else:
            assert isinstance(verdict, RouteFound), seed
            assert verdict.route.costs == best, seed
            dear = RectangleSearch(room, below=best).solve(0.0)
            assert isinstance(dear, RouteUnknown)
            assert dear.lower_bound >= best
        seen.add(best is None)
    assert seen == {True, False}


def test_refused_rectangles_do_not_come_back():
    room = next(r for r in map(convex_room, range(300)) if best_costs(r) is not None)
    search = RectangleSearch(room)
    costs = []
    while isinstance(found := search.solve(0.0), RouteFound):
        costs.append(found.route.costs)
        search.forbid(RouteCut(dropped=frozenset(found.route.corners)))
    assert isinstance(found, RouteNone)
    assert costs == sorted(costs)


@pytest.mark.parametrize(
    ("width", "height", "direction"), [(6, 7, "clockwise"), (13, 13, "anticlockwise")]
)
def test_a_shallow_floor_from_the_smallest_rectangle_to_the_largest(width, height, direction):
    """Beyond one feed's reach a second sensor on the trigger feeds the other half of the line."""
    result = solve_scenario(ring("floor", width, height, depth=3, direction=direction), budget_s=60)
    found = result.result
    assert isinstance(found, Feasible)
    assert found.optimal
    sensors = sum(p.kind == "sensor" and p.unit == "trigger" for p in found.machine.parts)
    assert sensors == (2 if width == 13 else 1)
    content = json.loads(write_machine(found.machine))
    for overhead, ground in ((True, True), (False, False)):
        assert run_presses(content, 1, overhead=overhead, ground=ground).ok


def test_six_by_six_leaves_no_room_for_a_trigger():
    assert isinstance(solve_scenario(ring("floor", 6, 6, depth=3), budget_s=60).result, Infeasible)
