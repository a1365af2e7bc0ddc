"""Sums as clauses: totalizers for counts, merged into graded sums for weighted ones.

An output literal says "at least so much". Where both directions are asked for it holds exactly
then; else it is only forced when the sum is reached, which is all an upper bound needs.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from solver.route.formula import FALSE, TRUE, Formula

SMALL_GROUP = 5


def count(formula: Formula, literals: Sequence[int], cap: int, *, exact: bool) -> list[int]:
    """Outputs[i]: at least i + 1 of the literals hold, for i below `cap`."""
    level = [[lit] for lit in literals if lit != FALSE]
    while len(level) > 1:
        merged = [
            _merge(formula, level[i], level[i + 1], cap, exact) for i in range(0, len(level) - 1, 2)
        ]
        level = merged + level[len(level) - len(level) % 2 :]
    return level[0][:cap] if level else []


def _merge(formula: Formula, a: list[int], b: list[int], cap: int, exact: bool) -> list[int]:
    size = min(len(a) + len(b), cap)
    out = [formula.new() for _ in range(size)]
    for x in range(len(a) + 1):
        for y in range(min(len(b), size - x) + 1):
            if x + y:
                parts = [-a[x - 1]] if x else []
                parts += [-b[y - 1]] if y else []
                formula.clause(out[x + y - 1], *parts)
            if exact and x + y < size:
                parts = [a[x]] if x < len(a) else []
                parts += [b[y]] if y < len(b) else []
                formula.clause(-out[x + y], *parts)
    for i in range(1, size):
        formula.clause(-out[i], out[i - 1])
    return out


def at_most_one(formula: Formula, literals: Sequence[int]) -> None:
    """Pairs for a few, a chain of small groups for many."""
    rest = list(literals)
    while len(rest) > SMALL_GROUP:
        head, rest = rest[: SMALL_GROUP - 1], rest[SMALL_GROUP - 1 :]
        link = formula.new()
        for lit in head:
            formula.clause(-lit, link)
        _pairs(formula, head)
        rest.append(link)
    _pairs(formula, rest)


def _pairs(formula: Formula, literals: Sequence[int]) -> None:
    for i, a in enumerate(literals):
        for b in literals[:i]:
            formula.clause(-a, -b)


@dataclass(frozen=True, slots=True)
class Graded:
    """A weighted sum: `outputs[i]` is forced when the sum is `values[i]` or more."""

    base: int
    """What the sum is at least."""
    values: tuple[int, ...]
    """All sums above the base that could occur, up to the first above the cap."""
    outputs: tuple[int, ...]

    def above(self, value: int) -> int:
        """The literal for a sum greater than `value`; FALSE if that cannot be."""
        place = bisect_right(self.values, value)
        return self.outputs[place] if place < len(self.outputs) else FALSE

    def next_above(self, value: int) -> int:
        """The least sum above `value` that could occur, as far as this sum is spelled out."""
        return next((v for v in self.attainable() if v > value), value + 1)

    def attainable(self) -> tuple[int, ...]:
        """All sums that could occur, the base included."""
        return (self.base, *self.values)

    def reaching(self, value: int) -> int:
        """The literal for a sum of at least `value`, or of all that is spelled out."""
        if value <= self.base:
            return TRUE
        lit = self.above(value - 1)
        return self.outputs[-1] if lit == FALSE and self.outputs else lit


def graded(
    formula: Formula, counts: Sequence[tuple[int, Sequence[int]]], base: int, cap: int
) -> Graded:
    """The sum of weight x count over unary counts, exact up to the first value above `cap`."""
    total: list[tuple[int, int]] = []  # (value above base, literal), rising
    room = cap - base
    for weight, unary in counts:
        steps = [(weight * (i + 1), lit) for i, lit in enumerate(unary)]
        total = _sum(formula, total, steps, room) if total else _clip(steps, room)
    return Graded(base, tuple(base + v for v, _ in total), tuple(lit for _, lit in total))


def _clip(steps: list[tuple[int, int]], room: int) -> list[tuple[int, int]]:
    kept = [step for step in steps if step[0] <= room]
    return kept + steps[len(kept) : len(kept) + 1]


def _sum(
    formula: Formula, a: list[tuple[int, int]], b: list[tuple[int, int]], room: int
) -> list[tuple[int, int]]:
    values = sorted({x + y for x, _ in [(0, 0), *a] for y, _ in [(0, 0), *b]} - {0})
    within = [v for v in values if v <= room]
    values = within + values[len(within) : len(within) + 1]
    out = {v: formula.new() for v in values}
    most = values[-1]
    for x, p in [(0, TRUE), *a]:
        for y, q in [(0, TRUE), *b]:
            if x + y:
                formula.clause(out[min(x + y, most)], -p, -q)
            if x + y >= most:
                break
    for low, high in pairwise(values):
        formula.clause(-out[high], out[low])
    return [(v, out[v]) for v in values]
