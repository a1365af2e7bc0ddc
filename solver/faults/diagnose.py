"""The fault finder: from what is seen of a built machine to the place where it was built wrong.

Candidates are places, each with the mistakes that may have been made there: who goes and looks
sees which. They are ranked by how well the simulated symptoms fit what was seen. Builders err, so
a symptom that does not fit makes a candidate less likely, not impossible.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from math import log2
from typing import NamedTuple

from models.geometry import Cell
from models.single_fault import SingleFault
from models.symptom import ON_TAPE, Answer, Dictionary, Entry, Observable

MISSEEN = 0.02
"""How often a builder sees something that is not so, or not what is."""
UNLIKELY = 1e-3
"""Candidates this much less likely than the best one do not steer the questions."""


class Candidate(NamedTuple):
    """A place where something may be built wrong, and how likely: the shares add up to 1."""

    at: Cell
    share: float
    faults: tuple[SingleFault, ...]
    """The mistakes that explain what was seen, the likeliest first."""
    alike: int
    """How many places explain it exactly as well, this one counted."""


class Question(NamedTuple):
    """What to look at next."""

    observable: Observable | None
    """None: look whether the part in `at` is built as planned."""
    at: Cell
    gain: float
    """Bits of information that the answer is expected to bring."""


@dataclass(frozen=True)
class Findings:
    """All that was looked at so far."""

    answers: tuple[Answer, ...] = ()
    inspected: tuple[tuple[Cell, bool], ...] = ()
    """Places looked at, and whether they are built as planned."""


class Finder:
    """Ranks the single faults of a dictionary, and chooses what to ask."""

    def __init__(self, dictionary: Dictionary) -> None:
        self.dictionary = dictionary
        self._bit = {o: 1 << i for i, o in enumerate(dictionary.observables)}
        looks: dict[int, int] = defaultdict(int)
        for entry in dictionary.entries:
            looks[entry.fault] += 1
        faults_at: dict[Cell, int] = defaultdict(int)
        for fault in dictionary.faults:
            faults_at[fault.at] += 1
        # Every place is as likely as any other, then every mistake there, then every look of it.
        self._prior = {
            entry: 1 / looks[entry.fault] / faults_at[dictionary.faults[entry.fault].at]
            for entry in dictionary.entries
        }

    def knows(self, observable: Observable) -> bool:
        """Whether there is such a thing to look at in this machine."""
        return observable in self._bit

    def tape_answers(self, told: Iterable[Answer]) -> tuple[Answer, ...]:
        """What was told, and "not so" for all of the tape that was not mentioned."""
        given = tuple(told)
        named = {answer.observable for answer in given}
        rest = [o for o in self.dictionary.observables if o.sight in ("proud", "sunk", "empty")]
        return given + tuple(Answer(o, False) for o in rest if o not in named)

    def _weights(self, findings: Findings) -> dict[Entry, float]:
        """How likely each entry is, the best one 1."""
        care = want = 0
        for observable, seen in findings.answers:
            care |= self._bit[observable]
            want |= self._bit[observable] if seen else 0
        inspected = dict(findings.inspected)
        odds = MISSEEN / (1 - MISSEEN)
        weights = {}
        for entry, prior in self._prior.items():
            wrong = ((entry.seen ^ want) & care).bit_count()
            place = self.dictionary.faults[entry.fault].at
            if inspected:
                wrong += inspected.get(place, False) + (
                    not all(inspected.values()) and inspected.get(place, True)
                )
            weights[entry] = prior * odds**wrong
        best = max(weights.values(), default=1.0)
        return {entry: weight / best for entry, weight in weights.items()}

    def rank(self, findings: Findings) -> list[Candidate]:
        """All places, the likeliest first."""
        weights = self._weights(findings)
        total = sum(weights.values()) or 1.0
        at: dict[Cell, dict[int, float]] = defaultdict(lambda: defaultdict(float))
        for entry, weight in weights.items():
            at[self.dictionary.faults[entry.fault].at][entry.fault] += weight
        share = {cell: sum(faults.values()) / total for cell, faults in at.items()}
        order = sorted(share, key=lambda cell: (-share[cell], cell))
        fits = self._fits(weights)
        found = []
        for cell in order:
            numbers = sorted(at[cell], key=lambda n: (-at[cell][n], n))
            likely = [n for n in numbers if at[cell][n] > UNLIKELY * at[cell][numbers[0]]]
            faults = tuple(self.dictionary.faults[n] for n in likely)
            found.append(Candidate(cell, share[cell], faults, len(fits[cell])))
        return found

    def _fits(self, weights: dict[Entry, float]) -> dict[Cell, set[Cell]]:
        """For each place, those that share its likeliest symptoms and so cannot be told from it."""
        best: dict[Cell, Entry] = {}
        for entry in weights:
            cell = self.dictionary.faults[entry.fault].at
            if cell not in best or weights[entry] > weights[best[cell]]:
                best[cell] = entry
        alike: dict[int, set[Cell]] = defaultdict(set)
        for entry in weights:
            alike[entry.seen].add(self.dictionary.faults[entry.fault].at)
        return {cell: alike[entry.seen] for cell, entry in best.items()}

    def next_question(self, findings: Findings) -> Question | None:
        """What to look at next: what splits the candidates best; None if nothing splits them."""
        weights = self._weights(findings)
        live = {e: w for e, w in weights.items() if w > UNLIKELY}
        if len({self.dictionary.faults[e.fault].at for e in live}) < 2:
            return None
        answered = {answer.observable for answer in findings.answers}
        on_tape = not answered and len(live) > 500
        best = Question(None, (0, 0, 0), 0.0)
        masses = self._masses(live)
        for observable, bit in self._bit.items():
            if observable in answered or (on_tape and observable.sight not in ON_TAPE):
                continue
            gain = _gain(masses, bit)
            if gain > best.gain + 1e-9:
                best = Question(observable, observable.at, gain)
        if best.gain > 0.1:
            return best
        return self._inspection(masses, findings) or (best if best.gain > 0 else None)

    def _masses(self, live: dict[Entry, float]) -> list[tuple[int, Cell, float]]:
        """(symptoms, place, weight), summed and adding up to 1."""
        mass: dict[tuple[int, Cell], float] = defaultdict(float)
        for entry, weight in live.items():
            mass[entry.seen, self.dictionary.faults[entry.fault].at] += weight
        total = sum(mass.values())
        return [(seen, cell, weight / total) for (seen, cell), weight in mass.items()]

    def _inspection(
        self, masses: list[tuple[int, Cell, float]], findings: Findings
    ) -> Question | None:
        """No symptom tells them apart any more: look at the likeliest place itself."""
        share: dict[Cell, float] = defaultdict(float)
        for _, cell, weight in masses:
            share[cell] += weight
        for cell, _ in findings.inspected:
            share.pop(cell, None)
        if not share:
            return None
        cell = max(share, key=lambda c: (share[c], c))
        p = min(share[cell], 1 - 1e-12)
        return Question(None, cell, -p * log2(p) - (1 - p) * log2(1 - p))


def _gain(masses: list[tuple[int, Cell, float]], bit: int) -> float:
    """How much less uncertain the place is once the observable is known, in bits."""
    yes: dict[Cell, float] = defaultdict(float)
    no: dict[Cell, float] = defaultdict(float)
    for seen, cell, weight in masses:
        (yes if seen & bit else no)[cell] += weight
    if not yes or not no:
        return 0.0
    both = dict(no)
    for cell, weight in yes.items():
        both[cell] = both.get(cell, 0.0) + weight
    return _spread(both) - _spread(yes) - _spread(no)


def _spread(mass: dict[Cell, float]) -> float:
    """Entropy, times the total weight."""
    total = sum(mass.values())
    return sum(-w * log2(w / total) for w in mass.values() if w > 0)
