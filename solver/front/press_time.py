"""System -> how long a press of its machines takes at least, drive by drive.

Line and link are wires, which have no delay, or hold boosters and sensors, which only add to it.
So no drive is fed earlier than in a small ring, where nothing but its own sensors and buffers
takes time, and what a drive does after it was fed is the same in every machine.
"""

from __future__ import annotations

import time
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from models.outcome import Feasible
from models.rules import Rules
from models.scenario import Loop, Scenario
from models.surface import Mark, Surface, SurfaceName, plane_of
from models.system import System
from solver.flatten import flatten
from solver.plan.watch import rest_after_press
from solver.search import Progress, search_system

EDGE = 7
"""Cells of an edge of the ring: every system of floors and ceilings has one of this size."""
AROUND = 5
"""Open cells on every side of it."""
DEPTH = 8
BUDGET_S = 10.0


def by_time(scenario: Scenario, system: System, seed: int) -> list[tuple[int, System]]:
    """The system with its quickest drives only, then with slower ones too, up to all of them.

    With each the half-ticks from a press to rest that machines take at least if one of its slowest
    drives is among theirs. `scenario` gives the surface and the rules.
    """
    times = None
    if not system.shares and not system.surfaces:
        [surface] = scenario.surfaces
        times = _alone(surface, scenario.rules, system, seed)
    if times is None:
        # A button that is pressed is not at rest.
        return [(2 * scenario.rules.press, system)]
    levels = sorted(set(times))
    pairs = list(zip(times, system.drives, strict=True))
    quick = [tuple(d for t, d in pairs if t <= level) for level in levels]
    parts = [replace(system, drives=drives) for drives in quick[:-1]]
    return list(zip(levels, [*parts, system], strict=True))


@lru_cache(maxsize=32)
def _alone(surface: SurfaceName, rules: Rules, system: System, seed: int) -> tuple[int, ...] | None:
    """Half-ticks from a press to rest with each drive alone; None if one has no ring."""
    ring, times = flatten(_ring(surface, rules)), []
    for drive in system.drives:
        alone = replace(system, drives=(drive,), settled=())
        until = time.monotonic() + BUDGET_S
        verdict = search_system(ring, alone, until, seed, lambda line: None, Progress())
        if not isinstance(verdict, Feasible):
            return None
        times.append(rest_after_press(verdict.machine))
    return tuple(times)


def _ring(name: SurfaceName, rules: Rules) -> Scenario:
    """A scenario with a square ring in the middle of a surface."""
    size = EDGE + 2 * AROUND
    rim = (AROUND, AROUND + EDGE - 1)

    def mark(row: int, column: int) -> Mark:
        inside = all(rim[0] <= at <= rim[1] for at in (row, column))
        return "o" if inside and (row in rim or column in rim) else "."

    room = (size, size, size)
    marks = tuple(tuple(mark(r, c) for c in range(size)) for r in range(size))
    return Scenario(
        title="",
        path=Path(),
        room=room,
        button_surface=None,
        surfaces={name: Surface(name, DEPTH, 2, marks, plane_of(name, room))},
        loop=Loop("clockwise", "exact", None, None, None, None, ("parts",)),
        rules=rules,
        requirements={},
    )
