"""A first guess on one floor: which faces a short loop through all required cells holds inside.

No rule but the wishes is looked at. The solver takes the guess as the side it tries first, and
mends what the rules forbid.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from models.geometry import sub
from models.route import RouteProblem

Point = tuple[float, float]
BROAD = 1.5
"""How far from the tour's legs faces count as inside, so that thin parts hold together."""


def guess_inside(problem: RouteProblem) -> list[bool] | None:
    """For each face whether a short loop holds it; None without a required cell."""
    spots = {cell: _flat(problem, cell) for cell in sorted(problem.required)}
    if not spots:
        return None
    legs = square_legs(short_tour(list(spots.values())))
    inside = []
    for f, ring in enumerate(problem.graph.faces):
        if f in problem.outside_faces or len(ring) > 4:
            inside.append(False)
            continue
        points = [_flat(problem, cell) for cell in ring]
        middle = (sum(x for x, _ in points) / len(ring), sum(y for _, y in points) / len(ring))
        inside.append(_within(middle, legs) or any(_off(middle, leg) < BROAD for leg in legs))
    return inside


def _flat(problem: RouteProblem, cell: int) -> Point:
    """Where a cell lies in the plane of the floor: along its ports 0 and 1."""
    x, y, z = problem.graph.cells[cell]
    ax, ay, az = _axis(problem, 0)
    bx, by, bz = _axis(problem, 1)
    return (x * ax + y * ay + z * az, x * bx + y * by + z * bz)


def _axis(problem: RouteProblem, port: int) -> tuple[int, int, int]:
    graph = problem.graph
    cell = next(c for c, row in enumerate(graph.ports) if row[port] >= 0)
    return sub(graph.cells[graph.ports[cell][port]], graph.cells[cell])


def short_tour(points: Sequence[Point]) -> list[Point]:
    """A closed tour in which no swap of two legs saves anything; so it does not cross itself."""
    rest = list(points[1:])
    tour = [points[0]]
    while rest:
        near = min(rest, key=lambda p: (_gap(tour[-1], p), p))
        rest.remove(near)
        tour.append(near)
    n, better = len(tour), True
    while better:
        better = False
        for i in range(n - 1):
            for j in range(i + 2, n - (i == 0)):
                a, b, c, d = tour[i], tour[i + 1], tour[j], tour[(j + 1) % n]
                if _gap(a, c) + _gap(b, d) < _gap(a, b) + _gap(c, d) - 1e-9:
                    tour[i + 1 : j + 1] = tour[i + 1 : j + 1][::-1]
                    better = True
    return tour


def square_legs(tour: Sequence[Point]) -> list[tuple[Point, Point]]:
    """The legs of a tour along the grid, each with its corner away from the middle."""
    middle = (sum(x for x, _ in tour) / len(tour), sum(y for _, y in tour) / len(tour))
    legs = []
    for a, b in pairwise([*tour, tour[0]]):
        corner = max(((a[0], b[1]), (b[0], a[1])), key=lambda c: _gap(c, middle))
        legs += [(a, corner), (corner, b)]
    return legs


def _gap(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def _within(point: Point, legs: Sequence[tuple[Point, Point]]) -> bool:
    """Whether a ray to the east crosses the tour an odd number of times."""
    x, y = point
    crossed = False
    for (ax, ay), (bx, by) in legs:
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            crossed = not crossed
    return crossed


def _off(point: Point, leg: tuple[Point, Point]) -> float:
    """How far a point is from a leg."""
    (ax, ay), (bx, by) = leg
    dx, dy = bx - ax, by - ay
    along = ((point[0] - ax) * dx + (point[1] - ay) * dy) / (dx * dx + dy * dy or 1.0)
    along = min(1.0, max(0.0, along))
    return _gap(point, (ax + along * dx, ay + along * dy))
