"""The search: a mechanism for a passage, with few rams, or the proof that there is none."""

from __future__ import annotations

from pysat.card import CardEnc, EncType
from pysat.solvers import Cadical195

from models.passage import Mechanism, NoMechanism, Passage, PlannedRam
from solver.passage.strokes import Strokes

PLENTY = 12
"""Rams with which the search for few begins, where any number would do."""


def mechanism(passage: Passage, steps: int, most: int | None = None) -> Mechanism | NoMechanism:
    """Rams, at most `most`, and their strokes that do it in `steps` steps, if there are any.

    The answer "no mechanism" is a proof for these whole strokes and these cells. It may take
    long where the box is large; boxes of 5 x 5 x 5 take seconds.
    """
    strokes = Strokes(passage, steps)
    clauses = strokes.clauses
    rams = list(strokes.ram.values())
    extra = (
        []
        if most is None
        else CardEnc.atmost(rams, most, top_id=clauses.count, encoding=EncType.seqcounter).clauses
    )
    with Cadical195(bootstrap_with=[*clauses.clauses, *extra]) as solver:
        if not solver.solve():
            return "no mechanism"
        true = {literal for literal in solver.get_model() or () if literal > 0}
    found = tuple(
        PlannedRam(
            at,
            face,
            grip=strokes.grip[at, face] in true,
            extended=tuple(strokes.out[(at, face), t] in true for t in strokes.times),
        )
        for (at, face), stands in strokes.ram.items()
        if stands in true
    )
    enters_at = next(t for t, literal in enumerate(strokes.entering) if literal in true)
    return Mechanism(found, enters_at, fewest=False)


def fewest_rams(passage: Passage, steps: int) -> Mechanism | NoMechanism:
    """A mechanism with as few rams as do it in `steps` steps, proven; or the proof of none."""
    best = mechanism(passage, steps, PLENTY)
    if best == "no mechanism":
        return mechanism(passage, steps)
    while True:
        fewer = mechanism(passage, steps, len(best.rams) - 1)
        if fewer == "no mechanism":
            return Mechanism(best.rams, best.enters_at, fewest=True)
        best = fewer
