"""Part of a room by itself: some faces are free, all others stay as a known route has them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from models.geometry import Cell
from models.route import Route, RouteProblem
from solver.route.topology import Topology


def inside_of(problem: RouteProblem, tables: Topology, route: Route) -> list[bool]:
    """For each face whether it is inside the loop."""
    loop = set()
    start = -1
    for i, cell in enumerate(route.cells):
        port = tables.graph.ports[cell].index(route.cells[(i + 1) % len(route.cells)])
        number = tables.link_at[cell][port]
        loop.add(number)
        link = tables.links[number]
        forward = link.tail == cell
        start = link.right if forward == problem.inside_on_right else link.left
    near: list[list[int]] = [[] for _ in tables.graph.faces]
    for number, link in enumerate(tables.links):
        if number not in loop:
            near[link.left].append(link.right)
            near[link.right].append(link.left)
    inside = [False] * len(near)
    inside[start] = True
    todo = [start]
    for f in todo:
        for g in near[f]:
            if not inside[g]:
                inside[g] = True
                todo.append(g)
    return inside


def faces_near(tables: Topology, middle: int, half: Cell) -> frozenset[int]:
    """The faces that lie wholly in a box round a cell."""
    cells = tables.graph.cells
    at = cells[middle]
    held = {
        i
        for i, cell in enumerate(cells)
        if all(abs(a - b) <= h for a, b, h in zip(cell, at, half, strict=True))
    }
    return frozenset(f for f, ring in enumerate(tables.graph.faces) if held.issuperset(ring))


def windowed(
    problem: RouteProblem, tables: Topology, route: Route, inside: list[bool], free: Collection[int]
) -> RouteProblem:
    """The problem with all faces but the free ones held. Its routes are routes of the problem."""
    held = [f for f in range(len(inside)) if f not in free]
    near = {cell for f in free for cell in tables.graph.faces[f]}
    allowed = problem.allowed & near.union(route.cells)
    return replace(
        problem,
        allowed=allowed,
        options=tuple(option for option in problem.options if option.cell in allowed),
        inside_faces=problem.inside_faces | {f for f in held if inside[f]},
        outside_faces=problem.outside_faces | {f for f in held if not inside[f]},
    )
