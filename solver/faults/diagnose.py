"""The fault finder: from what is seen of a built machine to the place where it was built wrong.

Candidates are places, each with the mistakes that may have been made there: who goes and looks
sees which. They are ranked by how well the simulated symptoms fit what was seen. Builders err, so
a symptom that does not fit makes a candidate less likely, not impossible.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np

from models.geometry import Cell
from models.single_fault import SingleFault
from models.symptom import AFTER, Answer, Dictionary, Entry, Findings, Observable

MISSEEN = 0.02
"""How often a builder sees something that is not so, or not what is."""
MIXED_UP = 0.5
"""A hole told as empty where a block lies sunk in it, or the other way round, as a share of a
sight that is not so."""
UNLIKELY = 1e-3
"""Candidates this much less likely than the best one do not steer the questions."""
VISIT_PAYS = 0.1
"""Bits below which a symptom is not worth a question if a visit to a place tells more."""
NAMED = 3
"""How many places are named in the end: the last question is chosen by these."""
CHUNK = 128
"""Questions weighed at once, to bound the memory."""
EPSILON = 1e-9

Matrix = np.ndarray[Any, np.dtype[np.float64]]
Bits = np.ndarray[Any, np.dtype[Any]]


class Candidate(NamedTuple):
    """A place where something may be built wrong, and how likely: the shares add up to 1."""

    at: Cell
    share: float
    faults: tuple[SingleFault, ...]
    """The mistakes that explain what was seen, the likeliest first."""
    alike: int
    """How many places explain it exactly as well, this one counted."""
    unexplained: tuple[Answer, ...] = ()
    """What was seen, or taken to be so, that would look otherwise with the likeliest mistake."""


class Question(NamedTuple):
    """What to look at next."""

    observable: Observable | None
    """None: look whether the cell `at` is built as planned."""
    at: Cell
    gain: float
    """Bits of information that the answer is expected to bring."""


def touched(fault: SingleFault) -> frozenset[Cell]:
    """The cells that are not as planned; a part put elsewhere is missed here and found there."""
    return frozenset(part.at for part in (fault.planned, fault.built) if part)


class Finder:
    """Ranks the single faults of a dictionary, and chooses what to ask."""

    def __init__(self, dictionary: Dictionary) -> None:
        self.dictionary = dictionary
        self._bit = {o: 1 << i for i, o in enumerate(dictionary.observables)}
        looks: dict[int, int] = defaultdict(int)
        for entry in dictionary.entries:
            looks[entry.fault] += 1
        # Every mistake is as likely as any other, then every look of it.
        self._prior = {entry: 1 / looks[entry.fault] for entry in dictionary.entries}
        self._touched = [touched(fault) for fault in dictionary.faults]
        self._holes = self._bits_of_holes()

    def _bits_of_holes(self) -> int:
        """The bits of "sunk" that are followed by that of "empty" of the same cell."""
        found = 0
        for observable, bit in self._bit.items():
            if self._bit.get(Observable("empty", observable.at)) == bit << 1:
                found |= bit if observable.sight == "sunk" else 0
        return found

    def knows(self, observable: Observable) -> bool:
        """Whether there is such a thing to look at in this machine."""
        return observable in self._bit

    def tape_answers(self, told: Iterable[Answer], watched: bool) -> tuple[Answer, ...]:
        """What was told, and for the rest of the tape that it is as it should be.

        That every other cell opened during the press is taken for granted if it was `watched`.
        """
        given = tuple(told)
        named = {answer.observable for answer in given}
        rest = [o for o in self.dictionary.observables if o not in named]
        return (
            *given,
            *(Answer(o, False) for o in rest if o.sight in AFTER),
            *(Answer(o, True) for o in rest if o.sight == "sank" and watched),
        )

    def _weights(self, findings: Findings) -> dict[Entry, float]:
        """How likely each entry is, the best one 1."""
        care = want = 0
        for observable, seen in findings.answers:
            care |= self._bit[observable]
            want |= self._bit[observable] if seen else 0
        odds = MISSEEN / (1 - MISSEEN)
        weights = {}
        for entry, prior in self._prior.items():
            otherwise = (entry.seen ^ want) & care
            mixed_up = (otherwise & otherwise >> 1 & self._holes).bit_count()
            wrong = otherwise.bit_count() - (2 - MIXED_UP) * mixed_up
            cells = self._touched[entry.fault]
            wrong += sum((cell in cells) == planned for cell, planned in findings.inspected)
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
        best, fits = self._fits(weights)
        found = []
        for cell in order:
            numbers = sorted(at[cell], key=lambda n: (-at[cell][n], n))
            likely = [n for n in numbers if at[cell][n] > UNLIKELY * at[cell][numbers[0]]]
            faults = tuple(self.dictionary.faults[n] for n in likely)
            wrong = self._otherwise(best[cell], findings)
            found.append(Candidate(cell, share[cell], faults, len(fits[cell]), wrong))
        return found

    def _otherwise(self, entry: Entry, findings: Findings) -> tuple[Answer, ...]:
        """What was seen otherwise than it would be."""
        return tuple(
            a for a in findings.answers if bool(entry.seen & self._bit[a.observable]) != a.seen
        )

    def _fits(self, weights: dict[Entry, float]) -> tuple[dict[Cell, Entry], dict[Cell, set[Cell]]]:
        """For each place its likeliest symptoms, and the places that cannot be told from it."""
        best: dict[Cell, Entry] = {}
        for entry in weights:
            cell = self.dictionary.faults[entry.fault].at
            if cell not in best or weights[entry] > weights[best[cell]]:
                best[cell] = entry
        alike: dict[int, set[Cell]] = defaultdict(set)
        for entry in weights:
            alike[entry.seen].add(self.dictionary.faults[entry.fault].at)
        return best, {cell: alike[entry.seen] for cell, entry in best.items()}

    # ---------------------------------------------------------------- what to ask

    def next_question(self, findings: Findings, left: int | None = None) -> Question | None:
        """What to look at next; None if nothing splits the candidates any more.

        `left` is how many questions may still be asked. The last one is chosen by how likely the
        truth is then among the places named, those before it by how much they tell.
        """
        weights = self._weights(findings)
        live = _Live(
            (entry.seen, self.dictionary.faults[entry.fault].at, self._touched[entry.fault], w)
            for entry, w in weights.items()
            if w > UNLIKELY
        )
        if live.places < 2:
            return None
        answered = {answer.observable for answer in findings.answers} | findings.unsure
        observables = self.dictionary.observables
        open_ = [i for i, o in enumerate(observables) if o not in answered]
        symptom, told = live.best_symptom(open_, left)
        gone = {cell for cell, _ in findings.inspected} | findings.unvisited
        cell, shown = live.best_visit(gone, left)
        if told > EPSILON and (told > VISIT_PAYS or told >= shown):
            return Question(observables[symptom], observables[symptom].at, told)
        return Question(None, cell, shown) if shown > EPSILON else None


class _Live:
    """The candidates that still count, as a table: one row for each look of a place."""

    def __init__(self, entries: Iterable[tuple[int, Cell, frozenset[Cell], float]]) -> None:
        mass: dict[tuple[Cell, int, frozenset[Cell]], float] = defaultdict(float)
        for seen, place, cells, weight in entries:
            mass[place, seen, cells] += weight
        rows = sorted(mass, key=lambda row: row[0])
        starts = [i for i, row in enumerate(rows) if i == 0 or row[0] != rows[i - 1][0]]
        self.places = len(starts)
        self._starts = np.array(starts, dtype=np.intp)
        weights = np.array([mass[row] for row in rows])
        self._weights: Matrix = weights / weights.sum()
        self._touched = [row[2] for row in rows]
        width = max((row[1].bit_length() for row in rows), default=0) // 8 + 1
        packed = b"".join(row[1].to_bytes(width, "little") for row in rows)
        self._packed = np.frombuffer(packed, dtype=np.uint8).reshape(len(rows), width)

    def best_symptom(self, numbers: list[int], left: int | None) -> tuple[int, float]:
        """Which of the observables with these numbers tells most, and how much."""
        best, most = -1, 0.0
        for first in range(0, len(numbers), CHUNK):
            chunk = np.array(numbers[first : first + CHUNK])
            byte = np.minimum(chunk // 8, self._packed.shape[1] - 1)
            seen = (self._packed[:, byte] >> (chunk % 8).astype(np.uint8)) & np.uint8(1)
            seen[:, chunk // 8 > byte] = 0  # Never seen by anyone: beyond the highest bit.
            worth = self._worth(seen, left)
            if worth.max() > most + EPSILON:
                best, most = numbers[first + int(worth.argmax())], float(worth.max())
        return best, most

    def best_visit(self, visited: set[Cell], left: int | None) -> tuple[Cell, float]:
        """Which cell is best looked at, and how much that tells."""
        share: dict[Cell, float] = defaultdict(float)
        for touched_cells, weight in zip(self._touched, self._weights, strict=True):
            for cell in touched_cells - visited:
                share[cell] += float(weight)
        cells = sorted(share, key=lambda cell: (-share[cell], cell))[:CHUNK]
        if not cells:
            return (0, 0, 0), 0.0
        number = {cell: i for i, cell in enumerate(cells)}
        found = np.zeros((len(self._touched), len(cells)), dtype=np.uint8)
        for row, touched_cells in enumerate(self._touched):
            for cell in touched_cells & number.keys():
                found[row, number[cell]] = 1
        worth = self._worth(found, left)
        return cells[int(worth.argmax())], float(worth.max())

    def _worth(self, seen: Bits, left: int | None) -> Matrix:
        """What the answer to each column's question brings."""
        yes = np.add.reduceat(self._weights[:, None] * seen, self._starts, axis=0)
        every = np.add.reduceat(self._weights, self._starts)[:, None]
        no = np.maximum(every - yes, 0.0)
        if left == 1:
            return _named(yes) + _named(no) - _named(every)
        return _spread(every) - _spread(yes) - _spread(no)


def _named(mass: Matrix) -> Matrix:
    """How much of each column is among the places named in the end."""
    if mass.shape[0] <= NAMED:
        return np.asarray(mass.sum(axis=0))
    return np.asarray(np.partition(mass, -NAMED, axis=0)[-NAMED:].sum(axis=0))


def _spread(mass: Matrix) -> Matrix:
    """The entropy of each column in bits, times its sum."""
    total = mass.sum(axis=0)
    return np.asarray(_x_log_x(total) - _x_log_x(mass).sum(axis=0))


def _x_log_x(x: Matrix) -> Matrix:
    return np.asarray(x * np.log2(np.where(x > 0, x, 1.0)))
