"""Whether any loop keeps a subset of the requirements by the rules alone: over several surfaces.

What rules out every route with lifts and rams alone rules out every machine. Where a route is
left, whether a machine has it is another question.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from models.route import RouteNone, RouteUnknown
from models.scenario import Scenario
from solver.explain.relax import keep_only, variants, verdict_only
from solver.explain.switched import Refuted, Unsettled
from solver.flatten import flatten
from solver.net.systems import WORLD
from solver.search import any_route

SHARE_OF_ONE = 0.3
"""How much of the time left one question may take, so that a hard one does not end them all."""


@dataclass(frozen=True, slots=True)
class Routed:
    """A route keeps all that was asked."""


@dataclass
class RulesOracle:
    """Relaxes the scenario and searches for a route anew, every time."""

    scenario: Scenario
    deadline: float

    def ask(
        self, active: frozenset[str], deadline: float | None = None
    ) -> Routed | Refuted | Unsettled:
        """Whether a route keeps these requirements."""
        now = time.monotonic()
        until = now + SHARE_OF_ONE * (self.deadline - now)
        if deadline is not None:
            until = min(deadline, until)
        answers = []
        for kept in variants(self.scenario, keep_only(self.scenario, active)):
            verdict = any_route(flatten(verdict_only(kept)), WORLD, 0, until)
            if not isinstance(verdict, RouteNone | RouteUnknown):
                return Routed()
            answers.append(verdict)
        settled = all(isinstance(answer, RouteNone) for answer in answers)
        return Refuted(active) if settled else Unsettled()
