"""The formula in CP-SAT: the one place of the route search that imports OR-Tools."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ortools.sat.python import cp_model

from solver.route.formula import Formula, Row, Sum
from solver.route.reading import Assignment

Status = Literal["found", "none", "open"]


@dataclass(frozen=True, slots=True)
class Answer:
    """Found (optimal if so said), none, or still open; with the bound reached."""

    status: Status
    assignment: Assignment
    optimal: bool
    bound: int | None


class CpSat:
    """Holds the model; clauses and rows may be added between the calls."""

    def __init__(self, formula: Formula, *, seed: int, workers: int, presolve: bool) -> None:
        self.formula = formula
        self.model = cp_model.CpModel()
        self.variables = [self.model.new_bool_var("") for _ in range(formula.variables + 1)]
        self.loaded = [0, 0, 0, 0]
        self.seed, self.workers, self.presolve = seed, workers, presolve

    def _literal(self, lit: int) -> cp_model.LiteralT:
        return self.variables[lit] if lit > 0 else ~self.variables[-lit]

    def _total(self, total: Sum) -> cp_model.LinearExprT:
        return (
            cp_model.LinearExpr.weighted_sum(
                [self._literal(lit) for _, lit in total.terms], [w for w, _ in total.terms]
            )
            + total.constant
        )

    def _row(self, row: Row) -> None:
        low = row.low if row.low is not None else cp_model.INT_MIN
        high = row.high if row.high is not None else cp_model.INT_MAX
        self.model.add_linear_constraint(self._total(row.total), low, high)

    def _load(self) -> None:
        formula = self.formula
        while len(self.variables) <= formula.variables:
            self.variables.append(self.model.new_bool_var(""))
        for clause in formula.clauses[self.loaded[0] :]:
            self.model.add_bool_or([self._literal(lit) for lit in clause])
        for group in formula.at_most_one[self.loaded[1] :]:
            self.model.add_at_most_one([self._literal(lit) for lit in group])
        for row in formula.rows[self.loaded[2] :]:
            self._row(row)
        for row in formula.hints[self.loaded[3] :]:
            self._row(row)
        self.loaded = [
            len(formula.clauses),
            len(formula.at_most_one),
            len(formula.rows),
            len(formula.hints),
        ]

    def minimise(self, goal: Sum | None, rows: Sequence[Row], deadline: float) -> Answer:
        """The least `goal` under the formula and these rows of this call only."""
        if self.formula.contradiction:
            return Answer("none", [], True, None)
        self._load()
        model = self.model.clone()
        for row in rows:
            low = row.low if row.low is not None else cp_model.INT_MIN
            high = row.high if row.high is not None else cp_model.INT_MAX
            model.add_linear_constraint(self._total(row.total), low, high)
        if goal is not None and goal.terms:
            model.minimize(self._total(goal))
        solver = cp_model.CpSolver()
        solver.parameters.random_seed = self.seed
        solver.parameters.num_workers = self.workers
        solver.parameters.interleave_search = self.workers > 1
        solver.parameters.cp_model_presolve = self.presolve
        solver.parameters.max_time_in_seconds = max(0.01, deadline - time.monotonic())
        status = solver.solve(model)
        if status == cp_model.INFEASIBLE:
            return Answer("none", [], True, None)
        bound = round(solver.best_objective_bound) if goal is not None else None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            assert status == cp_model.UNKNOWN, solver.status_name(status)
            return Answer("open", [], False, bound)
        values = [bool(solver.value(v)) for v in self.variables]
        return Answer("found", values, status == cp_model.OPTIMAL, bound)
