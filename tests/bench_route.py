"""Times of the route search beside two textbook models, as ratios of one run; nothing is asserted.

    python -m tests.bench_route [--sides 12 16] [--rooms 3] [--limit 30]

Square rooms, 10 % of the cells blocked, five required cells, edges of 2 to 13. The baselines are
CP-SAT with `add_circuit` over the arcs of the grid, and one Boolean a face in a SAT solver,
tested with 4, 6, 8 ... corners and cut lazily, without walk bounds (corners only).
"""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import replace
from statistics import median

from ortools.sat.python import cp_model

from models.route import EdgeLimits, RouteFound, RouteProblem
from solver.route import RouteSearch
from solver.route.cuts import connectivity_cuts, post_face_cut
from solver.route.narrow import Narrowed, narrow
from solver.route.reading import sides
from solver.route.stage import Cap, Stage
from solver.route.topology import topology
from tests.route_rooms import WEIGHTS, weighted_room


def room(side: int, term: str, seed: int) -> RouteProblem:
    rng = random.Random(seed)
    plain = weighted_room(side, side, (term,), limits=EdgeLimits())
    while True:
        allowed = frozenset(c for c in plain.allowed if rng.random() >= 0.1)
        required = frozenset(rng.sample(sorted(allowed), 5))
        problem = replace(plain, allowed=allowed, required=required)
        if isinstance(narrow(problem), Narrowed):
            return problem


def ours(problem: RouteProblem, limit_s: float) -> int | None:
    verdict = RouteSearch(problem).solve(time.monotonic() + limit_s)
    return verdict.route.costs[0] if isinstance(verdict, RouteFound) and verdict.optimal else None


def circuit(problem: RouteProblem, limit_s: float) -> int | None:
    """One Boolean an arc, `add_circuit` with loops for cells off the tape, corners by pairs."""
    model = cp_model.CpModel()
    arcs: list[tuple[int, int, cp_model.IntVar]] = []
    out: dict[tuple[int, int], cp_model.IntVar] = {}
    into: dict[tuple[int, int], cp_model.IntVar] = {}
    weight, corner_weight = WEIGHTS[problem.terms[0]]
    ports, cost = problem.graph.ports, []
    for cell in sorted(problem.allowed):
        for port, there in enumerate(ports[cell]):
            if there in problem.allowed:
                arc = model.new_bool_var("")
                arcs.append((cell, there, arc))
                out[cell, port] = into[there, (port + 2) % 4] = arc
                cost.append(weight * arc)
        if cell not in problem.required:
            arcs.append((cell, cell, model.new_bool_var("")))
    model.add_circuit(arcs)
    for (cell, port), arc in out.items():
        corner = model.new_bool_var("")
        straight = into.get((cell, (port + 2) % 4))
        model.add(corner >= arc - (straight if straight is not None else 0))
        cost.append(corner_weight * corner)
        run, at = [], cell
        while (at, port) in out and len(run) < problem.limits.drive_drive.most:
            run.append(out[at, port])
            at = ports[at][port]
        if len(run) == problem.limits.drive_drive.most:
            model.add_bool_or([~a for a in run])
        if (ports[cell][port], (port + 2) % 4) in out:
            model.add_at_most_one([arc, out[ports[cell][port], (port + 2) % 4]])
    model.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = limit_s
    status = solver.solve(model)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def face_sat(problem: RouteProblem, limit_s: float) -> int | None:
    """Faces and lazy cuts, corners upwards; no bounds and nothing left out."""
    narrowed = narrow(problem)
    assert isinstance(narrowed, Narrowed)
    end = time.monotonic() + limit_s
    stage = Stage(
        problem,
        topology(problem.graph),
        narrowed.allowed,
        [Cap(0, 30, None)],
        bounded=True,
    )
    corners = 4
    while time.monotonic() < end:
        answer = stage.test(corners, 1 << 40, end)
        if answer == "no":
            corners += 2
        elif answer == "yes":
            cuts = connectivity_cuts(stage.model, sides(stage.model, stage.assignment))
            if not cuts:
                return corners
            for cut in cuts:
                post_face_cut(stage.model, cut)
        else:
            return None
    return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sides", type=int, nargs="+", default=[12, 16, 20])
    parser.add_argument("--rooms", type=int, default=3)
    parser.add_argument("--limit", type=float, default=30.0)
    args = parser.parse_args()
    print(f"{'side':>4} {'term':>8} {'ours':>8} {'circuit':>16} {'face SAT':>16}")
    for side in args.sides:
        for term in WEIGHTS:
            solvers = [ours, circuit] + ([face_sat] if term == "corners" else [])
            times: list[list[float]] = [[] for _ in solvers]
            for seed in range(args.rooms):
                problem = room(side, term, seed)
                values = []
                for solver, spent in zip(solvers, times, strict=True):
                    start = time.monotonic()
                    values.append(solver(problem, args.limit))
                    spent.append(time.monotonic() - start)
                if len({v for v in values if v is not None}) > 1:
                    print(f"     room {seed}: the values differ: {values}")
            base = median(times[0])
            ratios = [f"{median(t):7.2f} s {median(t) / base:4.1f}x" for t in times[1:]]
            print(f"{side:>4} {term:>8} {base:6.2f} s {'  '.join(ratios)}", flush=True)


if __name__ == "__main__":
    main()
