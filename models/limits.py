"""What each requirement of a feasible scenario costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from models.outcome import Feasible


@dataclass(frozen=True)
class Gain:
    """What dropping some requirements saves."""

    names: tuple[str, ...]
    text: str
    saved: Mapping[str, int]
    """For each objective term, what the best machine has less; negative: more."""
    is_proven: bool
    """Both machines are proven optimal; else this is what was found in the time given."""


@dataclass(frozen=True)
class Limits:
    """The best machine, and what stands in the way of a better one, the largest gain first."""

    found: Feasible
    gains: tuple[Gain, ...]
    left_out: int = 0
    """Requirements that time did not allow to try."""
