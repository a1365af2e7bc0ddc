"""Trees of cables and wires with the fewest parts: a bound for every trigger at once.

A cable is a chain of sensors, one cell and one tick each; a run of wires takes no time and two
parts a cell. All goals must be reached a set number of ticks before the lifts, so a tree is laid
out in cells and ticks: `pulses[t][S][v]` is how many parts it takes at least to serve the goals S,
given that cell v changes t ticks before the lifts, and `wired[t][l][S][v]` the same of a wire in v
at level l (where the line is not near, levels are not counted).
That is the method of Dreyfus and Wagner for Steiner trees (Networks 1, 1971), layer by layer.
The table lets branches share cells, so it is a lower bound; `tree_search.py` finds the trees.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from models.geometry import VECTOR, Cell, add
from solver.net.cables import Feed, Space, ahead
from solver.net.wire_ground import ALWAYS, JOINS, NO_WIRES, WireGround

MOST_GOALS = 7
"""Goals that a table is made for: it doubles with each."""
MOST_TICKS = 90
FAR = 1 << 12
"""More parts than any net has."""
STEPS: tuple[Cell, ...] = tuple(VECTOR.values())
Layer = npt.NDArray[np.int16]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Goal:
    """Something to fire: any of these feeds will do."""

    feeds: tuple[Feed, ...]
    lead: int
    """Ticks before the lifts at which it must be reached."""
    wires: frozenset[Cell] = frozenset()
    """Wires of the line to be powered; none where it is a lift."""
    firing: tuple[tuple[Cell, bool], ...] = ()
    """Where a wire fires the lift, and whether it must stand on a block for that."""


class CableTable:
    """The least parts of trees from every cell, for every set of goals and every time."""

    def __init__(
        self,
        space: Space,
        goals: Sequence[Goal],
        ends: Iterable[Cell],
        ground: WireGround = NO_WIRES,
    ) -> None:
        """`ends`: cells that cables may begin at though no sensor can stand there."""
        assert len(goals) <= MOST_GOALS
        self.space, self.goals, self.ground = space, tuple(goals), ground
        self.cells = sorted({*space.free, *ends, *ground.line})
        self.index = {cell: i for i, cell in enumerate(self.cells)}
        self.full = (1 << len(goals)) - 1
        self.onward = np.stack([self._onward(step) for step in STEPS])
        self.pulses: list[Layer] = [self._blank()]
        self.pulses[0][0] = 0
        self.feeds: dict[tuple[int, Cell], list[tuple[int, Cell]]] = {}
        """By time and watched cell: goals that a sensor there serves, and where it stands."""
        self.entries: set[Feed] = set()
        """Feeds of the line: from there power may go on over wires."""
        for number, goal in enumerate(goals):
            for feed in goal.feeds:
                if feed.wire in ground.line:
                    self.entries.add(feed)
                elif feed.watched in self.index:
                    key = (goal.lead + 1, feed.watched)
                    self.feeds.setdefault(key, []).append((number, feed.last))
        self.wires = _WireLayers(self)
        self.wired: list[list[Layer]] = [self.wires.layers(self._blank(), 0)]

    def _blank(self) -> Layer:
        return np.full((self.full + 1, len(self.cells) + 1), FAR, dtype=np.int16)

    def _onward(self, step: Cell) -> Indices:
        """For each cell the next one that way, if a sensor there may watch it."""
        found = np.full(len(self.cells), len(self.cells))
        for i, cell in enumerate(self.cells):
            there = add(cell, step)
            if there in self.space.free and ahead(cell, there) in self.space.inert:
                found[i] = self.index[there]
        return found

    def extend(self) -> None:
        """One tick more."""
        before, layer, ticks = self.pulses[-1], self._blank(), len(self.pulses)
        step = np.empty((self.full + 1, len(self.cells)), dtype=np.int16)
        for row in self.onward:
            np.take(before, row, axis=1, out=step, mode="clip")
            np.minimum(layer[:, :-1], step, out=layer[:, :-1])
        layer[:, :-1] += 1
        for (when, watched), ways in self.feeds.items():
            if when == ticks:
                at = self.index[watched]
                for number, last in ways:
                    self._serve(layer, before, number, self.index[last], at)
        self.wires.enter(layer, before, self.wired[-1][-1], ticks - 1)
        beginning = layer.copy()
        self.pulses.append(_merged(layer))
        self.wired.append(self.wires.layers(beginning, ticks))

    def _serve(self, layer: Layer, before: Layer, number: int, last: int, at: int) -> None:
        """A sensor at `last` that watches `at` serves a goal, and the cable may go on from it."""
        for goals in range(self.full + 1):
            if goals >> number & 1:
                rest = goals ^ (1 << number)
                onward = before[rest, last] if rest else 0
                layer[goals, at] = min(int(layer[goals, at]), 1 + int(onward))

    def least(self, goals: int, ticks: int, cell: Cell, level: int = 0) -> int:
        """Parts that it takes at least; beside the wire itself, where a wire has a level there."""
        layer = self.pulses[ticks]
        if level:
            levels = self.wired[ticks]
            layer = levels[min(level, len(levels)) - 1 if ticks in self.wires.leads else -1]
        return int(layer[goals, self.index[cell]])

    def from_roots(self, ticks: int, roots: Sequence[tuple[Cell, Cell]]) -> list[int]:
        """The same for all goals, for each pair of cells that a trigger changes at once."""
        if not roots:
            return []
        first, second = ([self.index[pair[i]] for pair in roots] for i in (0, 1))
        # What the one cell does not serve, the other must: the complement is the row from the end.
        both = self.pulses[ticks][:, first] + self.pulses[ticks][::-1, second]
        return [int(least) for least in both.min(axis=0)]


class _WireLayers:
    """What wires add to a table: power that enters one goes on without delay."""

    def __init__(self, table: CableTable) -> None:
        self.table, self.ground = table, table.ground
        ground, index, count = table.ground, table.index, len(table.cells)
        self.leads = set(ground.line.values())
        nodes = [cell for cell in table.cells if cell in ground.cost or cell in ground.line]
        self.price = np.full(count + 1, FAR, dtype=np.int16)
        self.when = np.full(count + 1, ALWAYS)
        for cell in nodes:
            self.price[index[cell]] = ground.cost.get(cell, 0)
            self.when[index[cell]] = ground.line.get(cell, ground.when.get(cell, ALWAYS))
        self.joins = np.full((len(JOINS) if nodes else 0, count), count)
        for k, step in enumerate(JOINS if nodes else ()):
            for cell in nodes:
                there = add(cell, step)
                onward = ground.levels.get(cell, {}).get(there) == ground.reach - 1
                joined = there in ground.line and (cell in ground.cost or onward)
                if there in ground.cost or joined:
                    self.joins[k, index[cell]] = index[there]
        self.backward = np.full_like(self.joins, count)
        """The other way round: from which cell each step leads to a cell."""
        for row, back in zip(self.joins, self.backward, strict=True):
            led = np.flatnonzero(row < count)
            back[row[led]] = led
        self.entries = [self._entries(step) for step in STEPS if nodes]

    def _entries(self, step: Cell) -> tuple[Indices, Indices, Indices]:
        """Cells watched that way by a sensor that puts out into a wire: they, it and the wire."""
        table, ground = self.table, self.ground
        found = []
        for cell in table.cells:
            sensor = add(cell, step)
            out = ahead(cell, sensor)
            if sensor in table.space.free and (
                out in ground.cost or Feed(out, sensor, cell) in table.entries
            ):
                found.append((table.index[cell], table.index[sensor], table.index[out]))
        watched, sensors, outs = np.array(found, dtype=np.int64).reshape(-1, 3).T
        return watched, sensors, outs

    def _cost(self, ticks: int) -> Layer:
        """Parts of a wire in every cell, if it goes live then."""
        fits = (self.when == ALWAYS) | (self.when == ticks)
        return np.where(fits, self.price, np.int16(FAR))

    def enter(self, layer: Layer, before: Layer, wired: Layer, ticks: int) -> None:
        """Sensors that put out into a wire, live so many ticks before the lifts."""
        full = self.table.full
        cost = self._cost(ticks)
        for watched, sensors, outs in self.entries:
            live = wired.take(outs, axis=1) + cost[outs]
            some = (live[1:] < FAR).any(axis=0)
            if not some.any():
                continue
            live, at = live[:, some] + np.int16(1), watched[some]
            onward, best = before.take(sensors[some], axis=1), layer.take(at, axis=1)
            both = np.empty_like(best[0])
            for goals in range(1, full + 1):
                part = goals
                while part:
                    np.add(live[part], onward[goals ^ part], out=both)
                    np.minimum(best[goals], both, out=best[goals])
                    part = (part - 1) & goals
            layer[:, at] = best

    def layers(self, beginning: Layer, ticks: int) -> list[Layer]:
        """By level, what a wire can do at that time, beside what a sensor that watches it can.

        Where no line is live only the highest level is kept, and holds for all.
        """
        beginning[0] = 0
        if not len(self.joins):
            return [beginning]
        cost, found = self._cost(ticks), list[Layer]()
        for level in range(1, self.ground.reach + 1 if ticks in self.leads else 3):
            layer = beginning.copy()
            if found:
                onward = np.minimum(found[-1] + cost, FAR)
                for row in self.joins:
                    # Much quicker than indexing.
                    step = np.take(onward, row, axis=1, mode="clip")
                    np.minimum(layer[:, :-1], step, out=layer[:, :-1])
            self._serve(layer, ticks, level)
            found.append(_merged(layer))
        if ticks not in self.leads:
            self._spread(found[1], np.flatnonzero((found[0] != found[1]).any(axis=0)), cost)
            return found[1:]
        return found

    def _spread(self, layer: Layer, changed: Indices, cost: Layer) -> None:
        """Wires lead on from where something changed, as far as one run reaches."""
        for _ in range(2, self.ground.reach):
            onward = np.minimum(layer[:, changed] + cost[changed], FAR)
            touched = []
            for row in self.backward:
                at = row[changed]
                old = layer[:, at]
                better = (onward < old).any(axis=0) & (at < layer.shape[1] - 1)
                at = at[better]
                layer[:, at] = np.minimum(old[:, better], onward[:, better])
                touched.append(at)
            changed = np.unique(np.concatenate(touched))
            if not len(changed):
                return
            layer[:, changed] = _merged(layer[:, changed])

    def _serve(self, layer: Layer, ticks: int, level: int) -> None:
        """Goals that power in a wire reaches at once."""
        lost, index = self.ground.reach - level, self.table.index
        for number, goal in enumerate(self.table.goals):
            if goal.lead != ticks:
                continue
            for cell, _ in goal.firing:
                if cell in index:
                    layer[1 << number, index[cell]] = 0
            for wire, levels in self.ground.levels.items() if goal.wires else ():
                if all(levels.get(other, 0) > lost for other in goal.wires):
                    layer[1 << number, index[wire]] = 0


def _merged(layer: Layer) -> Layer:
    """The layer, with goals also served by two branches from the same cell."""
    for goals in range(1, len(layer)):
        for part in parts_of(goals):
            np.minimum(layer[goals], layer[part] + layer[goals ^ part], out=layer[goals])
    np.minimum(layer, FAR, out=layer)
    layer[0] = 0
    return layer


def parts_of(goals: int) -> Iterator[int]:
    """Half of all ways to split a set in two: the parts that hold its first goal."""
    first = goals & -goals
    rest = goals ^ first
    part = (rest - 1) & rest
    while rest:
        yield part | first
        if part == 0:
            return
        part = (part - 1) & rest
