"""A good route of a room with several surfaces, when the climb from the bound has stalled.

A route that was refused is changed in one window. Without one any route will do to begin with:
without a limit to its cost it is soon found. Then window after window is solved exactly, as in
large rooms (`large.py`). Nothing is proven by that.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from models.route import Route, RouteProblem
from solver.route.large import HALVES, WINDOW_CONFLICTS, LargeRoom
from solver.route.maze import Effort, Maze
from solver.route.window import faces_near, inside_of, windowed

FIRST_CONFLICTS = 240_000
MEND_SHARE = 0.25
"""How much dearer a changed route may be."""
MENDING = HALVES[:4]
"""Half the size of the windows in which a refused route is changed."""


class Rover(LargeRoom):
    """Windows over all surfaces, from any route on."""

    last: Route | None = None
    """The last route that was refused."""

    def first(self, deadline: float) -> Iterator[Route]:
        """The last route with a change, or any route."""
        route = self._changed(self.last, deadline) if self.last is not None else None
        if route is None and time.monotonic() < deadline:
            # Without a limit to its cost one is mostly found soon.
            route = self._any(self.problem, FIRST_CONFLICTS, deadline)
        if route is not None:
            yield route

    def _attempts(self) -> Iterator[tuple[Maze, Effort]]:
        """The maze router lays on one floor only."""
        return iter(())

    def _changed(self, route: Route, deadline: float) -> Route | None:
        """Mostly a refusal names a place, and only windows that hold it have another route."""
        inside = inside_of(self.problem, self.tables, route)
        most = int(route.costs[0] * (1 + MEND_SHARE))
        for half in MENDING:
            for middle in route.cells[:: max(4, min(half))]:
                if time.monotonic() > deadline:
                    return None
                free = faces_near(self.tables, middle, half)
                window = windowed(self.problem, self.tables, route, inside, free)
                found = self._any(window, WINDOW_CONFLICTS, deadline, most)
                if found is not None:
                    return found
        return None


def may_rove(problem: RouteProblem) -> bool:
    """Whether there is something to look for: edges to pass, wishes, a price and a choice."""
    return bool(problem.folds and problem.required and problem.terms) and not problem.exact
