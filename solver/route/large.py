"""Good routes of large rooms: first ones laid by a maze router, then window after window solved.

A window frees a box of faces and holds all others as the best route so far has them. What is found
is a route of the whole room; that a window holds nothing better says nothing about the room.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import islice

from models.geometry import Cell
from models.route import Route, RouteCut, RouteProblem
from solver.route.check import Clash, kept, route_faults
from solver.route.clashes import clash_cuts
from solver.route.cuts import connectivity_cuts
from solver.route.maze import EFFORTS, Effort, Maze
from solver.route.reading import read_route, sides
from solver.route.stage import Cap, Stage
from solver.route.stakes import staked
from solver.route.topology import Topology
from solver.route.walks import is_flat
from solver.route.window import faces_near, inside_of, windowed

LARGE = 1000
"""Cells that may carry tape, from which on a room counts as large."""
LONG, LARGE_FOR_LONG = 16, 150
"""Without a wish, but with a least length from this on, so many cells make a room large."""
LAYING = 0.3
"""The share of the time left that the maze router may take."""
MENDING: tuple[Cell, ...] = ((7, 7, 7), (10, 10, 10), (14, 14, 14))
"""Half the size of the windows in which a draft is mended."""
MENDED = 2
"""Drafts of one attempt that become routes."""
GROWING: tuple[Cell, ...] = ((9, 9, 9), (13, 13, 13), (18, 18, 18))
"""Half the size of the windows in which a loop is made longer."""
MORE = (24, 12, 6, 2)
"""Cells by which it is."""
WINDOW_S = 5.0
WINDOW_CONFLICTS = 4000
HALVES: tuple[Cell, ...] = (
    (6, 6, 6),
    (12, 4, 12),
    (4, 12, 12),
    (9, 9, 9),
    (18, 5, 18),
    (5, 18, 18),
    (13, 13, 13),
    (26, 8, 26),
    (8, 26, 26),
    (18, 18, 18),
)
"""Half the size of the windows, small ones first."""


def suits(problem: RouteProblem, allowed: frozenset[int]) -> bool:
    """Whether a good route should come before the proof: on one floor, where that takes long."""
    short = problem.required or problem.length_min < LONG
    if len(allowed) < (LARGE if short else LARGE_FOR_LONG) or problem.exact or not problem.terms:
        return False
    if min(*problem.cell_costs[0], *(option.costs[0] for option in problem.options)) < 0:
        return False
    return is_flat(problem)


@dataclass
class LargeRoom:
    """What windows share: the problem and all that was refused."""

    problem: RouteProblem
    tables: Topology
    clash: Clash | None
    refused: list[RouteCut]
    clashing: list[RouteCut]
    settled: set[tuple[Cell, int, int, frozenset[int]]] = field(default_factory=set)
    """Windows without anything better: size, middle, term, inside."""
    found: list[Route] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.attempts = self._attempts()
        """Those of the maze router that are left to make."""

    def at_hand(self) -> Route | None:
        """The best route so far that is not refused."""
        return min(self._left(), key=lambda r: r.costs, default=None)

    def best(self, deadline: float, *, made: bool = False) -> Route | None:
        """The best route that is not refused and that windows lead to.

        `made`: the best one at hand is refused since it became a machine, so windows start there.
        """
        if not self._left():
            self.found += self.first(deadline)
        if self._left():
            until = time.monotonic() + LAYING * (deadline - time.monotonic())
            while (laid := self._laid(until)) is not None:
                self.found += laid
            start = min(self.found if made else self._left(), key=lambda r: r.costs)
            self.found += self.improve(start, deadline)
        return self.at_hand()

    def _left(self) -> list[Route]:
        return [route for route in self.found if self._keeps(route)]

    def _keeps(self, route: Route) -> bool:
        """Whether a route, right by itself, keeps all that was refused."""
        return all(kept(cut, route) for cut in self.refused)

    def first(self, deadline: float) -> Iterator[Route]:
        """What the maze router lays with the first attempt that lays anything."""
        while not self._left() and (laid := self._laid(deadline)) is not None:
            yield from laid

    def lay(self, deadline: float, least: tuple[int, ...]) -> bool:
        """Lay what the next attempt lays; False: no time or no attempt is left.

        Without wishes attempts are much alike, and all are made until one reaches `least`.
        """
        until = time.monotonic() + LAYING * (deadline - time.monotonic())
        while (laid := self._laid(until)) is not None:
            self.found += laid
            best = self.at_hand()
            if self.problem.required or (best is not None and best.costs <= least):
                return True
        return False

    def _laid(self, deadline: float) -> list[Route] | None:
        """What the next attempt lays; None: no time or no attempt is left."""
        if time.monotonic() > deadline or (attempt := next(self.attempts, None)) is None:
            return None
        maze, effort = attempt
        until = time.monotonic() + LAYING * (deadline - time.monotonic())
        if effort.fine is None:
            laid = list(maze.routes(effort, until))
        else:
            laid = list(islice(self._mended(maze, maze.drafts(effort, until), deadline), MENDED))
        enough = [route for route in laid if len(route.cells) >= self.problem.length_min]
        if laid and not enough:
            longest = max(laid, key=lambda route: (len(route.cells), [-c for c in route.costs]))
            grown = self._grown(longest, deadline)
            enough += [grown] if grown is not None else []
        return enough

    def _mended(self, maze: Maze, drafts: Iterable[Route], deadline: float) -> Iterator[Route]:
        """Routes that come of drafts, by windows round what is disturbed, the fewest first."""
        by_places: dict[frozenset[int], Route] = {}
        for draft in sorted(drafts, key=lambda route: route.costs):
            by_places.setdefault(frozenset(maze.disturbed(draft)), draft)
        for wrong, draft in sorted(by_places.items(), key=lambda item: len(item[0])):
            if time.monotonic() > deadline:
                return
            inside = inside_of(self.problem, self.tables, draft)
            for half in MENDING:
                boxes = (faces_near(self.tables, cell, half) for cell in wrong)
                free = frozenset[int]().union(*boxes)
                window = windowed(self.problem, self.tables, draft, inside, free)
                route = self._any(replace(window, length_min=4), WINDOW_CONFLICTS, deadline)
                if route is not None:
                    inside = inside_of(self.problem, self.tables, route)
                    until = min(deadline, time.monotonic() + WINDOW_S)
                    yield self._window(route, inside, free, 0, until) or route
                    break

    def _grown(self, route: Route, deadline: float) -> Route | None:
        """A route that is too short, made longer in window after window."""
        for half in GROWING:
            for middle in route.cells[:: max(4, min(half))]:
                while middle in route.cells and (longer := self._longer(route, half, middle)):
                    route = longer
                    if len(route.cells) >= self.problem.length_min:
                        return route
                    if time.monotonic() > deadline:
                        return None
        return None

    def _longer(self, route: Route, half: Cell, middle: int) -> Route | None:
        """A longer route, changed in one window; much longer if it can be."""
        inside = inside_of(self.problem, self.tables, route)
        window = windowed(
            self.problem, self.tables, route, inside, faces_near(self.tables, middle, half)
        )
        for more in MORE:
            length = min(len(route.cells) + more, self.problem.length_min)
            until = time.monotonic() + WINDOW_S
            longer = self._any(replace(window, length_min=length), WINDOW_CONFLICTS, until)
            if longer is not None:
                return longer
        return None

    def _attempts(self) -> Iterator[tuple[Maze, Effort]]:
        """Harder and harder through the wishes; without any, round one box after the other."""
        if self.problem.required:
            maze = Maze(replace(self.problem, length_min=4), self.clash)
            yield from ((maze, effort) for effort in EFFORTS)
            return
        for stakes in staked(self.problem):
            through = replace(self.problem, required=stakes, length_min=4)
            yield Maze(through, self.clash), EFFORTS[0]

    def improve(self, best: Route, deadline: float) -> Iterator[Route]:
        """Better and better routes, until no window has one or time is up."""
        better = True
        while better:
            better = False
            for half in HALVES:
                for route in self._sweep(best, half, deadline):
                    best, better = route, True
                    yield route
                if time.monotonic() > deadline:
                    return
                if better:
                    break

    def _sweep(self, best: Route, half: Cell, deadline: float) -> Iterator[Route]:
        """One size of window, all along the loop."""
        stride = max(4, min(half))
        inside = inside_of(self.problem, self.tables, best)
        for middle in best.cells[::stride]:
            free = faces_near(self.tables, middle, half)
            for term in range(len(self.problem.terms)):
                key = (half, middle, term, frozenset(f for f in free if inside[f]))
                if time.monotonic() > deadline:
                    return
                if key in self.settled:
                    continue
                route = self._window(best, inside, free, term, deadline)
                if route is None:
                    self.settled.add(key)
                    continue
                best = route
                inside = inside_of(self.problem, self.tables, best)
                yield route

    def _window(
        self, best: Route, inside: list[bool], free: frozenset[int], term: int, deadline: float
    ) -> Route | None:
        """The best that one window has, if it is better in this term and no worse before it."""
        problem = windowed(self.problem, self.tables, best, inside, free)
        caps = [Cap(t, best.costs[t], None) for t in range(term)]
        caps.append(Cap(term, best.costs[term] - 1, None))
        stage = self._stage(problem, caps)
        found = None
        most = best.costs[term] - 1
        while (route := self._route(stage, most, WINDOW_CONFLICTS, deadline)) is not None:
            found, most = route, route.costs[term] - 1
        stage.close()
        return found

    def _any(
        self, problem: RouteProblem, conflicts: int, deadline: float, most: int | None = None
    ) -> Route | None:
        """Any route, of the first term's cost at most, if there is one and it is soon found."""
        stage = self._stage(problem, [] if most is None else [Cap(0, most, None)])
        route = self._route(stage, most, conflicts, deadline)
        stage.close()
        return route

    def _stage(self, problem: RouteProblem, caps: list[Cap]) -> Stage:
        """A stage that keeps all that was refused."""
        stage = Stage(problem, self.tables, problem.allowed, caps, bounded=bool(caps))
        for cut in (*self.refused, *self.clashing):
            stage.add_route_cut(cut)
        return stage

    def _route(
        self, stage: Stage, most: int | None, conflicts: int, deadline: float
    ) -> Route | None:
        """A route of a stage, or None: there is none, or it takes too long."""
        problem = replace(self.problem, length_min=stage.model.problem.length_min)
        while True:
            if stage.test(most, conflicts, deadline) != "yes":
                return None
            cuts = connectivity_cuts(stage.model, sides(stage.model, stage.assignment))
            for face_cut in cuts:
                stage.add_face_cut(face_cut)
            route = self._whole(problem, stage, bool(cuts))
            if route is None:
                continue
            clashing = clash_cuts(problem, route, self.clash)
            for cut in clashing:
                stage.add_route_cut(cut)
            self.clashing += clashing
            faults = route_faults(problem, route, self.refused, self.clash)
            if not clashing and not (cuts and faults):
                assert not faults, faults
                return route

    def _whole(self, problem: RouteProblem, stage: Stage, stray: bool) -> Route | None:
        """The loop that holds all required cells; loops that stray beside it are left away."""
        start = min(problem.required, default=None)
        if not stray or start is None:
            return None if stray else read_route(stage.model, stage.assignment)
        route = read_route(stage.model, stage.assignment, start)
        if not problem.required.issubset(route.cells):
            return None
        return None if route_faults(problem, route) else route
