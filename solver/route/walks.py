"""Lower bounds from closed walks: a loop is at least a walk through some required cells.

A walk may cross itself; it keeps the longest edge only between two required cells. Its cost is
found by sweeps over whole tables (one column a state) and a Held-Karp table over the required
cells, and for every single step and turn too: what the cheapest walk that uses it costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.route import RouteProblem
from solver.route.topology import PORTS

Table = NDArray[np.int32]
FAR = 1 << 28
MOST_ANCHORS = 8
"""Required cells that the walk is held to; the table doubles with each."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Step tables: state 4 * cell + port is the tape leaving `cell` through `port`."""

    there: NDArray[np.int64]
    """For each leaving state the arrival state 4 * next cell + arrival port."""
    blocked: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class WalkBounds:
    """What the cheapest closed walk costs, in all and for each turn (cell, came, goes)."""

    least: int
    turns: Table
    """Indexed cell, arrival port, leaving port."""
    unit: int
    """A step in cost worth trying: two cells, or two corners."""


def term_bounds(problem: RouteProblem, allowed: frozenset[int], term: int) -> WalkBounds:
    """Bounds of one term of the objective, its fixed costs included."""
    fixed = problem.fixed_costs[term] if problem.fixed_costs else 0
    cells = len(problem.graph.cells)
    cell_cost = np.array(problem.cell_costs[term], np.int64)
    turn_cost = np.full((cells, 4, 4), FAR, np.int64)
    for port in PORTS:
        turn_cost[:, port, (port + 2) % 4] = 0
    for option in problem.options:
        at = (option.cell, option.in_port, option.out_port)
        turn_cost[at] = min(int(turn_cost[at]), option.costs[term])
    cheapest = min((option.costs[term] for option in problem.options), default=0)
    unit = max(1, 2 * int(cell_cost.min()), 2 * cheapest)
    penalties = [reach.penalty[term] for reach in problem.reach_terms]
    low = min(int(cell_cost.min()), cheapest, *penalties, 0)
    nothing = np.full((cells, 4, 4), -FAR, np.int32)
    if low < 0:  # walks would go round and round
        most = sum(abs(int(c)) for c in cell_cost) + sum(abs(p) for p in penalties)
        most += sum(abs(option.costs[term]) for option in problem.options)
        return WalkBounds(fixed - most, nothing, unit)
    least = int(cell_cost.min()) * max(4, problem.length_min)
    if not problem.required & allowed:
        return WalkBounds(fixed + least, nothing, unit)
    walk = walk_bounds(
        problem, allowed, cell_cost.astype(np.int32), turn_cost.astype(np.int32), unit
    )
    turns = np.where(walk.turns < FAR, walk.turns + fixed, FAR).astype(np.int32)
    return WalkBounds(max(walk.least, least) + fixed, turns, unit)


def walk_bounds(
    problem: RouteProblem,
    allowed: frozenset[int],
    cell_cost: Table,
    turn_cost: Table,
    unit: int,
) -> WalkBounds:
    """`turn_cost` is indexed cell, arrival port, leaving port: 0 straight on, FAR where barred."""
    anchors = spread(problem, allowed)
    grid = _grid(problem, allowed)
    most = min(problem.limits.drive_drive.most, len(cell_cost)) - 1
    out = _legs(grid, cell_cost, turn_cost, most, anchors)
    back = _legs(grid, cell_cost, turn_cost.transpose(0, 2, 1), most, anchors)
    # out[4a + p, 4c + e]: leave anchor a by p, arrive at c through e, c paid, a not.
    # back[4a + e, 4c + p]: leave c by p, arrive at a through e; here c is paid, a not.
    at = np.array([4 * a + p for a in anchors for p in PORTS])
    between = out[:, at]
    turn = np.full((len(at), len(at)), FAR, np.int32)
    for i, a in enumerate(anchors):
        turn[4 * i : 4 * i + 4, 4 * i : 4 * i + 4] = turn_cost[a]
    tours = _held_karp(between, turn, len(anchors))
    least = int((tours + between.T).min())
    arriving = np.full((len(at), out.shape[1]), FAR, np.int32)
    for j in range(len(at)):  # arriving[i]: anchor i's arrival, all anchors, then on to the state
        arriving = np.minimum(arriving, tours[:, j : j + 1] + out[j][None, :])
    cells = len(cell_cost)
    paid_twice = cell_cost[:, None] - np.repeat(cell_cost[anchors], 4)[None, :]
    best = np.full((cells, 4, 4), FAR, np.int32)
    arrived = arriving.T.reshape(cells, 4, len(at))
    leaving = back.T.reshape(cells, 4, len(at)) - paid_twice[:, None, :]
    for came in PORTS:
        for goes in PORTS:
            total = (arrived[:, came] + leaving[:, goes]).min(axis=1)
            best[:, came, goes] = total + turn_cost[:, came, goes]
    best[anchors] = least  # every tour passes them, one way or another
    return WalkBounds(least, np.minimum(best, FAR), unit)


def spread(problem: RouteProblem, allowed: frozenset[int]) -> list[int]:
    """Required cells far from each other, greedily."""
    cells = problem.graph.cells
    left = sorted(problem.required & allowed)
    chosen: list[int] = []
    while left and len(chosen) < MOST_ANCHORS:

        def far(c: int) -> int:
            return min(
                (sum(abs(x - y) for x, y in zip(cells[c], cells[d], strict=True)) for d in chosen),
                default=-c,
            )

        chosen.append(max(left, key=far))
        left.remove(chosen[-1])
    return chosen


def _grid(problem: RouteProblem, allowed: frozenset[int]) -> Grid:
    ports = np.array(problem.graph.ports, np.int64)
    arrive = np.array(problem.graph.arrive, np.int64)
    ok = np.zeros(len(ports) + 1, bool)
    ok[sorted(allowed)] = True
    blocked = ~(ok[ports] & ok[:-1, None])
    there = np.where(blocked, 0, 4 * ports + arrive)
    return Grid(there.reshape(-1), blocked.reshape(-1))


def _legs(grid: Grid, cell_cost: Table, turn_cost: Table, most: int, anchors: list[int]) -> Table:
    """For each anchor and leaving port: the cost of arriving at every state, its cell paid."""
    states = len(grid.there)
    arrivals = np.full((4 * len(anchors), states), FAR, np.int32)
    leaving = np.full((4 * len(anchors), states), FAR, np.int32)
    for i, a in enumerate(anchors):
        for port in PORTS:
            leaving[4 * i + port, 4 * a + port] = 0
    # Pull form: the arrival state (d, e) is reached from the leaving state of its neighbour.
    source = np.zeros(states, np.int64)
    usable = np.zeros(states, bool)
    good = np.flatnonzero(~grid.blocked)
    source[grid.there[good]] = good
    usable[grid.there[good]] = True
    wall = np.where(usable, np.repeat(cell_cost, 4), FAR).astype(np.int32)
    onward = (np.arange(states) // 4) * 4 + (np.arange(states) % 4 + 2) % 4
    while True:
        run, best = leaving, arrivals
        for _ in range(most):
            arrived = np.minimum(run[:, source] + wall[None, :], FAR)
            best = np.minimum(best, arrived)
            if not (arrived < FAR).any():
                break
            run = arrived[:, onward]
        if (best == arrivals).all():
            return arrivals
        arrivals = best
        by_cell = arrivals.reshape(len(arrivals), -1, 4)
        after = leaving.reshape(len(arrivals), -1, 4).copy()
        for came in PORTS:
            for goes in ((came + 1) % 4, (came + 3) % 4):
                turned = by_cell[:, :, came] + turn_cost[None, :, came, goes]
                after[:, :, goes] = np.minimum(after[:, :, goes], turned)
        leaving = after.reshape(len(arrivals), -1)


def _held_karp(between: Table, turn: Table, anchors: int) -> Table:
    """From arriving at one anchor through all the others to leaving the last: the least cost."""
    hop = np.full_like(between, FAR)  # leave one anchor, arrive at the next, leave it
    for k in range(len(turn)):
        hop = np.minimum(hop, between[:, k : k + 1] + turn[k][None, :])
    full = (1 << anchors) - 1
    size = 4 * anchors
    best = np.full((full + 1, size, size), FAR, np.int32)
    for a in range(anchors):
        mine = slice(4 * a, 4 * a + 4)
        best[1 << a, mine, mine] = turn[mine, mine]
    for subset in range(1, full + 1):
        here = best[subset]
        for a in range(anchors):
            if subset >> a & 1:
                continue
            bigger = best[subset | 1 << a]
            mine = slice(4 * a, 4 * a + 4)
            cost = bigger[:, mine]
            for k in range(size):
                if subset >> (k // 4) & 1:
                    cost = np.minimum(cost, here[:, k : k + 1] + hop[k : k + 1, mine])
            bigger[:, mine] = cost
    return np.minimum(best[full], FAR)
