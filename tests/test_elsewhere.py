"""Guesses after refusals lose no route; a rover's routes are routes. Common practice, no source."""

from __future__ import annotations

import random
import time

import pytest

from models.route import CornerOption, RouteFound, RouteNone, RouteProblem
from models.rules import Rules
from models.surface import SURFACES
from solver.route import RouteSearch
from solver.route.check import route_faults
from solver.route.elsewhere import Tries
from solver.route.problem import edge_limits, this_route
from solver.route.rover import Rover, may_rove
from tests.oracles.naive_folds import Turn, routes
from tests.test_fold_routes import box, turns


def small_room(seed: int) -> RouteProblem:
    """Few loops over three surfaces, each corner with one drive."""
    rng = random.Random(seed)
    problem = box((3, 2, 2), ("floor", "north", "east"))
    count = len(problem.graph.cells)
    allowed = frozenset(c for c in range(count) if rng.random() > 0.15)
    return RouteProblem(
        graph=problem.graph,
        allowed=allowed,
        options=tuple(CornerOption(*turn, "", (0,)) for turn in turns(problem)),
        terms=("length",),
        cell_costs=((1,) * count,),
        required=frozenset(rng.sample(sorted(allowed), 1)),
        outside_faces=problem.rims,
        limits=edge_limits(Rules()),
        folds=frozenset(c for c, home in enumerate(problem.homes) if home is None),
    )


def bends_of(loop: list[Turn]) -> tuple[frozenset[int], frozenset[Turn]]:
    """A loop's cells and its corners."""
    cells = frozenset(cell for cell, _, _ in loop)
    return cells, frozenset(turn for turn in loop if (turn[2] - turn[1]) % 4 != 2)


@pytest.mark.parametrize("seed", range(4))
def test_every_route_has_its_turn(seed: int) -> None:
    """Guesses come first; once they leave none, all that they passed over comes."""
    problem, rng = small_room(seed), random.Random(seed)
    every = {bends_of(loop) for _, loop in routes(problem, Rules().push_limit)}
    tries = Tries(lambda: RouteSearch(problem), guesses=True)
    seen, wide = [], 0
    while isinstance(verdict := tries.solve(time.monotonic() + 60, again=True), RouteFound):
        corners = {(o.cell, o.in_port, o.out_port) for o in verdict.route.corners}
        seen.append((frozenset(verdict.route.cells), frozenset(corners)))
        place = problem.graph.cells[rng.choice(verdict.route.cells)]
        wide += tries.refuse(verdict.route, None, place) is not None
    assert isinstance(verdict, RouteNone)
    assert len(seen) == len(set(seen))
    assert set(seen) == every
    assert wide or not every


def test_without_guesses_each_refusal_is_of_one_route() -> None:
    """And the best route left comes next."""
    tries = Tries(lambda: RouteSearch(small_room(0)), guesses=False)
    lengths = []
    for _ in range(5):
        verdict = tries.solve(time.monotonic() + 60, again=True)
        assert isinstance(verdict, RouteFound)
        lengths.append(verdict.route.costs)
        assert tries.refuse(verdict.route, None, problem_cell(verdict)) is None
    assert lengths == sorted(lengths)


def problem_cell(verdict: RouteFound) -> tuple[int, int, int]:
    """Where its first cell lies."""
    return small_room(0).graph.cells[verdict.route.cells[0]]


def test_a_rover_finds_routes_and_mends_refused_ones() -> None:
    """In a closed box with six wishes: no fault in either, and the second is another one."""
    problem = box((6, 5, 4), SURFACES)
    rng = random.Random(3)
    visible = [c for c, home in enumerate(problem.homes) if home is not None]
    asked = RouteProblem(
        graph=problem.graph,
        allowed=frozenset(range(len(problem.graph.cells))),
        options=tuple(CornerOption(*turn, "", (3,)) for turn in turns(problem)),
        terms=("parts",),
        cell_costs=((2,) * len(problem.graph.cells),),
        required=frozenset(rng.sample(visible, 6)),
        limits=edge_limits(Rules()),
        folds=frozenset(c for c, home in enumerate(problem.homes) if home is None),
    )
    assert may_rove(asked)
    search = RouteSearch(asked)
    rover = Rover(asked, search.tables, None, search.refused, search.clashing)
    first = rover.best(time.monotonic() + 20)
    assert first is not None
    assert not route_faults(asked, first)
    search.refused.append(this_route(asked.options, first))
    rover.last, rover.found = first, []
    second = rover.best(time.monotonic() + 60)
    assert second is not None
    assert not route_faults(asked, second, search.refused)
    assert second.costs[0] <= first.costs[0] * 1.25
