"""Logic in front of a machine's trigger: a unit that is built into ground that may be dug."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from models.geometry import Cell
from models.machine import Machine
from models.parts import Part


@dataclass(frozen=True)
class Unit:
    """Parts in a frame of their own, z up."""

    name: str
    parts: tuple[Part, ...]
    air: tuple[Cell, ...]
    """Cells that must be dug though nothing stands in them."""
    port: Cell
    """The wire that is on while the machine's trigger is to be fired."""
    claim: str
    """What is known about fewer parts."""
    watch: Cell | None = None
    """What a lead watches that takes its signal to the trigger; None: a run of wires does."""
    entry: Cell | None = None
    """Where the last sensor of a lead from the button stands, putting out along +x, if there is a
    button."""

    @property
    def cost(self) -> int:
        """How many parts are placed."""
        return len(self.parts)


@dataclass(frozen=True)
class Proof:
    """What was simulated, or what went wrong."""

    ok: bool
    text: str
    figures: Mapping[str, float] = field(default_factory=dict)
    """Times in ticks."""


@dataclass(frozen=True)
class Added:
    """A machine with a unit before its trigger, and its proof."""

    machine: Machine
    unit: Unit
    proof: Proof
    tried: int
    """Places that were simulated until this one was right."""
    loop: int = 0
    """Which loop's trigger it is."""


@dataclass(frozen=True)
class NotAdded:
    """No place was found. That proves nothing."""

    why: str
    tried: int
