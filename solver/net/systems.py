"""Which systems of designs a surface has to choose from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache

from models.rules import Rules
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
    edge_min=6,
    least_parts=3,
    # The line is a ring inside the tape: two cells fewer for each corner, two parts each.
    corner_saves=4,
)
"""Shallow floors: depth 3, rectangles only, and few parts per cell."""
OVER = System("over", CEILING_COLUMN, (entry("floor-8").design,), CEILING_TRIGGER, line_level=-4)
"""The floor's drive stands on nothing and serves a ceiling too, down to edges of two."""


def _mixed(system: System, *others: str) -> System:
    """The system with these drives too, another at each corner if need be."""
    made = [*(entry(drive.name) for drive in system.drives), *map(entry, others)]
    # Each drive must have parted before the one before it feeds.
    apart = min(e.timing["feed"] for e in made) - max(e.timing["part"] for e in made)
    return replace(
        system,
        name=f"{system.name}-mixed",
        drives=tuple(e.design for e in made),
        skew=min(system.skew, apart - 1),
        feed=max(e.timing["feed"] for e in made),
        measured_as=system.name,
    )


DEEP_MIXED = _mixed(DEEP, "floor-strip-10")
"""Strips of four with a drive in them."""
DEEP_EARLY = replace(
    DEEP,
    name="deep-early",
    drives=(entry("floor-early-11").design,),
    measured_as="deep",
    feed=entry("floor-early-11").timing["feed"],
)
"""A press of 8 ticks. Its drive takes all the room of the others and more parts."""
OVER_MIXED = _mixed(OVER, "ceiling-early-8")
"""Edges of four between a left and a right turn."""
TRADE = System("trade", FLOOR_COLUMN, (FLOOR_DRIVE,), FLOOR_TRIGGER, line_level=-4)
"""The trade's own drive: measured for comparison, never better than the others."""

WORLD = System("world", LIFT_ALONE, RAMS_ALONE, WALL_TRIGGER, line_level=-3)
"""Lifts and rams by the rules, and nothing of what fires them: less than any machine needs."""

SYSTEMS = {system.name: system for system in (DEEP, OVER, TRADE)}
_CHEAPEST: dict[SurfaceName, tuple[System, ...]] = {"floor": (DEEP, FLAT), "ceiling": (OVER,)}
_MIXED: dict[SurfaceName, System] = {"floor": DEEP_MIXED, "ceiling": OVER_MIXED}


def systems_for(surface: SurfaceName) -> tuple[System, ...]:
    """The systems known for a surface; none has a machine that another one has."""
    if surface not in _CHEAPEST:
        return (wall_system(),)
    cheapest, mixed = _CHEAPEST[surface], _MIXED[surface]
    return (*cheapest, replace(mixed, settled=tuple(d.name for d in cheapest[0].drives)))


def widest_for(surface: SurfaceName, rules: Rules | None = None) -> tuple[System, ...]:
    """As few systems that together have every machine that any has: for proofs."""
    if surface not in _CHEAPEST:
        return (wall_system(),)
    return _in_time(surface, (_MIXED[surface], *_CHEAPEST[surface][1:]), rules or Rules())


def systems_over(surfaces: Iterable[SurfaceName], rules: Rules | None = None) -> tuple[System, ...]:
    """The systems known for loops that may use all of these surfaces, in such a world."""
    names = tuple(surfaces)
    if len(names) > 1:
        return (space_system(names),)
    return _in_time(names[0], systems_for(names[0]), rules or Rules())


def _in_time(surface: SurfaceName, systems: Sequence[System], rules: Rules) -> tuple[System, ...]:
    """The systems without the drives that feed too late for the button's press."""
    late = {e.design.name for e in load_entries() if e.timing["feed"] >= rules.feed_until}
    if "floor-8" in late:
        late.add(FLAT_DRIVE.name)  # it is that drive, with what fires the corner's own lift
        systems = (*systems, DEEP_EARLY) if surface == "floor" else systems
    kept = []
    for system in systems:
        drives = tuple(d for d in system.drives if d.name not in late)
        if drives == system.drives:
            kept.append(system)
        elif drives:
            # The drives that are left out settle nothing.
            names = tuple(name for name in system.settled if name not in late)
            kept.append(replace(system, drives=drives, settled=names))
    return tuple(kept) or tuple(systems)


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
        world=WORLD,
    )


def _lifts_only(system: System) -> System:
    # Where the line gives way a lift has a sensor of its own: no cell has less than these two. A
    # wire of the net may fire five such lifts; the line of the other cells has more to spare.
    return replace(system, column=FLAT_COLUMN, least_parts=2)


@cache
def wall_system() -> System:
    """The drives of the catalogue that stand on a wall.

    Those for edges of odd or of even height only, and those for strips, are there where the others
    have no room.
    """
    found = [e for e in load_entries() if e.design.system == "wall"]
    drives = tuple(e.design for e in found)
    return System(
        "wall",
        WALL_COLUMN,
        drives,
        WALL_TRIGGER,
        line_level=-3,
        least_parts=3,
        shares=True,
        fallback=tuple(
            e.design.name for e in found if e.parity != "any" or e.objective != "fewest parts"
        ),
        parities={e.design.name: e.parity for e in found if e.parity != "any"},
        world=WORLD,
    )
