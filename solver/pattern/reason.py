"""Wishes that cannot hold together -> the fewest of them that cannot.

The formula is clauses for a SAT solver, a switch for each wish, and shares no code with `design`.
What it comes to is asked of CP-SAT once more.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from itertools import count

from pysat.card import CardEnc, EncType
from pysat.formula import IDPool
from pysat.solvers import Solver

from models.pattern import Period, Pin, Share, Wish
from solver.pattern.design import best_pattern
from solver.pattern.turn import Spans, back_after, turned

Clause = list[int]


def fewest(
    spans: Spans, marks: str, blank: str, wishes: Sequence[Wish], deadline: float
) -> tuple[Wish, ...] | None:
    """A set of wishes that clash, none of them spare; None if the time runs out."""
    formula = _Formula(spans, marks)
    switches = [formula.switched(wish) for wish in wishes]
    with Solver(name="cadical153", bootstrap_with=formula.clauses) as solver:
        assert not solver.solve(assumptions=switches), "two solvers disagree about a pattern"
        core = list(solver.get_core() or [])
        at = 0
        while at < len(core):
            if time.monotonic() > deadline:
                return None
            rest = core[:at] + core[at + 1 :]
            if solver.solve(assumptions=rest):
                at += 1
            else:
                # Those before `at` are needed in every smaller core too.
                kept = set(solver.get_core() or [])
                core = [switch for switch in rest if switch in kept]
    found = tuple(wish for wish, switch in zip(wishes, switches, strict=True) if switch in core)
    answer, _ = best_pattern(spans, marks, blank, found, deadline)
    assert answer in ("none", "open"), "two solvers disagree about a reason"
    return found if answer == "none" else None


class _Formula:
    """Every block carries exactly one mark; a wish holds if its switch is on."""

    def __init__(self, spans: Spans, marks: str) -> None:
        self.spans, self.marks = spans, marks
        self.blocks = [block for span in spans for block in span]
        self._pool = IDPool()
        self.clauses: list[Clause] = []
        for block in self.blocks:
            literals = [self._carries(block, mark) for mark in marks]
            self.clauses += CardEnc.equals(
                literals, bound=1, vpool=self._pool, encoding=EncType.pairwise
            ).clauses
        self._numbers = count()

    def _carries(self, block: int, mark: str) -> int:
        return int(self._pool.id((block, mark)))

    def _new(self) -> int:
        return int(self._pool.id(("new", next(self._numbers))))

    def switched(self, wish: Wish) -> int:
        """Add a wish; gives its switch."""
        switch = self._new()
        self.clauses += [[-switch, *clause] for clause in self._clauses(wish)]
        return switch

    def _clauses(self, wish: Wish) -> list[Clause]:
        match wish.rule:
            case Pin(block, mark):
                return [[self._carries(block, mark)]]
            case Share(blocks, marks, low, high):
                literals = [self._carries(b, m) for b in sorted(blocks) for m in marks]
                return self._between(literals, low, high)
            case Period(presses):
                return self._period(presses)

    def _between(self, literals: list[int], low: int, high: int) -> list[Clause]:
        if low > len(literals):
            return [[]]
        clauses: list[Clause] = []
        if low > 0:
            clauses += CardEnc.atleast(literals, bound=low, vpool=self._pool).clauses
        if high < len(literals):
            clauses += CardEnc.atmost(literals, bound=high, vpool=self._pool).clauses
        return clauses

    def _period(self, presses: int) -> list[Clause]:
        if back_after(self.spans) % presses:
            return [[]]
        clauses = []
        for block, other in zip(self.blocks, turned(self.spans, presses), strict=True):
            for mark in self.marks:
                here, there = self._carries(block, mark), self._carries(other, mark)
                clauses += [[-here, there], [here, -there]]
        shorter = [d for d in range(1, presses) if presses % d == 0]
        return clauses + [clause for d in shorter for clause in self._changes(d)]

    def _changes(self, presses: int) -> list[Clause]:
        """Some block carries a mark that the one in its place after these presses does not."""
        clauses, some = [], []
        for block, other in zip(self.blocks, turned(self.spans, presses), strict=True):
            for mark in self.marks:
                new = self._new()
                some.append(new)
                clauses.append([-new, self._carries(block, mark)])
                clauses.append([-new, -self._carries(other, mark)])
        return [*clauses, some]
