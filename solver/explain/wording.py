"""How cells are named to a builder."""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import Cell

FEW = 6


def at(cell: Cell) -> str:
    """A cell by its world coordinates."""
    return f"({cell[0]},{cell[1]},{cell[2]})"


def span(first: Cell, last: Cell) -> str:
    """A straight stretch."""
    return f"from {at(first)} to {at(last)}"


def listed(cells: Sequence[Cell]) -> str:
    """A few cells, or how many there are and two of them."""
    if len(cells) <= FEW:
        return ", ".join(map(at, cells))
    return f"{len(cells)} cells, such as {at(cells[0])} and {at(cells[-1])}"
