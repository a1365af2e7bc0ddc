"""Lazy refusal of drives that meet, pair by pair."""

from __future__ import annotations

from itertools import combinations, product

from models.route import CornerOption, Route, RouteCut, RouteProblem
from solver.route.check import Clash


def clash_cuts(problem: RouteProblem, route: Route, clash: Clash | None) -> list[RouteCut]:
    """Where two drives of a route meet: every pair of options at those two cells that does."""
    if clash is None:
        return []
    at: dict[int, list[CornerOption]] = {}
    cells = {option.cell for option in route.corners}
    for option in problem.options:
        if option.cell in cells:
            at.setdefault(option.cell, []).append(option)
    return [
        RouteCut(dropped=frozenset(pair))
        for a, b in combinations(route.corners, 2)
        if disturb(a, b, clash)
        for pair in product(at[a.cell], at[b.cell])
        if disturb(*pair, clash)
    ]


def disturb(a: CornerOption, b: CornerOption, clash: Clash | None) -> bool:
    """Whether one of two drives disturbs the other."""
    return clash is not None and (clash(a, b) or clash(b, a))
