"""Whether a machine keeps a subset of the requirements: all the way to the simulation."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

from models.machine import ALL_CASES, Machine
from models.problem import Problem
from models.route import Route
from models.scenario import Scenario, cell_requirement
from models.system import System
from solver.check import check_against, check_machine
from solver.explain.switched import Refuted, Switched, Unsettled
from solver.layout import lay_out
from solver.net import LineSearch, NoLine
from solver.simulate import prove
from solver.systems import systems_for


@dataclass(frozen=True, slots=True)
class Kept:
    """This machine keeps all that was asked; it was simulated in all four cases."""

    machine: Machine
    system: System


Answer = Kept | Refuted | Unsettled


@dataclass
class Oracle:
    """Asks every system, and both directions where the direction is dropped."""

    scenario: Scenario
    deadline: float
    asked: int = 0
    refusals: dict[str, None] = field(default_factory=dict)
    """Words of later stages that refused routes, in order."""
    _models: dict[tuple[str, bool], Switched] = field(default_factory=dict)

    def ask(self, active: frozenset[str], deadline: float | None = None) -> Answer:
        """A machine that keeps these requirements, or which of them no machine keeps."""
        self.asked += 1
        until = self.deadline if deadline is None else min(deadline, self.deadline)
        directions = (False,) if "loop.direction" in active else (False, True)
        core: frozenset[str] = frozenset({"loop.direction"}) & active
        settled = True
        for system in self.systems():
            for reverse in directions:
                answer = self._ask_one(self._model(system, reverse), active, until)
                match answer:
                    case Kept():
                        return answer
                    case Refuted():
                        core |= answer.core
                    case Unsettled():
                        settled = False
        return Refuted(core) if settled else Unsettled()

    def systems(self) -> tuple[System, ...]:
        """All systems that the surfaces of the scenario may use."""
        return tuple(s for name in self.scenario.surfaces for s in systems_for(name))

    def _model(self, system: System, reverse: bool) -> Switched:
        key = (system.name, reverse)
        if key not in self._models:
            self._models[key] = Switched(self.scenario, system, reverse=reverse)
        return self._models[key]

    def _ask_one(self, model: Switched, active: frozenset[str], deadline: float) -> Answer:
        while True:
            route = model.route(active, deadline)
            if not isinstance(route, Route):
                return route
            problem = model.under(active)
            found = self._carried(problem, model.system, route)
            if found is not None:
                return found
            model.refuse(route, self._bearing(active))
            if time.monotonic() > deadline:
                return Unsettled()

    def _carried(self, problem: Problem, system: System, route: Route) -> Kept | None:
        """The route as a machine that was checked and simulated; None if it was refused."""
        line = LineSearch(problem, system).find(route)
        if isinstance(line, NoLine):
            self.refusals[line.reason] = None
            return None
        machine = lay_out(problem, system, route, line)
        breaches = check_machine(machine) + check_against(machine, problem.scenario)
        if not breaches:
            breaches = [f for result in prove(machine, ALL_CASES) for f in result.faults]
        if breaches:
            self.refusals[breaches[0].text] = None
            return None
        return Kept(machine, system)

    def _bearing(self, active: frozenset[str]) -> frozenset[str]:
        """Requirements that the stages behind the route read; cells to pass or spare are none."""
        plain = {
            cell_requirement(key, row, column)
            for key, surface in self.scenario.surfaces.items()
            for row, column in surface.spots("o#")
        }
        return active - plain
