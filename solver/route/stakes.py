"""Where no wish says where a loop should be: four stakes that make it as long as it must be.

A loop that touches all four sides of a box is as long as the box's own rim at least. Staircases
from side to side are no longer, and leave the tape a choice. So stakes stand in the middle of the
sides, where there is room for them.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import islice

from models.route import RouteProblem
from solver.route.tours import flat_spots

PLACES = 16
"""Boxes that are staked out."""
WIDEST = 0.75
"""Of the room's width and length together; a loop that must be longer grows from there."""
LOOKED_AT = 400
"""Boxes that are looked at for them."""


def staked(problem: RouteProblem) -> Iterator[frozenset[int]]:
    """Sets of cells; a loop through all of one is long enough, or as long as there is room for.

    Boxes with the most room come first.
    """
    spots = flat_spots(problem)
    at = {spots[cell]: cell for cell in problem.allowed}
    found: list[tuple[int, int, frozenset[int]]] = []
    for low, size in islice(_boxes(problem, spots), LOOKED_AT):
        stakes = _stakes(at, low, size)
        if stakes is not None:
            found.append((_blocked(at, low, size), len(found), stakes))
    for _, _, stakes in sorted(found)[:PLACES]:
        yield stakes


Pair = tuple[int, int]


def _boxes(problem: RouteProblem, spots: list[Pair]) -> Iterator[tuple[Pair, Pair]]:
    """Lowest corners and sizes, the sizes near a square."""
    rng = random.Random(0)
    allowed = [spots[cell] for cell in problem.allowed]
    low = [min(spot[k] for spot in allowed) for k in (0, 1)]
    most = [max(spot[k] for spot in allowed) - low[k] for k in (0, 1)]
    half = min(-(-problem.length_min // 2), int(WIDEST * sum(most)))
    widths = [w for w in range(1, half) if w <= most[0] and half - w <= most[1]]
    around = None if problem.around is None else spots[problem.around]
    widths.sort(key=lambda w: abs(2 * w - half))
    widths = widths[: 1 + len(widths) // 2]
    while widths:
        width = widths[min(int(rng.expovariate(0.3)), len(widths) - 1)]
        size = (width, half - width)
        corner = []
        for k in (0, 1):
            first, last = low[k], low[k] + most[k] - size[k]
            if around is not None:
                first = max(first, around[k] - size[k] + 1 + size[k] // 4)
                last = min(last, around[k] - 1 - size[k] // 4)
            corner.append(rng.randint(first, max(first, last)))
        yield (corner[0], corner[1]), size


def _stakes(at: dict[Pair, int], low: Pair, size: Pair) -> frozenset[int] | None:
    """A cell near the middle of each side, or None."""
    chosen = []
    for axis in (0, 1):
        for side in (0, size[axis]):
            middle = size[1 - axis] // 2
            for off in sorted(range(size[1 - axis] + 1), key=lambda k: abs(k - middle)):
                spot = [0, 0]
                spot[axis], spot[1 - axis] = low[axis] + side, low[1 - axis] + off
                if (spot[0], spot[1]) in at:
                    chosen.append(at[spot[0], spot[1]])
                    break
            else:
                return None
    return frozenset(chosen)


def _blocked(at: dict[Pair, int], low: Pair, size: Pair) -> int:
    """Cells of a box that carry no tape."""
    box = ((low[0] + x, low[1] + y) for x in range(size[0] + 1) for y in range(size[1] + 1))
    return sum(spot not in at for spot in box)
