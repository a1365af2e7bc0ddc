"""What the tape carries: a mark on every block, and demands on the pictures that presses make.

After k presses cell j of the tape holds block (j - k) mod n, so every demand on a picture is one
on blocks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from models.geometry import Cell

ANY = "?"
"""Stands for every mark in a demand."""


class Pin(NamedTuple):
    """One block carries one mark."""

    block: int
    mark: str


class Share(NamedTuple):
    """Of some blocks, at least `low` and at most `high` carry one of the marks."""

    blocks: frozenset[int]
    marks: str
    low: int
    high: int


class Period(NamedTuple):
    """The picture first repeats after so many presses."""

    presses: int


class Wish(NamedTuple):
    """The smallest thing that can be demanded, with the demand that it comes from."""

    rule: Pin | Share | Period
    text: str
    place: str


@dataclass(frozen=True)
class Choreography:
    """A tape of marks that is given, or what is demanded of one."""

    title: str
    colours: Mapping[str, str]
    """By mark: `#rrggbb`."""
    blank: str
    """The mark of a block of which nothing is demanded."""
    marks: str
    """All marks that may be used."""
    given: str | None
    """One mark a block, block 0 first; it lies on the tape's first cell at the start."""
    wishes: tuple[Wish, ...]
    presses: tuple[int, ...]
    """After which presses the picture is worth showing."""


@dataclass(frozen=True)
class Pattern:
    """A mark for every block."""

    marks: str
    plain: bool = False
    """Whether it was proven that no pattern has more blanks."""


@dataclass(frozen=True)
class NoPattern:
    """Proven: these wishes cannot hold together, and without any one of them they can."""

    wishes: tuple[Wish, ...]


@dataclass(frozen=True)
class OpenPattern:
    """The time given ran out."""


Designed = Pattern | NoPattern | OpenPattern


class Scene(NamedTuple):
    """A picture: the mark that each tape cell shows after so many presses."""

    presses: int
    shows: Mapping[Cell, str]
