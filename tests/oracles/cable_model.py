"""Cables of sensors as one model for CP-SAT: what each sensor watches, and when it fires.

And the plain sums for an empty grid: where the cables part and how long each piece is.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import product

import networkx as nx
from ortools.sat.python import cp_model

Cell = tuple[int, int, int]
Feed = tuple[Cell, Cell, Cell]
"""What is fed, the last sensor, what that one watches."""
STEPS: tuple[Cell, ...] = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))


def _plus(a: Cell, b: Cell) -> Cell:
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def fewest_sensors(
    free: Collection[Cell],
    inert: Collection[Cell],
    roots: Collection[Cell],
    goals: Sequence[tuple[Sequence[Feed], int]],
    most_ticks: int,
) -> int | None:
    """The least sensors that serve every goal, each so many ticks before one common time."""
    model = cp_model.CpModel()
    watches: dict[tuple[Cell, Cell], cp_model.IntVar] = {}
    time = {cell: model.new_int_var(1, most_ticks, "") for cell in free}
    stands = {cell: model.new_bool_var("") for cell in free}
    feeding: dict[tuple[Cell, Cell], list[cp_model.IntVar]] = {}
    end = model.new_int_var(1, most_ticks, "")
    chosen = []
    for feeds, lead in goals:
        ways = []
        for _, last, watched in feeds:
            way = model.new_bool_var("")
            feeding.setdefault((watched, last), []).append(way)
            model.add(time[last] == end - lead).only_enforce_if(way)
            ways.append(way)
        model.add_exactly_one(ways)
        chosen += ways
    for cell in free:
        for step in STEPS:
            before = _plus(cell, step)
            out = _plus(cell, (-step[0], -step[1], -step[2]))
            feeds_here = feeding.get((before, cell), [])
            if (before in free or before in roots) and (out in inert or feeds_here):
                watch = watches[before, cell] = model.new_bool_var("")
                if out not in inert:
                    model.add_bool_or(feeds_here).only_enforce_if(watch)
                if before in free:
                    model.add_implication(watch, stands[before])
                    model.add(time[cell] == time[before] + 1).only_enforce_if(watch)
                else:
                    model.add(time[cell] == 1).only_enforce_if(watch)
        model.add(sum(w for (_, there), w in watches.items() if there == cell) == stands[cell])
    for key, ways in feeding.items():
        for way in ways:
            if key in watches:
                model.add_implication(way, watches[key])
            else:
                model.add(way == 0)
    model.minimize(sum(stands.values()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), "too large for the oracle"
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def least_in_an_empty_box(
    size: Cell, root: Cell, ends: Sequence[Cell], leads: Sequence[int], most: int
) -> int:
    """Sensors from a root to two or three cells, by trying where the cables part.

    A walk of so many steps between two cells of an empty grid exists if it is no shorter than
    their distance and of the same parity.
    """
    grid = nx.grid_graph([range(length) for length in reversed(size)])
    away = dict(nx.all_pairs_shortest_path_length(grid))

    def fits(a: Cell, b: Cell, steps: int) -> bool:
        return bool(steps >= away[a][b] and (steps - away[a][b]) % 2 == 0)

    best = most
    nodes = list(grid)
    for ticks, here in product(range(1, most), nodes):
        for first in range(ticks + 1):
            if not fits(root, here, first):
                continue
            for lone in range(len(ends)):
                # One cable goes on alone from here, the others together to a second place.
                alone = ticks - leads[lone] - first
                if alone < 0 or not fits(here, ends[lone], alone) or first + alone >= best:
                    continue
                rest = [i for i in range(len(ends)) if i != lone]
                for there, more in product(nodes, range(ticks - first + 1)):
                    tails = [ticks - leads[i] - first - more for i in rest]
                    total = first + alone + more + sum(tails)
                    if min(tails) < 0 or total >= best or not fits(here, there, more):
                        continue
                    if all(fits(there, ends[i], n) for i, n in zip(rest, tails, strict=True)):
                        best = total
    return best


def steiner_cells(size: Cell, terminals: Sequence[Cell]) -> int:
    """Steps of the smallest tree through three or four cells of an empty grid.

    It has at most one or two places where three ways meet; all are tried.
    """
    grid = nx.grid_graph([range(length) for length in reversed(size)])
    away = dict(nx.all_pairs_shortest_path_length(grid))

    def spread(v: Cell, ends: Collection[Cell]) -> int:
        return sum(int(away[v][end]) for end in ends)

    if len(terminals) == 3:
        return min(spread(v, terminals) for v in grid)
    a, b, c, d = terminals
    return min(
        int(away[u][v]) + spread(u, pair) + spread(v, {*terminals} - {*pair})
        for u in grid
        for v in grid
        for pair in ((a, b), (a, c), (a, d))
    )
