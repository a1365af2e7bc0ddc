"""How far the times of a machine may be off before it fails. All times in half-ticks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from models.geometry import Cell


class Delay(NamedTuple):
    """A delay that may be off: of one part, of a class of parts together, or of the world."""

    name: str
    cells: tuple[Cell, ...]
    """The parts that have it; empty for the press and the stroke."""
    half_ticks: int


class Margin(NamedTuple):
    """How much shorter and how much longer a delay may be, every amount in between included."""

    delay: Delay
    shrink: int
    grow: int
    limit: int
    """How far was looked: a margin this large may be larger."""

    @property
    def least(self) -> int:
        """The smaller of both. One that may shrink to one half-tick has all the room it needs."""
        shrinks_freely = self.shrink == self.delay.half_ticks - 1
        return self.grow if shrinks_freely else min(self.shrink, self.grow)


@dataclass(frozen=True)
class Sooner:
    """Two presses too close together, and what goes wrong."""

    half_ticks: int
    why: str


@dataclass(frozen=True)
class Margins:
    """The margins of one machine, by simulation in every case."""

    margins: tuple[Margin, ...]
    interval_half_ticks: int | None
    """Two presses so far apart were simulated and right in every case."""
    sooner: Sooner | None
    """One half-tick less: simulated and wrong, or the tape is not flush again by then."""

    @property
    def least(self) -> Margin | None:
        """The delay of a part that may be off by the least. Strokes belong to the world."""
        of_parts = (m for m in self.margins if m.delay.cells)
        return min(of_parts, key=lambda m: (m.least, m.shrink + m.grow), default=None)
