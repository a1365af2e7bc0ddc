"""What a builder asks for: a room, maps of its surfaces, and wishes about the loop.

Every requirement keeps its place in the file, so that a refusal can name the line to change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from models.geometry import Cell
from models.rules import Rules
from models.surface import Mark, Surface, SurfaceName

Direction = Literal["clockwise", "anticlockwise"]
Shape = Literal["free", "exact"]
Term = Literal["parts", "depth", "length", "corners", "dug"]

DIRECTIONS: tuple[Direction, ...] = ("clockwise", "anticlockwise")
SHAPES: tuple[Shape, ...] = ("free", "exact")
TERMS: tuple[Term, ...] = ("parts", "depth", "length", "corners", "dug")


class Place(NamedTuple):
    """A place in a file; line and column count from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class Requirement(NamedTuple):
    """One thing the scenario demands, under a name that the search can hand back."""

    name: str
    """Such as `loop.length.max` or `surfaces.floor.map[3,5]` (row 3, column 5, from 1)."""
    place: Place
    text: str


def cell_requirement(surface: SurfaceName, row: int, column: int) -> str:
    """The name of the requirement that a map position states (row and column from 0)."""
    return f"surfaces.{surface}.map[{row + 1},{column + 1}]"


@dataclass(frozen=True, slots=True)
class Loop:
    """Wishes about the loop."""

    direction: Direction
    shape: Shape
    min_length: int | None
    max_length: int | None
    around: Cell | None
    """A cell of a surface layer that ends up inside the loop."""
    around_surface: SurfaceName | None
    minimise: tuple[Term, ...]


class Button(NamedTuple):
    """The cover that the button hangs on."""

    surface: SurfaceName
    row: int
    column: int
    cell: Cell


@dataclass(frozen=True, slots=True)
class Scenario:
    """All of a scenario, checked for every fault that shows without searching."""

    title: str
    path: Path
    room: Cell
    """Interior size: cells of air along x, y and z."""
    button_surface: SurfaceName | None
    """Where the button must stand; None: on any surface that is given."""
    surfaces: Mapping[SurfaceName, Surface]
    loop: Loop
    rules: Rules
    requirements: Mapping[str, Requirement]
    """By name. Open cells (`.`) demand nothing and have none."""
    taken: frozenset[Cell] = frozenset()
    """Cells that are not to be dug, as another machine of the room has them."""
    quiet: frozenset[Cell] = frozenset()
    """Cells that may be dug and left free, but hold no part: beside another machine."""
    beside: frozenset[Cell] = frozenset()
    """Tape of other machines of the room: no drive may stand where it would disturb it."""

    def mark_at(self, cell: Cell) -> Mark | None:
        """The mark of a surface cell; None if no given surface has the cell."""
        for surface in self.surfaces.values():
            mark = surface.mark_at(cell)
            if mark is not None:
                return mark
        return None

    def required(self) -> frozenset[Cell]:
        """The cells that must carry tape."""
        return frozenset(cell for s in self.surfaces.values() for cell in s.cells("o"))

    def button(self) -> Button | None:
        """The cover that carries the button, if the maps fix it."""
        for surface in self.surfaces.values():
            for row, column in surface.spots("@"):
                return Button(surface.name, row, column, surface.plane.cell(row, column))
        return None

    def place_of(self, name: str) -> Place | None:
        """Where the requirement `name` is written."""
        found = self.requirements.get(name)
        return found.place if found else None
