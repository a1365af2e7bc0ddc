"""Searches for wirings: decides "at most k parts" and lowers k.

Three solvers can be asked the same clauses: CaDiCaL, which is the quickest here, Glucose and
CP-SAT. So "none" need never rest on one solver's word.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Literal, cast

from ortools.sat.python import cp_model
from pysat.card import CardEnc, EncType
from pysat.solvers import Solver

from models.parts import Kind, Part
from solver.design.cycle import require_cycle
from solver.design.physics import Physics
from solver.design.task import Off, Task

SETTLING = 4
"""Half-ticks that a drive with a late delay gets to come to rest."""
Answer = Literal["found", "none", "unknown"]
Engine = Literal["cadical", "glucose", "cp-sat"]


@dataclass(frozen=True)
class Outcome:
    """The answer to one question, with the wiring if there is one."""

    answer: Answer
    parts: tuple[Part, ...] = ()
    seconds: float = 0.0


@dataclass
class Problem:
    """A task in clauses."""

    task: Task
    also: tuple[Task, ...] = ()
    """The same drive in other surroundings: it must do there too."""
    world: Physics = field(init=False)
    refused: list[list[int]] = field(default_factory=list)
    """One clause for each wiring that the simulator did not accept."""
    borne: list[Off] = field(default_factory=list)
    """Delays that every wiring must bear to be off."""

    def __post_init__(self) -> None:
        self.world = Physics(self.task)
        require_cycle(self.world)
        for task in self.also:
            require_cycle(Physics(task, self.world))

    def bear(self, off: Off) -> None:
        """From now on only wirings that also work with this delay off.

        A late drive may still be settling when the lifts rise; it must only have fed in time, even
        if it is wanted to feed early when its delays are right.
        """
        self.borne.append(off)
        for task in (self.task, *self.also):
            late = SETTLING if off.half_ticks > 0 else 0
            other = replace(task, last_feed=Task.last_feed, horizon=task.horizon + late)
            require_cycle(Physics(other, self.world, off))

    def used(self) -> list[int]:
        """One literal a free cell: something is in it."""
        return [-choices[("air", None)] for choices in self.world.options.values()]

    def decide(
        self,
        most: int,
        budget_s: float,
        *,
        engine: Engine = "cadical",
        presolve: bool = True,
        given: Iterable[int] = (),
    ) -> Outcome:
        """Is there a wiring of at most so many parts (in which the given literals hold)?"""
        start = time.monotonic()
        clauses = [*self.world.f.clauses, *self.refused, *([lit] for lit in given)]
        count = self.world.f.count
        if engine == "cp-sat":
            found = _cp_sat(clauses, self.used(), most, count, budget_s, presolve)
        else:
            found = _sat(engine, clauses, self.used(), most, count)
        seconds = time.monotonic() - start
        if found is None:
            return Outcome("unknown", (), seconds)
        if not found:
            return Outcome("none", (), seconds)
        return Outcome("found", self.read(found.__contains__), seconds)

    def read(self, holds: Callable[[int], bool]) -> tuple[Part, ...]:
        """The parts that an assignment chooses."""
        parts = []
        for cell, choices in self.world.options.items():
            for (kind, face), v in choices.items():
                if kind == "air" or not holds(v):
                    continue
                delay = None
                if kind == "buffer":
                    delay = next(d for d, w in self.world.delay[cell].items() if holds(w))
                parts.append(Part(cast(Kind, kind), cell, face, delay))
        return tuple(parts)

    def pin(self, parts: Iterable[Part]) -> list[int]:
        """Literals that together choose exactly these parts."""
        placed = {part.at: part for part in parts}
        literals = []
        for cell, choices in self.world.options.items():
            part = placed.get(cell)
            if part is None:
                literals.append(choices[("air", None)])
                continue
            literals.append(choices[(part.kind, part.face)])
            if part.delay is not None:
                literals.append(self.world.delay[cell][part.delay])
        return literals

    def refuse(self, parts: Iterable[Part]) -> None:
        """Never this very wiring again: the simulator does not accept it."""
        self.refused.append([-literal for literal in self.pin(parts)])


def _cp_sat(
    clauses: list[list[int]],
    used: list[int],
    most: int,
    count: int,
    budget_s: float,
    presolve: bool,
) -> set[int] | None:
    """The literals that hold, an empty set for "none", None where the budget did not do."""
    model = cp_model.CpModel()
    variables = [model.new_bool_var("") for _ in range(count)]
    negated = [~v for v in variables]

    def literal(x: int) -> cp_model.LiteralT:
        return variables[x - 1] if x > 0 else negated[-x - 1]

    for clause in clauses:
        model.add_bool_or([literal(x) for x in clause])
    model.add(sum(literal(x) for x in used) <= most)
    solver = cp_model.CpSolver()
    solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
    solver.parameters.max_time_in_seconds = budget_s
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = 1
    solver.parameters.interleave_search = True  # the same answer every time
    solver.parameters.cp_model_presolve = presolve
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return set()
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return {i + 1 for i, v in enumerate(variables) if solver.boolean_value(v)}


def _sat(engine: str, clauses: list[list[int]], used: list[int], most: int, count: int) -> set[int]:
    few = CardEnc.atmost(lits=used, bound=most, top_id=count, encoding=EncType.seqcounter)
    name = "cadical153" if engine == "cadical" else "glucose42"
    with Solver(name=name, bootstrap_with=[*clauses, *few.clauses]) as solver:
        if not solver.solve():
            return set()
        model = solver.get_model()
        assert model is not None
        return {literal for literal in model if literal > 0}


@dataclass(frozen=True)
class Best:
    """What a descent found: the best wiring accepted, and how many parts every wiring needs."""

    parts: tuple[Part, ...] | None
    bound: int
    """Proven for the task as posed; 0 where nothing was proven."""
    refusals: int
    seconds: float = 0.0
    """How long the proof took."""

    @property
    def proven(self) -> bool:
        """Whether no wiring in the box has fewer parts."""
        return self.parts is not None and len(self.parts) == self.bound


def fewest(
    problem: Problem,
    start: int,
    accept: Callable[[tuple[Part, ...]], bool],
    budget_s: float,
    log: Callable[[str], None],
    engine: Engine = "cadical",
) -> Best:
    """Lower the number of parts until nothing is left or the budget is spent."""
    best: tuple[Part, ...] | None = None
    most, refusals, end = start, 0, time.monotonic() + budget_s
    while (left := end - time.monotonic()) > 0:
        outcome = problem.decide(most, left, engine=engine)
        log(f"{problem.task.name}: at most {most}: {outcome.answer}, {outcome.seconds:.1f} s")
        if outcome.answer == "none":
            return Best(best, most + 1, refusals, outcome.seconds)
        if outcome.answer == "unknown":
            break
        if accept(outcome.parts):
            best, most = outcome.parts, len(outcome.parts) - 1
        else:
            refusals += 1
            log(f"  refused by the simulator: {outcome.parts}")
            problem.refuse(outcome.parts)
    return Best(best, 0, refusals)


__all__ = ["Best", "Engine", "Outcome", "Problem", "fewest"]
