"""A machine with two buttons, one a way, and what is proven of it."""

from __future__ import annotations

from dataclasses import dataclass

from models.machine import Machine


@dataclass(frozen=True)
class TwoWays:
    """What a press does on either button."""

    ok: bool
    text: str
    rest_half_ticks: int = 0
    """From a press to rest, in the slowest case of either button."""
    interval_half_ticks: int = 0
    """From one press to the next, whichever buttons, no less than this and all is well."""


@dataclass(frozen=True)
class Countered:
    """The machine, seen from either button."""

    forth: Machine
    back: Machine
    """The same parts; the tape runs the other way and its button comes first."""
    proof: TwoWays
    tried: int
    """Layouts that were begun until this one was right."""

    @property
    def parts(self) -> int:
        """Parts placed, tape blocks counted, covers not."""
        return self.forth.placed


@dataclass(frozen=True)
class NoCounter:
    """No machine was found."""

    why: str
    remedy: str
    tried: int
    proven: bool = False
    """Whether it is proven that none is built in this way. Other ways may be there."""
