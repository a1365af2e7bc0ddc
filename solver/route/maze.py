"""Routes of a large room by maze routing: tour after tour of its wishes is laid cell by cell.

A* over stops passed, cell, heading and steps since the last turn. What a walk must still pay is
read off tables, so that mostly little more is looked at than the route itself. Every path knows
its own tape and drives and keeps clear of both; of paths that come to the same state a few are
kept, as they differ in what they bar. So a route that is found is one, but none proves nothing.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterator
from functools import cached_property
from typing import NamedTuple

from models.route import CornerOption, Route, RouteProblem
from solver.route.check import Clash, route_faults
from solver.route.clashes import disturb
from solver.route.reading import priced_route
from solver.route.tours import SCALE, Tour, Tours
from solver.route.walks import FAR, sheet_change
from solver.route.zigzag import least_zigzag


class Effort(NamedTuple):
    """How hard a tour is tried."""

    weight: float
    """Of what is left to pay; above 1 a path that is nearly there is gone on with."""
    kept: int
    """Paths that are gone on with from the same state."""
    most: int
    """States looked at on a leg."""
    ends: int
    """Ways to arrive at a stop that are gone on with."""
    fine: int | None = None
    """What it costs that a drive disturbs tape or another drive; None: no path does that."""


EFFORTS = (
    Effort(1.0, 4, 1_000, 8),
    Effort(1.0, 4, 1_000, 8, fine=40),
    Effort(1.1, 8, 3_000, 24),
    Effort(1.2, 8, 10_000, 60, fine=40),
    Effort(1.2, 8, 10_000, 60),
)
"""The later, the longer they take. What is laid with a fine may need mending."""
MOST_TOURS = 24
NEAR = 8
"""Drives further from each other than this are not held against each other on the way."""

Turn = tuple[CornerOption, int, int]
"""A drive, what it costs, scaled, and the cells it forbids, bit by cell."""


class Drives(NamedTuple):
    """The drives of a path, the last one first."""

    last: CornerOption
    before: Drives | None


class Step(NamedTuple):
    """A path up to a cell that it has not left yet."""

    paid: int
    passed: int
    """Stops after the first one."""
    cell: int
    came: int
    run: int
    """Steps since the last turn."""
    way: int
    """The last turn: 1 to the right, 3 to the left, 0 before the first."""
    turned: int
    """Turns to the right less those to the left."""
    sheet: int
    """Whether the heading must still change sheets (`walks.Walker`)."""
    tape: int
    """Bit by cell: those that were left."""
    barred: int
    """Bit by cell: those that drives forbid."""
    drives: Drives | None
    back: Step | None


class Maze:
    """Lays tours of a problem on one floor."""

    def __init__(self, problem: RouteProblem, clash: Clash | None) -> None:
        self.problem, self.clash = problem, clash
        self.zigzag = least_zigzag(problem, clash)
        self.tours = Tours(problem, self.zigzag)
        self.fee: list[int] = self.tours.cell_cost.tolist()
        self.turns: dict[tuple[int, int], list[Turn]] = {}
        for option in problem.options:
            if option.cell in problem.allowed and not option.forbids & problem.required:
                barred = sum(1 << cell for cell in option.forbids)
                ways = self.turns.setdefault((option.cell, option.in_port), [])
                ways.append((option, SCALE * option.costs[0], barred))
        self._met: dict[tuple[int, int], bool] = {}
        self.spots = problem.graph.cells
        self.longest = problem.limits.drive_drive.most - 1
        self.shortest = problem.limits.drive_drive.least - 1

    @cached_property
    def cheapest(self) -> list[Tour]:
        """The tours that every effort is made on."""
        return self.tours.cheapest(MOST_TOURS)

    def routes(self, effort: Effort, deadline: float) -> Iterator[Route]:
        """Routes of the cheapest tours, in no order."""
        for route in self.drafts(effort, deadline):
            if not route_faults(self.problem, route, clash=self.clash):
                yield route

    def drafts(self, effort: Effort, deadline: float) -> Iterator[Route]:
        """The same with those whose drives disturb something, if the effort lays such."""
        if len(self.tours.anchors) < len(self.problem.required):
            return
        for tour in self.cheapest:
            if time.monotonic() > deadline:
                return
            route = Laying(self, tour, effort).route()
            if route is not None:
                yield route

    def disturbed(self, route: Route) -> set[int]:
        """The corners whose drives disturb tape or another drive."""
        cells, found = set(route.cells), set[int]()
        for i, a in enumerate(route.corners):
            others = [b.cell for b in route.corners[:i] if self._pair_meets(a, b)]
            if others or a.forbids & cells:
                found.update((a.cell, *others))
        return found

    def after(self, step: Step, target: int, fine: int | None = None) -> Iterator[Step]:
        """One cell on: straight, or after a turn with a drive that meets none before it.

        `fine`: what it costs to meet one, or to disturb tape; None: it must not be.
        """
        tape = step.tape | 1 << step.cell
        ahead = (step.came + 2) % 4
        if step.run < self.longest:
            on = self._stepped(step, target, ahead, tape, step.barred, step.drives, fine)
            if on is not None:
                yield on
        for option, cost, barred in self.turns.get((step.cell, step.came), ()):
            if step.run < self.shortest:
                continue
            wrong = bool(barred & tape) or self._meets(option, step.drives)
            if wrong and fine is None:
                continue
            drives, bars = Drives(option, step.drives), step.barred | barred
            on = self._stepped(step, target, option.out_port, tape, bars, drives, fine)
            if on is not None:
                yield on._replace(paid=on.paid + cost + (fine or 0) * wrong)

    def _stepped(
        self,
        step: Step,
        target: int,
        goes: int,
        tape: int,
        barred: int,
        drives: Drives | None,
        fine: int | None,
    ) -> Step | None:
        graph = self.problem.graph
        there = graph.ports[step.cell][goes]
        wrong = there >= 0 and barred >> there & 1
        if there not in self.problem.allowed or (wrong and fine is None):
            return None
        if there != target and there in self.problem.required:
            return None  # a stop that comes later, or was there before
        way = (goes - step.came) % 4
        straight = way == 2
        return Step(
            step.paid + self.fee[there] + (fine or 0) * wrong,
            step.passed + (there == target),
            there,
            graph.arrive[step.cell][goes],
            step.run + 1 if straight else 1,
            step.way if straight else way,
            step.turned + (2 - way),
            step.sheet ^ (sheet_change(step.came, goes) % self.tours.sheets),
            tape,
            barred,
            drives,
            step,
        )

    def _meets(self, option: CornerOption, drives: Drives | None) -> bool:
        x, y, z = self.spots[option.cell]
        while drives is not None:
            other, drives = drives
            u, v, w = self.spots[other.cell]
            near = max(abs(x - u), abs(y - v), abs(z - w)) <= NEAR
            if near and self._pair_meets(option, other):
                return True
        return False

    def _pair_meets(self, a: CornerOption, b: CornerOption) -> bool:
        pair = (id(a), id(b))
        if pair not in self._met:
            shared = not a.claims.isdisjoint(b.claims)
            self._met[pair] = shared or disturb(a, b, self.clash)
        return self._met[pair]

    def read(self, end: Step) -> Route:
        """The route of a path that is back at its start."""
        cells: list[int] = []
        step = end.back
        while step is not None:
            cells.append(step.cell)
            step = step.back
        chosen: list[CornerOption] = []
        drives = end.drives
        while drives is not None:
            chosen.append(drives.last)
            drives = drives.before
        return priced_route(self.problem, cells[::-1], chosen)


class Laying:
    """One tour, laid leg by leg: only a few ways to each stop are gone on with.

    A stop that the tape cannot leave again so costs a leg, and not a new start from everywhere.
    """

    def __init__(self, maze: Maze, tour: Tour, effort: Effort) -> None:
        self.maze, self.tour, self.effort = maze, tour, effort
        self.ahead = maze.tours.ahead(tour)
        first, *rest = (maze.tours.anchors[stop] for stop in tour.stops)
        self.stops = (*rest, first)
        self.number = 0

    def route(self) -> Route | None:
        """A route along the tour, if the effort is enough."""
        sheet, run = self.maze.tours.sheets - 1, self.maze.longest // 2
        start = Step(0, 0, self.stops[-1], self.tour.came, run, 0, 0, sheet, 0, 0, None, None)
        at = [start]
        for leg in range(len(self.stops)):
            at = self._leg(at, leg)
        return self.maze.read(at[0]) if at else None

    def _leg(self, at: list[Step], leg: int) -> list[Step]:
        """Ways to the next stop: the cheapest ones, not too many alike."""
        effort, closing = self.effort, leg + 1 == len(self.stops)
        fine = None if effort.fine is None else SCALE * effort.fine
        most = 1 if closing else effort.ends
        heap = [(0.0, i, step) for i, step in enumerate(at)]
        seen: dict[tuple[int, ...], int] = {}
        looked, ends = 0, list[Step]()
        while heap and looked < effort.most and len(ends) < most:
            step = heapq.heappop(heap)[2]
            there = step.passed > leg
            key = self._alike(step) if there else step[2:7]
            seen[key] = seen.get(key, 0) + 1
            if seen[key] > (max(1, most // 8) if there else effort.kept):
                continue
            if there:
                ends.append(step)
                continue
            looked += 1
            for after in self.maze.after(step, self.stops[leg], fine):
                rest = self._rest(after, leg)
                if rest < FAR and self._may(step, after, closing):
                    self.number += 1
                    rank = after.paid + effort.weight * rest
                    heapq.heappush(heap, (rank, -self.number, after))
        return ends

    def _alike(self, end: Step) -> tuple[int, ...]:
        """What matters of a way to a stop for the way on."""
        return (end.came, int(end.run < self.maze.zigzag), end.way)

    def _rest(self, step: Step, leg: int) -> int:
        """What is left to pay, at least."""
        if step.passed == leg:
            return self.ahead[leg].on_way[step.sheet][4 * step.cell + step.came]
        straight, right, left = self.ahead[leg].at_stop[step.sheet][step.came]
        if step.run < self.maze.zigzag and step.way == 1:
            return min(straight, right)
        if step.run < self.maze.zigzag and step.way == 3:
            return min(straight, left)
        return min(straight, right, left)

    def _may(self, step: Step, after: Step, closing: bool) -> bool:
        """Whether a path keeps off itself, begins as its tour does and meets its beginning."""
        tour = self.tour
        if step.back is None and (after.came + 2 - tour.came) % 4 != tour.way:
            return False
        if not closing or after.cell != self.stops[-1]:
            return not step.tape >> after.cell & 1
        quarters = 4 if self.maze.problem.inside_on_right else -4
        most = self.maze.longest // (2 if tour.way == 2 else 1)
        return after.came == tour.came and after.run <= most and after.turned == quarters
