"""Route -> machine that was checked and simulated, or why not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from models.geometry import Cell
from models.machine import ALL_CASES, Machine
from models.problem import Problem
from models.route import Route, RouteCut
from models.system import System
from solver.check import check_against, check_machine
from solver.net.ceiling_feeds import FeedSearch
from solver.net.flat_line import FlatSearch
from solver.net.floor_line import LineSearch, NetSearch, NoLine
from solver.net.layout import lay_out
from solver.net.space_net import SpaceNetSearch
from solver.net.wall_net import WallNetSearch
from solver.simulate import prove


@dataclass(frozen=True)
class Refused:
    """No machine for a route, and why."""

    reason: str
    proven: bool
    """Whether no other machine of the catalogue has this route."""
    cut: RouteCut | None = None
    """What all routes have in common that are refused for this; None: this route only."""
    beaten: bool = False
    """Whether it was only left aside, as it would be no better than a machine that is known."""
    at: Cell | None = None
    """Where it failed, if that is known."""


def net_search(problem: Problem, system: System) -> NetSearch:
    """What finds the trigger nets of a system."""
    if system.convex_only:
        return FlatSearch(problem, system)
    if system.surfaces:
        return SpaceNetSearch(problem, system)
    if system.column.up == "+z":
        return LineSearch(problem, system)
    if system.column.up == "-z":
        return FeedSearch(problem, system)
    return WallNetSearch(problem, system)


def realise(
    problem: Problem,
    system: System,
    nets: NetSearch,
    route: Route,
    better: Callable[[Machine], bool] = lambda machine: True,
) -> Machine | Refused:
    """The machine of the first net that is better and is accepted in all four cases."""
    refused = Refused("no trigger net fits this route", proven=False)
    beaten = Refused("no better than a machine that is known", proven=True, beaten=True)
    tried = False
    failed: list[tuple[Cell, ...]] = []
    for net in nets.candidates(route):
        if isinstance(net, NoLine):
            return Refused(net.reason, net.proven, net.cut)
        machine = lay_out(problem, system, route, net)
        if not better(machine):
            refused = refused if tried else beaten
            continue
        tried = True
        breaches = check_machine(machine) + check_against(machine, problem.scenario)
        if not breaches:
            breaches = [f for result in prove(machine, ALL_CASES) for f in result.faults]
        if not breaches:
            return machine
        where = breaches[0].cells
        refused = Refused(breaches[0].text, proven=False, at=where[0] if where else None)
        if system.surfaces and where in failed:
            break  # The fault is the route's: other cables do not cure it.
        failed.append(where)
    return refused
