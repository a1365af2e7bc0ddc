"""Cables of sensors: each sensor watches the one before it, so a signal runs one cell a tick.

Nothing in a cable stands on anything, so it runs in any direction, and several sensors may watch
one cell: a splitter. What a sensor puts out straight ahead must be harmless: the next sensor, or
air that is dug. Cables of equal length from one trigger fire all their ends at once.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from models.geometry import FACE_OF, VECTOR, Cell, add, sub
from models.parts import Part

_STEPS: tuple[Cell, ...] = tuple(VECTOR.values())


class Feed(NamedTuple):
    """One way to feed a wire: the last sensor of a cable and the cell it watches."""

    wire: Cell
    last: Cell
    watched: Cell


@dataclass(frozen=True)
class Space:
    """Where sensors may stand, and into which cells they may put power."""

    free: Set[Cell]
    inert: Set[Cell]

    def passes(self, a: Cell, b: Cell) -> bool:
        """Whether a sensor in b may watch a: what lies straight ahead must be inert."""
        return b in self.free and ahead(a, b) in self.inert

    def feeds(self, wire: Cell) -> list[Feed]:
        """All ways to feed a wire."""
        found = []
        for side in _STEPS:
            feed = Feed(wire, add(wire, side), add(wire, (side[0] * 2, side[1] * 2, side[2] * 2)))
            if feed.last in self.free:
                found.append(feed)
        return found


def ahead(a: Cell, b: Cell) -> Cell:
    """The output cell of a sensor in b that watches a."""
    return (2 * b[0] - a[0], 2 * b[1] - a[1], 2 * b[2] - a[2])


def distances(
    space: Space,
    feeds: Iterable[Feed],
    ends: frozenset[Cell],
    taken: Mapping[Cell, int],
    most: int = 1 << 20,
) -> tuple[dict[Cell, int], dict[Cell, Cell]]:
    """How many sensors a cable needs from a cell to a feed, and the next cell on the way.

    `ends` are cells that a cable may start from though no sensor can stand there; so are `taken`
    cells, which no cable crosses. No cable has more than `most` sensors.
    """
    length: dict[Cell, int] = {}
    onward: dict[Cell, Cell] = {}
    queue: deque[Cell] = deque()
    free, inert = space.free, space.inert
    for feed in feeds:
        if feed.last in taken or feed.watched in length:
            continue
        start = feed.watched
        if start in ends or start in taken or start in space.free:
            length[start], onward[start] = 1, feed.last
            queue.append(start)
    while queue:
        b = queue.popleft()
        if b in ends or b in taken or length[b] >= most:
            continue
        x, y, z = b
        for i, j, k in _STEPS:
            a = (x - i, y - j, z - k)
            if a in length or (x + i, y + j, z + k) not in inert:
                continue
            if a in free or a in ends or a in taken:
                length[a], onward[a] = length[b] + 1, b
                queue.append(a)
    return length, onward


@dataclass
class Tree:
    """Cables from the cells of a trigger (time 0) to wires, all of one length."""

    space: Space
    roots: frozenset[Cell]
    ticks: int
    time: dict[Cell, int] = field(default_factory=dict)
    watches: dict[Cell, Cell] = field(default_factory=dict)
    """The cell that each sensor watches."""

    def __post_init__(self) -> None:
        self.time.update(dict.fromkeys(self.roots, 0))

    def join(self, feeds: Sequence[Feed]) -> bool:
        """Lead a cable to one of the feeds so that it fires at `ticks`; False if none fits."""
        length, onward = distances(self.space, feeds, self.roots, self.time, self.ticks)
        starts = [
            c
            for c, t in self.time.items()
            if c in length and t + length[c] <= self.ticks and (self.ticks - t - length[c]) % 2 == 0
        ]
        for start in sorted(starts, key=lambda c: (-self.time[c], c)):
            path = [start]
            while path[-1] in onward and len(path) <= length[start]:
                path.append(onward[path[-1]])
            longer = self._stretched(path, self.ticks - self.time[start])
            if longer is not None:
                for before, cell in pairwise(longer):
                    self.time[cell] = self.time[before] + 1
                    self.watches[cell] = before
                return True
        return False

    def _stretched(self, path: list[Cell], sensors: int) -> list[Cell] | None:
        """The path with detours of two cells until it has so many sensors."""
        while len(path) - 1 < sensors:
            for i in range(len(path) - 2):
                longer = self._detour(path, i)
                if longer is not None:
                    path = longer
                    break
            else:
                return None
        return path if len(path) - 1 == sensors and self._sound(path) else None

    def _detour(self, path: list[Cell], i: int) -> list[Cell] | None:
        a, b = path[i], path[i + 1]
        for side in _STEPS:
            c, d = add(a, side), add(b, side)
            if c in path or d in path or c in self.time or d in self.time:
                continue
            if c in self.space.free and d in self.space.free:
                longer = [*path[: i + 1], c, d, *path[i + 1 :]]
                if self._sound(longer):
                    return longer
        return None

    def _sound(self, path: list[Cell]) -> bool:
        """Whether every sensor but the last, which feeds a wire, puts out into an inert cell."""
        steps = list(pairwise(path))
        return len(set(path)) == len(path) and all(self.space.passes(a, b) for a, b in steps[:-1])

    def sensors(self) -> list[Part]:
        """The parts of all cables."""
        return sensors_of(self.watches)

    def outputs(self) -> set[Cell]:
        """Every cell that a sensor puts out into."""
        return outputs_of(self.watches)


def sensors_of(watches: Mapping[Cell, Cell]) -> list[Part]:
    """Sensors, each with the cell that it watches, as parts."""
    return [
        Part("sensor", cell, FACE_OF[sub(watched, cell)], unit="link")
        for cell, watched in watches.items()
    ]


def outputs_of(watches: Mapping[Cell, Cell]) -> set[Cell]:
    """Every cell that one of these sensors puts out into."""
    return {ahead(watched, cell) for cell, watched in watches.items()}
