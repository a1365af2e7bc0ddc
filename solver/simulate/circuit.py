"""The nouns of a compiled machine: each thing that can be on, bound to all that it feeds.

A *driver* is a sensor, buffer, inverter or button, or one direction of a wire. Blocks that never
move are folded into the drivers' lists. A cell that tape may enter has a *gate* between the
drivers around it and those who read it, open while a tape block rests there.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

from models.geometry import HORIZONTAL, VECTOR, Cell, Face

UP: Cell = (0, 0, 1)
DOWN: Cell = (0, 0, -1)
SIDES: tuple[Cell, ...] = tuple(VECTOR[face] for face in HORIZONTAL)
SIX: tuple[Cell, ...] = (*SIDES, UP, DOWN)

Link = tuple[int, Cell | None, Cell | None]
"""To another wire: (which, a cell that must not conduct, a cell that must)."""


class Stroke(IntEnum):
    """What a ram is doing."""

    IN = 0
    EXTENDING = 1
    OUT = 2
    RETRACTING = 3


@dataclass(slots=True)
class Gate:
    """A cell that conducts only while a tape block rests in it."""

    open: bool
    any_on: int = 0
    strong_on: int = 0
    readers: list[int] = field(default_factory=list)
    wires: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Driver:
    """Something that can be on, and all that it feeds."""

    on: bool = False
    readers: list[int] = field(default_factory=list)
    wires: list[int] = field(default_factory=list)
    gates: list[tuple[int, bool]] = field(default_factory=list)
    """Each with whether it gets strong power."""

    def feeds(self) -> bool:
        """Whether it matters at all if this is on."""
        return bool(self.readers or self.wires or self.gates)


@dataclass(slots=True)
class Wire:
    """One wire: what feeds it, where its level goes, where it points."""

    at: Cell
    level: int = 0
    seeds: int = 0
    """How many sources and strongly powered blocks are next to it."""
    net: int = -1
    feeds: list[Link] = field(default_factory=list)
    fixed_sides: int = 0
    """Bit mask of the sides on which it always connects."""
    step_sides: list[tuple[int, Cell]] = field(default_factory=list)
    """Sides on which it connects while the given cell does not conduct."""
    points: int = 0
    base: int = -1
    """Driver that is on with the wire, whatever way it points."""
    sides: tuple[int, ...] = ()
    """Drivers that are on while it points that way."""
    outlets: list[tuple[int, int]] = field(default_factory=list)
    """(driver, bit of its side or 0) for those of these drivers that feed anything."""


@dataclass(slots=True)
class Ram:
    """One ram. It is powered while `count` is more than 0."""

    at: Cell
    face: Face
    grip: bool
    count: int = 0
    state: Stroke = Stroke.IN
    pushed: int = -1
    """The block next to the head that the stroke under way pushes, or -1."""


@dataclass(slots=True)
class Logic:
    """A buffer or an inverter. It reads power while `count` is more than 0."""

    at: Cell
    inverter: bool
    delay: int
    """In half-ticks."""
    driver: int
    count: int = 0
    pending: bool = False
    on: bool = False

    def follows(self) -> bool:
        """Whether the output is what the input asks for."""
        return self.on == ((self.count > 0) != self.inverter)


@dataclass(slots=True)
class Sensor:
    """A sensor: `busy` while it waits or is on."""

    at: Cell
    watched: Cell
    driver: int
    delay: int
    """In half-ticks."""
    busy: bool = False
    seen: object = None


class Button(NamedTuple):
    """A button; `length` is how long it stays pressed, in half-ticks."""

    at: Cell
    driver: int
    length: int


@dataclass
class Circuit:
    """A compiled machine.

    Rams come in the order of their cells, everything else in the order of the parts list.
    """

    drivers: list[Driver] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    rams: list[Ram] = field(default_factory=list)
    logic: list[Logic] = field(default_factory=list)
    sensors: list[Sensor] = field(default_factory=list)
    buttons: list[Button] = field(default_factory=list)
    gates: list[Gate] = field(default_factory=list)
    nets: list[list[int]] = field(default_factory=list)
    """Wires that can share a level, however the tape stands."""
    readers: list[Ram | Logic] = field(default_factory=list)
    """All rams, then all logic: a ram's index is its index here."""
    wire_at: dict[Cell, int] = field(default_factory=dict)
    ram_at: dict[Cell, int] = field(default_factory=dict)
    driver_at: dict[Cell, int] = field(default_factory=dict)
    gate_at: dict[Cell, int] = field(default_factory=dict)
    watchers: dict[Cell, list[int]] = field(default_factory=dict)
    """Sensors by the cell that they watch."""
    steppers: dict[Cell, list[int]] = field(default_factory=dict)
    """Wires with a step that the cell cuts while it conducts."""

    def new_driver(self) -> int:
        """A driver that feeds nothing yet."""
        self.drivers.append(Driver())
        return len(self.drivers) - 1
