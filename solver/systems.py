"""Which systems of designs a surface has to choose from."""

from __future__ import annotations

from models.surface import SurfaceName
from models.system import System
from solver.worked import (
    CEILING_COLUMN,
    CEILING_TRIGGER,
    FLOOR_COLUMN,
    FLOOR_DRIVE,
    FLOOR_TRIGGER,
    SENSOR_DRIVE,
)

DEEP = System("deep", FLOOR_COLUMN, (SENSOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
OVER = System("over", CEILING_COLUMN, (SENSOR_DRIVE,), CEILING_TRIGGER, line_level=-4)
TRADE = System("trade", FLOOR_COLUMN, (FLOOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
"""The trade's own drive: measured for comparison, never better than the others."""

SYSTEMS = {system.name: system for system in (DEEP, OVER, TRADE)}
_FOR: dict[SurfaceName, tuple[System, ...]] = {"floor": (DEEP,), "ceiling": (OVER,)}


def systems_for(surface: SurfaceName) -> tuple[System, ...]:
    """The systems known for a surface."""
    return _FOR.get(surface, ())
