"""Where cables may run in a scene, what they can reach, and what there is to fire."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass

from models.geometry import VECTOR, Cell, add
from models.parts import RAMS, Part
from solver.net.cable_search import Roots
from solver.net.cable_trees import Goal
from solver.net.cables import Feed, Space, ahead
from solver.net.lift_lines import UP
from solver.net.reach import HEARING
from solver.net.space_scene import Scene
from solver.net.wire_ground import WireGround, firing

_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_FAR = 1 << 20


@dataclass(frozen=True)
class Ways:
    """Where cables may run in a scene, and what they can reach."""

    triggers: Mapping[Cell, Roots]
    """Covers for the button, with the cells behind that change: the ram's and its head's."""
    space: Space
    away: Mapping[Cell, int]
    feeds: Mapping[Cell, tuple[Feed, ...]]
    """How each wire can be fed, if it can."""
    able: Mapping[Cell, frozenset[Cell]]
    """Which wires each of these powers."""
    ground: WireGround
    """Where wires of the net may lie."""


def fired(scene: Scene, ways: Ways, lift: Cell) -> Goal:
    """A lift that no wire of the line fires."""
    feeds = near(at_lift(scene, ways.space, lift), ways.away)
    where = firing(lift, scene.line.lifts[lift], ways.ground)
    return Goal(feeds, 0, firing=tuple(where.items()))


def fed(scene: Scene, ways: Ways, wire: Cell, sources: Iterable[Cell]) -> Goal:
    """A wire of the line that must have power, with the wires that give it some."""
    feeds = tuple(feed for source in sources for feed in ways.feeds[source])
    return Goal(feeds, scene.line.lead[wire], frozenset((wire,)))


def at_wire(scene: Scene, space: Space, wire: Cell) -> tuple[Feed, ...]:
    """Ways to feed a wire; one that must point at its lift bears no sensor at its side."""
    points = any(add(wire, side) in scene.line.lifts for side in _SIDES if side[2] == 0)
    return tuple(f for f in space.feeds(wire) if not (points and f.last[2] == wire[2]))


def at_lift(scene: Scene, space: Space, lift: Cell) -> tuple[Feed, ...]:
    front = add(lift, scene.line.lifts[lift])
    return tuple(feed for feed in space.feeds(lift) if feed.last != front)


def serving_of(ways: Ways) -> dict[Cell, list[Cell]]:
    """For every wire of the line those that power it, if they are fed."""
    found: dict[Cell, list[Cell]] = {}
    for source, wires in ways.able.items():
        for wire in wires:
            found.setdefault(wire, []).append(source)
    return found


def heard(parts: Mapping[Cell, Part]) -> set[Cell]:
    """Cells that would wake something if power went there: beside what reads it."""
    ears = {p.at for p in parts.values() if p.kind in HEARING}
    ears |= {add(p.at, UP) for p in parts.values() if p.kind in RAMS}
    return {add(cell, side) for cell in ears for side in _SIDES}


def hardest(missing: Set[Cell], able: Mapping[Cell, frozenset[Cell]]) -> Cell | None:
    """The wire that the fewest feeds reach; None if some wire is reached by none."""
    count = dict.fromkeys(missing, 0)
    for reach in able.values():
        for wire in reach & missing:
            count[wire] += 1
    wire = min(sorted(missing), key=lambda w: count[w])
    return wire if count[wire] else None


def reached(space: Space, roots: frozenset[Cell]) -> dict[Cell, int]:
    """How many sensors a cable from the roots needs to have one in a cell."""
    away = dict.fromkeys(roots, 0)
    queue = deque(roots)
    while queue:
        at = queue.popleft()
        for side in _SIDES:
            there = add(at, side)
            if there not in away and there in space.free and ahead(at, there) in space.inert:
                away[there] = away[at] + 1
                queue.append(there)
    return away


def near(feeds: Iterable[Feed], away: Mapping[Cell, int]) -> tuple[Feed, ...]:
    """Those that a cable can be led to."""
    return tuple(feed for feed in feeds if feed_ticks(feed, away) < _FAR)


def feed_ticks(feed: Feed, away: Mapping[Cell, int]) -> int:
    """The least sensors of a cable to a feed."""
    return away.get(feed.watched, _FAR) + 1
