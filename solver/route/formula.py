"""A formula in plain lists: clauses, at-most-ones and linear rows over signed literals.

The rules of a route are written down once, here, and loaded into more than one solver. Literals
are non-zero integers, the negative one is the opposite; `TRUE` and `FALSE` are constants that
vanish as clauses are added.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

TRUE = 1
FALSE = -1

Clause = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Sum:
    """Constant plus weighted literals."""

    constant: int
    terms: tuple[tuple[int, int], ...]
    """(weight, literal), constants folded away."""

    def value(self, true: frozenset[int] | set[int]) -> int:
        """What it comes to where exactly the positive literals `true` hold."""
        return self.constant + sum(
            weight for weight, lit in self.terms if (lit in true if lit > 0 else -lit not in true)
        )


@dataclass(frozen=True, slots=True)
class Row:
    """low <= total <= high; a None side is open."""

    total: Sum
    low: int | None
    high: int | None


class Formula:
    """Grows by literals, clauses, groups and rows."""

    def __init__(self) -> None:
        self.variables = 1  # the first is TRUE
        self.clauses: list[Clause] = [(TRUE,)]
        self.at_most_one: list[tuple[int, ...]] = []
        self.rows: list[Row] = []
        self.hints: list[Row] = []
        """Rows that follow from the rest; only solvers with a linear relaxation want them."""
        self.contradiction = False

    def new(self) -> int:
        """A fresh literal."""
        self.variables += 1
        return self.variables

    def clause(self, *literals: int) -> None:
        """At least one of these holds."""
        if TRUE in literals:
            return
        kept = tuple([lit for lit in literals if lit != FALSE]) if FALSE in literals else literals
        if not kept:
            self.contradiction = True
        self.clauses.append(kept)

    def group(self, literals: Iterable[int]) -> None:
        """At most one of these holds; one that is listed twice cannot."""
        every = [lit for lit in literals if lit != FALSE]
        kept = list(dict.fromkeys(every))
        if len(kept) < len(every):
            for lit in kept:
                if every.count(lit) > 1:
                    self.clause(-lit)
        if len(kept) > 1:
            self.at_most_one.append(tuple(kept))

    def row(self, total: Sum, low: int | None, high: int | None, *, implied: bool = False) -> None:
        """A linear row; `implied` rows cut nothing off."""
        if not total.terms:
            if (low is not None and total.constant < low) or (
                high is not None and total.constant > high
            ):
                self.contradiction = True
            return
        (self.hints if implied else self.rows).append(Row(total, low, high))


def weighted(pairs: Iterable[tuple[int, int]], constant: int = 0) -> Sum:
    """A sum of (weight, literal), every literal once, constants folded."""
    weights: dict[int, int] = {}
    for weight, lit in pairs:
        if lit == TRUE:
            constant += weight
        elif lit != FALSE and weight:
            if lit < 0:  # w * not x = w - w * x
                constant += weight
                weights[-lit] = weights.get(-lit, 0) - weight
            else:
                weights[lit] = weights.get(lit, 0) + weight
    return Sum(constant, tuple((w, lit) for lit, w in sorted(weights.items()) if w))


def conjunction(formula: Formula, literals: Sequence[int]) -> int:
    """A literal that holds exactly where all of these do."""
    kept = sorted({lit for lit in literals if lit != TRUE}, key=abs)
    if FALSE in kept or any(-lit in kept for lit in kept):
        return FALSE
    if len(kept) <= 1:
        return kept[0] if kept else TRUE
    both = formula.new()
    for lit in kept:
        formula.clause(-both, lit)
    formula.clause(both, *(-lit for lit in kept))
    return both


def difference(formula: Formula, a: int, b: int) -> int:
    """A literal that holds exactly where `a` and `b` differ."""
    if a == b:
        return FALSE
    if a == -b:
        return TRUE
    for x, y in ((a, b), (b, a)):
        if x == FALSE:
            return y
        if x == TRUE:
            return -y
    diff = formula.new()
    formula.clause(-diff, a, b)
    formula.clause(-diff, -a, -b)
    formula.clause(diff, -a, b)
    formula.clause(diff, a, -b)
    return diff
