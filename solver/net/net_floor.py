"""What every net of a scene has at least, by goals that none can do without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from models.geometry import Cell
from solver.net.cable_search import MOST_RAISES, MOST_WIRED, CableSearch, Found
from solver.net.cable_trees import Goal
from solver.net.cables import Space, ahead
from solver.net.net_layout import Laid
from solver.net.net_ways import Ways, fed, fired, serving_of
from solver.net.reach import powered
from solver.net.space_scene import Scene


@dataclass(frozen=True)
class Floor:
    """What no machine of a route beats: the term that matters more first."""

    parts: int
    depth: int
    tree: Found | None = None
    """One that meets it, with the button's cover."""


def fewest(
    space: Space, scene: Scene, ways: Ways, goals_of_all: Sequence[Goal]
) -> tuple[int, Found | None]:
    """Parts that every net needs, by goals that none can do without; a net of so few, if found.

    What the tree that serves them leaves dark is asked for too, and so on until nothing is.
    """
    goals, serving = list(goals_of_all), serving_of(ways)
    while goals:
        search = CableSearch(space, goals, ways.triggers, MOST_RAISES, ways.ground)
        parts, found = search.fewest()
        dark = () if found is None else _dark(scene, found[1], serving, ways.ground.reach)
        if found is None or not dark:
            lifts = {feed.wire for goal in goals for feed in goal.feeds}
            return parts, found if lifts.issuperset(scene.mute) else None
        if len(goals) >= MOST_WIRED:
            return parts, None
        goals.append(fed(scene, ways, dark[0], serving.get(dark[0], ())))
    return 0, None


def _dark(
    scene: Scene, tree: Laid, serving: Mapping[Cell, Sequence[Cell]], reach: int
) -> list[Cell]:
    """Wires of the line that a tree does not power, those that few feeds reach first."""
    parts = {**scene.parts, **{part.at: part for part in tree.parts()}}
    air = scene.air | tree.air()
    outs = {ahead(watched, sensor) for sensor, watched in tree.watches.items()}
    live: set[Cell] = set()
    for wire in outs:
        if wire in parts and parts[wire].kind == "wire":
            live |= powered(parts, air, wire, reach).keys()
    return sorted(scene.line.lead.keys() - live, key=lambda w: (len(serving.get(w, ())), w))


def witnesses(scene: Scene, ways: Ways) -> list[Goal]:
    """Lifts and wires, no two of which one feed can serve, each with all that serve it."""
    found = [g for lift in scene.mute if (g := fired(scene, ways, lift)).feeds]
    used: set[Cell] = set()
    lead, serving = scene.line.lead, serving_of(ways)
    for wire in sorted(serving, key=lambda w: (len(serving[w]), w)):
        sources = serving[wire]
        if used.isdisjoint(sources) and len({lead[source] for source in sources}) == 1:
            used.update(sources)
            found.append(fed(scene, ways, wire, sources))
    return found
