"""The route search against enumeration, published counts and laws that need no oracle."""

from __future__ import annotations

import random
import time
from collections import Counter
from dataclasses import replace

import pytest

from models.geometry import Cell
from models.route import (
    CornerOption,
    ReachTerm,
    Route,
    RouteCut,
    RouteFound,
    RouteGraph,
    RouteNone,
    RouteProblem,
    RouteUnknown,
)
from solver.route import RouteSearch
from solver.route.check import route_faults
from solver.route.cuts import connectivity_cuts
from solver.route.narrow import Narrowed, narrow
from solver.route.reading import sides
from solver.route.stage import Stage
from solver.route.topology import flat_graph, topology, trace_faces
from solver.route.walks import term_bounds
from tests.oracles.naive_route import all_loops, best_costs, left_minus_right, priced
from tests.route_rooms import plain_room, random_room, turns, weighted_room


def soon(seconds: float = 60) -> float:
    return time.monotonic() + seconds


def only_this(problem: RouteProblem, route: Route) -> RouteCut:
    """Refuse one loop and no other: a loop is known by its corners."""
    used = frozenset(route.corners)
    return RouteCut(dropped=used, chosen=frozenset(problem.options) - used)


def enumerate_routes(problem: RouteProblem) -> list[Route]:
    search, routes = RouteSearch(problem), []
    while True:
        verdict = search.solve(soon())
        if isinstance(verdict, RouteNone):
            return routes
        assert isinstance(verdict, RouteFound)
        routes.append(verdict.route)
        search.forbid(only_this(problem, verdict.route))


# Counts of loops in empty rooms ---------------------------------------------------------------


@pytest.mark.parametrize(("side", "loops"), [(2, 1), (3, 13), (4, 213)])
def test_loops_in_an_empty_room_are_as_many_as_published(side: int, loops: int) -> None:
    """OEIS A140517; Knuth, TAOCP 4A, 7.1.4."""
    assert len(enumerate_routes(plain_room(side, side))) == loops


def count_by_faces(problem: RouteProblem) -> int:
    """The model's loops, each refused by the sides of all faces: short clauses, many loops."""
    stage = Stage(problem, topology(problem.graph), problem.allowed, ())
    loops = 0
    while stage.test(None, 1 << 40, soon()) == "yes":
        inside = sides(stage.model, stage.assignment)
        cuts = connectivity_cuts(stage.model, inside)
        loops += not cuts
        for cut in cuts or [tuple((f, not side) for f, side in enumerate(inside))]:
            stage.add_face_cut(cut)
    return loops


def test_loops_in_an_empty_room_of_five() -> None:
    """OEIS A140517, n = 4."""
    assert count_by_faces(plain_room(5, 5)) == 9349


def test_loops_by_length() -> None:
    """OEIS A302337: 4, 6, 8 ... cells in rooms of 4 x 4 and 3 x 3 cells."""
    four = Counter(len(r.cells) for r in enumerate_routes(plain_room(4, 4)))
    assert [four[n] for n in range(4, 17, 2)] == [9, 12, 26, 52, 76, 32, 6]
    three = Counter(len(r.cells) for r in enumerate_routes(plain_room(3, 3)))
    assert [three[n] for n in range(4, 9, 2)] == [4, 4, 5]


@pytest.mark.parametrize(("side", "loops"), [(2, 1), (4, 6)])
def test_loops_through_every_cell(side: int, loops: int) -> None:
    """OEIS A003763."""
    everywhere = frozenset(range(side * side))
    assert len(enumerate_routes(plain_room(side, side, required=everywhere))) == loops


def test_loops_through_every_cell_of_six() -> None:
    """OEIS A003763, n = 3."""
    assert count_by_faces(plain_room(6, 6, required=frozenset(range(36)))) == 1072


def test_left_minus_right_turns_is_four() -> None:
    """Hopf 1935, the theorem of turning tangents; the inside on the left is anticlockwise."""
    for route in enumerate_routes(plain_room(4, 3, inside_on_right=False)):
        assert turns_left(route) == 4
    for route in enumerate_routes(plain_room(4, 3)):
        assert turns_left(route) == -4


def turns_left(route: Route) -> int:
    return left_minus_right([(o.cell, o.in_port, o.out_port) for o in route.corners])


# Curved surfaces ------------------------------------------------------------------------------


def box_graph(a: int, b: int, c: int) -> RouteGraph:
    """The unit squares on the outside of a box; ports counter-clockwise as seen from outside."""
    size = (a, b, c)
    squares: dict[tuple[Cell, Cell], int] = {}  # (cell of the box, outward normal)
    for x in range(a):
        for y in range(b):
            for z in range(c):
                for axis in range(3):
                    for sign in (1, -1):
                        normal = tuple(sign if i == axis else 0 for i in range(3))
                        there = tuple(p + n for p, n in zip((x, y, z), normal, strict=True))
                        if not all(0 <= p < s for p, s in zip(there, size, strict=True)):
                            squares[(x, y, z), normal] = len(squares)  # type: ignore[index]

    def cross(u: Cell, v: Cell) -> Cell:
        return (
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        )

    def directions(normal: Cell) -> list[Cell]:
        first = next(d for d in ((1, 0, 0), (0, 1, 0)) if not normal[0] or d[1])
        second = cross(normal, first)
        minus = [tuple(-p for p in d) for d in (first, second)]
        return [first, second, *minus]  # type: ignore[list-item]

    ports, arrive = [], []
    for cell, normal in squares:
        row, back = [], []
        for d in directions(normal):
            next_cell = tuple(p + q for p, q in zip(cell, d, strict=True))
            if (next_cell, normal) in squares:
                there, comes_from = (next_cell, normal), tuple(-p for p in d)
            else:  # over the box's edge
                there, comes_from = (cell, d), normal
            row.append(squares[there])  # type: ignore[index]
            back.append(directions(there[1]).index(comes_from))  # type: ignore[arg-type]
        ports.append(tuple(row))
        arrive.append(tuple(back))
    cells = tuple(
        tuple(2 * p + q for p, q in zip(cell, normal, strict=True)) for cell, normal in squares
    )
    faces = trace_faces(tuple(ports), tuple(arrive))  # type: ignore[arg-type]
    return RouteGraph(cells, tuple(ports), tuple(arrive), faces)  # type: ignore[arg-type]


@pytest.mark.parametrize(("size", "loops"), [((1, 1, 1), 63), ((2, 1, 1), 462)])
def test_loops_on_a_box(size: tuple[int, int, int], loops: int) -> None:
    """Counts recomputed with graphillion and by brute force; no published source.

    Every loop has two sides and either may be the inside, so each is found twice.
    """
    graph = box_graph(*size)
    count = len(graph.cells)
    problem = replace(
        plain_room(2, 2),
        graph=graph,
        allowed=frozenset(range(count)),
        options=tuple(CornerOption(*turn) for turn in turns(count)),
        outside_faces=frozenset(),
        length_min=3,
    )
    defects = topology(graph).defect
    assert sum(defects) == 8  # Descartes: the defects of a closed surface come to a full 4 pi
    search, found = RouteSearch(problem), 0
    while isinstance(verdict := search.solve(soon()), RouteFound):
        found += 1 if verdict.route.corners else 2  # the cut takes both directions at once
        search.forbid(only_this_loop(problem, verdict.route))
    assert isinstance(verdict, RouteNone)
    assert found == 2 * loops


def only_this_loop(problem: RouteProblem, route: Route) -> RouteCut:
    """As `only_this`; a loop without corners is known by its cells."""
    cut = only_this(problem, route)
    cells = frozenset(route.cells)
    if route.corners:
        return cut
    return replace(cut, bare=cells, tape=frozenset(range(len(problem.graph.cells))) - cells)


# Against enumeration --------------------------------------------------------------------------


@pytest.mark.parametrize("block", range(10))
def test_optimum_of_random_rooms_is_that_of_enumeration(block: int) -> None:
    """350 rooms with edge limits, drives that share tokens, lengths, directions, `around`."""
    for seed in range(35 * block, 35 * block + 35):
        problem = random_room(seed)
        verdict = RouteSearch(problem).solve(soon())
        best = best_costs(problem)
        if best is None:
            assert isinstance(verdict, RouteNone), seed
        else:
            assert isinstance(verdict, RouteFound), seed
            assert verdict.optimal
            assert verdict.route.costs == best == verdict.lower_bound, seed
            assert route_faults(problem, verdict.route) == []


def test_the_same_without_any_capped_stage(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way taken when the bounds are far off: any route first, then down."""
    monkeypatch.setattr("solver.route.search.CAPPED_STAGES", 0)
    for seed in range(2000, 2040):
        problem = random_room(seed)
        verdict = RouteSearch(problem).solve(soon())
        best = best_costs(problem)
        assert (verdict.route.costs if isinstance(verdict, RouteFound) else None) == best, seed


@pytest.mark.parametrize("seed", range(8))
def test_refusals_bring_the_routes_in_the_order_of_their_costs(seed: int) -> None:
    problem = replace(
        weighted_room(4, 4, ("parts", "corners")), required=frozenset({seed, 15 - seed // 2})
    )
    expected = sorted(costs for costs, _ in priced(problem))[:25]
    search, found = RouteSearch(problem), []
    while len(found) < len(expected):
        verdict = search.solve(soon())
        assert isinstance(verdict, RouteFound)
        assert verdict.optimal
        found.append(verdict.route.costs)
        search.forbid(only_this(problem, verdict.route))
    assert found == expected


@pytest.mark.parametrize("seed", range(12))
def test_pairs_that_clash_are_never_chosen_together(seed: int) -> None:
    rng = random.Random(seed)
    required = frozenset(rng.sample(range(20), 3))
    problem = weighted_room(5, 4, ("length",), required=required)

    def clash(a: CornerOption, b: CornerOption) -> bool:
        return (a.cell * 7 + b.cell * 5 + seed) % 6 == 0

    def clashes(loop: list[tuple[int, int, int]]) -> bool:
        corners = [CornerOption(*turn) for turn in loop if (turn[2] - turn[1]) % 4 != 2]
        return any(clash(a, b) for a in corners for b in corners if a.cell != b.cell)

    verdict = RouteSearch(problem, clash=clash).solve(soon())
    best = min((c for c, loop in priced(problem) if not clashes(loop)), default=None)
    assert (verdict.route.costs if isinstance(verdict, RouteFound) else None) == best


def zigzag_of(loop: list[tuple[int, int, int]]) -> int:
    """The fewest steps from a turn to the next one, if that goes the other way."""
    ways = [(i, (goes - came) % 4) for i, (_, came, goes) in enumerate(loop)]
    corners = [(i, way) for i, way in ways if way != 2]
    after = [*corners[1:], (corners[0][0] + len(loop), corners[0][1])]
    return min(
        (j - i for (i, a), (j, b) in zip(corners, after, strict=True) if a != b), default=len(loop)
    )


@pytest.mark.parametrize("zigzag", [1, 2, 3])
@pytest.mark.parametrize("seed", range(25))
def test_walk_bounds_are_below_every_loop_and_every_turn(seed: int, zigzag: int) -> None:
    """What the bounds exclude is never looked at again, so they are checked turn by turn.

    Turns the other way keep so many steps apart, also those on wishes and beside them.
    """
    problem = replace(random_room(seed), reach_terms=(), around=None)
    narrowed = narrow(problem)
    if not isinstance(narrowed, Narrowed):
        return
    for t in range(len(problem.terms)):
        bounds = term_bounds(problem, narrowed.allowed, t, zigzag)
        for costs, loop in priced(problem):
            if zigzag_of(loop) < zigzag:
                continue
            assert bounds.least <= costs[t]
            for cell, came, goes in loop:
                assert bounds.turns[cell, came, goes] <= costs[t], (cell, came, goes)


# Laws -----------------------------------------------------------------------------------------


def moved(problem: RouteProblem, width: int, depth: int, *, turn: bool) -> RouteProblem:
    """The room mirrored east to west, or turned a quarter (x, y) -> (depth - 1 - y, x)."""

    def to(cell: int) -> int:
        x, y = cell % width, cell // width
        return x * depth + (depth - 1 - y) if turn else y * width + (width - 1 - x)

    def port(p: int) -> int:
        return (p + 1) % 4 if turn else (2 - p) % 4

    def cells(some: frozenset[int]) -> frozenset[int]:
        return frozenset(map(to, some))

    graph = flat_graph(depth, width) if turn else problem.graph
    placed = {to(c): c for c in range(width * depth)}
    return replace(
        problem,
        graph=graph,
        allowed=cells(problem.allowed),
        required=cells(problem.required),
        inside_on_right=problem.inside_on_right == turn,
        around=None if problem.around is None else to(problem.around),
        outside_faces=frozenset({max(range(len(graph.faces)), key=lambda f: len(graph.faces[f]))}),
        cell_costs=tuple(
            tuple(costs[placed[c]] for c in range(width * depth)) for costs in problem.cell_costs
        ),
        options=tuple(
            replace(
                o,
                cell=to(o.cell),
                in_port=port(o.in_port),
                out_port=port(o.out_port),
                forbids=cells(o.forbids),
            )
            for o in problem.options
        ),
        reach_terms=tuple(ReachTerm(cells(r.cells), r.penalty) for r in problem.reach_terms),
    )


@pytest.mark.parametrize("turn", [False, True])
def test_mirrored_and_turned_rooms_have_the_same_optimum(turn: bool) -> None:
    for seed in range(1000, 1040):
        problem = random_room(seed)
        width = max(c[0] for c in problem.graph.cells) + 1
        depth = max(c[1] for c in problem.graph.cells) + 1
        if width * depth < 9:
            continue
        other = moved(problem, width, depth, turn=turn)
        here, there = (RouteSearch(p).solve(soon()) for p in (problem, other))
        assert type(here) is type(there)
        if isinstance(here, RouteFound) and isinstance(there, RouteFound):
            assert here.route.costs == there.route.costs


def test_an_obstacle_more_never_improves() -> None:
    rng = random.Random(5)
    for _ in range(6):
        room = weighted_room(9, 9, ("parts",))
        allowed = {c for c in room.allowed if rng.random() > 0.1}
        room = replace(room, required=frozenset(rng.sample(sorted(allowed), 3)))
        before: tuple[int, ...] = (0,)
        while True:
            room = replace(room, allowed=frozenset(allowed))
            verdict = RouteSearch(room).solve(soon())
            if not isinstance(verdict, RouteFound):
                break
            assert verdict.route.costs >= before
            before = verdict.route.costs
            on_route = sorted(set(verdict.route.cells) - room.required)
            if not on_route:
                break
            allowed.discard(rng.choice(on_route))


def test_same_problem_same_route() -> None:
    problem = weighted_room(10, 10, ("corners", "length"), required=frozenset({3, 47, 92}))
    first, second = (RouteSearch(problem, seed=4).solve(soon()) for _ in range(2))
    assert first == second


# No route, no time ----------------------------------------------------------------------------


@pytest.mark.parametrize("exact", [False, True])
def test_no_loop_through_all_cells_of_an_odd_room(exact: bool) -> None:
    """Itai, Papadimitriou, Szwarcfiter 1982 (from memory): m n must be even."""
    everywhere = frozenset(range(25))
    verdict = RouteSearch(plain_room(5, 5, required=everywhere, exact=exact)).solve(soon())
    assert isinstance(verdict, RouteNone)
    assert verdict.proof.kind == "counting"
    assert len(verdict.proof.cells) == 13  # one colour of the chessboard, 12 of the other


def test_a_cell_in_a_dead_end_is_named() -> None:
    room = plain_room(4, 3)
    dead_end = replace(room, allowed=room.allowed - {7}, required=frozenset({3, 8}))
    verdict = RouteSearch(dead_end).solve(soon())
    assert isinstance(verdict, RouteNone)
    assert verdict.proof.kind == "cut"
    assert 3 in verdict.proof.cells


def test_an_impossible_search_names_its_second_opinion() -> None:
    room = weighted_room(6, 6, ("corners",), required=frozenset({14}), length_min=35)
    room = replace(room, around=15)
    verdict = RouteSearch(room).solve(soon())
    assert isinstance(verdict, RouteNone)
    assert verdict.proof.kind == "search"
    assert "CP-SAT" in verdict.proof.confirmed_by or "Glucose" in verdict.proof.confirmed_by


def test_no_time_is_not_impossible() -> None:
    room = weighted_room(20, 20, ("parts",), required=frozenset({21, 378, 190}))
    verdict = RouteSearch(room).solve(time.monotonic() - 1)
    assert isinstance(verdict, RouteUnknown)
    assert verdict.lower_bound[0] > 0
    search = RouteSearch(room)
    search.solve(time.monotonic() - 1)
    assert isinstance(search.solve(soon()), RouteFound)


def test_oracle_counts_too() -> None:
    """The slow twin itself: OEIS A140517, each loop in both directions."""
    assert sum(1 for _ in all_loops(plain_room(4, 4))) == 2 * 213
