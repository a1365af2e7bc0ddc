"""Which systems of designs a surface has to choose from."""

from __future__ import annotations

from functools import cache

from models.surface import SurfaceName
from models.system import System
from solver.worked import FLOOR_COLUMN, FLOOR_DRIVE, FLOOR_TRIGGER

DEEP = System("deep", FLOOR_COLUMN, (FLOOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)


@cache
def systems_for(surface: SurfaceName) -> tuple[System, ...]:
    """The systems known for a surface."""
    return (DEEP,) if surface == "floor" else ()
