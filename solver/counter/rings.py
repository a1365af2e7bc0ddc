"""Scenario -> loops to try, the best first: with room for two drives at every corner.

The route search of all machines is asked, with a drive that stands for both: their rams, and what
their wirings have in common. What that lets pass is judged by laying it out and by simulation.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

from models.catalogue import Design
from models.geometry import FACE_OF, VECTOR, Cell, Face
from models.parts import Part
from models.problem import Problem
from models.route import RouteFound, RouteNone
from models.rules import Rules
from models.scenario import Scenario
from models.surface import SurfaceName
from models.system import System
from solver.counter.layout import led_drives
from solver.design.task import HEADS
from solver.flatten import flatten
from solver.net.systems import systems_for
from solver.route.problem import clashing, route_problem, this_route
from solver.route.search import RouteSearch

FIRST_SHARE = 0.4
"""How much of the time left the first loop may take to be found."""
NEXT_SHARE = 0.1
"""How much of the time left each other loop may take."""


@dataclass
class Rings:
    """Loops in the direction of travel, one after the other, until there is no more."""

    scenario: Scenario
    deadline: float
    seed: int
    none: str = ""
    """Why there is no loop at all, if that is proven."""

    def __iter__(self) -> Iterator[tuple[Cell, ...]]:
        """The best loop that is left; ends where none is left or is found in time."""
        problem = flatten(self.scenario)
        (name,) = self.scenario.surfaces
        system = replace(
            systems_for(name)[0], name="both ways", drives=(pair(name, self.scenario.rules),)
        )
        search = _search(problem, system, self.seed)
        share, found = FIRST_SHARE, False
        while True:
            now = time.monotonic()
            verdict = search.solve(now + share * (self.deadline - now))
            if not isinstance(verdict, RouteFound):
                if isinstance(verdict, RouteNone) and not found:
                    self.none = verdict.proof.reason
                return
            share, found = NEXT_SHARE, True
            yield tuple(problem.graph.cells[i] for i in verdict.route.cells)
            search.forbid(this_route(search.problem.options, verdict.route))


def _search(problem: Problem, system: System, seed: int) -> RouteSearch:
    routes = route_problem(problem, system)
    return RouteSearch(routes, seed=seed, clash=lambda a, b: clashing(problem, system, a, b))


def pair(surface: SurfaceName, rules: Rules) -> Design:
    """What stands at a corner for both ways, whichever wirings are chosen."""
    designs = [entry.design for entry in led_drives(surface, rules)]
    parts = frozenset.intersection(*(frozenset(design.parts) for design in designs))
    cells = frozenset.intersection(*(frozenset(p.at for p in d.parts) for d in designs))
    common = sorted(parts, key=lambda part: part.at)
    # Cells that each wiring fills with something else are taken too.
    air = sorted({*HEADS, *(cells - {part.at for part in parts})})
    return Design(
        "a drive each way",
        "drive",
        designs[0].up,
        (*common, *map(_mirrored, common)),
        (*air, *map(_across, air)),
        system="both ways",
    )


def _across(cell: Cell) -> Cell:
    """The cell as the drive of the other way has it: that comes along -y and leaves along -x."""
    x, y, z = cell
    return (-y, -x, z)


def _mirrored(part: Part) -> Part:
    face: Face | None = None if part.face is None else FACE_OF[_across(VECTOR[part.face])]
    return part._replace(at=_across(part.at), face=face)
