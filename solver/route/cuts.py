"""Lazy cuts: a solution in several pieces is refused with clauses over faces.

The inside of one loop is one piece, and so is the outside. Wherever a solution breaks this, the
ring of faces round the stray piece must change sides somewhere.
"""

from __future__ import annotations

from collections.abc import Sequence

from solver.route.formula import FALSE, TRUE
from solver.route.rules import RouteFormula

FEW = 6
"""Into how many of its faces a stray piece without a required cell is cut at once."""


def pieces(model: RouteFormula, inside: Sequence[bool]) -> list[list[int]]:
    """The connected pieces of faces on one side, each sorted."""
    piece_of = [-1] * len(inside)
    found: list[list[int]] = []
    for start in range(len(inside)):
        if piece_of[start] >= 0:
            continue
        piece_of[start] = len(found)
        piece = [start]
        for f in piece:
            for g in model.tables.touching[f]:
                if piece_of[g] < 0 and inside[g] == inside[start]:
                    piece_of[g] = len(found)
                    piece.append(g)
        found.append(sorted(piece))
    return found


def connectivity_cuts(model: RouteFormula, inside: Sequence[bool]) -> list[list[int]]:
    """Clauses that refuse this solution; none if it is a single loop."""
    clauses: list[list[int]] = []
    for side in (True, False):
        parts = [p for p in pieces(model, inside) if inside[p[0]] == side]
        if len(parts) < 2:
            continue
        home = max(parts, key=lambda p: (_anchored(model, p, side), len(p)))
        for piece in parts:
            if piece is not home:
                clauses += _join(model, piece, home, side)
    return [list(clause) for clause in dict.fromkeys(map(tuple, clauses))]


def _anchored(model: RouteFormula, piece: list[int], side: bool) -> int:
    """2 for a piece that is on its side for certain, 1 beside a required cell, else 0."""
    certain = TRUE if side else FALSE
    if any(model.face[f] == certain for f in piece):
        return 2
    return 1 if _required_at(model, piece) else 0


def _required_at(model: RouteFormula, piece: list[int]) -> list[int]:
    here = set(piece)
    return [
        cell
        for cell in sorted(model.problem.required)
        if here.intersection(model.tables.sectors[cell] or ())
    ]


def _join(model: RouteFormula, piece: list[int], home: list[int], side: bool) -> list[list[int]]:
    """The stray piece is given up, or a face of the ring round it comes over."""
    sign = 1 if side else -1
    here = set(piece)
    ring = {g for f in piece for g in model.tables.touching[f]} - here
    opened = sorted({sign * model.face[g] for g in ring})
    elsewhere = _elsewhere(model, here, home, sign)
    closed = here | ring
    for cell in _required_at(model, piece):
        if closed.issuperset(model.tables.sectors[cell] or ()):
            return [opened + elsewhere]
    strays = sorted({sign * model.face[f] for f in piece})
    return [[*opened, *elsewhere, -lit] for lit in strays[:FEW]]


def _elsewhere(model: RouteFormula, here: set[int], home: list[int], sign: int) -> list[int]:
    """What must fail for nothing to be on this side outside the stray piece."""
    certain = TRUE if sign > 0 else FALSE
    if any(model.face[f] == certain for f in home):
        return []
    for cell in sorted(model.problem.required):
        if not here.intersection(model.tables.sectors[cell] or ()):
            return []  # a required cell has a face on either side
    return [-sign * model.face[home[0]]]
