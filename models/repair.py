"""A change that makes an impossible scenario possible."""

from __future__ import annotations

from dataclasses import dataclass

from models.outcome import Feasible
from models.scenario import Scenario


@dataclass(frozen=True)
class Change:
    """One thing to do, and how much it weighs against others."""

    text: str
    weight: int


@dataclass(frozen=True)
class Repair:
    """Changes that make a machine possible; the machine was simulated and accepted."""

    changes: tuple[Change, ...]
    text: str
    """The changed scenario as a file."""
    scenario: Scenario
    found: Feasible

    @property
    def weight(self) -> int:
        """The price of all changes."""
        return sum(change.weight for change in self.changes)
