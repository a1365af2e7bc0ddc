"""Random and plain rooms for the tests of the route search."""

from __future__ import annotations

import random
from collections.abc import Sequence

from models.route import NO_LIMIT, CornerOption, EdgeLimits, EdgeSpan, ReachTerm, RouteProblem
from solver.route.topology import flat_graph, rim_faces

FREE = EdgeLimits(EdgeSpan(2, NO_LIMIT))


def turns(cells: int) -> list[tuple[int, int, int]]:
    return [(c, a, (a + d) % 4) for c in range(cells) for a in range(4) for d in (1, 3)]


def plain_room(width: int, depth: int, **changes: object) -> RouteProblem:
    """An empty floor; clearance rules off; no objective."""
    graph = flat_graph(width, depth)
    fields: dict[str, object] = {
        "graph": graph,
        "allowed": frozenset(range(width * depth)),
        "options": tuple(CornerOption(*turn) for turn in turns(width * depth)),
        "terms": (),
        "cell_costs": (),
        "outside_faces": rim_faces(graph),
        "limits": FREE,
    }
    return RouteProblem(**(fields | changes))  # type: ignore[arg-type]


WEIGHTS = {"length": (1, 0), "corners": (0, 1), "parts": (5, 14)}


def weighted_room(
    width: int, depth: int, terms: tuple[str, ...], **changes: object
) -> RouteProblem:
    """An empty floor with the plain costs of the named terms."""
    cells = width * depth
    costs = tuple(WEIGHTS[t][1] for t in terms)
    fields: dict[str, object] = {
        "terms": terms,
        "cell_costs": tuple((WEIGHTS[t][0],) * cells for t in terms),
        "options": tuple(CornerOption(*turn, "", costs) for turn in turns(cells)),
    }
    return plain_room(width, depth, **(fields | changes))


SMALL = ((3, 4), (4, 4), (5, 4), (5, 5), (6, 4))
"""Rooms whose loops can be listed."""
LARGE = ((8, 8), (9, 8), (9, 9), (10, 8), (10, 10))
"""Rooms whose loops cannot."""


def random_room(seed: int, sizes: Sequence[tuple[int, int]] = SMALL) -> RouteProblem:
    """A room with everything the problem can ask for on one floor."""
    rng = random.Random(seed)
    width, depth = rng.choice(sizes)
    cells = range(width * depth)
    allowed = [c for c in cells if rng.random() > 0.12]
    required = frozenset(rng.sample(allowed, min(rng.choice([0, 1, 1, 2, 3, 4]), len(allowed))))
    terms = tuple(rng.sample(sorted(WEIGHTS), rng.choice([1, 1, 2])))
    graph = flat_graph(width, depth)
    low = rng.choice([4, 4, 8, 10])
    return RouteProblem(
        graph=graph,
        allowed=frozenset(allowed),
        options=_options(rng, len(cells), terms),
        terms=terms,
        cell_costs=tuple(
            tuple(WEIGHTS[t][0] + (rng.random() < 0.2) * rng.choice([0, 2]) for _ in cells)
            for t in terms
        ),
        required=required,
        exact=rng.random() < 0.05,
        inside_on_right=rng.random() < 0.5,
        outside_faces=rim_faces(graph),
        around=rng.choice(cells) if rng.random() < 0.2 else None,
        length_min=low,
        length_max=rng.choice([NO_LIMIT, NO_LIMIT, low + 4]),
        limits=EdgeLimits(EdgeSpan(rng.choice([2, 2, 3]), rng.choice([3, 4, 5, 13]))),
        fixed_costs=tuple(rng.choice([0, 7]) for _ in terms),
        reach_terms=(
            (ReachTerm(frozenset(rng.sample(cells, 3)), tuple(rng.choice([0, 3]) for _ in terms)),)
            if rng.random() < 0.3
            else ()
        ),
    )


def _options(rng: random.Random, cells: int, terms: tuple[str, ...]) -> tuple[CornerOption, ...]:
    """One or two drives for most turns, with tokens that some share and cells kept free."""
    options = []
    rich = rng.random() < 0.6
    for turn in turns(cells):
        for variant in "ab" if rich and rng.random() < 0.3 else "a":
            if rng.random() < 0.05:
                continue
            options.append(
                CornerOption(
                    *turn,
                    variant,
                    tuple(WEIGHTS[t][1] + rng.choice([0, 0, 1]) * rich for t in terms),
                    frozenset(rng.sample(range(3 * cells), 3)) if rich else frozenset(),
                    frozenset({rng.randrange(cells)} - {turn[0]})
                    if rich and rng.random() < 0.2
                    else frozenset(),
                )
            )
    return tuple(options)
