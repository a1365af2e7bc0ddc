"""Before any search: cells that no loop can use, and reasons why there is no loop at all."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx

from models.route import ImpossibilityProof, RouteProblem


@dataclass(frozen=True, slots=True)
class Narrowed:
    """The cells that a loop through the required ones could use."""

    allowed: frozenset[int]


def narrow(problem: RouteProblem) -> Narrowed | ImpossibilityProof:
    """Keep the one block (no cell of which parts it) that holds all required cells."""
    allowed = problem.required if problem.exact else problem.allowed
    stray = problem.required - problem.allowed
    if stray:
        return _proof("cut", "a required cell allows no tape", sorted(stray)[:1])
    near = _neighbours(problem, allowed)
    crowded = _crowded(problem, near)
    if crowded is not None:
        return crowded
    graph = nx.Graph()
    graph.add_edges_from((a, b) for a in sorted(near) for b in near[a] if a < b)
    blocks = [frozenset(block) for block in nx.biconnected_components(graph) if len(block) > 3]
    fitting = [block for block in blocks if problem.required <= block]
    if not fitting:
        return _parted(problem, graph)
    return Narrowed(frozenset().union(*fitting))


def _neighbours(problem: RouteProblem, allowed: frozenset[int]) -> dict[int, list[int]]:
    ports = problem.graph.ports
    return {cell: [n for n in ports[cell] if n in allowed] for cell in allowed}


def _crowded(problem: RouteProblem, near: dict[int, list[int]]) -> ImpossibilityProof | None:
    """Required cells that do not touch each other need as many cells between them.

    On a chessboard colouring these are the required cells of one colour: the parity argument.
    """
    colour: dict[int, int] = {}
    for start in sorted(near):
        if start in colour:
            continue
        colour[start] = 0
        queue = [start]
        for cell in queue:
            for n in near[cell]:
                if n not in colour:
                    colour[n] = 1 - colour[cell]
                    queue.append(n)
                elif colour[n] == colour[cell]:
                    return None  # not a chessboard
    for side in (0, 1):
        wanted = sorted(cell for cell in problem.required if colour[cell] == side)
        between = {n for cell in wanted for n in near[cell]}
        if len(between) < len(wanted):
            return _proof(
                "counting",
                f"{len(wanted)} required cells, no two side by side, have only "
                f"{len(between)} cells between them",
                wanted,
            )
    return None


def _parted(problem: RouteProblem, graph: nx.Graph) -> ImpossibilityProof:
    """Two required cells that at most one cell joins, or a room without any loop."""
    required = sorted(problem.required)
    for cell in required:
        if cell not in graph or graph.degree(cell) < 2:
            return _proof("cut", "a required cell has fewer than two neighbours", [cell])
    for cut in (-1, *sorted(nx.articulation_points(graph))):
        rest = graph.subgraph(set(graph) - {cut})
        others = [cell for cell in required if cell != cut]
        if not others:
            continue
        reached = nx.node_connected_component(rest, others[0])
        lost = [cell for cell in others if cell not in reached]
        if lost:
            cells = [others[0], lost[0], *([cut] if cut >= 0 else [])]
            return _proof("cut", "every way between two required cells shares a cell", cells)
    return _proof("cut", "no loop fits between the obstacles", required)


def _proof(kind: str, reason: str, cells: list[int]) -> ImpossibilityProof:
    return ImpossibilityProof(
        "counting" if kind == "counting" else "cut",
        reason,
        "the certificate, checked by plain Python",
        tuple(cells),
    )
