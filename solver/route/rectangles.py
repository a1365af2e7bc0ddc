"""Routes that are rectangles: all of them, best first. For systems that turn one way only.

On one surface there are few rectangles through a required cell, so they are listed, priced and
sorted; refusals strike them off. That there is none is found in two ways: by the cells of the rim,
and by drives at opposite corners.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from models.route import (
    CornerOption,
    ImpossibilityProof,
    Route,
    RouteCut,
    RouteFound,
    RouteNone,
    RouteProblem,
    RouteUnknown,
    RouteVerdict,
)
from solver.route.check import Clash, route_faults
from solver.route.reading import from_lowest, route_costs

Spot = tuple[int, int]
"""Column and row."""
_STEP: tuple[Spot, ...] = ((1, 0), (0, 1), (-1, 0), (0, -1))
"""One step through each port."""


class RectangleSearch:
    """Finds the best rectangle of a problem; routes may be refused and the search goes on."""

    def __init__(
        self, problem: RouteProblem, *, clash: Clash | None = None, below: tuple[int, ...] = ()
    ) -> None:
        """`below`: only routes that cost less (the first terms, as far as given) are asked for."""
        self.problem, self.clash, self.below = problem, clash, below
        self.seed = 0
        self.refused: list[RouteCut] = []
        self.spot = _spots(problem)
        self.cell = {spot: cell for cell, spot in self.spot.items()}
        span = problem.limits.drive_drive
        columns, rows = ({spot[i] for spot in self.cell} for i in (0, 1))
        self.least, self.longest = span.least, min(span.most, max(len(columns), len(rows)))
        self.turns = (1, 0, 3, 2) if problem.inside_on_right else (0, 1, 2, 3)
        """The ports by which the tape leaves the corners, from the lower left one on."""
        self.drives: dict[tuple[int, int, int], list[CornerOption]] = {}
        for option in problem.options:
            key = (option.cell, option.in_port, option.out_port)
            self.drives.setdefault(key, []).append(option)
        self.left = sorted(
            (route for rim in self._rims() for route in self._driven(rim)),
            key=lambda route: (route.costs, route.cells),
            reverse=True,
        )

    def forbid(self, cut: RouteCut) -> None:
        """Refuse every route that breaks this clause."""
        self.refused.append(cut)

    def solve(self, deadline: float) -> RouteVerdict:
        """The best rectangle; it takes no time to speak of, whatever the deadline."""
        while self.left:
            best = self.left[-1]
            if self.below and best.costs[: len(self.below)] >= self.below:
                return RouteUnknown(best.costs)
            if not route_faults(self.problem, best, self.refused, self.clash):
                return RouteFound(best, True, best.costs)
            self.left.pop()
        assert set(self._rims()) == set(self._rims_by_drives()), "two lists of rectangles differ"
        return RouteNone(
            ImpossibilityProof(
                "search",
                "no rectangle keeps all requirements",
                "a list of all rectangles by their cells, and one by their drives",
            )
        )

    # ------------------------------------------------------------------ rectangles

    def _rims(self) -> Iterator[tuple[int, ...]]:
        """The rims through all required cells, of allowed cells with a drive for each corner."""
        spots, required = self.spot, [self.spot[cell] for cell in self.problem.required]
        allowed = {spots[cell] for cell in self.problem.allowed}
        low = [min((s[i] for s in required), default=None) for i in (0, 1)]
        high = [max((s[i] for s in required), default=None) for i in (0, 1)]
        for x, y in sorted(allowed):
            if low[0] is not None and low[1] is not None and (x > low[0] or y > low[1]):
                continue
            for w, h in product(range(self.least - 1, self.longest), repeat=2):
                if high[0] is not None and (x + w < high[0] or y + h < (high[1] or 0)):
                    continue
                if not all(a in (x, x + w) or b in (y, y + h) for a, b in required):
                    continue
                rim = self._rim((x, y), (w, h))
                if allowed.issuperset(rim) and self._fits(rim):
                    cells = tuple(self.cell[spot] for spot in rim)
                    if all(self._here(cells)):
                        yield cells

    def _rims_by_drives(self) -> Iterator[tuple[int, ...]]:
        """The same, from pairs of drives at the lower left and the upper right corner."""
        first, second, third, fourth = self.turns
        starts = {c for c, came, goes in self.drives if (came, goes) == ((fourth + 2) % 4, first)}
        ends = {c for c, came, goes in self.drives if (came, goes) == ((second + 2) % 4, third)}
        for start, end in product(sorted(starts), sorted(ends)):
            (x, y), (u, v) = self.spot[start], self.spot[end]
            if not (self.least <= u - x + 1 <= self.longest):
                continue
            if not (self.least <= v - y + 1 <= self.longest):
                continue
            across, along = (v - y, u - x) if first == 1 else (u - x, v - y)
            cells = [start]
            for port, count in zip(self.turns, (across, along) * 2, strict=True):
                for _ in range(count):
                    cells.append(self.problem.graph.ports[cells[-1]][port])
            rim = tuple(cells[:-1])
            wished = self.problem.required.issubset(rim) and self.problem.allowed.issuperset(rim)
            if wished and all(self._here(rim)) and self._fits(rim):
                yield rim

    def _rim(self, at: Spot, size: Spot) -> list[Spot]:
        """The spots of a rectangle in travel order, from its lower left corner."""
        (x, y), sides = at, [size[port % 2] for port in self.turns]
        rim = []
        for port, side in zip(self.turns, sides, strict=True):
            for _ in range(side):
                rim.append((x, y))
                x, y = x + _STEP[port][0], y + _STEP[port][1]
        return rim

    def _fits(self, rim: list[Spot] | tuple[int, ...]) -> bool:
        problem = self.problem
        exact = not problem.exact or len(rim) == len(problem.required)
        return exact and problem.length_min <= len(rim) <= problem.length_max

    def _here(self, rim: tuple[int, ...]) -> Iterator[list[CornerOption]]:
        """For each corner the drives that may stand there."""
        n = len(rim)
        for i, cell in enumerate(rim):
            came = self.problem.graph.ports[cell].index(rim[i - 1])
            goes = self.problem.graph.ports[cell].index(rim[(i + 1) % n])
            if (goes - came) % 4 != 2:
                yield self.drives.get((cell, came, goes), [])

    def _driven(self, rim: tuple[int, ...]) -> Iterator[Route]:
        """The rim with every choice of drives, priced, and turned to begin at its lowest cell."""
        cells = from_lowest(rim)
        for chosen in product(*self._here(cells)):
            yield Route(cells, chosen, route_costs(self.problem, cells, chosen))


def _spots(problem: RouteProblem) -> dict[int, Spot]:
    """Where each cell lies on its surface, walked from the first one."""
    spots: dict[int, Spot] = {0: (0, 0)}
    open_ = [0]
    for cell in open_:
        for port, near in enumerate(problem.graph.ports[cell]):
            if near >= 0 and near not in spots:
                spots[near] = (spots[cell][0] + _STEP[port][0], spots[cell][1] + _STEP[port][1])
                open_.append(near)
    return spots
