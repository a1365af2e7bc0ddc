"""Wishes -> a pattern with as many blanks as there can be, by CP-SAT."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Literal

from ortools.sat.python import cp_model

from models.pattern import Period, Pin, Share, Wish
from solver.pattern.turn import prime_factors

Answer = tuple[Literal["best", "some"], str] | tuple[Literal["none", "open"], None]


def best_pattern(n: int, marks: str, blank: str, wishes: Iterable[Wish], deadline: float) -> Answer:
    """A pattern that all wishes hold for, and whether it has the most blanks.

    "none" is a proof; "open" means that the time ran out. One worker, so that runs repeat.
    """
    model = cp_model.CpModel()
    carries = [{mark: model.new_bool_var("") for mark in marks} for _ in range(n)]
    for block in carries:
        model.add_exactly_one(block.values())
    for wish in wishes:
        _post(model, carries, wish)
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


def _post(model: cp_model.CpModel, carries: list[dict[str, cp_model.IntVar]], wish: Wish) -> None:
    n = len(carries)
    match wish.rule:
        case Pin(block, mark):
            model.add_bool_or([carries[block][mark]])
        case Share(blocks, marks, low, high):
            total = sum(carries[b][m] for b in sorted(blocks) for m in marks)
            model.add_linear_constraint(total, low, high)
        case Period(presses):
            if n % presses:
                model.add_bool_or([])
                return
            for b in range(n):
                for mark, literal in carries[b].items():
                    model.add(literal == carries[(b + presses) % n][mark])
            for prime in prime_factors(presses):
                _post_change(model, carries, presses // prime)


def _post_change(
    model: cp_model.CpModel, carries: list[dict[str, cp_model.IntVar]], presses: int
) -> None:
    """So many presses do not leave the picture as it is."""
    n = len(carries)
    differs = []
    for b in range(n):
        for mark, literal in carries[b].items():
            changes = model.new_bool_var("")
            differs.append(changes)
            model.add(literal + carries[(b + presses) % n][mark] == 1).only_enforce_if(changes)
    model.add_bool_or(differs)
