"""How near a right turn may follow a left one, or a left one a right: read off the options."""

from __future__ import annotations

from models.route import CornerOption, RouteProblem
from solver.route.check import Clash
from solver.route.clashes import disturb

MOST = 6
"""Steps that are looked at."""

Options = dict[tuple[int, int, int], list[CornerOption]]


def least_zigzag(problem: RouteProblem, clash: Clash | None) -> int:
    """Steps from a turn to one the other way, at least; 1 if they may be neighbours."""
    by_turn: Options = {}
    for option in problem.options:
        by_turn.setdefault((option.cell, option.in_port, option.out_port), []).append(option)
    for steps in range(1, MOST):
        if any(_follows(problem, by_turn, option, steps, clash) for option in problem.options):
            return steps
    return MOST


def _follows(
    problem: RouteProblem, by_turn: Options, first: CornerOption, steps: int, clash: Clash | None
) -> bool:
    """Whether some drive of the other turn may stand so many steps behind this one."""
    graph = problem.graph
    cell, port = first.cell, first.out_port
    edge = [cell]
    entered = -1
    for _ in range(steps):
        there = graph.ports[cell][port]
        if there < 0:
            return False
        entered = graph.arrive[cell][port]
        cell, port = there, (entered + 2) % 4
        edge.append(cell)
    way = (first.out_port - first.in_port) % 4
    goes = (entered + 4 - way) % 4
    beyond = graph.ports[cell][goes]
    before = graph.ports[first.cell][first.in_port]
    if beyond < 0:
        return False
    tape = {before, *edge, beyond}
    return any(
        first.claims.isdisjoint(second.claims)
        and first.forbids.isdisjoint(tape)
        and second.forbids.isdisjoint(tape)
        and not disturb(first, second, clash)
        for second in by_turn.get((cell, entered, goes), ())
    )
