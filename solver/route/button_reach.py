"""Where the loop must pass so that a line from the button can reach it at all."""

from __future__ import annotations

from models.geometry import Cell, add
from models.problem import Problem
from models.route import Route, RouteCut
from models.system import System
from solver.net.floor_line import LineSearch, sides_of
from solver.net.realise import net_search


def reach_cut(problem: Problem, system: System) -> RouteCut | None:
    """Some cell beside the ground that a line from the button can get to is tape.

    Without any loop in its way the line gets furthest. None where the button may stand anywhere,
    or where the nets of the system are none of a floor.
    """
    nets = net_search(problem, system)
    if problem.scenario.button() is None or not isinstance(nets, LineSearch):
        return None
    normal = problem.normal(0)
    sides = sides_of(problem, problem.graph.cells[0], normal)
    triggers, wires = nets.places(Route((), (), ()), set(), normal)
    reached: set[Cell] = set(triggers)
    todo = sorted(reached)
    for cell in todo:
        for side in sides:
            near = add(cell, side)
            if near in wires and near not in reached:
                reached.add(near)
                todo.append(near)
    beside = {add(cell, side) for cell in reached for side in sides}
    return RouteCut(tape=frozenset(problem.index[c] for c in beside if c in problem.index))
