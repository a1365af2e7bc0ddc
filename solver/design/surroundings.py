"""What stands beside a drive: covers, columns and the trigger line, system by system."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from models.catalogue import LED_AFTER
from models.geometry import Cell, Face
from models.parts import Part
from solver.design.task import PULSE, Task, drive_task

Placed = tuple[Part, frozenset[int] | None]
"""A part of the line, and when it has power (None: it neither has nor passes any)."""
REACH = 4
INCOMING: tuple[tuple[int, int], ...] = tuple((x, 0) for x in range(-REACH, 1))
OUTGOING: tuple[tuple[int, int], ...] = tuple((0, y) for y in range(1, REACH + 1))


def deep_floor(more: Iterable[tuple[int, int]] = ()) -> list[Placed]:
    """A sensor under every lift; its wire is live earlier, and is not to be touched."""
    parts: list[Placed] = []
    for x, y in (*INCOMING, *OUTGOING, *more):
        parts.append((Part("sensor", (x, y, -3), "-z"), None))
        parts.append((Part("wire", (x, y, -4)), None))
        parts.append((Part("block", (x, y, -5)), None))
    return parts


def over_ceiling(more: Iterable[tuple[int, int]] = ()) -> list[Placed]:
    """A block on every lift and a wire on it."""
    own = {*INCOMING, *OUTGOING}
    parts: list[Placed] = []
    for x, y in (*INCOMING, *OUTGOING, *more):
        # What another edge's line does, and when, is not for this drive to rely on.
        times = PULSE if (x, y) in own else None
        parts.append((Part("block", (x, y, -3)), times))
        parts.append((Part("wire", (x, y, -4)), times))
    return parts


def wall_horizontal(up: Face) -> list[Placed]:
    """The incoming edge is horizontal: blocks behind the lifts, wires on them."""
    over = 1 if up == "+y" else -1
    parts: list[Placed] = []
    for x, _ in INCOMING[:-1]:
        parts.append((Part("block", (x, 0, -3)), PULSE))
        parts.append((Part("wire", (x, over, -3)), PULSE))
    if up == "-y":
        # At the top of an edge of an even number of cells a wire of the climb is in the way.
        parts.append((Part("block", (0, 0, -3)), PULSE))
        parts.append((Part("wire", (0, -1, -3)), PULSE))
    return parts


def wall_vertical(leaf: Iterable[int]) -> list[Placed]:
    """The incoming edge is vertical; behind the lifts in `leaf` is a wire, else a block."""
    leaves = set(leaf)
    parts: list[Placed] = []
    for x, _ in INCOMING:
        if x in leaves:
            parts.append((Part("wire", (x, 0, -3)), PULSE))
            parts.append((Part("wire", (x, 0, -4)), PULSE))
        else:
            parts.append((Part("block", (x, 0, -3)), PULSE))
            parts.append((Part("insulator", (x, 0, -4)), None))
    return parts


def surrounded(
    name: str,
    system: str,
    up: Face,
    free: Iterable[Cell],
    parity: str = "",
    behind: int | None = None,
    **limits: int,
) -> Task:
    """The task of a drive in its system. `parity`: of the cells of a vertical incoming edge."""
    stiff: list[Cell] = []
    kept: set[Cell] = set()
    more = [] if behind is None else [(x, behind) for x in range(-REACH, REACH)]
    if system == "deep":
        line = deep_floor(more)
    elif system == "over":
        line = over_ceiling(more)
    elif up in ("+y", "-y"):
        line = wall_horizontal(up)
        # The climb of the outgoing edge stands there.
        kept = {(x, -1, -4) for x in range(-REACH, 2)} | ({(0, -1, -3)} if up == "+y" else set())
    else:
        line = wall_vertical(_leaves(parity))
        stiff = [part.at for part, _ in line if part.kind == "wire" and part.at[2] == -3]
        kept = {(x, -1, -4) for x in range(-REACH, 3)}
    cells = [cell for cell in free if cell not in kept]
    return drive_task(name, up, cells, line, reach=REACH, stiff=stiff, behind=behind, **limits)


def _leaves(parity: str) -> Iterable[int]:
    if parity == "any":
        return range(-REACH, 1)
    return range(0 if parity != "even" else -1, -REACH - 1, -2)


LED_HORIZON = 24
"""Half-ticks; a led drive begins later than one that watches its lift."""


LED_SURFACES: dict[str, tuple[tuple[str, Face], ...]] = {
    "led": (("deep", "+z"), ("over", "-z")),
    "led-floor": (("deep", "+z"),),
}
"""Beside which lines, and which way up, the led drives of a system stand."""


def led(
    name: str, free: Iterable[Cell], watched: Cell, sides: Iterable[tuple[str, Face]]
) -> tuple[Task, ...]:
    """The tasks of a drive that is fired by a lead ending in `watched`.

    It is made of what stands on nothing. One wiring must do on all sides, whether the lead comes
    early or a tick later.
    """
    cells = tuple(free)
    tasks = [surrounded(name, system, up, cells, watch_own=True) for system, up in sides]
    return tuple(
        replace(
            task,
            changes={watched: (after, after + 2)},
            horizon=LED_HORIZON,
            kinds=("block", "sensor"),
        )
        for task in tasks
        for after in LED_AFTER
    )
