"""Which systems of designs a surface has to choose from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

from models.surface import SurfaceName
from models.system import System
from solver.net.catalogue import entry, load_entries
from solver.net.worked import (
    CEILING_COLUMN,
    CEILING_TRIGGER,
    FLAT_COLUMN,
    FLAT_DRIVE,
    FLAT_TRIGGER,
    FLOOR_COLUMN,
    FLOOR_DRIVE,
    FLOOR_TRIGGER,
    LIFT_ALONE,
    RAMS_ALONE,
    WALL_COLUMN,
    WALL_TRIGGER,
)

DEEP = System("deep", FLOOR_COLUMN, (entry("floor-8").design,), FLOOR_TRIGGER, line_level=-4)
FLAT = System(
    "flat",
    FLAT_COLUMN,
    (FLAT_DRIVE,),
    FLAT_TRIGGER,
    line_level=-1,
    convex_only=True,
    edge_min=5,
    least_parts=3,
    # The line is a ring inside the tape: two cells fewer for each corner, two parts each.
    corner_saves=4,
)
"""Shallow floors: depth 3, rectangles only, and few parts per cell."""
OVER = System("over", CEILING_COLUMN, (entry("floor-8").design,), CEILING_TRIGGER, line_level=-4)
"""The floor's drive stands on nothing and serves a ceiling too, down to edges of two."""
TRADE = System("trade", FLOOR_COLUMN, (FLOOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
"""The trade's own drive: measured for comparison, never better than the others."""

WORLD = System("world", LIFT_ALONE, RAMS_ALONE, WALL_TRIGGER, line_level=-3)
"""Lifts and rams by the rules, and nothing of what fires them: less than any machine needs."""

SYSTEMS = {system.name: system for system in (DEEP, OVER, TRADE)}
_FOR: dict[SurfaceName, tuple[System, ...]] = {"floor": (DEEP, FLAT), "ceiling": (OVER,)}


def systems_for(surface: SurfaceName) -> tuple[System, ...]:
    """The systems known for a surface."""
    return _FOR[surface] if surface in _FOR else (wall_system(),)


def systems_over(surfaces: Iterable[SurfaceName]) -> tuple[System, ...]:
    """The systems known for loops that may use all of these surfaces."""
    names = tuple(surfaces)
    return systems_for(names[0]) if len(names) == 1 else (space_system(names),)


def space_system(names: tuple[SurfaceName, ...]) -> System:
    """Each surface keeps its own lifts, line and drives; cables of sensors join them.

    Routes are asked for no more than the lift of every cell: that a line does not fit below it
    refuses a machine, but proves nothing.
    """
    own = {name: _lifts_only(systems_for(name)[0]) for name in names}
    drives = dict.fromkeys(drive for system in own.values() for drive in system.drives)
    return System(
        "space",
        FLAT_COLUMN,
        tuple(drives),
        WALL_TRIGGER,
        line_level=-3,
        least_parts=3,
        surfaces=own,
    )


def _lifts_only(system: System) -> System:
    return replace(system, column=FLAT_COLUMN, least_parts=system.cell_parts)


@cache
def wall_system() -> System:
    """The drives of the catalogue that stand on a wall, whatever the heights of its edges."""
    drives = tuple(
        e.design for e in load_entries() if e.design.system == "wall" and e.parity == "any"
    )
    return System(
        "wall",
        WALL_COLUMN,
        drives,
        WALL_TRIGGER,
        line_level=-3,
        edge_min=3,
        least_parts=3,
        world=WORLD,
    )
