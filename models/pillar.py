"""A tape round the outside of a pillar: what is asked for, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from models.geometry import Cell
from models.machine import Machine
from models.rules import Rules
from models.scenario import Direction


@dataclass(frozen=True)
class Pillar:
    """A solid block that stands free, with a belt of tape round its four sides.

    In the world its lowest cell is (0, front, 0), and the air before its front is the room
    `(x, front, z)` that the button is pressed from.
    """

    title: str
    path: Path
    size: Cell
    """Cells along x, along y and upwards, the visible ones counted."""
    row: int
    """How high the belt lies: the cells below it."""
    direction: Direction
    """As seen from above."""
    rules: Rules
    front: int = 4

    @property
    def room(self) -> Cell:
        """The air before the front."""
        return self.size[0], self.front, self.size[2]


@dataclass(frozen=True)
class Belted:
    """A machine that was simulated in all four cases."""

    machine: Machine
    rams: int
    """Rams at each outer edge."""
    fewest_rams: bool
    """Whether no fewer do it there on such pulses, proven."""
    tried: int
    """Layouts that were begun until this one was right."""

    @property
    def parts(self) -> int:
        """Parts placed, tape blocks counted, covers not."""
        return self.machine.placed


@dataclass(frozen=True)
class NoBelt:
    """No machine was found."""

    why: str
    remedy: str
    tried: int
