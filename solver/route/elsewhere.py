"""Routes one after the other where nothing is proven by a refusal: over several surfaces, free.

What failed at a place mostly fails again as long as the tape runs there as it did. So after a
refusal a clause asks for another way just there. That is a guess: routes that are refused so may
well have a machine. When no other route is left, all guesses are given up. And no route may take
too much of the time, as its net takes more.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable

from models.geometry import Cell
from models.route import Route, RouteCut, RouteNone, RouteUnknown, RouteVerdict
from solver.route.problem import this_route
from solver.route.worth import Routes

RADII = (3, 2, 1)
"""How far from a place the tape must change: less and less of it as failures come again."""
SHARE = 0.2
"""How much of the time left one route may take; more each time that none was found."""


class Tries:
    """The routes of a problem, best first, as far as that pays."""

    def __init__(self, make: Callable[[], Routes], *, guesses: bool) -> None:
        """`guesses`: whether guesses may be made, and good routes stand for the best."""
        self._make, self._guesses = make, guesses
        self.routes = make()
        self._failed: Counter[Cell] = Counter()
        self._sure: list[RouteCut] = []
        """What is refused for good, whatever the guesses."""
        self._guessed = False

    def solve(self, deadline: float, *, again: bool) -> RouteVerdict:
        """The next route. `again`: without a further one, give up the guesses."""
        missed = 0
        while True:
            verdict = self.routes.solve(self._until(deadline, missed))
            if isinstance(verdict, RouteNone) and self._guessed and again:
                self._start_anew()
            elif isinstance(verdict, RouteUnknown) and time.monotonic() < deadline:
                if not self._guesses:
                    return verdict
                missed += 1
            else:
                return verdict

    def refuse(self, route: Route, cut: RouteCut | None, place: Cell | None) -> RouteCut | None:
        """Refuse a route: by its cut, by a guess if a place is named, or alone (None)."""
        sure = cut or this_route(self.routes.problem.options, route)
        self._sure.append(sure)
        guess = self._guess(route, place) if cut is None and place and self._guesses else None
        self.routes.forbid(guess or sure)
        return cut or guess

    def _until(self, deadline: float, missed: int) -> float:
        if not self._guesses:
            return deadline
        now = time.monotonic()
        return now + min(1.0, SHARE * (1 << missed)) * (deadline - now)

    def _start_anew(self) -> None:
        self.routes = self._make()
        self._guesses = self._guessed = False
        for cut in self._sure:
            self.routes.forbid(cut)

    def _guess(self, route: Route, at: Cell) -> RouteCut | None:
        """Another way near the place."""
        cells = self.routes.problem.graph.cells
        corners = {corner.cell for corner in route.corners}
        radius = RADII[min(self._failed[at], len(RADII) - 1)]
        self._failed[at] += 1
        near = {
            i
            for i in route.cells
            if max(abs(a - b) for a, b in zip(cells[i], at, strict=True)) <= radius
        }
        if not near:
            return None
        self._guessed = True
        drives = frozenset(corner for corner in route.corners if corner.cell in near)
        return RouteCut(bare=frozenset(near - corners), dropped=drives)
