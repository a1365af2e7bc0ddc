"""The measured clearances, as the search asks for them."""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import cache
from importlib import resources

from models.geometry import HORIZONTAL, Cell, Face, dot, sub

Offset = tuple[int, int]
POSES: tuple[tuple[Face, Face], ...] = tuple(
    (a, b) for a in HORIZONTAL for b in HORIZONTAL if a[1] != b[1]
)
"""(arrival, departure) of a drive in the local frame of another."""
FAR = 8
"""Cells along either axis beyond which two drives of one surface never disturb each other."""


@cache
def load_table() -> dict[str, dict[str, dict[str, object]]]:
    """The generated table: per system, per drive."""
    text = resources.files("solver").joinpath("data/clearances.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, dict[str, object]]] = json.loads(text)
    return table


def measured(system: str) -> bool:
    """Whether the clearances of a system are in the table."""
    return system in load_table()


@cache
def offsets(system: str, drive: str, what: str) -> frozenset[Offset]:
    """Cells (local frame of the drive) that must be free of `what`: tape, wire or trigger."""
    if not measured(system):
        return frozenset()
    found = load_table()[system][drive][what]
    assert isinstance(found, Iterable)
    return frozenset((x, y) for x, y in found)


@cache
def clashes(system: str, drive: str, other: str) -> frozenset[tuple[int, int, int]]:
    """(pose, dx, dy) of the other drive, in the local frame of the first, that do not work.

    A pair of different drives is in the table once: ask both ways round.
    """
    table = load_table()[system][drive]["drives"]
    assert isinstance(table, dict)
    return frozenset((p, x, y) for p, x, y in table.get(other, ()))


Pose = tuple[Cell, Cell, Cell]
"""Corner cell, arrival and departure direction of a drive."""


def clash(system: str, drive: str, pose: Pose, other: str, other_pose: Pose) -> bool:
    """Whether two drives of one surface disturb each other, by the table."""
    at, x, y = pose
    offset = sub(other_pose[0], at)
    dx, dy = dot(offset, x), dot(offset, y)
    if max(abs(dx), abs(dy)) > FAR:
        return False
    near = (_local(other_pose[1], x, y), _local(other_pose[2], x, y))
    return (POSES.index(near), dx, dy) in clashes(system, drive, other)


def _local(direction: Cell, x: Cell, y: Cell) -> Face:
    if dot(direction, x):
        return "+x" if dot(direction, x) > 0 else "-x"
    return "+y" if dot(direction, y) > 0 else "-y"
