"""The search for the best tape route: test, cut, test again, term after term."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import combinations

from models.route import (
    CornerOption,
    ImpossibilityProof,
    Route,
    RouteCut,
    RouteFound,
    RouteNone,
    RouteProblem,
    RouteUnknown,
    RouteVerdict,
)
from solver.route.check import Clash, route_faults
from solver.route.cuts import connectivity_cuts
from solver.route.formula import Row
from solver.route.narrow import narrow
from solver.route.reading import read_route, sides
from solver.route.rules import RouteFormula, route_formula
from solver.route.topology import topology

Progress = Callable[[Route, tuple[int, ...]], None]
"""Called with each better route and the lower bound so far."""


class RouteSearch:
    """Finds the best route of a problem; routes may be refused and the search goes on."""

    def __init__(
        self,
        problem: RouteProblem,
        *,
        seed: int = 0,
        workers: int = 1,
        clash: Clash | None = None,
    ) -> None:
        self.problem, self.clash = problem, clash
        self.seed, self.workers = seed, workers
        self.refused: list[RouteCut] = []
        self.best: Route | None = None
        self.bounds: list[int] = []
        narrowed = narrow(problem)
        self.model: RouteFormula | None = None
        self.proof: ImpossibilityProof | None = None
        if isinstance(narrowed, ImpossibilityProof):
            self.proof = narrowed
            return
        self.model = route_formula(problem, topology(problem.graph), narrowed.allowed)
        from solver.route.cpsat import CpSat

        self.engine = CpSat(self.model.formula, seed=seed, workers=workers, presolve=True)

    def forbid(self, cut: RouteCut) -> None:
        """Refuse every route that breaks this clause."""
        self.refused.append(cut)
        if self.best is not None and route_faults(self.problem, self.best, [cut], self.clash):
            self.best = None
        if self.model is None:
            return
        option = self.model.option
        self.model.formula.clause(
            *(self.model.tape[cell] for cell in sorted(cut.tape)),
            *(-self.model.tape[cell] for cell in sorted(cut.bare)),
            *(option[o] for o in cut.chosen if o in option),
            *(-option[o] for o in cut.dropped if o in option),
        )

    def solve(self, deadline: float, on_progress: Progress | None = None) -> RouteVerdict:
        """The best route, proven if time allows; `deadline` is a `time.monotonic()` time."""
        if self.model is None:
            assert self.proof is not None
            return RouteNone(self.proof)
        goals = self.model.objective or [None]
        fixed: list[Row] = []
        found: Route | None = None
        for goal in goals:
            while True:
                answer = self.engine.minimise(goal, fixed, deadline)
                if answer.status == "none":
                    assert found is None
                    return RouteNone(ImpossibilityProof("search", "", ""))
                if answer.status == "open":
                    return RouteUnknown(())
                cuts = connectivity_cuts(self.model, sides(self.model, answer.assignment))
                for cut in cuts:
                    self.model.formula.clause(*cut)
                if not cuts:
                    break
            found = read_route(self.model, answer.assignment)
            faults = route_faults(self.problem, found, self.refused)
            assert not faults, faults
            if goal is not None:
                value = found.costs[len(fixed)]
                fixed.append(Row(goal, value, value))
        return RouteFound(found, True, found.costs)
