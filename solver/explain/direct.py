"""The same question put to the search itself: slower for many subsets, quick for a few."""

from __future__ import annotations

from dataclasses import dataclass, field

from models.outcome import Feasible, Infeasible, Verdict
from models.scenario import Scenario
from models.system import System
from solver.explain.oracle import Kept, systems_of
from solver.explain.relax import keep_only, variants, verdict_only
from solver.explain.switched import Refuted, Unsettled
from solver.flatten import flatten
from solver.search import Beaten, Progress, search_system


@dataclass
class DirectOracle:
    """Relaxes the scenario and searches anew, every time."""

    scenario: Scenario
    deadline: float
    proofs: dict[str, None] = field(default_factory=dict)
    """By which ways the last refutation was had."""
    refusals: dict[str, None] = field(default_factory=dict)
    """Why later stages refused routes in it."""

    def ask(self, active: frozenset[str]) -> Kept | Refuted | Unsettled:
        """A machine that keeps these requirements, or that there is none."""
        self.proofs, self.refusals = {}, {}
        settled = True
        for kept in variants(self.scenario, keep_only(self.scenario, active)):
            for system in systems_of(self.scenario):
                verdict = search_alone(verdict_only(kept), system, self.deadline)
                match verdict:
                    case Feasible():
                        return Kept(verdict.machine, system)
                    case Infeasible():
                        self.proofs[verdict.proof] = None
                        self.refusals |= dict.fromkeys(r.text for r in verdict.reasons)
                    case _:
                        settled = False
        return Refuted(active) if settled else Unsettled()


def search_alone(scenario: Scenario, system: System, deadline: float) -> Verdict:
    """One system's verdict, told to nobody."""
    verdict = search_system(flatten(scenario), system, deadline, 0, lambda line: None, Progress())
    assert not isinstance(verdict, Beaten), "alone there is no rival"
    return verdict
