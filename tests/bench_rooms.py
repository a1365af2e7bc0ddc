"""Times of the route search over several surfaces beside two plainer ways; nothing is asserted.

    python -m tests.bench_rooms [--sizes 4x4x3 6x5x4] [--rooms 3] [--limit 60]

All six surfaces are given, six cells are wanted, and a cell to run around; the
objective is parts. "One model" hands all rules, drives and the objective to CP-SAT at once: no
stages under caps, no bounds; a solution in several pieces is cut and it starts again. "No cuts" is
the staged search itself, but refuses of such a solution nothing more than itself.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable, Sequence
from functools import partial
from statistics import median

from ortools.sat.python import cp_model

import solver.route.search as staged
from models.geometry import Cell
from models.problem import Problem
from models.route import RouteFound, RouteProblem
from models.scenario import Scenario
from models.surface import SURFACES
from models.system import System
from solver.flatten import flatten
from solver.net.systems import systems_over
from solver.route import RouteSearch
from solver.route.clashes import clash_cuts
from solver.route.cpsat import _program
from solver.route.cuts import FaceCut, connectivity_cuts, post_face_cut, post_route_cut
from solver.route.problem import clashing, route_problem
from solver.route.reading import read_route, sides
from solver.route.rules import RouteFormula, route_formula
from solver.route.topology import topology
from tests.room_drawings import drawing

Asked = tuple[Problem, System, RouteProblem]


def room(size: Cell, seed: int) -> Asked:
    """A room with six wishes."""
    rng = random.Random(seed)
    bare = flatten(_drawn(size, [], '["floor", 0, 0]'))
    centre: Cell = (size[0] // 2, size[1] // 2, -1)
    visible = [
        cell
        for cell, home in zip(bare.graph.cells, bare.homes, strict=True)
        if home is not None and cell != centre
    ]
    wanted = rng.sample(visible, 6)
    scenario = _drawn(size, wanted, f'["floor", {centre[0]}, {centre[1]}]')
    problem = flatten(scenario)
    (system,) = systems_over(scenario.surfaces, scenario.rules)
    return problem, system, route_problem(problem, system)


def _drawn(size: Cell, wanted: Sequence[Cell], around: str) -> Scenario:
    return drawing(size, wanted, SURFACES, shape="free", around=around, depth=6, margin=2)


def ours(asked: Asked, limit_s: float) -> tuple[int, ...] | None:
    """The search as it is."""
    problem, system, routes = asked
    search = RouteSearch(routes, clash=partial(clashing, problem, system))
    verdict = search.solve(time.monotonic() + limit_s)
    return verdict.route.costs if isinstance(verdict, RouteFound) and verdict.optimal else None


def without_cuts(asked: Asked, limit_s: float) -> tuple[int, ...] | None:
    """The same; of a solution in pieces only that very one is refused."""

    def itself(model: RouteFormula, inside: Sequence[bool]) -> list[FaceCut]:
        whole = tuple((face, not side) for face, side in enumerate(inside))
        return [whole] if connectivity_cuts(model, inside) else []

    usual, staged.connectivity_cuts = staged.connectivity_cuts, itself  # type: ignore[attr-defined]
    try:
        return ours(asked, limit_s)
    finally:
        staged.connectivity_cuts = usual  # type: ignore[attr-defined]


def one_model(asked: Asked, limit_s: float) -> tuple[int, ...] | None:
    """CP-SAT on everything at once."""
    problem, system, routes = asked
    end = time.monotonic() + limit_s
    model = route_formula(routes, topology(routes.graph), routes.allowed)
    while time.monotonic() < end:
        program, variables = _program(model)
        total = model.objective[0]
        program.minimize(sum(w * variables[lit] for w, lit in total.terms) + total.constant)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = max(0.01, end - time.monotonic())
        if solver.solve(program) != cp_model.OPTIMAL:
            return None
        values = [bool(solver.value(v)) for v in variables]
        cuts = connectivity_cuts(model, sides(model, values))
        for cut in cuts:
            post_face_cut(model, cut)
        if cuts:
            continue
        route = read_route(model, values)
        clashes = clash_cuts(routes, route, partial(clashing, problem, system))
        for clash in clashes:
            post_route_cut(model, clash)
        if not clashes:
            return route.costs
    return None


WAYS: tuple[Callable[[Asked, float], tuple[int, ...] | None], ...] = (
    ours,
    one_model,
    without_cuts,
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", nargs="+", default=["4x4x3", "6x5x4"])
    parser.add_argument("--rooms", type=int, default=3)
    parser.add_argument("--limit", type=float, default=60.0)
    args = parser.parse_args()
    print(f"{'size':>8} {'ours':>9} {'one model':>22} {'no cuts':>22}")
    for name in args.sizes:
        x, y, z = map(int, name.split("x"))
        spent: list[list[float]] = [[] for _ in WAYS]
        done = [0] * len(WAYS)
        for seed in range(args.rooms):
            asked = room((x, y, z), seed)
            values = []
            for i, way in enumerate(WAYS):
                start = time.process_time()
                values.append(way(asked, args.limit))
                spent[i].append(time.process_time() - start)
                done[i] += values[-1] is not None
            if len({v for v in values if v is not None}) > 1:
                print(f"     room {seed}: the values differ: {values}")
        base = median(spent[0])
        told = [
            f"{median(t):7.2f} s {median(t) / base:5.1f}x {n}/{args.rooms}"
            for t, n in zip(spent[1:], done[1:], strict=True)
        ]
        print(f"{name:>8} {base:7.2f} s {'  '.join(told)}  ours {done[0]}/{args.rooms}", flush=True)


if __name__ == "__main__":
    main()
