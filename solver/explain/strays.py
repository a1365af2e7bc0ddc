"""Connectivity cuts that say which required cells they lean on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from solver.route.cuts import FaceCut, pieces
from solver.route.rules import RouteFormula

FEW = 6
"""Into how many of its faces a stray piece without a required cell is cut at once."""


@dataclass(frozen=True, slots=True)
class StrayCut:
    """At least one of these faces is on the side named, while the requirements named hold."""

    faces: FaceCut
    names: frozenset[str]


def stray_cuts(
    model: RouteFormula, inside: Sequence[bool], wanted: Mapping[int, str]
) -> list[StrayCut]:
    """Clauses that refuse a solution in several pieces; none if it is one loop.

    `wanted`: the required cells and the names of their requirements.
    """
    cuts: list[StrayCut] = []
    for side in (True, False):
        parts = [p for p in pieces(model, inside) if inside[p[0]] == side]
        sure = _sure(model, side)
        home = max(parts, key=lambda p: (not sure.isdisjoint(p), len(p)), default=[])
        for piece in parts:
            if piece is not home:
                cuts += _join(model, piece, home, side, wanted)
    return cuts


def _sure(model: RouteFormula, side: bool) -> frozenset[int]:
    return model.problem.inside_faces if side else model.problem.outside_faces


def _join(
    model: RouteFormula,
    piece: list[int],
    home: list[int],
    side: bool,
    wanted: Mapping[int, str],
) -> list[StrayCut]:
    """The stray piece goes, or a face of the ring round it comes over, or nothing is elsewhere."""
    here = set(piece)
    ring = {g for f in piece for g in model.tables.touching[f]} - here
    opened: FaceCut = tuple((f, side) for f in sorted(ring))
    leans: set[str] = set()
    if _sure(model, side).isdisjoint(home):
        cell = next((c for c in sorted(wanted) if not here.intersection(_at(model, c))), None)
        if cell is None:
            opened = (*opened, (home[0], not side))
        else:
            leans.add(wanted[cell])  # it has a face on either side, so there is one elsewhere
    closed = here | ring
    for cell in sorted(wanted):
        if closed.issuperset(_at(model, cell)) and here.intersection(_at(model, cell)):
            return [StrayCut(opened, frozenset(leans | {wanted[cell]}))]
    strays = list({model.face[f]: f for f in reversed(piece)}.values())[::-1]
    return [StrayCut((*opened, (f, not side)), frozenset(leans)) for f in strays[:FEW]]


def _at(model: RouteFormula, cell: int) -> tuple[int, ...]:
    return model.tables.sectors[cell] or ()
