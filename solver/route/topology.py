"""Route graphs: made for a flat grid, and the tables the rules read off any of them."""

from __future__ import annotations

from dataclasses import dataclass

from models.geometry import Cell
from models.route import NO_LIMIT, Ports, RouteGraph

PORTS = (0, 1, 2, 3)


def flat_graph(width: int, depth: int, z: int = -1) -> RouteGraph:
    """The grid of a floor, `width` cells east and `depth` cells north."""
    cells: list[Cell] = [(x, y, z) for y in range(depth) for x in range(width)]

    def at(x: int, y: int) -> int:
        return y * width + x if 0 <= x < width and 0 <= y < depth else -1

    ports: list[Ports] = [
        (at(x + 1, y), at(x, y + 1), at(x - 1, y), at(x, y - 1)) for x, y, _ in cells
    ]
    arrive: list[Ports] = [
        (
            2 if row[0] >= 0 else -1,
            3 if row[1] >= 0 else -1,
            0 if row[2] >= 0 else -1,
            1 if row[3] >= 0 else -1,
        )
        for row in ports
    ]
    return RouteGraph(
        tuple(cells), tuple(ports), tuple(arrive), trace_faces(tuple(ports), tuple(arrive))
    )


def rim_faces(graph: RouteGraph) -> frozenset[int]:
    """The faces where surfaces end: walked, they do not turn left on the whole.

    Squares turn by four quarters, the face round a room corner by three, the rim of a floor by
    minus four, and a rim round four walls not at all.
    """
    return frozenset(f for f, ring in enumerate(graph.faces) if quarter_turns(graph, ring) <= 0)


def parts_of(graph: RouteGraph) -> list[list[int]]:
    """The faces of each connected part of the graph: floor and ceiling alone never meet."""
    near: list[list[int]] = [[] for _ in graph.cells]
    for face, ring in enumerate(graph.faces):
        for cell in ring:
            near[cell].append(face)
    seen: set[int] = set()
    found = []
    for start in range(len(graph.faces)):
        if start in seen:
            continue
        seen.add(start)
        part = [start]
        for face in part:
            beside = {g for cell in graph.faces[face] for g in near[cell]} - seen
            seen |= beside
            part += sorted(beside)
        found.append(sorted(part))
    return found


def trace_faces(ports: tuple[Ports, ...], arrive: tuple[Ports, ...]) -> tuple[tuple[int, ...], ...]:
    """All faces, each found by walking with the left hand on it."""
    seen: set[tuple[int, int]] = set()
    faces: list[tuple[int, ...]] = []
    for start, row in enumerate(ports):
        for port in PORTS:
            if row[port] < 0 or (start, port) in seen:
                continue
            ring: list[int] = []
            dart = (start, port)
            while dart not in seen:
                seen.add(dart)
                ring.append(dart[0])
                dart = _leftmost_on(ports, arrive, dart)
            faces.append(tuple(ring))
    return tuple(faces)


def _leftmost_on(
    ports: tuple[Ports, ...], arrive: tuple[Ports, ...], dart: tuple[int, int]
) -> tuple[int, int]:
    """The next step of a walk along the face on the left; back again at a dead end."""
    cell, port = dart
    there, entered = ports[cell][port], arrive[cell][port]
    out = next(p % 4 for p in range(entered + 3, entered - 1, -1) if ports[there][p % 4] >= 0)
    return there, out


def _port_to(graph: RouteGraph, cell: int, neighbour: int) -> int:
    return graph.ports[cell].index(neighbour)


def quarter_turns(graph: RouteGraph, ring: tuple[int, ...]) -> int:
    """Left minus right turns of a walk round a ring of cells."""
    turns = 0
    for i, cell in enumerate(ring):
        before, after = ring[i - 1], ring[(i + 1) % len(ring)]
        came = graph.arrive[before][_port_to(graph, before, cell)]
        turn = (_port_to(graph, cell, after) - came - 2) % 4
        turns += -1 if turn == 3 else -2 if turn == 2 else turn
    return turns


@dataclass(frozen=True, slots=True)
class Link:
    """Two neighbouring cells and the faces on either side of the step from the first."""

    tail: int
    tail_port: int
    head: int
    left: int
    right: int


@dataclass(frozen=True, slots=True)
class Topology:
    """Tables of a route graph.

    A cell's four sectors lie between its ports: sector `s` between port `s` and port `s + 1`.
    """

    graph: RouteGraph
    links: tuple[Link, ...]
    link_at: tuple[Ports, ...]
    """The link through each port of each cell, -1 for none."""
    sectors: tuple[Ports | None, ...]
    """The face in each sector; None for a cell without neighbours."""
    defect: tuple[int, ...]
    """By how many quarter turns each face falls short of a full turn: 0 where it is flat."""
    touching: tuple[tuple[int, ...], ...]
    """For each face, the faces across its links; rims of parts that never meet touch, too."""

    def straight(self, cell: int, port: int, most: int = NO_LIMIT) -> list[tuple[int, int, int]]:
        """The run out of `port`: (next cell, its arrival port, link), `most` steps at most."""
        run: list[tuple[int, int, int]] = []
        seen = {cell}
        while len(run) < most and (there := self.graph.ports[cell][port]) >= 0:
            entered = self.graph.arrive[cell][port]
            run.append((there, entered, self.link_at[cell][port]))
            if there in seen:  # a run right round a room comes back to where it began
                break
            seen.add(there)
            cell, port = there, (entered + 2) % 4
        return run


def topology(graph: RouteGraph) -> Topology:
    """Read the tables off a graph; a graph whose faces do not tile it is a fault of ours."""
    left_of: dict[tuple[int, int], int] = {}
    for f, ring in enumerate(graph.faces):
        for i, cell in enumerate(ring):
            left_of[cell, ring[(i + 1) % len(ring)]] = f
    links: list[Link] = []
    link_at = [[-1, -1, -1, -1] for _ in graph.cells]
    for cell, row in enumerate(graph.ports):
        assert len({n for n in row if n >= 0}) == sum(n >= 0 for n in row), "two links, one pair"
        for port, there in enumerate(row):
            if there > cell:
                back = graph.arrive[cell][port]
                link_at[cell][port] = link_at[there][back] = len(links)
                left, right = left_of[cell, there], left_of[there, cell]
                links.append(Link(cell, port, there, left, right))
    touching: list[set[int]] = [set() for _ in graph.faces]
    for link in links:
        if link.left != link.right:
            touching[link.left].add(link.right)
            touching[link.right].add(link.left)
    _join_parts(graph, touching)
    return Topology(
        graph,
        tuple(links),
        tuple((a, b, c, d) for a, b, c, d in link_at),
        tuple(_sectors(graph, left_of, cell) for cell in range(len(graph.cells))),
        tuple(4 - quarter_turns(graph, ring) for ring in graph.faces),
        tuple(tuple(sorted(faces)) for faces in touching),
    )


def _join_parts(graph: RouteGraph, touching: list[set[int]]) -> None:
    """What lies beyond the rims is one: a part without tape is outside with all the rest."""
    first, *others = parts_of(graph) or [[]]
    rims = rim_faces(graph)
    for part in others:
        here, there = min(rims.intersection(first)), min(rims.intersection(part))
        touching[here].add(there)
        touching[there].add(here)


def _sectors(graph: RouteGraph, left_of: dict[tuple[int, int], int], cell: int) -> Ports | None:
    """The face in each sector: the one on the left of the last step out clockwise of it."""
    row = graph.ports[cell]
    if max(row) < 0:
        return None
    faces = []
    for sector in PORTS:
        port = next(p % 4 for p in range(sector + 4, sector, -1) if row[p % 4] >= 0)
        faces.append(left_of[cell, row[port]])
    return (faces[0], faces[1], faces[2], faces[3])
