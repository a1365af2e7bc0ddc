"""Cells, directions and the eight ways to lay a floor plan on the grid.

Axes: x east, y north, z up; a cell is a tuple of three integers.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Cell = tuple[int, int, int]
Face = Literal["+x", "-x", "+y", "-y", "+z", "-z"]

FACES: tuple[Face, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")
HORIZONTAL: tuple[Face, ...] = ("+x", "-x", "+y", "-y")

VECTOR: dict[Face, Cell] = {
    "+x": (1, 0, 0),
    "-x": (-1, 0, 0),
    "+y": (0, 1, 0),
    "-y": (0, -1, 0),
    "+z": (0, 0, 1),
    "-z": (0, 0, -1),
}
FACE_OF: dict[Cell, Face] = {vector: face for face, vector in VECTOR.items()}
OPPOSITE: dict[Face, Face] = {
    "+x": "-x",
    "-x": "+x",
    "+y": "-y",
    "-y": "+y",
    "+z": "-z",
    "-z": "+z",
}


def add(a: Cell, b: Cell) -> Cell:
    """The cell at `a` moved by `b`."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def sub(a: Cell, b: Cell) -> Cell:
    """The step from `b` to `a`."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def scale(a: Cell, k: int) -> Cell:
    """The step `a`, `k` times."""
    return (a[0] * k, a[1] * k, a[2] * k)


def step(a: Cell, face: Face, k: int = 1) -> Cell:
    """The cell `k` cells from `a` in direction `face`."""
    v = VECTOR[face]
    return (a[0] + v[0] * k, a[1] + v[1] * k, a[2] + v[2] * k)


def dot(a: Cell, b: Cell) -> int:
    """The inner product of two steps."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Cell, b: Cell) -> Cell:
    """The third axis of a right-handed frame."""
    return (
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    )


class Frame(NamedTuple):
    """A place to put a local design: an origin and the images of the three local axes.

    The axes are unit steps, each at right angles to the others; mirrored frames are allowed.
    """

    origin: Cell
    x: Cell
    y: Cell
    z: Cell

    def cell(self, local: Cell) -> Cell:
        """The world cell of a local cell."""
        a, b, c = local
        o, x, y, z = self
        return (
            o[0] + a * x[0] + b * y[0] + c * z[0],
            o[1] + a * x[1] + b * y[1] + c * z[1],
            o[2] + a * x[2] + b * y[2] + c * z[2],
        )

    def local(self, cell: Cell) -> Cell:
        """The local cell of a world cell."""
        offset = sub(cell, self.origin)
        return dot(offset, self.x), dot(offset, self.y), dot(offset, self.z)

    def face(self, local: Face) -> Face:
        """The world direction of a local direction."""
        return FACE_OF[sub(self.cell(VECTOR[local]), self.origin)]


LEVEL_FRAMES: tuple[Frame, ...] = tuple(
    Frame((0, 0, 0), VECTOR[x], VECTOR[y], (0, 0, 1))
    for x in HORIZONTAL
    for y in HORIZONTAL
    if x[1] != y[1]
)
"""The eight ways to lay something level down, z up."""


class Box(NamedTuple):
    """All cells from `low` to `high`, both corners counted."""

    low: Cell
    high: Cell

    def __contains__(self, cell: object) -> bool:
        if not isinstance(cell, tuple):
            return False
        return all(a <= b <= c for a, b, c in zip(self.low, cell, self.high, strict=True))

    def volume(self) -> int:
        """How many cells the box holds."""
        return (
            (self.high[0] - self.low[0] + 1)
            * (self.high[1] - self.low[1] + 1)
            * (self.high[2] - self.low[2] + 1)
        )
