"""A machine with a button for each way, or one for both, and what is proven of it."""

from __future__ import annotations

from dataclasses import dataclass

from models.machine import Machine


@dataclass(frozen=True)
class TwoWays:
    """What presses do."""

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
    back: Machine | None
    """The same parts; the tape runs the other way and its button comes first. None: one button
    moves the tape forth, and with the next press back."""
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
