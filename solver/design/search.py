"""Searches for wirings: decides "at most k parts" and lowers k.

Two solvers can decide the same clauses: CP-SAT, and, as a second word on "infeasible", whatever
else reads clauses.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Literal

from ortools.sat.python import cp_model

from models.geometry import Cell
from models.parts import Part
from solver.design.clauses import Clauses
from solver.design.cycle import require_cycle
from solver.design.physics import Physics
from solver.design.task import Task

Answer = Literal["found", "none", "unknown"]


@dataclass
class Outcome:
    """The answer to one question, with the wiring if there is one."""

    answer: Answer
    parts: tuple[Part, ...] = ()
    seconds: float = 0.0


@dataclass
class Problem:
    """A task in clauses, with the weights that count parts."""

    task: Task
    world: Physics = field(init=False)
    refused: list[list[int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.world = Physics(self.task)
        require_cycle(self.world)

    def used(self) -> list[int]:
        """One literal a free cell: something is in it."""
        return [-choices[("air", None)] for choices in self.world.options.values()]

    def decide(
        self, most: int, budget_s: float, *, workers: int = 2, seed: int = 1, presolve: bool = True
    ) -> Outcome:
        """Is there a wiring of at most so many parts?"""
        model = to_cp_sat(self.world.f)
        for clause in self.refused:
            model.add_bool_or([_literal(model, lit) for lit in clause])
        model.add(sum(_literal(model, lit) for lit in self.used()) <= most)
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = budget_s
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = seed
        solver.parameters.cp_model_presolve = presolve
        start = time.monotonic()
        status = solver.solve(model)
        seconds = time.monotonic() - start
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            values = solver.response_proto.solution
            return Outcome("found", self.read(lambda v: bool(values[v - 1])), seconds)
        if status == cp_model.INFEASIBLE:
            return Outcome("none", (), seconds)
        return Outcome("unknown", (), seconds)

    def read(self, holds: Callable[[int], bool]) -> tuple[Part, ...]:
        """The parts that an assignment chooses."""
        parts = []
        for cell, choices in self.world.options.items():
            for (kind, face), v in choices.items():
                if kind != "air" and holds(v):
                    delay = None
                    if kind == "buffer":
                        delay = next(d for d, w in self.world.delay[cell].items() if holds(w))
                    parts.append(Part(kind, cell, face, delay))  # type: ignore[arg-type]
        return tuple(parts)

    def refuse(self, parts: Iterable[Part]) -> None:
        """Never this very wiring again: the simulator does not accept it."""
        placed = {part.at: part for part in parts}
        clause = []
        for cell, choices in self.world.options.items():
            part = placed.get(cell)
            if part is None:
                clause.append(-choices[("air", None)])
                continue
            clause.append(-choices[(part.kind, part.face)])
            if part.delay is not None:
                clause.append(-self.world.delay[cell][part.delay])
        self.refused.append(clause)

    def pin(self, parts: Iterable[Part]) -> list[int]:
        """Literals that together choose exactly these parts."""
        before = len(self.refused)
        self.refuse(parts)
        clause = self.refused.pop()
        assert len(self.refused) == before
        return [-lit for lit in clause]


def _literal(model: cp_model.CpModel, literal: int) -> cp_model.LiteralT:
    var = model.get_bool_var_from_proto_index(abs(literal) - 1)
    return var if literal > 0 else ~var


def to_cp_sat(f: Clauses) -> cp_model.CpModel:
    """The clauses as a CP-SAT model: variable v has index v - 1."""
    model = cp_model.CpModel()
    variables = [model.new_bool_var("") for _ in range(f.count)]
    negated = [~v for v in variables]
    for clause in f.clauses:
        model.add_bool_or([variables[x - 1] if x > 0 else negated[-x - 1] for x in clause])
    return model


def fewest(
    problem: Problem,
    start: int,
    accept: Callable[[tuple[Part, ...]], bool],
    budget_s: float,
    log: Callable[[str], None],
) -> tuple[tuple[Part, ...] | None, int]:
    """Lower the number of parts until a bound is proven or the budget is spent.

    Returns the best wiring the simulator accepted, and the proven lower bound (0: none).
    """
    best: tuple[Part, ...] | None = None
    most, end = start, time.monotonic() + budget_s
    while time.monotonic() < end:
        outcome = problem.decide(most, end - time.monotonic())
        log(f"{problem.task.name}: at most {most}: {outcome.answer} in {outcome.seconds:.1f} s")
        if outcome.answer == "none":
            return best, most + 1
        if outcome.answer == "unknown":
            break
        if accept(outcome.parts):
            best = outcome.parts
            most = len(outcome.parts) - 1
            log(f"  accepted with {len(outcome.parts)}")
        else:
            log(f"  refused by the simulator: {outcome.parts}")
            problem.refuse(outcome.parts)
    return best, 0


__all__ = ["Cell", "Outcome", "Problem", "fewest", "to_cp_sat"]
