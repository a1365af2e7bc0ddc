"""The search: a mechanism for a passage, with few rams, or the proof that there is none."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import replace
from itertools import combinations
from typing import Self

from pysat.card import ITotalizer
from pysat.solvers import Cadical195

from models.geometry import FACES, Cell, step
from models.passage import Mechanism, NoMechanism, Passage, PlannedRam
from solver.design.clauses import FALSE
from solver.passage.strokes import Ram, Strokes

PLENTY = 14
"""Rams with which the search for few begins, where any number would do."""
MOST_PULSES = 60
"""Pulses up to which they are counted."""


def mechanism(passage: Passage, steps: int, most: int | None = None) -> Mechanism | NoMechanism:
    """Rams, at most `most`, and their strokes that do it in `steps` steps, if there are any.

    The answer "no mechanism" is a proof for these cells and so many steps. It may take
    long where the box is large; boxes of 5 x 5 x 5 take seconds.
    """
    with _Search(Strokes(passage, steps)) as search:
        return search.solved(most)


def fewest_rams(passage: Passage, steps: int) -> Mechanism | NoMechanism:
    """A mechanism with as few rams as do it in `steps` steps, proven; or the proof of none."""
    with _Search(Strokes(passage, steps)) as search:
        return search.fewest()


def pulse_trains(
    passage: Passage,
    steps: int,
    apart: int,
    barred: Set[Cell] = frozenset(),
    lined: Set[Cell] = frozenset(),
) -> Iterator[Mechanism]:
    """The fewest rams that do it if each gets the same pulses twice, the second time `apart` later.

    So a trigger fires them that gives one pulse when it is pressed and one when it is let go:
    all rams rest in, and a ram's pulses lie in the first `steps` steps. The
    block that comes in and the one that goes out do so in one step, so that such
    passages make a ring. Of two rams, one right above the other along y, neither has a pulse
    without the other: overhead pickup changes nothing then. To every ram two cells in line lead
    that hold nothing at any time, have no ram below, along y, and are not barred: something can
    come there that fires it. To one with two pulses in a train they lead from two sides. Rams in
    cells that are lined have a pulse in the first step and no other. Those with the fewest
    pulses of all with the fewest rams come one after the other, each with other rams.
    """
    strokes = Strokes(passage, steps + apart, levels=False)
    twice = _trains(strokes, steps, apart, lined)
    _overheard(strokes)
    _reachable(strokes, twice, barred)
    for t in strokes.moves:
        leaves = strokes.goes(*passage.leaves, t)
        strokes.clauses.imply([strokes.entering[t]], leaves if 0 < t < apart else FALSE)
    with _Search(strokes) as search:
        best = search.fewest()
        if best == "no mechanism":
            return
        sure = best.fewest
        while True:
            pulses = sum(sum(ram.pulses) for ram in best.rams)
            fewer = search.solved(len(best.rams), pulses - 1)
            if fewer == "no mechanism":
                break
            best = fewer
        found: Mechanism | NoMechanism = best
        while found != "no mechanism":
            yield replace(found, fewest=sure)
            search.without(found)
            found = search.solved(len(best.rams), pulses)


def _trains(strokes: Strokes, steps: int, apart: int, lined: Set[Cell]) -> Mapping[Ram, int]:
    """Each ram's pulses come twice; for every ram, whether a train has several."""
    clauses, several = strokes.clauses, {}
    for ram in strokes.ram:
        train = [clauses.new() for _ in range(steps)]
        pairs = (clauses.all(a, b) for a, b in combinations(train, 2))
        several[ram] = clauses.any(*pairs)
        for literal in train[1:] if ram[0] in lined else ():
            clauses.imply([strokes.ram[ram], literal], FALSE)
        for t in strokes.moves:
            sources = [train[u] for u in (t, t - apart) if 0 <= u < steps]
            pulse = strokes.pulse[ram, t]
            clauses.imply([pulse], *(sources or [FALSE]))
            for source in sources:
                clauses.imply([source], pulse)
    return several


def _overheard(strokes: Strokes) -> None:
    """A ram right above another one, along y, has its pulses and no others."""
    clauses = strokes.clauses
    for (cell, face), stands in strokes.ram.items():
        for other in [ram for ram in strokes.ram if ram[0] == step(cell, "+y")]:
            both = [stands, strokes.ram[other]]
            for t in strokes.moves:
                one, two = strokes.pulse[(cell, face), t], strokes.pulse[other, t]
                clauses.imply([*both, one], two)
                clauses.imply([*both, two], one)


def _reachable(strokes: Strokes, twice: Mapping[Ram, int], barred: Set[Cell]) -> None:
    """Every ram that stands can be fired: a sensor before it and one before that have room.

    One that gets two pulses in one train is fired from two sides.
    """
    passage, clauses = strokes.passage, strokes.clauses
    fronts: dict[Cell, list[int]] = {}
    for ram, stands in strokes.ram.items():
        fronts.setdefault(step(*ram), []).append(stands)

    def clear(cell: Cell) -> int:
        if cell not in passage.hidden or cell in barred:
            return FALSE
        blocks = [strokes.block[cell, t] for t in strokes.times]
        rams = [*strokes.rams_in(cell), *strokes.rams_in(step(cell, "-y"))]
        return -clauses.any(*rams, *fronts.get(cell, ()), *blocks)

    for (at, face), stands in strokes.ram.items():
        sides = [side for side in FACES if side != face]
        ways = [clauses.all(clear(step(at, side)), clear(step(at, side, 2))) for side in sides]
        clauses.imply([stands], *ways)
        for k in range(len(ways)):
            clauses.imply([stands, twice[at, face]], *ways[:k], *ways[k + 1 :])


class _Search:
    """A solver that keeps what it learns from one bound to the next."""

    def __init__(self, strokes: Strokes) -> None:
        self.strokes = strokes
        counted = list(strokes.ram.values()), list(strokes.pulse.values())
        self._solver = Cadical195(bootstrap_with=strokes.clauses.clauses)
        self._counts: list[ITotalizer] = []
        top = strokes.clauses.count
        for literals, most in zip(counted, (PLENTY, MOST_PULSES), strict=True):
            count = ITotalizer(literals, min(most, len(literals) - 1), top_id=top)
            self._solver.append_formula(count.cnf.clauses)
            self._counts.append(count)
            top = max(top, count.top_id)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        self._solver.delete()
        for count in self._counts:
            count.delete()

    def fewest(self) -> Mechanism | NoMechanism:
        """With the fewest rams, proven."""
        best = self.solved(PLENTY)
        if best == "no mechanism":
            best = self.solved()
            # More than one too many: how many there must be is not counted.
            return (
                best
                if best == "no mechanism"
                else replace(best, fewest=len(best.rams) == PLENTY + 1)
            )
        while True:
            fewer = self.solved(len(best.rams) - 1)
            if fewer == "no mechanism":
                return replace(best, fewest=True)
            best = fewer

    def without(self, known: Mechanism) -> None:
        """Nothing that has all the rams of this one from here on."""
        rams = [self.strokes.ram[ram.at, ram.face] for ram in known.rams]
        self._solver.add_clause([-literal for literal in rams])

    def solved(self, rams: int | None = None, pulses: int | None = None) -> Mechanism | NoMechanism:
        """With so many at most."""
        most = zip(self._counts, (rams, pulses), strict=True)
        bounds = [
            -count.rhs[bound]
            for count, bound in most
            if bound is not None and bound < len(count.rhs)
        ]
        if not self._solver.solve(assumptions=bounds):
            return "no mechanism"
        true = {literal for literal in self._solver.get_model() or () if literal > 0}
        strokes = self.strokes
        found = tuple(
            PlannedRam(
                at,
                face,
                grip=strokes.grip[at, face] in true,
                extended=tuple(strokes.out[(at, face), t] in true for t in strokes.times),
                pulses=tuple(strokes.pulse[(at, face), t] in true for t in strokes.moves),
            )
            for (at, face), stands in strokes.ram.items()
            if stands in true
        )
        enters_at = next(t for t, literal in enumerate(strokes.entering) if literal in true)
        ways = frozenset(c for (c, _, _), literal in strokes.label.items() if literal in true)
        return Mechanism(found, enters_at, fewest=False, ways=ways)
