"""In which order a loop may pass its wishes, and what is left to pay from anywhere on the way.

All is read off the tables of the cheapest walks between the wishes (`walks.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, product

import numpy as np

from models.geometry import dot, sub
from models.route import RouteProblem
from solver.route.reading import from_lowest
from solver.route.topology import PORTS
from solver.route.walks import (
    FAR,
    WAYS,
    Table,
    Walker,
    joined,
    sheet_change,
    spread,
    turn_costs,
)

MOST_WISHES = 40
"""Wishes that a tour is made through; the tables grow with each."""
STARTS = 12
"""Places on an order of wishes where a tour may begin."""
MOST_ORDERS = 60
SCALE = 16
"""The cost of a route counts so many times as much as its length, which only parts ties."""


@dataclass(frozen=True, slots=True, order=True)
class Tour:
    """Wishes in travel order, from the first one on and back to it."""

    least: int
    """What the cheapest walk costs that passes them so, scaled."""
    came: int
    """The port through which the tape arrives at the first wish."""
    way: int
    """How it leaves there: one of `WAYS`."""
    stops: tuple[int, ...]
    """Numbers of anchors."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is left to pay, at least, from a leg on to the end of the tour. Lists by sheet."""

    on_way: list[list[int]]
    """[4 * cell + arrival port], on the leg."""
    at_stop: list[list[list[int]]]
    """[arrival port][place in `WAYS`], at its end, the turn there included."""


class Tours:
    """Tours through all wishes, and what a walk must still pay on each."""

    def __init__(self, problem: RouteProblem, zigzag: int) -> None:
        self.problem = problem
        self.anchors = spread(problem, problem.allowed, MOST_WISHES)
        self.cell_cost = SCALE * np.array(problem.cell_costs[0], np.int32) + 1
        self.turn_cost = turn_costs(problem, [SCALE * o.costs[0] for o in problem.options])
        walker = Walker(problem, problem.allowed, self.cell_cost, zigzag, by_turns=True)
        self.sheets = walker.sheets
        self.back = walker.legs_back(self.turn_cost, self.anchors)
        between = walker.between(self.back, self.anchors)
        self.hops = joined(between, walker.anchor_turns(self.turn_cost, self.anchors))
        """[sheet, column left, column left]: a leg and the turn after it."""
        spots = flat_spots(problem)
        self.flat = [spots[anchor] for anchor in self.anchors]
        n = len(self.anchors)
        legs = self.hops.min(axis=0).reshape(n, 12, n, 12).min(axis=(1, 3))
        self.apart: list[list[int]] = legs.tolist()
        """The cheapest leg from anchor to anchor."""

    def cheapest(self, most: int) -> list[Tour]:
        """Tours with a closed walk, cheapest first."""
        found = []
        for order in islice(filter(self._right_way_round, self._orders()), MOST_ORDERS):
            n = len(order)
            for start in range(0, n, max(1, n // STARTS)):
                stops = order[start:] + order[:start]
                for i, cost in enumerate(self._closed(stops)):
                    came = (i % 4 - WAYS[i // 4]) % 4
                    found.append(Tour(cost, came, WAYS[i // 4], stops))
        return sorted(tour for tour in set(found) if tour.least < FAR)[:most]

    def ahead(self, tour: Tour) -> list[Ahead]:
        """What is left from each leg of a tour on."""
        stops = [*tour.stops[1:], tour.stops[0]]
        there = np.full((self.sheets, 12), FAR, np.int32)
        there[0, 4 * WAYS.index(tour.way) + tour.came] = 0
        legs: list[Ahead] = []
        for k in range(len(stops) - 1, -1, -1):
            at_stop = there.reshape(-1, 3, 4).transpose(0, 2, 1).tolist()
            leaving = [self._leaving(kind, stops[k], there) for kind in range(3)]
            legs.append(Ahead(self._arriving(leaving[0]).tolist(), at_stop))
            there = self._through(self.anchors[stops[k - 1]], leaving)
        return legs[::-1]

    def _right_way_round(self, order: tuple[int, ...]) -> bool:
        """Whether the polygon of the stops, if it is one, has its inside on the right side."""
        spots = [self.flat[a] for a in order]
        twice = sum(
            x * v - u * y for (x, y), (u, v) in zip(spots, spots[1:] + spots[:1], strict=True)
        )
        return twice == 0 or (twice < 0) == self.problem.inside_on_right

    def _leaving(self, kind: int, stop: int, there: Table) -> Table:
        """[sheet, state]: from a state with this turn behind it to a stop and on."""
        legs = self.back[kind][:, :, 12 * stop : 12 * stop + 12]
        leaving = np.full(legs.shape[:2], FAR, np.int32)
        for s in range(self.sheets):
            for u in range(self.sheets):
                rest = (legs[u] + there[s ^ u][None, :]).min(axis=1)
                np.minimum(leaving[s], rest, out=leaving[s])
        return leaving

    def _through(self, cell: int, leaving: list[Table]) -> Table:
        """[sheet, 4 * kind + arrival port]: from the arrival at a cell on, by the turn there."""
        there = np.full((self.sheets, 12), FAR, np.int32)
        for kind, came, s in product(range(3), PORTS, range(self.sheets)):
            goes = (came + WAYS[kind]) % 4
            flip = sheet_change(came, goes) % self.sheets
            rest = leaving[kind][s ^ flip, 4 * cell + goes] + self.turn_cost[cell, came, goes]
            there[s, 4 * kind + came] = min(int(rest), FAR)
        return there

    def _arriving(self, leaving: Table) -> Table:
        """What is left before a turn or a step straight on, from what is left after it."""
        after = leaving.reshape(self.sheets, -1, 4)
        before = np.full_like(after, FAR)
        for came, way, s in product(PORTS, WAYS, range(self.sheets)):
            goes = (came + way) % 4
            flip = sheet_change(came, goes) % self.sheets
            cost = after[s ^ flip, :, goes] + self.turn_cost[:, came, goes]
            np.minimum(before[s, :, came], cost, out=before[s, :, came])
        return before.reshape(self.sheets, -1)

    def _closed(self, stops: Sequence[int]) -> list[int]:
        """For each kind and port by which the first stop is left: the cheapest closed walk."""
        walk = np.full((self.sheets, 12, 12), FAR, np.int32)
        walk[0][np.diag_indices(12)] = 0
        for a, b in zip(stops, [*stops[1:], stops[0]], strict=True):
            walk = joined(walk, self.hops[:, _ports(a), _ports(b)])
        costs: list[int] = np.diagonal(walk[self.sheets - 1]).tolist()
        return costs

    def _orders(self) -> Iterator[tuple[int, ...]]:
        """Orders that no small change makes shorter, then their neighbours, shortest first."""
        n = len(self.anchors)
        ends = {from_lowest(self._settled(self._greedy(start))) for start in range(n)}
        near = {from_lowest(other) for end in ends for other in _changed(end)}
        seen = ends | near
        yield from sorted(seen, key=lambda order: (self._long(order), order))

    def _greedy(self, start: int) -> tuple[int, ...]:
        order, rest = [start], set(range(len(self.anchors))) - {start}
        while rest:
            order.append(min(rest, key=lambda a: (self.apart[order[-1]][a], a)))
            rest.remove(order[-1])
        return tuple(order)

    def _settled(self, order: tuple[int, ...]) -> tuple[int, ...]:
        while True:
            best = min(_changed(order), key=lambda o: (self._long(o), o), default=order)
            if self._long(best) >= self._long(order):
                return order
            order = best

    def _long(self, order: tuple[int, ...]) -> int:
        return sum(self.apart[a][b] for a, b in zip(order, order[1:] + order[:1], strict=True))


def _changed(order: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """A stretch turned round, or one stop moved elsewhere."""
    n = len(order)
    yield order[::-1]
    for i in range(n):
        for j in range(i + 2, n + 1):
            yield order[:i] + order[i:j][::-1] + order[j:]
        rest = order[:i] + order[i + 1 :]
        for j in range(n - 1):
            if j != i:
                yield (*rest[:j], order[i], *rest[j:])


def flat_spots(problem: RouteProblem) -> list[tuple[int, int]]:
    """Where each cell lies on its floor: along ports 0 and 1, which turn to the left."""
    graph = problem.graph
    axes = []
    for port in PORTS[:2]:
        near = next(c for c, row in enumerate(graph.ports) if row[port] >= 0)
        axes.append(sub(graph.cells[graph.ports[near][port]], graph.cells[near]))
    return [(dot(cell, axes[0]), dot(cell, axes[1])) for cell in graph.cells]


def _ports(anchor: int) -> slice:
    return slice(12 * anchor, 12 * anchor + 12)
