"""What a builder can see of a machine that was built wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from models.geometry import Cell
from models.single_fault import SingleFault

Sight = Literal[
    "proud",
    "sunk",
    "empty",
    "sank",
    "stayed",
    "out before",
    "lit before",
    "stroked",
    "went on",
    "out after",
    "lit after",
    "first press",
    "rests",
]
"""Of a tape cell: its block stands proud, lies sunk behind it, is gone; the cell opened at any time
during the press; the block that was there did not move on. Of a ram: out before the press, stroked
during it, out after it. Of a wire, inverter, buffer or sensor: on before, changed during, on after.
Of the whole: the very first press goes wrong; it comes to rest."""
AFTER: frozenset[Sight] = frozenset({"proud", "sunk", "empty"})
"""What the tape looks like after the press to who stands in the room."""


WHOLE: Cell = (0, 0, 0)
"""Stands for the whole machine; no part and no tape is ever in this cell, which is air."""


class Observable(NamedTuple):
    """Something that is seen or not seen. `at` is `WHOLE` for what concerns the whole."""

    sight: Sight
    at: Cell


class Entry(NamedTuple):
    """A single fault and what is then seen; a fault may have several, one a world or so."""

    fault: int
    """Its number in the dictionary's list of faults."""
    seen: int
    """One bit for each observable of the dictionary, the first one lowest."""


class Dictionary(NamedTuple):
    """The symptoms of every single fault that shows at all."""

    observables: tuple[Observable, ...]
    faults: tuple[SingleFault, ...]
    entries: tuple[Entry, ...]
    healthy: int
    """What is seen of the machine as planned."""


class Answer(NamedTuple):
    """One thing that was looked at."""

    observable: Observable
    seen: bool


@dataclass(frozen=True)
class Findings:
    """All that was looked at so far."""

    answers: tuple[Answer, ...] = ()
    inspected: tuple[tuple[Cell, bool], ...] = ()
    """Cells looked at, and whether they are built as planned."""
    unsure: frozenset[Observable] = frozenset()
    """Asked for, but the builder does not know; not asked for again."""
    unvisited: frozenset[Cell] = frozenset()
    """Cells that he cannot go and look at."""

    def __add__(self, other: Findings) -> Findings:
        return Findings(
            self.answers + other.answers,
            self.inspected + other.inspected,
            self.unsure | other.unsure,
            self.unvisited | other.unvisited,
        )
