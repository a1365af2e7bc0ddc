"""Which systems of designs a surface has to choose from."""

from __future__ import annotations

from functools import cache

from models.surface import SurfaceName
from models.system import System
from solver.catalogue import load_entries
from solver.worked import (
    CEILING_COLUMN,
    CEILING_TRIGGER,
    FLOOR_COLUMN,
    FLOOR_DRIVE,
    FLOOR_TRIGGER,
    SENSOR_DRIVE,
    WALL_COLUMN,
    WALL_TRIGGER,
)

DEEP = System("deep", FLOOR_COLUMN, (SENSOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
OVER = System("over", CEILING_COLUMN, (SENSOR_DRIVE,), CEILING_TRIGGER, line_level=-4)
TRADE = System("trade", FLOOR_COLUMN, (FLOOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
"""The trade's own drive: measured for comparison, never better than the others."""

SYSTEMS = {system.name: system for system in (DEEP, OVER, TRADE)}
_FOR: dict[SurfaceName, tuple[System, ...]] = {"floor": (DEEP,), "ceiling": (OVER,)}


def systems_for(surface: SurfaceName) -> tuple[System, ...]:
    """The systems known for a surface."""
    return _FOR[surface] if surface in _FOR else (wall_system(),)


@cache
def wall_system() -> System:
    """The drives of the catalogue that stand on a wall, whatever the heights of its edges."""
    drives = tuple(
        e.design for e in load_entries() if e.design.system == "wall" and e.parity == "any"
    )
    return System("wall", WALL_COLUMN, drives, WALL_TRIGGER, line_level=-3, least_parts=3)
