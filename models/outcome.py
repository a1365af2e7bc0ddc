"""What a search returns: one of three verdicts, with its evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from models.machine import Machine

Score = Mapping[str, int]
"""Value of each objective term: parts, depth, length, corners, dug."""


@dataclass(frozen=True)
class Reason:
    """One requirement of those that cannot hold together, or one fact that follows from them."""

    text: str
    requirement: str = ""
    """Its name in the scenario; empty for a fact of the rules."""
    place: str = ""


@dataclass(frozen=True)
class Feasible:
    """A machine that was simulated and accepted."""

    machine: Machine
    score: Score
    optimal: bool
    lower_bound: Score
    system: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Infeasible:
    """Proven impossible over the stated catalogue of designs."""

    reasons: tuple[Reason, ...]
    proof: str
    """What was proven, and by which two ways."""
    minimal: bool = False
    """Whether each reason was shown to be needed."""


@dataclass(frozen=True)
class Undecided:
    """Time ran out. The best machine so far, if there is one, was simulated and accepted."""

    best: Feasible | None
    lower_bound: Score
    why: str = "the time given ran out"
    interrupted: bool = False
    timed_out: bool = True
    """Whether more time might have decided it."""
    details: tuple[str, ...] = field(default=())


Verdict = Feasible | Infeasible | Undecided
