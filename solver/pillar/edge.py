"""The mechanism that leads tape over an outer edge: rams, and the pulses they get.

Local frame: the edge is the line along y through the origin. The tape comes along +x on the
surface whose normal is +z, goes down along -z on the one whose normal is +x, and is covered
between: three cells before and on the edge, one behind it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from models.geometry import OPPOSITE, Cell, Face, step
from models.passage import Passage
from solver.passage import pulse_trains

BEFORE, BEHIND = 3, 2
"""How far from the edge the tape's last cell before it and its first behind it lie."""
STEPS = 5
"""Steps in which the pulses of one stroke of the trigger lie."""
APART = 5
"""Steps from the first pulse to the second one, at least."""
LEAST_TICKS = 2
"""Whole ticks that a stroke of one and a half takes."""
DEEP, HALF = 5, 3
"""The box of the rams: so deep behind both surfaces, and that far to both sides along the edge."""
LINED = frozenset({(-BEFORE - 1, 0, -2), (-BEFORE, 0, -2), (-2, 0, -BEHIND - 1)})
"""The lifts of a row's ends, all but its first: its line is to fire them."""


@dataclass(frozen=True)
class EdgeRam:
    """A ram of the mechanism and the steps of its pulses."""

    at: Cell
    face: Face
    grip: bool
    steps: tuple[int, ...]


@dataclass(frozen=True)
class Edge:
    """What stands at each outer edge, in the local frame."""

    rams: tuple[EdgeRam, ...]
    ways: frozenset[Cell]
    """Cells in which blocks and heads move."""
    fewest: bool


def passage() -> Passage:
    """The question: two cells of tape on each surface, and covers between."""
    path = ((-BEFORE - 1, 0, 0), (-BEFORE, 0, 0), (0, 0, -BEHIND), (0, 0, -BEHIND - 1))
    enters: tuple[Cell, Face] = (path[0][0], 0, -1), "+x"
    leaves: tuple[Cell, Face] = (-1, 0, path[-1][2]), "-z"
    across = range(-HALF, HALF + 1)
    ports = {step(enters[0], OPPOSITE[enters[1]]), step(*leaves)}
    box = {(x, y, z) for x in range(-DEEP, 0) for y in across for z in range(-DEEP, 0)}
    return Passage(path, frozenset(box - ports), frozenset(), enters, leaves)


def over_the_edge() -> Iterator[Edge]:
    """Mechanisms with the fewest rams."""
    asked = passage()
    # What is there would be heard by the lifts of a row below, or by the tape that sinks; and
    # behind the lifts run the rows' lines.
    near = {c for c in asked.hidden if c[1] == 1 and max(c[0], c[2]) >= -2}
    behind = {
        c for c in asked.hidden if c[1] in (0, 1) and (min(c[0], c[2]) < -3 == max(c[0], c[2]))
    }
    barred = near | behind
    for found in pulse_trains(asked, STEPS, APART, barred, LINED):
        rams = tuple(
            EdgeRam(r.at, r.face, r.grip, tuple(t for t in range(STEPS) if r.pulses[t]))
            for r in found.rams
        )
        heads = {step(ram.at, ram.face) for ram in rams}
        yield Edge(rams, frozenset(found.ways | heads), found.fewest)
