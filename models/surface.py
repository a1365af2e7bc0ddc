"""The six inner surfaces of a room, and where a map's rows and columns lie in the world.

Floor and ceiling are drawn as a plan, north at the top, west at the left; the ceiling is the
only map that mirrors what one sees from inside. A wall is drawn as seen from inside the room,
looking at it, its highest row at the top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from models.geometry import OPPOSITE, Cell, Face, dot, step, sub

SurfaceName = Literal["floor", "ceiling", "north", "south", "east", "west"]
Mark = Literal[".", "o", "#", "=", "@"]
Spot = tuple[int, int]
"""Row and column of a map, both from 0."""

SURFACES: tuple[SurfaceName, ...] = ("floor", "ceiling", "north", "south", "east", "west")
MARKS: tuple[Mark, ...] = (".", "o", "#", "=", "@")

BEHIND: dict[SurfaceName, Face] = {
    "floor": "-z",
    "ceiling": "+z",
    "north": "+y",
    "south": "-y",
    "east": "+x",
    "west": "-x",
}
"""Away from the room."""
_RIGHT: dict[SurfaceName, Face] = {
    "floor": "+x",
    "ceiling": "+x",
    "north": "+x",
    "south": "-x",
    "east": "-y",
    "west": "+y",
}
_AXIS: dict[Face, int] = {"+x": 0, "-x": 0, "+y": 1, "-y": 1, "+z": 2, "-z": 2}


class Plane(NamedTuple):
    """Where a map lies in the world: the cell of row 0, column 0 and the ways onward."""

    origin: Cell
    right: Face
    """The way that columns count."""
    down: Face
    """The way that rows count."""
    behind: Face
    rows: int
    columns: int

    def cell(self, row: int, column: int) -> Cell:
        """The world cell of a map position, also of one beyond the rim."""
        return step(step(self.origin, self.right, column), self.down, row)

    def spot(self, cell: Cell) -> Spot | None:
        """The map position of a world cell; None if it is not on the map."""
        offset = sub(cell, self.origin)
        if dot(offset, step((0, 0, 0), self.behind)) != 0:
            return None
        row = dot(offset, step((0, 0, 0), self.down))
        column = dot(offset, step((0, 0, 0), self.right))
        return (row, column) if 0 <= row < self.rows and 0 <= column < self.columns else None

    def level(self, cell: Cell) -> int:
        """How many cells `cell` lies behind the surface; 0 on it, negative in the room."""
        return dot(sub(cell, self.origin), step((0, 0, 0), self.behind))


def plane_of(name: SurfaceName, room: Cell) -> Plane:
    """The plane of a surface of a room with this interior size."""
    behind, right = BEHIND[name], _RIGHT[name]
    down: Face = "-y" if name in ("floor", "ceiling") else "-z"
    origin = [0, 0, 0]
    for face in (behind, OPPOSITE[right], OPPOSITE[down]):
        axis, beyond = _AXIS[face], 1 if face == behind else 0
        origin[axis] = room[axis] - 1 + beyond if face[0] == "+" else -beyond
    return Plane(
        origin=(origin[0], origin[1], origin[2]),
        right=right,
        down=down,
        behind=behind,
        rows=room[_AXIS[down]],
        columns=room[_AXIS[right]],
    )


@dataclass(frozen=True, slots=True)
class Surface:
    """A surface that can carry tape."""

    name: SurfaceName
    depth: int
    """How many cells behind the surface layer may be dug."""
    margin: int
    """How many cells beyond the rim may be dug too."""
    marks: tuple[tuple[Mark, ...], ...]
    """Rows from the top, columns from the left."""
    plane: Plane

    def spots(self, wanted: str) -> list[Spot]:
        """All positions that carry one of the `wanted` marks, row by row."""
        return [
            (r, c)
            for r, line in enumerate(self.marks)
            for c, mark in enumerate(line)
            if mark in wanted
        ]

    def mark_at(self, cell: Cell) -> Mark | None:
        """The mark of a world cell; None if the cell is not on this surface."""
        spot = self.plane.spot(cell)
        return None if spot is None else self.marks[spot[0]][spot[1]]

    def cells(self, wanted: str) -> list[Cell]:
        """The world cells that carry one of the `wanted` marks."""
        return [self.plane.cell(r, c) for r, c in self.spots(wanted)]
