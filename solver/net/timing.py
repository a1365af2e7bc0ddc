"""Timing as difference constraints: how far apart in time things of one machine may fire.

x[b] - x[a] <= w for each constraint (a, b, w). A shortest path from a common source gives times
that keep all of them; where there are none, a negative cycle names the ones that clash (Cormen
et al., Introduction to Algorithms, 3rd ed., 24.4).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

Event = Hashable
Constraint = tuple[Event, Event, int]
"""(a, b, w): b fires at most w after a (w may be negative)."""


@dataclass(frozen=True)
class InStep:
    """Times that keep all constraints, none later than 0."""

    times: Mapping[Event, int]


@dataclass(frozen=True)
class OutOfStep:
    """Events round a negative cycle: these constraints cannot hold together."""

    cycle: tuple[Event, ...]


def solve_differences(constraints: Iterable[Constraint]) -> InStep | OutOfStep:
    """Times for all events, or why there are none. Bellman-Ford."""
    graph = nx.DiGraph()
    source = object()
    for a, b, most in constraints:
        for event in (a, b):
            graph.add_edge(source, event, weight=0)
        if not graph.has_edge(a, b) or graph[a][b]["weight"] > most:
            graph.add_edge(a, b, weight=most)
    if not len(graph):
        return InStep({})
    try:
        lengths = nx.single_source_bellman_ford_path_length(graph, source)
    except nx.NetworkXUnbounded:
        return OutOfStep(tuple(nx.find_negative_cycle(graph, source)[:-1]))
    return InStep({event: t for event, t in lengths.items() if event is not source})


def drives_in_step(
    fired: Sequence[int], window: tuple[int, int], source: Event = "trigger"
) -> InStep | OutOfStep:
    """Whether drives along a closed loop, fired at these times, keep a window.

    `window`: how much earlier (negative) or later than the drive before it one may be fired.
    """
    constraints: list[Constraint] = []
    for i, time in enumerate(fired):
        constraints += [(source, i, time), (i, source, -time)]
        after = (i + 1) % len(fired)
        if after != i:
            constraints += [(i, after, window[1]), (after, i, -window[0])]
    return solve_differences(constraints)
