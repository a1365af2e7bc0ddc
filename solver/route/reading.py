"""From an assignment of the formula to the loop it means."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from models.route import CornerOption, Route, RouteProblem
from solver.route.formula import TRUE
from solver.route.rules import RouteFormula

Assignment = list[bool]
"""Truth by variable; index 0 is unused."""


def holds(assignment: Assignment, literal: int) -> bool:
    """Whether a literal holds."""
    return assignment[literal] if literal > 0 else not assignment[-literal]


def sides(model: RouteFormula, assignment: Assignment) -> list[bool]:
    """For each face whether it is inside."""
    return [literal == TRUE or holds(assignment, literal) for literal in model.face]


def read_route(model: RouteFormula, assignment: Assignment, through: int | None = None) -> Route:
    """The loop of a connected solution, or the one through a tape cell, from its lowest cell on."""
    inside = sides(model, assignment)
    step: dict[int, tuple[int, int]] = {}
    for link in model.tables.links:
        if inside[link.left] != inside[link.right]:
            forward = inside[link.right] == model.problem.inside_on_right
            back = model.tables.graph.arrive[link.tail][link.tail_port]
            if forward:
                step[link.tail] = (link.tail_port, link.head)
            else:
                step[link.head] = (back, link.tail)
    cells = [min(step) if through is None else through]
    while (there := step[cells[-1]][1]) != cells[0]:
        cells.append(there)
    chosen = (option for option, literal in model.option.items() if holds(assignment, literal))
    return priced_route(model.problem, cells, chosen)


def priced_route(
    problem: RouteProblem, cells: Sequence[int], drives: Iterable[CornerOption]
) -> Route:
    """The loop with those of the drives that stand on it, and what it costs."""
    chosen = {option.cell: option for option in drives}
    loop = from_lowest(tuple(cells))
    corners = tuple(chosen[cell] for cell in loop if cell in chosen)
    return Route(loop, corners, route_costs(problem, loop, corners))


def from_lowest(ring: tuple[int, ...]) -> tuple[int, ...]:
    """The same ring, from its lowest number on."""
    first = ring.index(min(ring))
    return ring[first:] + ring[:first]


def route_costs(
    problem: RouteProblem, cells: tuple[int, ...], corners: tuple[CornerOption, ...]
) -> tuple[int, ...]:
    """What a loop with these drives costs, term by term."""
    fixed = problem.fixed_costs or (0,) * len(problem.terms)
    missed = [r.penalty for r in problem.reach_terms if r.cells.isdisjoint(cells)]
    return tuple(
        fixed[t]
        + sum(problem.cell_costs[t][cell] for cell in cells)
        + sum(option.costs[t] for option in corners)
        + sum(penalty[t] for penalty in missed)
        for t in range(len(problem.terms))
    )
