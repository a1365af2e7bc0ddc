"""Scenario -> problem: the surfaces become one graph, joined through their edge lines."""

from __future__ import annotations

from models.geometry import VECTOR, Cell, add, sub
from models.problem import Digging, Problem, sub_port
from models.route import Ports, RouteGraph
from models.scenario import Scenario
from models.surface import BEHIND, SurfaceName
from solver.route.topology import rim_faces


def flatten(scenario: Scenario) -> Problem:
    """The problem of a scenario. All surface cells are in the graph, blocked ones too."""
    homes: dict[Cell, SurfaceName | None] = {}
    for name, surface in scenario.surfaces.items():
        plane = surface.plane
        for row in range(plane.rows):
            for column in range(plane.columns):
                homes[plane.cell(row, column)] = name
    links = _surface_links(scenario, homes)
    _edge_links(scenario, homes, links)
    cells = tuple(homes)
    index = {cell: i for i, cell in enumerate(cells)}
    ports, arrive = _ports(cells, index, links)
    faces = _faces(ports, arrive)
    graph = RouteGraph(cells, ports, arrive, faces)
    return Problem(
        scenario, graph, index, tuple(homes.values()), rim_faces(graph), Digging(scenario)
    )


Links = dict[tuple[Cell, int], tuple[Cell, int]]


def _directions(scenario: Scenario, name: SurfaceName) -> list[Cell]:
    plane = scenario.surfaces[name].plane
    normal = sub((0, 0, 0), VECTOR[BEHIND[name]])
    return [sub_port(normal, VECTOR[plane.right], port) for port in range(4)]


def _surface_links(scenario: Scenario, homes: dict[Cell, SurfaceName | None]) -> Links:
    links: Links = {}
    for cell, name in homes.items():
        assert name is not None
        for port, direction in enumerate(_directions(scenario, name)):
            other = add(cell, direction)
            if homes.get(other) == name:
                links[cell, port] = (other, (port + 2) % 4)
    return links


def _edge_links(scenario: Scenario, homes: dict[Cell, SurfaceName | None], links: Links) -> None:
    """Join neighbouring surfaces: out over the rim, through the edge line, up the other one."""
    for cell, name in list(homes.items()):
        if name is None:
            continue
        normal = sub((0, 0, 0), VECTOR[BEHIND[name]])
        for port, direction in enumerate(_directions(scenario, name)):
            edge = add(cell, direction)
            beyond = add(edge, normal)
            other = homes.get(beyond)
            if (cell, port) in links or other is None or VECTOR[BEHIND[other]] != direction:
                continue
            side = 2 if edge in homes else 0
            homes.setdefault(edge, None)
            links[cell, port] = (edge, side)
            links[edge, side] = (cell, port)


def _ports(
    cells: tuple[Cell, ...], index: dict[Cell, int], links: Links
) -> tuple[tuple[Ports, ...], tuple[Ports, ...]]:
    ports, arrive = [], []
    for cell in cells:
        to = [links.get((cell, port)) for port in range(4)]
        out = [index[t[0]] if t else -1 for t in to]
        at = [t[1] if t else -1 for t in to]
        ports.append((out[0], out[1], out[2], out[3]))
        arrive.append((at[0], at[1], at[2], at[3]))
    return tuple(ports), tuple(arrive)


def _faces(ports: tuple[Ports, ...], arrive: tuple[Ports, ...]) -> tuple[tuple[int, ...], ...]:
    """Walk round every face, keeping it on the left: at each cell take the sharpest left."""
    seen: set[tuple[int, int]] = set()
    faces = []
    for cell in range(len(ports)):
        for port in range(4):
            if ports[cell][port] < 0 or (cell, port) in seen:
                continue
            face, at, out = [], cell, port
            while (at, out) not in seen:
                seen.add((at, out))
                face.append(at)
                back, at = arrive[at][out], ports[at][out]
                turns = [(back - k) % 4 for k in (1, 2, 3, 4)]
                out = next(p for p in turns if ports[at][p] >= 0)
            faces.append(tuple(face))
    return tuple(faces)
