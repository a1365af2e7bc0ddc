"""A formula in clauses, built bottom-up, with constants folded away and equal terms shared.

Literals are integers as in the DIMACS format: `v` or `-v`. `TRUE` is a variable fixed by a unit
clause, so that any SAT solver can read the formula; CP-SAT and a pure SAT solver get the same one.
"""

from __future__ import annotations

from collections.abc import Iterable

TRUE = 1
FALSE = -1


class Clauses:
    """Clauses and the terms defined so far."""

    def __init__(self) -> None:
        self.count = 1
        self.clauses: list[list[int]] = [[TRUE]]
        self._terms: dict[tuple[int, ...], int] = {}

    def new(self) -> int:
        """A fresh variable."""
        self.count += 1
        return self.count

    def add(self, *literals: int) -> None:
        """At least one of the literals holds."""
        kept: set[int] = set()
        for literal in literals:
            if literal == TRUE or -literal in kept:
                return
            if literal != FALSE:
                kept.add(literal)
        self.clauses.append(sorted(kept))

    def imply(self, if_all: Iterable[int], *then_any: int) -> None:
        """If all of the first hold, one of the others does."""
        self.add(*(-literal for literal in if_all), *then_any)

    def all(self, *literals: int) -> int:
        """A literal that holds exactly if all of these do."""
        kept: set[int] = set()
        for literal in literals:
            if literal == FALSE or -literal in kept:
                return FALSE
            if literal != TRUE:
                kept.add(literal)
        if not kept:
            return TRUE
        if len(kept) == 1:
            return kept.pop()
        key = tuple(sorted(kept))
        if key not in self._terms:
            self._terms[key] = term = self.new()
            for literal in key:
                self.clauses.append([-term, literal])
            self.clauses.append([term, *(-literal for literal in key)])
        return self._terms[key]

    def any(self, *literals: int) -> int:
        """A literal that holds exactly if one of these does."""
        return -self.all(*(-literal for literal in literals))

    def differ(self, a: int, b: int) -> int:
        """A literal that holds exactly if the two have different values."""
        return self.any(self.all(a, -b), self.all(-a, b))

    def choose(self, condition: int, then: int, otherwise: int) -> int:
        """`then` where the condition holds, else `otherwise`."""
        return self.any(self.all(condition, then), self.all(-condition, otherwise))

    def exactly_one(self, literals: list[int]) -> None:
        """One and only one holds (pairwise: the lists are short)."""
        self.add(*literals)
        self.at_most_one(literals)

    def at_most_one(self, literals: list[int]) -> None:
        """No two hold at once."""
        for i, a in enumerate(literals):
            for b in literals[:i]:
                self.add(-a, -b)
