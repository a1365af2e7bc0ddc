"""Many scenarios at once: what is varied, one case of it, and the row that a case becomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Value = str | int | float | bool | list[object] | dict[str, object]
"""What TOML can hold and a scenario asks for."""
Result = Literal["feasible", "infeasible", "undecided", "wrong", "failed"]
"""A verdict; or the scenario is wrong; or its worker failed, which says nothing about it."""

RESULTS: tuple[Result, ...] = ("feasible", "infeasible", "undecided", "wrong", "failed")


@dataclass(frozen=True)
class Axis:
    """A field of the scenario and the values that it takes in turn."""

    name: str
    """Such as `surfaces.floor.depth`."""
    values: tuple[Value, ...]


@dataclass(frozen=True)
class Sweep:
    """Rooms, what is varied in each, and the rule sets that each variant is asked under."""

    title: str
    rooms: tuple[str, ...]
    """Paths of scenario files; a room that cannot be read becomes rows with its errors."""
    axes: tuple[Axis, ...]
    rule_sets: Mapping[str, Mapping[str, Value]]
    """By name; each is laid over the `[rules]` of the room."""


@dataclass(frozen=True)
class Case:
    """One scenario of a sweep, as a text of its own."""

    room: str
    rule_set: str
    values: Mapping[str, Value]
    """The value of each axis."""
    name: str
    """Names the case's files: the room's name, and a print of all that decides the result."""
    text: str
    errors: tuple[str, ...] = ()
    """Why there is no scenario to search, as far as that shows without reading it."""


@dataclass(frozen=True)
class Job:
    """What a worker needs. It is sent to other processes, perhaps to other computers."""

    name: str
    text: str
    path: str
    """Names the scenario in messages."""
    budget_s: float
    seed: int


@dataclass(frozen=True)
class Row:
    """What became of a case."""

    result: Result
    optimal: bool = False
    score: Mapping[str, int] = field(default_factory=dict)
    lower_bound: Mapping[str, int] = field(default_factory=dict)
    system: str = ""
    reasons: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()
    seconds: float = 0.0
    cpu_seconds: float = 0.0
    worker: str = ""
    machine: str | None = None
    """The text of the machine file."""
