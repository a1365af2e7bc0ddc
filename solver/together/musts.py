"""What every machine of a scenario has, whatever else it is like: the others cannot have it too."""

from __future__ import annotations

from collections.abc import Iterator

from models.geometry import VECTOR, Cell, Frame, cross
from models.problem import Problem
from models.scenario import Scenario
from models.surface import SurfaceName
from solver.explain.drawn import drawn_order
from solver.flatten import flatten
from solver.net.systems import WORLD, systems_over
from solver.route.problem import corner_frame
from solver.together.reserve import Reserve


def must_have(scenario: Scenario) -> Reserve:
    """Its wishes, the lifts behind them and, where the loop is drawn, its drives.

    Of a drive only the cells count that all drives of the catalogue take there, on walls and over
    several surfaces those that the rules alone ask for: as in the verdicts on one loop.
    """
    problem = flatten(scenario)
    systems = systems_over(scenario.surfaces, scenario.rules)
    by_rules = any(system.world for system in systems)
    drives = WORLD.drives if by_rules else tuple(d for s in systems for d in s.drives)
    dug = {c for f in _columns(scenario, problem) for c in WORLD.column.claimed(f)}
    for _, frame in _corners(scenario, problem):
        dug |= frozenset.intersection(*(drive.claimed(frame) for drive in drives))
    return Reserve(frozenset(dug), scenario.required(), beside=scenario.required())


def will_have(scenario: Scenario) -> Reserve:
    """What its likeliest machine has there."""
    problem = flatten(scenario)
    system = systems_over(scenario.surfaces, scenario.rules)[0]
    dug: set[Cell] = set()
    for frame in _columns(scenario, problem):
        home = problem.homes[problem.index[frame.origin]]
        dug |= system.on(home).column.claimed(frame)
    for home, frame in _corners(scenario, problem):
        drives = WORLD.drives if system.world else system.on(home).drives
        dug |= drives[0].claimed(frame)
    return Reserve(frozenset(dug), scenario.required(), beside=scenario.required())


def _columns(scenario: Scenario, problem: Problem) -> Iterator[Frame]:
    """Where lifts stand: behind the cells that must carry tape, but for those on edge lines."""
    for cell in sorted(scenario.required()):
        number = problem.index.get(cell)
        if number is None or problem.homes[number] is None:
            continue
        up = problem.normal(number)
        along = VECTOR["+y"] if up[0] else VECTOR["+x"]
        yield Frame(cell, along, cross(up, along), up)


def _corners(scenario: Scenario, problem: Problem) -> Iterator[tuple[SurfaceName | None, Frame]]:
    """The corners of a drawn loop whose order is in no doubt."""
    wished = scenario.required()
    if scenario.loop.shape != "exact" or not wished <= problem.index.keys():
        return
    order = drawn_order(problem, wished) or []
    ports = problem.graph.ports
    for i, cell in enumerate(order):
        came = ports[cell].index(order[i - 1])
        goes = ports[cell].index(order[(i + 1) % len(order)])
        if (goes - came) % 4 != 2:
            yield problem.homes[cell], corner_frame(problem, cell, came, goes)
