"""The route search over several surfaces against enumeration: verdict, optimum, limits of edges."""

from __future__ import annotations

import random
import time
from dataclasses import replace

import pytest

from models.geometry import Cell
from models.problem import Problem
from models.route import NO_LIMIT, CornerOption, RouteFound, RouteNone, RouteProblem
from models.rules import Rules
from models.surface import SURFACES, SurfaceName
from solver.flatten import flatten
from solver.net.folds import LONGEST
from solver.net.systems import WORLD
from solver.route import RouteSearch
from solver.route.problem import edge_limits, route_problem
from solver.route.topology import topology
from tests.oracles.naive_folds import (
    corners_left,
    edges_of,
    is_allowed,
    moved,
    routes,
)
from tests.oracles.naive_route import all_loops, left_minus_right
from tests.room_drawings import drawing

SIZES: tuple[Cell, ...] = ((2, 2, 2), (3, 2, 2), (2, 3, 2), (3, 3, 2), (2, 2, 3), (1, 3, 4))
SETS: tuple[tuple[SurfaceName, ...], ...] = (
    ("floor", "north"),
    ("north", "east"),
    ("ceiling", "west"),
    ("floor", "north", "east"),
    ("north", "east", "south", "west"),
    ("floor", "north", "ceiling", "south"),
    SURFACES,
)
USUAL = Rules().push_limit


def box(size: Cell, surfaces: tuple[SurfaceName, ...]) -> Problem:
    around = f'["{surfaces[0]}", 0, 0]'
    return flatten(drawing(size, [], surfaces, shape="free", around=around, depth=3))


def turns(problem: Problem) -> list[tuple[int, int, int]]:
    """Every turn on a cell of a surface: on an edge line the tape only passes."""
    cells = [cell for cell, home in enumerate(problem.homes) if home is not None]
    return [(c, a, (a + d) % 4) for c in cells for a in range(4) for d in (1, 3)]


def random_problem(seed: int) -> tuple[RouteProblem, int]:
    """A small room whose cells, drives, edges and sides are limited in every way there is."""
    rng = random.Random(seed)
    surfaces = rng.choice(SETS)
    problem = box(rng.choice(SIZES), surfaces)
    count = len(problem.graph.cells)
    blocked = rng.choice((0.1, 0.2, 0.3)) + (0.15 if count > 40 else 0)
    allowed = [c for c in range(count) if rng.random() > blocked]
    visible = [c for c in allowed if problem.homes[c] is not None]
    push_limit = rng.choice((1, 2, 3, 4, USUAL))
    terms = tuple(rng.sample(("length", "corners"), rng.choice((1, 2))))
    rich = rng.random() < 0.5
    options = tuple(
        CornerOption(
            *turn,
            "",
            tuple(int(t == "corners") for t in terms),
            frozenset(rng.sample(range(4 * count), 3)) if rich else frozenset(),
            frozenset(rng.sample(range(count), 1 if rich and rng.random() < 0.1 else 0)),
        )
        for turn in turns(problem)
        if rng.random() > 0.1
    )
    rims = problem.rims if len(problem.rims) == 1 else frozenset()
    return RouteProblem(
        graph=problem.graph,
        allowed=frozenset(allowed),
        options=options,
        terms=terms,
        cell_costs=tuple((int(t == "length"),) * count for t in terms),
        required=frozenset(rng.sample(visible, min(len(visible), rng.choice((0, 1, 1, 2, 3))))),
        inside_on_right=rng.random() < 0.5,
        outside_faces=rims if rng.random() < 0.7 else frozenset(),
        around=rng.choice(range(count)) if rng.random() < 0.3 else None,
        length_max=rng.choice((NO_LIMIT, NO_LIMIT, 8, 12)),
        limits=edge_limits(Rules(push_limit=push_limit)),
        folds=frozenset(c for c, home in enumerate(problem.homes) if home is None),
    ), push_limit


@pytest.mark.parametrize("block", range(4))
def test_verdict_and_optimum_are_those_of_enumeration(block: int) -> None:
    """Both answers occur, and folds bind: with longer edges allowed some rooms would do."""
    answers = {"found": 0, "none": 0, "folds": 0}
    for seed in range(25 * block, 25 * block + 25):
        problem, push_limit = random_problem(seed)
        best = min((costs for costs, _ in routes(problem, push_limit)), default=None)
        verdict = RouteSearch(problem).solve(time.monotonic() + 60)
        if isinstance(verdict, RouteFound):
            assert verdict.optimal
            assert verdict.route.costs == best, seed
            answers["found"] += 1
            answers["folds"] += not problem.folds.isdisjoint(verdict.route.cells)
        else:
            assert isinstance(verdict, RouteNone), seed
            assert best is None, seed
            answers["none"] += 1
    assert min(answers.values()) > 0, answers


@pytest.mark.parametrize("ends", sorted(LONGEST))
def test_the_limits_are_what_a_ram_can_move(ends: tuple[str, str]) -> None:
    """The table of the product and the count of the oracle say the same."""
    most = max(n for n in range(2, 40) if moved(*ends, n) <= USUAL)
    assert LONGEST[ends] == most


@pytest.mark.parametrize("size", [(1, 1, 1), (2, 1, 1), (2, 2, 1)])
def test_left_minus_right_is_four_less_the_room_corners_on_the_left(size: Cell) -> None:
    """Every loop on the inside of a small box (Gauss and Bonnet, Descartes)."""
    problem = box(size, SURFACES)
    routes_ = RouteProblem(
        graph=problem.graph,
        allowed=frozenset(range(len(problem.graph.cells))),
        options=(),
        terms=(),
        cell_costs=(),
        folds=frozenset(c for c, home in enumerate(problem.homes) if home is None),
    )
    seen = set()
    for number, turning in enumerate(all_loops(routes_)):
        left = corners_left(routes_, turning)
        assert left_minus_right(turning) == 4 - left
        seen.add(left)
        if number > 4000:
            break
    assert len(seen) > 4


def test_a_belt_of_folds_needs_no_drive() -> None:
    """Once round four walls: the oracle and the search take the same loop."""
    problem = box((3, 3, 1), ("north", "east", "south", "west"))
    folds = frozenset(c for c, home in enumerate(problem.homes) if home is None)
    for push_limit, fine in ((4, True), (3, False)):
        belt = RouteProblem(
            graph=problem.graph,
            allowed=frozenset(range(len(problem.graph.cells))),
            options=(),
            terms=("length",),
            cell_costs=((1,) * len(problem.graph.cells),),
            limits=edge_limits(Rules(push_limit=push_limit)),
            folds=folds,
        )
        found = [loop for loop in all_loops(belt) if is_allowed(belt, loop, push_limit)]
        assert bool(found) is fine
        assert all(count == 5 for loop in found for _, _, count in edges_of(belt, loop))
        verdict = RouteSearch(belt).solve(time.monotonic() + 60)
        assert isinstance(verdict, RouteFound) is fine


@pytest.mark.parametrize("surfaces", SETS)
def test_the_surfaces_have_the_rims_they_should(surfaces: tuple[SurfaceName, ...]) -> None:
    """None in a closed box, two round a shaft, else one; and all defects add up to eight."""
    problem = box((2, 3, 2), surfaces)
    ends = {6: 0, 4: 2}
    assert len(problem.rims) == ends.get(len(surfaces), 1)
    assert sum(topology(problem.graph).defect) == 8


@pytest.mark.parametrize("seed", range(40))
def test_around_is_what_enumeration_says(seed: int) -> None:
    """Every answer of the search, free of drives' limits, held against all loops one by one."""
    rng = random.Random(1000 + seed)
    surfaces = rng.choice((*SETS, ("floor", "ceiling"), ("floor", *SETS[4])))
    problem = box(rng.choice(SIZES[:5]), surfaces)
    cells = [c for c, home in enumerate(problem.homes) if home is not None]
    around = rng.choice(cells)
    allowed = frozenset(c for c in range(len(problem.graph.cells)) if rng.random() > 0.25)
    wanted = rng.sample(sorted(allowed.intersection(cells) - {around}), 1)
    routes_ = RouteProblem(
        graph=problem.graph,
        allowed=allowed,
        options=tuple(CornerOption(*turn, "", (1,)) for turn in turns(problem)),
        terms=("corners",),
        cell_costs=((0,) * len(problem.graph.cells),),
        required=frozenset(wanted),
        inside_on_right=rng.random() < 0.5,
        outside_faces=problem.rims if len(surfaces) == 2 else frozenset(),
        around=around,
        rims=problem.rims,
        folds=frozenset(c for c, home in enumerate(problem.homes) if home is None),
    )
    best = min((costs for costs, _ in routes(routes_, USUAL)), default=None)
    verdict = RouteSearch(routes_).solve(time.monotonic() + 60)
    if best is None:
        assert isinstance(verdict, RouteNone)
    else:
        assert isinstance(verdict, RouteFound)
        assert verdict.route.costs == best


def test_a_loop_elsewhere_is_not_around() -> None:
    """Run the other way it would have the cell on its right, and the whole rim too."""
    problem = box((6, 4, 2), ("floor", "north"))
    beside = [(4, 0, -1), (5, 0, -1), (5, 1, -1), (4, 1, -1)]
    for cells, fine in ((beside, False), (ring_round((1, 1, -1)), True)):
        for clockwise in (True, False):
            asked = RouteProblem(
                graph=problem.graph,
                allowed=frozenset(problem.index[cell] for cell in cells),
                options=tuple(CornerOption(*turn) for turn in turns(problem)),
                terms=(),
                cell_costs=(),
                inside_on_right=clockwise,
                around=problem.index[1, 1, -1],
                rims=problem.rims,
            )
            assert isinstance(RouteSearch(asked).solve(time.monotonic() + 60), RouteFound) is fine


def ring_round(cell: Cell) -> list[Cell]:
    """The eight cells next to a floor cell."""
    x, y, z = cell
    return [(x + a, y + b, z) for a in (-1, 0, 1) for b in (-1, 0, 1) if a or b]


def test_surfaces_that_never_meet_leave_each_other_alone() -> None:
    """A loop on the floor, under a ceiling that carries none."""
    problem = box((4, 4, 2), ("floor", "ceiling"))
    scenario = problem.scenario
    loop = replace(scenario.loop, around=(1, 1, -1))
    asked = replace(
        route_problem(replace(problem, scenario=replace(scenario, loop=loop)), WORLD),
        options=tuple(CornerOption(*turn, "", (0, 0)) for turn in turns(problem)),
        allowed=frozenset(range(len(problem.graph.cells))),
    )
    verdict = RouteSearch(asked).solve(time.monotonic() + 60)
    assert isinstance(verdict, RouteFound)
    assert {problem.graph.cells[i] for i in verdict.route.cells} == set(ring_round((1, 1, -1)))
