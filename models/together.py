"""What the search for several loops of one room returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from models.machine import Machine
from models.outcome import Reason


@dataclass(frozen=True)
class Joined:
    """A machine with all loops, simulated as one, and each loop's machine by itself."""

    machine: Machine
    alone: tuple[Machine, ...]
    score: Mapping[str, int]
    lower_bound: Mapping[str, int]
    """What no joint machine is better than, in the terms that all loops minimise first."""
    optimal: bool
    """Whether no loop could have a better machine, even if the others took less."""


@dataclass(frozen=True)
class Apart:
    """Proven: these loops cannot be in one room."""

    reasons: tuple[Reason, ...]
    proof: str


@dataclass(frozen=True)
class Open:
    """Not found, which proves nothing."""

    why: str
    details: tuple[str, ...] = ()
    lower_bound: Mapping[str, int] | None = None


Together = Joined | Apart | Open
