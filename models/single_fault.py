"""One thing that is built otherwise than planned, and what becomes of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from models.geometry import Cell
from models.machine import Case
from models.parts import Part

Mistake = Literal[
    "missing",
    "wire cut",
    "turned",
    "shifted",
    "wrong kind",
    "delay off",
    "short press",
    "extra block",
]
MISTAKES: tuple[Mistake, ...] = (
    "missing",
    "wire cut",
    "turned",
    "shifted",
    "wrong kind",
    "delay off",
    "short press",
    "extra block",
)


class SingleFault(NamedTuple):
    """One part that is not built as planned."""

    mistake: Mistake
    planned: Part | None
    """None for a block that is too many."""
    built: Part | None
    """None for a part that is not there."""

    @property
    def at(self) -> Cell:
        """Where to look for it."""
        part = self.planned or self.built
        assert part is not None, "a fault has a part, planned or built"
        return part.at


Stage = Literal["static", "idle", "press", "harmless"]


class Judged(NamedTuple):
    """What becomes of one single fault."""

    fault: SingleFault
    stage: Stage
    """What showed it: static check, idle state or a press. Or full turns proved it harmless."""
    code: str = ""
    text: str = ""
    case: Case | None = None
    press: int = 0
    """The press that went wrong."""


@dataclass(frozen=True)
class FaultTable:
    """Every single fault of a machine with its outcome."""

    title: str
    judged: tuple[Judged, ...]

    def counts(self) -> dict[Mistake, Counter[Stage]]:
        """How many faults of each sort ended how."""
        found: dict[Mistake, Counter[Stage]] = {mistake: Counter() for mistake in MISTAKES}
        for judged in self.judged:
            found[judged.fault.mistake][judged.stage] += 1
        return found

    def harmless(self) -> Iterable[Judged]:
        """Those that every full turn was accepted with."""
        return (judged for judged in self.judged if judged.stage == "harmless")
