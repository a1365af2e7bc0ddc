"""Whether a machine keeps a subset of the requirements: all the way to the simulation."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

from models.machine import Machine
from models.route import Route
from models.scenario import Scenario, cell_requirement
from models.system import System
from solver.explain.switched import Refuted, Switched, Unsettled
from solver.net.realise import Refused, net_search, realise
from solver.net.systems import systems_over, widest_for
from solver.route.button_reach import reach_cut


@dataclass(frozen=True, slots=True)
class Kept:
    """This machine keeps all that was asked; it was simulated in all four cases."""

    machine: Machine
    system: System


Answer = Kept | Refuted | Unsettled


def systems_of(scenario: Scenario) -> tuple[System, ...]:
    """All systems that a scenario may use."""
    if len(scenario.surfaces) > 1:
        return systems_over(scenario.surfaces, scenario.rules)
    return tuple(s for name in scenario.surfaces for s in widest_for(name, scenario.rules))


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
        for system in systems_of(self.scenario):
            for reverse in directions:
                answer = self._ask_one(self._model(system, reverse), active, until)
                if system.world is not None and not isinstance(answer, Kept):
                    # The catalogue is no proof: only what the rules exclude is refuted.
                    known = self._model(system.world, reverse).route(active, until)
                    answer = known if isinstance(known, Refuted) else Unsettled()
                match answer:
                    case Kept():
                        return answer
                    case Refuted():
                        core |= answer.core
                    case Unsettled():
                        settled = False
        return Refuted(core) if settled else Unsettled()

    def _model(self, system: System, reverse: bool) -> Switched:
        key = (system.name, reverse)
        if key not in self._models:
            self._models[key] = Switched(self.scenario, system, reverse=reverse)
        return self._models[key]

    def _ask_one(self, model: Switched, active: frozenset[str], deadline: float) -> Answer:
        problem = model.under(active)
        cut = reach_cut(problem, model.system)
        if cut is not None:
            model.require_one(cut.tape, self._bearing(active))
        while True:
            route = model.route(active, deadline)
            if not isinstance(route, Route):
                return route
            nets = net_search(problem, model.system)
            machine = realise(problem, model.system, nets, route)
            if not isinstance(machine, Refused):
                return Kept(machine, model.system)
            self.refusals[machine.reason] = None
            model.refuse(route, self._bearing(active), proven=machine.proven)
            if time.monotonic() > deadline:
                return Unsettled()

    def _bearing(self, active: frozenset[str]) -> frozenset[str]:
        """Requirements that the stages behind the route read; cells to pass or spare are none."""
        plain = {
            cell_requirement(key, row, column)
            for key, surface in self.scenario.surfaces.items()
            for row, column in surface.spots("o#")
        }
        return active - plain
