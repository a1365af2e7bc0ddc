"""Rooms without a wish: copies of a loop settled at once, and boxes staked out for long ones."""

from __future__ import annotations

import random
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from models.outcome import Feasible
from models.route import (
    CornerOption,
    EdgeLimits,
    EdgeSpan,
    RouteFound,
    RouteNone,
    RouteProblem,
)
from models.scenario import Scenario
from solver.all_systems import Live, search_all
from solver.anywhere import all_short_loops, copies, may_lie_anywhere, settled_anywhere
from solver.flatten import flatten
from solver.net.systems import DEEP
from solver.pipeline import solve_scenario
from solver.read_scenario import parse_scenario
from solver.route.check import kept, route_faults
from solver.route.large import LargeRoom, suits
from solver.route.problem import this_route
from solver.route.search import RouteSearch
from solver.route.stakes import staked
from solver.route.topology import topology
from solver.route.tours import flat_spots
from solver.route.walks import least_corners
from solver.route.worth import route_search
from tests.oracles.naive_route import all_loops
from tests.route_rooms import plain_room, weighted_room
from tests.route_rooms import turns as every_turn


def hall(side: int, *, wish: bool = False, more: str = "", blocked: int = 0) -> Scenario:
    """A floor with some cells blocked, always the same ones."""
    rng, rows = random.Random(side), [["."] * side for _ in range(side)]
    for _ in range(blocked):
        rows[rng.randrange(side)][rng.randrange(side)] = "#"
    if wish:
        rows[side // 2][side // 2] = "o"
    drawn = "\n".join(map("".join, rows))
    text = (
        f'title = "Hall"\n[room]\nsize = [{side}, {side}, 4]\n[surfaces.floor]\ndepth = 6\n'
        f'margin = 4\nmap = """\n{drawn}\n"""\n[loop]\ndirection = "clockwise"\nshape = "free"\n'
        f"{more}"
    )
    return parse_scenario(text, Path("hall.toml"))


PARTS = 'minimise = ["parts"]\n'


def soon() -> float:
    return time.monotonic() + 60


def test_copies_are_refused_one_by_one_and_nothing_else():
    problem = flatten(hall(9, more=PARTS))
    routes = route_search(problem, DEEP, 0, None)
    found = routes.solve(soon())
    assert isinstance(found, RouteFound)
    cuts = list(copies(problem, routes.problem, found.route))
    assert len(set(cuts)) == len(cuts) == 8 * 8, "a loop of 2 x 2 on a floor of 9 x 9"
    assert sum(not kept(cut, found.route) for cut in cuts) == 1
    for cut in cuts:
        routes.forbid(cut)
    other = routes.solve(soon())
    assert isinstance(other, RouteFound)
    assert other.optimal
    assert len(other.route.cells) == 6, "the loops of 2 x 2 are gone, those of 2 x 3 are not"


def test_copies_settled_at_once_change_no_answer(monkeypatch: pytest.MonkeyPatch):
    quick = solve_scenario(hall(8, more=PARTS, blocked=9), budget_s=60)
    monkeypatch.setattr("solver.search.may_lie_anywhere", lambda problem: False)
    slow = solve_scenario(hall(8, more=PARTS, blocked=9), budget_s=120)
    for outcome in (quick, slow):
        assert isinstance(outcome.result, Feasible)
        assert outcome.result.optimal
    assert quick.as_json({})["objective"] == slow.as_json({})["objective"]


def test_a_route_is_settled_only_where_nothing_anywhere_is_better():
    problem = flatten(hall(9, more=PARTS))
    found = route_search(problem, DEEP, 0, None).solve(soon())
    assert isinstance(found, RouteFound)
    assert settled_anywhere(problem, DEEP, found.route, lambda machine: False)
    assert not settled_anywhere(problem, DEEP, found.route, lambda machine: True)


def test_a_wish_or_a_term_that_depends_on_the_place_stands_against_it():
    assert may_lie_anywhere(flatten(hall(9, more=PARTS)))
    assert not may_lie_anywhere(flatten(hall(9, wish=True, more=PARTS)))
    assert not may_lie_anywhere(flatten(hall(9, more='around = ["floor", 4, 4]\n' + PARTS)))
    assert not may_lie_anywhere(flatten(hall(9, more='minimise = ["parts", "dug"]\n')))


@pytest.mark.parametrize("length", [4, 6, 30, 52, 97])
@pytest.mark.parametrize("around", [None, 17 * 34 + 16])
def test_a_loop_through_stakes_is_as_long_as_asked(length: int, around: int | None):
    problem = replace(plain_room(34, 34), length_min=length, around=around)
    spots = flat_spots(problem)
    boxes = list(staked(problem))
    assert boxes
    for stakes in boxes:
        xs, ys = zip(*(spots[cell] for cell in stakes), strict=True)
        rim = 2 * (max(xs) - min(xs) + max(ys) - min(ys))
        assert length <= rim <= length + 2, "all sides of the box are touched"
        if around is not None and length > 8:
            x, y = spots[around]
            assert min(xs) < x < max(xs)
            assert min(ys) < y < max(ys)


@pytest.mark.parametrize("longest", [3, 4])
def test_no_loop_has_fewer_corners_than_its_length_needs(longest: int):
    """Against every loop of a room of 5 x 5 cells."""
    limits = EdgeLimits(drive_drive=EdgeSpan(2, longest))
    problem = weighted_room(5, 5, ("corners",), limits=limits)
    fewest: dict[int, int] = {}
    for loop in all_loops(problem):
        turns = [i for i, (_, came, goes) in enumerate(loop) if (came - goes) % 4 != 2]
        edges = [(b - a) % len(loop) + 1 for a, b in zip(turns, turns[1:] + turns[:1], strict=True)]
        if max(edges) <= longest:
            fewest[len(loop)] = min(len(turns), fewest.get(len(loop), len(loop)))
    assert len(fewest) > 3
    for length, corners in fewest.items():
        assert least_corners(replace(problem, length_min=length)) <= corners
    tight = [n for n, c in fewest.items() if least_corners(replace(problem, length_min=n)) == c > 4]
    assert tight or longest > 3


def test_a_large_room_without_a_wish_has_a_long_loop_and_a_near_bound():
    outcome = solve_scenario(
        hall(34, more="length = { min = 90 }\n" + PARTS, blocked=100), budget_s=15
    )
    told = outcome.as_json({})
    found, bound = told["objective"], told["lower_bound"]
    assert found["length"] >= 90
    assert bound["parts"] <= found["parts"] <= 1.1 * bound["parts"]


def test_the_first_machine_of_a_large_room_has_a_bound_over_all_systems():
    scenario = hall(34, more="length = { min = 60 }\n" + PARTS, blocked=100)
    live, seen = Live(scenario.loop.minimise), []

    def say(line: str) -> None:
        if "accepted" in line and live.best is not None:
            seen.append((live.best.score["parts"], live.bound["parts"]))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        search_all(scenario, time.monotonic() + 60, 0, say, live)
    ((parts, bound),) = seen
    assert 0 < bound <= parts


def test_a_large_room_without_a_wish_is_staked_out(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("solver.route.stakes.PLACES", 3)
    problem = replace(weighted_room(34, 34, ("parts",)), length_min=40)
    assert suits(problem, problem.allowed)
    room = LargeRoom(problem, topology(problem.graph), None, [], [])
    assert room.lay(soon(), (0,)) is False, "no attempt is left, as none reaches that bound"
    best = room.at_hand()
    assert best is not None
    assert not route_faults(problem, best)
    assert len(best.cells) == 40


def test_a_solver_says_that_there_is_no_route_where_the_router_finds_none():
    """Three wishes in a row with walls on both sides but for the middle one: no way to turn."""
    plain = weighted_room(34, 34, ("parts",))
    row = 34 * 16
    wishes = {row + 12, row + 16, row + 20}
    walls = {row + 34 + k for k in range(11, 22)} | {row - 34 + k for k in range(11, 22)}
    ends = {row + 11, row + 21}
    problem = replace(
        plain, allowed=plain.allowed - walls - ends | {row + 10}, required=frozenset(wishes)
    )
    search = RouteSearch(problem)
    assert search.proof is not None or search.solve(soon()).proof is not None


def test_open_ground_has_each_short_loop_once():
    """OEIS A002931: loops of 4, 6 and 8 cells on the square lattice, moved copies counted once."""
    ground = all_short_loops(flatten(hall(9, more=PARTS)))
    floor = ground.scenario.surfaces["floor"]
    allowed = frozenset(ground.index[cell] for cell in floor.cells(".o"))
    required = frozenset(ground.index[cell] for cell in floor.cells("o"))
    assert len(required) == 1
    turns = [t for t in every_turn(len(ground.graph.cells)) if t[0] in allowed]
    problem = RouteProblem(
        ground.graph,
        allowed,
        tuple(CornerOption(*turn) for turn in turns),
        (),
        (),
        required=required,
        outside_faces=ground.rims,
        length_max=8,
        limits=EdgeLimits(EdgeSpan(2, 20)),
    )
    search, found = RouteSearch(problem), []
    while isinstance(verdict := search.solve(soon()), RouteFound):
        found.append(len(verdict.route.cells))
        search.forbid(this_route(problem.options, verdict.route))
    assert isinstance(verdict, RouteNone)
    assert Counter(found) == {4: 1, 6: 2, 8: 7}


def test_without_a_wish_the_least_of_a_large_room_is_proven_in_open_ground():
    small = solve_scenario(hall(9, more=PARTS), budget_s=60)
    large = solve_scenario(hall(34, more=PARTS, blocked=100), budget_s=60)
    for outcome in (small, large):
        assert isinstance(outcome.result, Feasible)
        assert outcome.result.optimal
    assert small.as_json({})["objective"]["parts"] == large.as_json({})["objective"]["parts"]


def test_a_loop_too_long_for_its_box_is_grown_window_by_window():
    problem = replace(weighted_room(14, 14, ("parts",)), length_min=60)
    assert suits(problem, problem.allowed)
    room = LargeRoom(problem, topology(problem.graph), None, [], [])
    longest = next(iter(room.first(soon())))
    assert not route_faults(problem, longest)
    assert len(longest.cells) >= 60 > 4 * 13, "longer than the rim of the room"
