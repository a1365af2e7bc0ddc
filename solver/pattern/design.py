"""Wishes -> a pattern with as many blanks as there can be, by CP-SAT."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from typing import Literal

from ortools.sat.python import cp_model

from models.pattern import Period, Pin, Share, Wish
from solver.pattern.turn import Spans, prime_factors, turned

Carries = list[dict[str, cp_model.IntVar]]
"""For each block and mark whether it carries it."""
Answer = tuple[Literal["best", "some"], str] | tuple[Literal["none", "open"], None]


def best_pattern(
    spans: Spans, marks: str, blank: str, wishes: Iterable[Wish], deadline: float
) -> Answer:
    """A pattern that all wishes hold for, and whether it has the most blanks.

    "none" is a proof; "open" means that the time ran out. One worker, so that runs repeat.
    """
    model = cp_model.CpModel()
    carries = [{m: model.new_bool_var("") for m in marks} for span in spans for _ in span]
    for block in carries:
        model.add_exactly_one(block.values())
    for wish in wishes:
        _post(model, carries, spans, wish)
    if blank in marks:
        model.maximize(sum(block[blank] for block in carries))
    solver = cp_model.CpSolver()
    solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = max(0.01, deadline - time.monotonic())
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return "none", None
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return "open", None
    found = "".join(next(m for m in marks if solver.value(block[m])) for block in carries)
    return ("best" if status == cp_model.OPTIMAL else "some"), found


def _post(model: cp_model.CpModel, carries: Carries, spans: Spans, wish: Wish) -> None:
    match wish.rule:
        case Pin(block, mark):
            model.add_bool_or([carries[block][mark]])
        case Share(blocks, marks, low, high):
            total = sum(carries[b][m] for b in sorted(blocks) for m in marks)
            model.add_linear_constraint(total, low, high)
        case Period(presses):
            for here, other in zip(carries, turned(spans, presses), strict=True):
                for mark, literal in here.items():
                    model.add(literal == carries[other][mark])
            for prime in prime_factors(presses):
                _post_change(model, carries, turned(spans, presses // prime))


def _post_change(model: cp_model.CpModel, carries: Carries, others: Sequence[int]) -> None:
    """The turn that puts other blocks in the place of all does not leave the picture as it is."""
    differs = []
    for here, other in zip(carries, others, strict=True):
        for mark, literal in here.items():
            changes = model.new_bool_var("")
            differs.append(changes)
            model.add(literal + carries[other][mark] == 1).only_enforce_if(changes)
    model.add_bool_or(differs)
