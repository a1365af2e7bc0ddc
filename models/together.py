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


Together = Joined | Apart | Open
