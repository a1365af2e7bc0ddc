"""Lazy cuts: a solution in several pieces is refused with clauses over faces.

The inside of one loop is one piece, and so is the outside. Wherever a solution breaks this, the
ring of faces round the stray piece must change sides somewhere.
"""

from __future__ import annotations

from collections.abc import Sequence

from models.route import RouteCut
from solver.route.formula import FALSE
from solver.route.rules import RouteFormula

FaceCut = tuple[tuple[int, bool], ...]
"""At least one of these faces is on the side named (True: inside)."""
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


def connectivity_cuts(model: RouteFormula, inside: Sequence[bool]) -> list[FaceCut]:
    """Clauses that refuse this solution; none if it is a single loop."""
    clauses: list[FaceCut] = []
    for side in (True, False):
        parts = [p for p in pieces(model, inside) if inside[p[0]] == side]
        if len(parts) < 2:
            continue
        home = max(parts, key=lambda p: (_anchored(model, p, side), len(p)))
        for piece in parts:
            if piece is not home:
                clauses += _join(model, piece, home, side)
    return list(dict.fromkeys(clauses))


def _anchored(model: RouteFormula, piece: list[int], side: bool) -> int:
    """2 for a piece that is on its side for certain, 1 beside a required cell, else 0."""
    if not _certain(model, side).isdisjoint(piece):
        return 2
    return 1 if _required_at(model, piece) else 0


def _certain(model: RouteFormula, side: bool) -> frozenset[int]:
    """Faces that the problem itself puts on a side (a formula under caps knows too many)."""
    problem = model.problem
    if not side:
        return problem.outside_faces
    sectors = model.tables.sectors[problem.around] if problem.around is not None else None
    return problem.inside_faces.union(sectors or ())


def _required_at(model: RouteFormula, piece: list[int]) -> list[int]:
    here = set(piece)
    return [
        cell
        for cell in sorted(model.problem.required)
        if here.intersection(model.tables.sectors[cell] or ())
    ]


def _join(model: RouteFormula, piece: list[int], home: list[int], side: bool) -> list[FaceCut]:
    """The stray piece is given up, or a face of the ring round it comes over."""
    here = set(piece)
    ring = {g for f in piece for g in model.tables.touching[f]} - here
    elsewhere = _elsewhere(model, here, home, side)
    opened = (*((f, side) for f in sorted(ring)), *elsewhere)
    closed = here | ring
    for cell in _required_at(model, piece):
        if closed.issuperset(model.tables.sectors[cell] or ()):
            return [opened]
    strays = list({model.face[f]: f for f in reversed(piece)}.values())[::-1]
    return [(*opened, (f, not side)) for f in strays[:FEW]]


def _elsewhere(
    model: RouteFormula, here: set[int], home: list[int], side: bool
) -> tuple[tuple[int, bool], ...]:
    """What must fail for nothing to be on this side outside the stray piece."""
    if not _certain(model, side).isdisjoint(home):
        return ()
    for cell in sorted(model.problem.required):
        if not here.intersection(model.tables.sectors[cell] or ()):
            return ()  # a required cell has a face on either side
    return ((home[0], not side),)


def post_face_cut(model: RouteFormula, cut: FaceCut) -> None:
    """A face cut as a clause of this formula."""
    model.formula.clause(*(model.face[f] if side else -model.face[f] for f, side in cut))


def post_route_cut(model: RouteFormula, cut: RouteCut) -> None:
    """A refusal as a clause of this formula; options that it leaves out are false."""
    tape, option = model.tape, model.option
    model.formula.clause(
        *(tape[cell] for cell in sorted(cut.tape)),
        *(-tape[cell] for cell in sorted(cut.bare)),
        *(option.get(o, FALSE) for o in cut.chosen),
        *(-option.get(o, FALSE) for o in cut.dropped),
    )
