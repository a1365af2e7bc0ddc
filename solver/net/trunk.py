"""A trunk: wires, boosters and feeds that lead from a trigger to a whole line in one half-tick.

`grow` makes one quickly: ways as short as can be from a trigger to all places for a feed, and of
these as few as feed the whole line. `shorten` looks for a cheaper one with CP-SAT, from there on.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from models.geometry import Cell, add, scale, sub

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

EFFORT = 3.0
"""Deterministic seconds for a trunk."""
MOST_BOOSTERS = 3
"""In a row: so a trunk reaches four times as far as a wire."""

_Key = TypeVar("_Key")
Buffer = tuple[Cell, Cell]
"""(cell of a buffer, direction in which it faces)."""


@dataclass(frozen=True)
class Ground:
    """What a trunk must reach, and where it may run."""

    loop: tuple[Cell, ...]
    """The wires of the line, in travel order; one after the other they are joined."""
    sides: tuple[Cell, ...]
    free: frozenset[Cell]
    """For wires and boosters: none beside the line."""
    feeds: tuple[Buffer, ...]
    """Each beside the line, facing it, with a free cell behind it."""
    reach: int
    """Cells that a wire run carries."""


@dataclass(frozen=True)
class Trunk:
    """What leads from the trigger to the line; all buffers delay by one tick.

    A longer delay would make the pulse longer, and a lift would push and draw on it at once.
    """

    trigger: Cell
    wires: tuple[Cell, ...]
    boosters: tuple[Buffer, ...]
    """As many before each feed."""
    feeds: tuple[Buffer, ...]

    @property
    def size(self) -> int:
        """How many parts stand on something: each costs a block more."""
        return len(self.wires) + len(self.boosters) + len(self.feeds)


def ground(loop: Sequence[Cell], sides: Sequence[Cell], wires: set[Cell], reach: int) -> Ground:
    """The ground below a line, of the cells where wires may lie."""
    beside = {add(cell, side) for cell in loop for side in sides}
    free = frozenset(wires - beside)
    feeds = tuple(
        (add(cell, side), scale(side, -1))
        for cell in loop
        for side in sides
        if add(cell, side) in wires and add(cell, scale(side, 2)) in free
    )
    return Ground(tuple(loop), tuple(sides), free, feeds, reach)


# ------------------------------------------------------------------ quickly

_Wire = tuple[Cell, int]
"""(cell, behind how many boosters)."""


@dataclass(frozen=True)
class _Way:
    """How the pulse comes to a wire: at which level, from which wire, through which booster."""

    level: int
    before: _Wire | None
    booster: Buffer | None = None


def grow(ground: Ground, trigger: Cell) -> Trunk | None:
    """A trunk from this trigger, or None where the short ways reach too little of the line."""
    ways = _ways(ground, trigger)
    for ticks in range(MOST_BOOSTERS + 1):
        best: Trunk | None = None
        for feeds in _covers(ground, [f for f in ground.feeds if (sub(*f), ticks) in ways]):
            trunk = _joined(ground, trigger, ways, feeds, ticks)
            if trunk is not None and (best is None or trunk.size < best.size):
                best = trunk
        if best is not None:
            return best
    return None


def _ways(ground: Ground, trigger: Cell) -> dict[_Wire, _Way]:
    """The way of the best level to every wire that can be reached, for each number of boosters."""
    ways: dict[_Wire, _Way] = {}
    queue: list[tuple[int, int, Cell, _Wire | None, Buffer | None]] = []
    if trigger in ground.free:
        queue.append((0, -ground.reach, trigger, None, None))
    while queue:
        ticks, level, cell, before, booster = heapq.heappop(queue)
        here = (cell, ticks)
        if here in ways:
            continue
        ways[here] = _Way(-level, before, booster)
        for side in ground.sides:
            near, far = add(cell, side), add(cell, scale(side, 2))
            if near not in ground.free:
                continue
            if level < -1 and (near, ticks) not in ways:
                heapq.heappush(queue, (ticks, level + 1, near, here, None))
            if ticks < MOST_BOOSTERS and far in ground.free:
                heapq.heappush(queue, (ticks + 1, -ground.reach, far, here, (near, side)))
    return ways


def _covers(ground: Ground, feeds: Sequence[Buffer]) -> Iterator[list[Buffer]]:
    """Few feeds that reach the whole line: for each that may be the first, the next far on."""
    count, step = len(ground.loop), 2 * ground.reach - 1
    number = {cell: i for i, cell in enumerate(ground.loop)}
    place = sorted((number[add(*feed)], feed) for feed in feeds)
    for first, begin in place:
        chosen, at = [begin], first
        while at - first < count - step:
            ahead = [((n - at) % count, f) for n, f in place if 0 < (n - at) % count <= step]
            if not ahead:
                break
            on, feed = max(ahead, key=lambda entry: entry[0])
            chosen.append(feed)
            at += on
        else:
            yield chosen


def _joined(
    ground: Ground,
    trigger: Cell,
    ways: dict[_Wire, _Way],
    feeds: Sequence[Buffer],
    ticks: int,
) -> Trunk | None:
    """The ways to these feeds together; None where wires touch that are not live at once."""
    late: dict[Cell, int] = {trigger: 0}
    boosters: set[Buffer] = set()
    for feed in feeds:
        here: _Wire | None = (sub(*feed), ticks)
        while here is not None:
            cell, behind = here
            if late.setdefault(cell, behind) != behind:
                return None
            way = ways[here]
            if way.booster is not None:
                boosters.add(way.booster)
            here = way.before
    standing = {cell for cell, _ in boosters}
    if len(standing) < len(boosters) or standing & late.keys():
        return None
    for cell, behind in late.items():
        if any(late.get(add(cell, side), behind) != behind for side in ground.sides):
            return None
    return Trunk(trigger, tuple(sorted(late)), tuple(sorted(boosters)), tuple(feeds))


# ------------------------------------------------------------------ cheaply


def shorten(ground: Ground, triggers: Sequence[Cell], known: Trunk | None) -> Trunk | None:
    """The cheapest trunk found with some effort, from any of these triggers."""
    boosters = MOST_BOOSTERS if known is not None and known.boosters else 0
    return _TrunkSearch(ground, triggers, boosters).solve(known)


class _TrunkSearch:
    def __init__(self, ground: Ground, triggers: Sequence[Cell], boosters: int) -> None:
        from ortools.sat.python import cp_model

        self.model = cp_model.CpModel()
        self.ground = ground
        new = self.model.new_bool_var
        self.wire = {cell: new("") for cell in sorted(ground.free)}
        self.trigger = {cell: new("") for cell in triggers if cell in self.wire}
        self.ticks = {c: self.model.new_int_var(0, boosters, "") for c in self.wire if boosters}
        """By how many boosters a wire is later than the trigger."""
        self.booster: dict[Buffer, cp_model.IntVar] = {
            (cell, side): new("")
            for cell in self.ticks
            for side in ground.sides
            if add(cell, side) in self.wire and sub(cell, side) in self.wire
        }
        self.feed: dict[Buffer, cp_model.IntVar] = {f: new("") for f in ground.feeds}
        self._post_trunk()
        self._post_boosters()
        self._post_line()
        placed = [*self.wire.values(), *self.booster.values(), *self.feed.values()]
        self.model.minimize(sum(placed))

    def solve(self, known: Trunk | None) -> Trunk | None:
        """The best trunk found; what is known already, if that is not worse."""
        from ortools.sat.python import cp_model

        if not self.trigger or not self.feed:
            return known
        if known is not None:
            self._hint(known)
        solver = cp_model.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 0
        solver.parameters.max_deterministic_time = EFFORT
        if solver.solve(self.model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return known

        def kept(variables: Mapping[_Key, cp_model.IntVar]) -> tuple[_Key, ...]:
            return tuple(key for key, chosen in variables.items() if solver.value(chosen))

        (trigger,) = kept(self.trigger)
        found = Trunk(trigger, kept(self.wire), kept(self.booster), kept(self.feed))
        return found if known is None or found.size < known.size else known

    def _hint(self, known: Trunk) -> None:
        """Begin the search there."""
        chosen = {*known.wires, *known.boosters, *known.feeds}
        for variables in (self.wire, self.booster, self.feed):
            for key, variable in variables.items():
                self.model.add_hint(variable, key in chosen)
        for cell, variable in self.trigger.items():
            self.model.add_hint(variable, cell == known.trigger)

    def _post_trunk(self) -> None:
        model = self.model
        model.add_exactly_one(self.trigger.values())
        for cell, chosen in self.trigger.items():
            model.add_implication(chosen, self.wire[cell])
            if self.ticks:
                model.add(self.ticks[cell] == 0).only_enforce_if(chosen)
        roots = {cell: [chosen] for cell, chosen in self.trigger.items()}
        for (cell, direction), chosen in self.booster.items():
            roots.setdefault(add(cell, direction), []).append(chosen)
        self._carried(self.wire, roots)
        every = model.new_int_var(0, MOST_BOOSTERS, "") if self.ticks else None
        for feed, chosen in self.feed.items():
            model.add_implication(chosen, self.wire[sub(*feed)])
            if every is not None:
                model.add(self.ticks[sub(*feed)] == every).only_enforce_if(chosen)

    def _post_boosters(self) -> None:
        """Behind a booster the pulse is a tick later; wires that touch are live at once."""
        model = self.model
        standing: dict[Cell, list[cp_model.IntVar]] = {}
        for (cell, direction), chosen in self.booster.items():
            before, behind = sub(cell, direction), add(cell, direction)
            model.add_implication(chosen, self.wire[before])
            model.add_implication(chosen, self.wire[behind])
            model.add(self.ticks[behind] == self.ticks[before] + 1).only_enforce_if(chosen)
            standing.setdefault(cell, []).append(chosen)
        for cell in self.ticks:
            here = self.wire[cell]
            model.add_at_most_one([here, *standing.get(cell, [])])
            for near in (add(cell, side) for side in self.ground.sides):
                if near > cell and near in self.wire:
                    both = [here, self.wire[near]]
                    model.add(self.ticks[cell] == self.ticks[near]).only_enforce_if(both)

    def _post_line(self) -> None:
        always = self.model.new_constant(1)
        roots: dict[Cell, list[cp_model.IntVar]] = {}
        for feed, chosen in self.feed.items():
            roots.setdefault(add(*feed), []).append(chosen)
        self._carried(dict.fromkeys(self.ground.loop, always), roots)

    def _carried(
        self, wires: dict[Cell, cp_model.IntVar], roots: dict[Cell, list[cp_model.IntVar]]
    ) -> None:
        """Every wire has its level from a root, or one less from a neighbour."""
        level = {cell: self.model.new_int_var(1, self.ground.reach, "") for cell in wires}
        for cell, here in wires.items():
            sources = list(roots.get(cell, []))
            for side in self.ground.sides:
                near = add(cell, side)
                if near not in wires:
                    continue
                source = self.model.new_bool_var("")
                self.model.add_implication(source, wires[near])
                self.model.add(level[cell] <= level[near] - 1).only_enforce_if(source)
                sources.append(source)
            self.model.add_bool_or([*sources, here.negated()])
