"""Rules that hold only while a switch is on."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from models.route import RouteProblem
from solver.route.formula import TRUE, Formula
from solver.route.rules import RouteFormula


class GuardedFormula(Formula):
    """Hands clauses on to another formula, each with the way out that a switch is off."""

    def __init__(self, inner: Formula, switches: Iterable[int]) -> None:
        super().__init__()
        self.inner, self.off = inner, tuple(-switch for switch in switches)

    def new(self) -> int:
        """A fresh literal of the inner formula."""
        return self.inner.new()

    def clause(self, *literals: int) -> None:
        """At least one of these holds, or a switch is off."""
        if TRUE not in literals:
            self.inner.clause(*literals, *self.off)


def post_under(
    model: RouteFormula,
    switches: Iterable[int],
    problem: RouteProblem,
    *rules: Callable[[RouteFormula], None],
) -> None:
    """Post rules as `problem` has them, in force while all switches are on."""
    guarded = replace(model, problem=problem, formula=GuardedFormula(model.formula, switches))
    for rule in rules:
        rule(guarded)
