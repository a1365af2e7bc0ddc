"""The second opinion: is there any route at all, asked of CP-SAT.

It shares the rules with the stages but not their counting: turning and length go in as linear
rows. The one place of the route search that imports OR-Tools.
"""

from __future__ import annotations

import time
from typing import Literal

from ortools.sat.python import cp_model

from solver.route.cuts import connectivity_cuts, post_face_cut
from solver.route.formula import Row
from solver.route.reading import Assignment, sides
from solver.route.rules import RouteFormula

EFFORT = 30.0
"""Deterministic time (about seconds) after which another way is taken."""


def no_route(model: RouteFormula, seed: int, deadline: float) -> Literal["none", "some", "open"]:
    """Whether the rules allow no connected loop; one worker, so that runs repeat."""
    effort = EFFORT
    while not model.formula.contradiction:
        solver = cp_model.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.random_seed = seed
        solver.parameters.num_workers = 1
        solver.parameters.max_deterministic_time = effort
        solver.parameters.max_time_in_seconds = max(0.01, deadline - time.monotonic())
        program, variables = _program(model)
        status = solver.solve(program)
        effort -= solver.response_proto.deterministic_time
        if status == cp_model.INFEASIBLE:
            return "none"
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE) or effort <= 0:
            return "open"
        values: Assignment = [bool(solver.value(v)) for v in variables]
        cuts = connectivity_cuts(model, sides(model, values))
        if not cuts:
            return "some"
        for cut in cuts:
            post_face_cut(model, cut)
    return "none"


def _program(model: RouteFormula) -> tuple[cp_model.CpModel, list[cp_model.IntVar]]:
    program = cp_model.CpModel()
    formula = model.formula
    variables = [program.new_bool_var("") for _ in range(formula.variables + 1)]

    def literal(lit: int) -> cp_model.LiteralT:
        return variables[lit] if lit > 0 else ~variables[-lit]

    def post(row: Row) -> None:
        total = cp_model.LinearExpr.weighted_sum(
            [literal(lit) for _, lit in row.total.terms], [w for w, _ in row.total.terms]
        )
        low = row.low if row.low is not None else cp_model.INT_MIN
        high = row.high if row.high is not None else cp_model.INT_MAX
        program.add_linear_constraint(total + row.total.constant, low, high)

    for clause in formula.clauses:
        program.add_bool_or([literal(lit) for lit in clause])
    for group in formula.at_most_one:
        program.add_at_most_one([literal(lit) for lit in group])
    for row in (*formula.rows, *formula.hints):
        post(row)
    return program, variables
