"""Routes of large rooms: windows, and what they come to."""

from __future__ import annotations

import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from models.outcome import Feasible, Infeasible, Undecided
from models.route import CornerOption, RouteFound
from solver.pipeline import solve_scenario
from solver.read_scenario import parse_scenario
from solver.route import RouteSearch
from solver.route.check import route_faults
from solver.route.large import LargeRoom
from solver.route.topology import topology
from solver.route.window import faces_near, inside_of, windowed
from solver.route.zigzag import least_zigzag
from solver.search import Progress, _cut_short
from tests.bench_route import room

GAP = 3
"""The number of a room whose best route costs more than the bound of the walks."""


def soon() -> float:
    return time.monotonic() + 60


@pytest.mark.parametrize("number", [0, 1])
def test_windows_as_large_as_the_room_find_the_optimum(number: int) -> None:
    problem = room(10, "parts", number)
    verdict = RouteSearch(problem).solve(soon())
    found = LargeRoom(problem, topology(problem.graph), None, [], []).best(soon())
    if not isinstance(verdict, RouteFound):
        assert found is None
        return
    assert found is not None
    assert not route_faults(problem, found)
    assert verdict.optimal
    assert found.costs == verdict.route.costs


def test_a_large_room_is_scouted_where_the_way_up_takes_long(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = room(10, "parts", GAP)
    optimum = RouteSearch(problem).solve(soon())
    assert isinstance(optimum, RouteFound)
    monkeypatch.setattr("solver.route.search.suits", lambda *_: True)
    monkeypatch.setattr("solver.route.search.DIRECT", -1.0)
    search = RouteSearch(problem)
    scouted = search.solve(soon())
    assert isinstance(scouted, RouteFound)
    assert not scouted.optimal, "windows prove nothing"
    assert scouted.lower_bound <= optimum.route.costs
    search.settle_for(scouted.route.costs)
    proven = search.solve(soon())
    assert isinstance(proven, RouteFound)
    assert proven.optimal
    assert proven.route.costs == optimum.route.costs


def test_a_large_room_is_searched_from_its_bound_upwards_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = room(10, "parts", 0)
    optimum = RouteSearch(problem).solve(soon())
    assert isinstance(optimum, RouteFound)
    monkeypatch.setattr("solver.route.search.suits", lambda *_: True)
    search = RouteSearch(problem)
    first = search.solve(soon())
    assert isinstance(first, RouteFound), "a route to begin with"
    found = search.solve(soon())
    assert isinstance(found, RouteFound)
    assert found.optimal
    assert found.route.costs == optimum.route.costs
    beaten = RouteSearch(problem, below=optimum.route.costs)
    assert beaten.scout is None, "what cannot beat a machine at hand is not scouted"
    assert not isinstance(beaten.solve(soon()), RouteFound)


def test_a_window_holds_the_rest_of_the_route() -> None:
    problem = room(10, "parts", 0)
    tables = topology(problem.graph)
    route = next(LargeRoom(problem, tables, None, [], []).first(soon()), None)
    assert route is not None
    inside = inside_of(problem, tables, route)
    free = faces_near(tables, route.cells[0], (2, 2, 2))
    part = windowed(problem, tables, route, inside, free)
    held = set(range(len(inside))) - free
    assert part.inside_faces == {f for f in held if inside[f]}
    assert part.outside_faces == {f for f in held if not inside[f]}
    assert free
    again = RouteSearch(part).solve(soon())
    assert isinstance(again, RouteFound)
    assert again.route.costs <= route.costs
    assert not route_faults(problem, again.route)


def apart(a: CornerOption, b: CornerOption) -> bool:
    """A right turn and a left one that are less than three steps from each other."""
    ways = {(option.out_port - option.in_port) % 4 for option in (a, b)}
    (x, y), (u, v) = (divmod(option.cell, 9) for option in (a, b))
    return len(ways) == 2 and abs(x - u) + abs(y - v) < 3


@pytest.mark.parametrize("number", [0, 1, 2])
def test_turns_that_must_be_apart_lift_the_bound_but_not_the_optimum(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = room(9, "parts", number)
    assert least_zigzag(problem, None) == 1
    assert least_zigzag(problem, apart) == 3
    search = RouteSearch(problem, clash=apart)
    told = search.lower_bound()
    found = search.solve(soon())
    monkeypatch.setattr("solver.route.search.least_zigzag", lambda *_: 1)
    plain = RouteSearch(problem, clash=apart)
    assert plain.lower_bound() <= told
    again = plain.solve(soon())
    assert type(found) is type(again)
    if isinstance(found, RouteFound) and isinstance(again, RouteFound):
        assert found.optimal
        assert again.optimal
        assert found.route.costs == again.route.costs
        assert told <= found.route.costs


@pytest.mark.parametrize("least, told", [(10, Feasible), (9, Undecided)])
def test_a_route_refused_without_proof_is_no_lack_of_time(least: int, told: type) -> None:
    """Nothing cheaper is left; of one route not every net was tried: good, but not proven."""
    system = SimpleNamespace(least_parts_of=lambda parts: parts, least_depth=5)
    best = Feasible(None, {"parts": 10}, False, {}, "deep")
    state = Progress(best=best, unproven=True, terms=("parts",))
    routes, nets = SimpleNamespace(below=(10,)), SimpleNamespace(exhaustive=True)
    result = _cut_short(system, routes, nets, state, (least,))
    assert isinstance(result, told)
    if isinstance(result, Feasible):
        assert not result.optimal


@pytest.mark.slow
def test_a_wish_that_tape_cannot_pass_is_named() -> None:
    """The reason of a large room: the wish and the covers round it, each shown to be needed."""
    side = 32
    rows = [["."] * side for _ in range(side)]
    rows[5][20] = "o"
    rows[20][9], rows[19][9], rows[21][9], rows[20][8] = "o", "#", "#", "#"
    drawn = "\n".join(map("".join, rows))
    text = (
        f'title = "Hall"\n[room]\nsize = [{side}, {side}, 4]\n[surfaces.floor]\ndepth = 6\n'
        f'margin = 4\nmap = """\n{drawn}\n"""\n[loop]\ndirection = "clockwise"\nshape = "free"\n'
    )
    outcome = solve_scenario(parse_scenario(text, Path("hall.toml")), budget_s=200)
    assert outcome.verdict == "infeasible"
    assert isinstance(outcome.result, Infeasible) and outcome.result.minimal
    named = {r.requirement for r in outcome.result.reasons if r.requirement}
    spots = [(21, 10), (20, 10), (22, 10), (21, 9)]
    assert named == {f"surfaces.floor.map[{row},{column}]" for row, column in spots}
