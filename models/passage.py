"""A question about rams alone: can tape get from here to there, and the answer with its strokes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.geometry import Cell, Face


@dataclass(frozen=True)
class Passage:
    """A stretch of tape in a box, which must move on by one block.

    The row before `path` pushes one more block into `enters` from outside, as its own feed would;
    the row behind it takes one block that is pushed out of `leaves`. Cells of no kind are covers
    or ground, which nothing may touch.
    """

    path: tuple[Cell, ...]
    """Tape cells in travel order, each with a block in it at rest."""
    hidden: frozenset[Cell]
    """Cells that may hold rams."""
    air: frozenset[Cell]
    """Cells in front of the surfaces; blocks and heads may stand out into them."""
    enters: tuple[Cell, Face]
    leaves: tuple[Cell, Face]


@dataclass(frozen=True)
class PlannedRam:
    """A ram, whether it draws, and what it does step by step."""

    at: Cell
    face: Face
    grip: bool
    extended: tuple[bool, ...]
    """Whether it is extended before each step, and at the end."""
    pulses: tuple[bool, ...]
    """Whether it has a pulse of one tick in each step; it is in before and after."""


@dataclass(frozen=True)
class Mechanism:
    """Rams whose strokes, step by step, move the tape of a passage on by one."""

    rams: tuple[PlannedRam, ...]
    enters_at: int
    """The step in which the row before pushes its block in."""
    fewest: bool
    """Whether fewer rams are proven not to do in as many steps."""
    ways: frozenset[Cell]
    """Cells that a block is in at some time."""


NoMechanism = Literal["no mechanism"]
"""Proven: no rams in the hidden cells do it in that many steps, whatever fires them."""
