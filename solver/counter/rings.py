"""Scenario -> loops to try: the one that is drawn, or the rectangles that a floor allows."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import networkx as nx

from models.geometry import HORIZONTAL, Cell, step
from models.scenario import Scenario

LEAST = 7
"""Cells of an edge: in shorter ones the drives at both ends disturb each other."""


def rings_of(scenario: Scenario) -> Iterator[tuple[Cell, ...]]:
    """Loops in the direction of travel; rectangles come shortest first."""
    turned = 1 if scenario.loop.direction == "anticlockwise" else -1
    loops = _drawn(scenario) if scenario.loop.shape == "exact" else _rectangles(scenario)
    yield from (loop[::turned] for loop in loops)


def _rectangles(scenario: Scenario) -> Iterator[tuple[Cell, ...]]:
    """Rectangles against the clock, from the lower left corner."""
    loop, floor = scenario.loop, scenario.surfaces["floor"]
    most = scenario.rules.push_limit + 1
    may, must, around = set(floor.cells(".o")), set(floor.cells("o")), loop.around
    sizes = sorted(product(range(LEAST, most + 1), repeat=2), key=lambda size: (sum(size), size))
    for width, length in sizes:
        cells = 2 * (width + length) - 4
        if not (loop.min_length or 0) <= cells <= (loop.max_length or cells):
            continue
        for x, y, z in sorted(may):
            ring = _ring(x, y, z, width, length)
            if not must <= set(ring) or not may.issuperset(ring):
                continue
            if around is None or (x < around[0] < x + width - 1 and y < around[1] < y + length - 1):
                yield ring


def _drawn(scenario: Scenario) -> Iterator[tuple[Cell, ...]]:
    """The loop of an exact drawing against the clock, if it is one loop."""
    drawn = set(scenario.surfaces["floor"].cells("o"))
    graph = nx.Graph(
        (cell, near) for cell in drawn for face in HORIZONTAL if (near := step(cell, face)) in drawn
    )
    if len(graph) != len(drawn) or any(count != 2 for _, count in graph.degree):
        return
    if not nx.is_connected(graph):
        return
    corner = min(drawn)
    onward = step(corner, "+x")
    yield (corner, *nx.shortest_path(graph.subgraph(drawn - {corner}), onward, step(corner, "+y")))


def _ring(x: int, y: int, z: int, width: int, length: int) -> tuple[Cell, ...]:
    """Against the clock as seen from above."""
    right, top = x + width - 1, y + length - 1
    return (
        *((i, y, z) for i in range(x, right)),
        *((right, j, z) for j in range(y, top)),
        *((i, top, z) for i in range(right, x, -1)),
        *((x, j, z) for j in range(top, y, -1)),
    )
