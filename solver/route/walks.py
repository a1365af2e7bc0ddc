"""Lower bounds from closed walks: a loop is at least a walk through some required cells.

A walk may cross itself; it keeps the longest edge only between two required cells. Its cost is
found by sweeps over whole tables (one column a state) and a Held-Karp table over the required
cells, and for every single step and turn too: what the cheapest walk that uses it costs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from models.route import RouteProblem
from solver.route.topology import PORTS, quarter_turns

Table = NDArray[np.int32]
FAR = 1 << 28
MOST_ANCHORS = 10
"""Required cells that the walk is held to; the table doubles with each."""


@dataclass(frozen=True, slots=True)
class WalkBounds:
    """What the cheapest closed walk costs, in all and for each turn (cell, came, goes)."""

    least: int
    turns: Table
    """Indexed cell, arrival port, leaving port."""
    unit: int
    """A step in cost worth trying: two cells, or two corners."""


def term_bounds(
    problem: RouteProblem, allowed: frozenset[int], term: int, zigzag: int = 1
) -> WalkBounds:
    """Bounds of one term of the objective, its fixed costs included.

    `zigzag`: how many steps a right turn is from a left one, or a left one from a right, at least.
    """
    fixed = problem.fixed_costs[term] if problem.fixed_costs else 0
    cells = len(problem.graph.cells)
    cell_cost = np.array(problem.cell_costs[term], np.int64)
    turn_cost = turn_costs(problem, [option.costs[term] for option in problem.options])
    cheapest = min((option.costs[term] for option in problem.options), default=0)
    unit = max(1, 2 * int(cell_cost.min()), 2 * cheapest)
    penalties = [reach.penalty[term] for reach in problem.reach_terms]
    low = min(int(cell_cost.min()), cheapest, *penalties, 0)
    nothing = np.full((cells, 4, 4), -FAR, np.int32)
    if low < 0:  # walks would go round and round
        most = sum(abs(int(c)) for c in cell_cost) + sum(abs(p) for p in penalties)
        most += sum(abs(option.costs[term]) for option in problem.options)
        return WalkBounds(fixed - most, nothing, unit)
    least = int(cell_cost.min()) * max(3, problem.length_min)
    if is_flat(problem):
        least += least_corners(problem) * cheapest
    if not problem.required & allowed:
        return WalkBounds(fixed + least, nothing, unit)
    walk = walk_bounds(problem, allowed, cell_cost.astype(np.int32), turn_cost, unit, zigzag)
    turns = np.where(walk.turns < FAR, walk.turns + fixed, FAR).astype(np.int32)
    return WalkBounds(max(walk.least, least) + fixed, turns, unit)


def least_corners(problem: RouteProblem) -> int:
    """The corners of a loop on one floor at least: as its edges cannot be longer; an even number.

    Of an edge all cells but one count, as each corner ends one and begins another.
    """
    edges = -(-problem.length_min // max(1, problem.limits.drive_drive.most - 1))
    return max(4, edges + edges % 2)


def turn_costs(problem: RouteProblem, costs: Sequence[int] | NDArray[np.int64]) -> Table:
    """[cell, arrival port, leaving port]: the cheapest drive, 0 straight on, FAR without one.

    `costs`: of each option of the problem.
    """
    table = np.full((len(problem.graph.cells), 4, 4), FAR, np.int32)
    for port in PORTS:
        table[:, port, (port + 2) % 4] = 0
    for option, cost in zip(problem.options, costs, strict=True):
        at = (option.cell, option.in_port, option.out_port)
        table[at] = min(int(table[at]), int(cost))
    return table


def is_flat(problem: RouteProblem) -> bool:
    """One floor: headings mean the same everywhere, and a loop turns by four quarters."""
    graph = problem.graph
    arrive = np.array(graph.arrive, np.int64)
    straight = (arrive < 0) | (arrive == (np.arange(4) + 2) % 4)
    if problem.folds or not straight.all():
        return False
    curved = sum(1 for ring in graph.faces if quarter_turns(graph, ring) != 4)
    return curved == 1  # the rim


def cost_bounds(
    problem: RouteProblem, allowed: frozenset[int], *, cell: int, corner: int, zigzag: int = 1
) -> WalkBounds | None:
    """Bounds for one cost for every cell and one for every corner."""
    if not problem.required & allowed:
        return None
    cells = len(problem.graph.cells)
    turn_cost = turn_costs(problem, [corner] * len(problem.options))
    cell_cost = np.full(cells, cell, np.int32)
    return walk_bounds(problem, allowed, cell_cost, turn_cost, 1, zigzag)


def walk_bounds(
    problem: RouteProblem,
    allowed: frozenset[int],
    cell_cost: Table,
    turn_cost: Table,
    unit: int,
    zigzag: int = 1,
) -> WalkBounds:
    """`turn_cost` is indexed cell, arrival port, leaving port: 0 straight on, FAR where barred."""
    anchors = spread(problem, allowed)
    walker = Walker(problem, allowed, cell_cost, zigzag)
    out = walker.legs(turn_cost, anchors)[0]
    back = walker.legs_back(turn_cost, anchors)
    between = walker.between(back, anchors)
    tours = _held_karp(between, walker.anchor_turns(turn_cost, anchors), len(anchors))
    sheets = range(walker.sheets)
    odd = walker.sheets - 1
    least = min(int((tours[s] + between[s ^ odd].T).min()) for s in sheets)
    arriving = np.full_like(out, FAR)
    for s in sheets:
        for j in range(tours.shape[2]):  # from an anchor's arrival through all, on to the state
            for u in sheets:
                leg = out[u, :, j : j + 1] + tours[s, :, j][None, :]
                np.minimum(arriving[s ^ u], leg, out=arriving[s ^ u])
    best = _through(arriving, back[0], turn_cost, odd)
    best[anchors] = least  # every tour passes them, one way or another
    return WalkBounds(least, np.minimum(best, FAR), unit)


def _through(arriving: Table, back: Table, turn_cost: Table, odd: int) -> Table:
    """For each turn: what the cheapest tour through it costs."""
    cells = len(turn_cost)
    arrived = arriving.reshape(len(arriving), cells, 4, -1)
    leaving = back.reshape(len(back), cells, 4, -1)
    best = np.full((cells, 4, 4), FAR, np.int32)
    for came in PORTS:
        for goes in PORTS:
            if came == goes:
                continue
            need = odd ^ (sheet_change(came, goes) & odd)
            for s in range(len(arriving)):
                total = (arrived[s, :, came] + leaving[s ^ need, :, goes]).min(axis=1)
                total = np.minimum(total, FAR) + turn_cost[:, came, goes]
                best[:, came, goes] = np.minimum(best[:, came, goes], total)
    return best


def spread(problem: RouteProblem, allowed: frozenset[int], most: int = MOST_ANCHORS) -> list[int]:
    """Required cells far from each other, greedily, so many at most."""
    cells = problem.graph.cells
    left = sorted(problem.required & allowed)
    far = {c: (FAR, -c) for c in left}
    chosen: list[int] = []
    while left and len(chosen) < most:
        new = max(left, key=lambda c: far[c])
        chosen.append(new)
        left.remove(new)
        for c in left:
            gap = sum(abs(x - y) for x, y in zip(cells[c], cells[new], strict=True))
            far[c] = min(far[c], (gap, -c))
    return chosen


def sheet_change(came: int, goes: int) -> int:
    """Headings are counted modulo eight, as two sheets of four: 1 if a turn changes the sheet."""
    heading = (came + 2) % 4
    return int((heading, goes) in ((3, 0), (0, 3)))


WAYS = (2, 1, 3)
"""Out of the arrival port: straight on, to the right, to the left."""


class Walker:
    """Cheapest walks on the states 4 * cell + port, from anchors to everywhere.

    On a flat grid a loop turns by four quarters in all, and a walk that crosses itself once does
    not. So headings are kept modulo eight there (two sheets), and only tours that come back on
    the other sheet count.

    Where turns must keep apart, it matters how the tape goes on at an anchor: each has a column
    for every kind of turn and port, else (one kind) for every port. Columns count
    4 * kinds * anchor + 4 * kind + port.
    """

    def __init__(
        self,
        problem: RouteProblem,
        allowed: frozenset[int],
        cell_cost: Table,
        zigzag: int = 1,
        *,
        by_turns: bool = False,
    ) -> None:
        """`by_turns`: all three kinds of turns, even if they need not keep apart."""
        self.zigzag = 1 if problem.folds else zigzag
        self.kinds = 3 if by_turns or self.zigzag > 1 else 1
        ports = np.array(problem.graph.ports, np.int64)
        arrive = np.array(problem.graph.arrive, np.int64)
        usable = np.zeros(len(ports) + 1, bool)
        usable[sorted(allowed)] = True
        good = np.flatnonzero((usable[ports] & usable[:-1, None]).reshape(-1))
        there = (4 * ports + arrive).reshape(-1)
        states = 4 * len(ports)
        self.source = np.zeros(states, np.int64)
        self.source[there[good]] = good
        self.wall = np.full((states, 1), FAR, np.int32)
        self.wall[there[good], 0] = np.repeat(cell_cost, 4)[there[good]]
        self.sheets = 2 if is_flat(problem) else 1
        spans = problem.limits
        ends = (spans.drive_drive, spans.drive_fold, spans.fold_fold, spans.fold_drive)
        most = max(span.most for span in (ends if problem.folds else ends[:1]))
        self.most = min(most, len(ports)) - 1
        self.folds = sorted(problem.folds & allowed)
        self.cell_cost = cell_cost
        self.stretches = list(self._stretches(self.most))
        self._spare: tuple[Table, Table] | None = None
        self.far_stretches = list(self._stretches(self.most - self.zigzag + 1))

    def legs(self, turn_cost: Table, anchors: list[int]) -> tuple[Table, ...]:
        """[sheet, state, column]: leave the anchor, arrive there; that cell is paid.

        A table for each kind of turn that may follow where the leg arrives.
        """
        starts = tuple(
            np.full((len(self.source), 4 * self.kinds * len(anchors)), FAR, np.int32)
            for _ in range(self.kinds)
        )
        for i, a in enumerate(anchors):
            for kind, port in product(range(self.kinds), PORTS):
                starts[kind][4 * a + port, 4 * (self.kinds * i + kind) + port] = 0
        if self.kinds > 1:
            return self._zigzag_legs(turn_cost, starts)
        arrivals = np.full((self.sheets, *starts[0].shape), FAR, np.int32)
        leaving = np.full_like(arrivals, FAR)
        leaving[0] = starts[0]
        busy = [True] + [False] * (self.sheets - 1)
        while any(busy):
            before = arrivals.copy()
            for s in range(self.sheets):
                if busy[s]:
                    self._run(leaving[s], arrivals[s])
            changed = [bool((before[s] != arrivals[s]).any()) for s in range(self.sheets)]
            leaving = self._turned(arrivals, turn_cost)
            busy = [any(changed)] * self.sheets
        return (arrivals,)

    def _zigzag_legs(self, turn_cost: Table, starts: tuple[Table, ...]) -> tuple[Table, ...]:
        """The same where a turn the other way comes some steps after a turn.

        For each way of the last turn: where a leg may end or turn that way again, and where it
        may turn the other way. It starts without a turn, after one to the right or to the left.
        """
        sheets = range(self.sheets)
        free = np.full((self.sheets, *starts[0].shape), FAR, np.int32)
        self._run(starts[0], free[0])
        near = [np.full_like(free, FAR), np.full_like(free, FAR)]
        far = [np.full_like(free, FAR), np.full_like(free, FAR)]
        for k in range(2):
            self._run(starts[k + 1], near[k][0])
            self._run_far(starts[k + 1], far[k][0])
        busy = True
        while busy:
            busy = False
            for k, way in enumerate((1, 3)):
                coming = np.minimum(np.minimum(free, near[k]), far[1 - k])
                leaving = self._turned(coming, turn_cost, (way,))
                before = near[k].copy(), far[k].copy()
                for s in sheets:
                    self._run(leaving[s], near[k][s])
                    self._run_far(leaving[s], far[k][s])
                busy |= bool((before[0] != near[k]).any() or (before[1] != far[k]).any())
        right, left = (np.minimum(np.minimum(free, near[k]), far[1 - k]) for k in range(2))
        return np.minimum(free, np.minimum(near[0], near[1])), right, left

    def _run_far(self, leaving: Table, arrivals: Table) -> None:
        """Straight on, at least as far as to a turn the other way."""
        best, spare = self._scratch(leaving.shape)
        step = self.source ^ 2
        _shifted(leaving, self.source, self.wall, best)
        for _ in range(self.zigzag - 1):
            _shifted(best, step, self.wall, spare)
            best, spare = spare, best
        for pull, wall in self.far_stretches:
            np.minimum(best, _shifted(best, pull, wall, spare), out=best)
        np.minimum(arrivals, best, out=arrivals)

    def _run(self, leaving: Table, arrivals: Table) -> None:
        """Straight on from every leaving state, as far as an edge may reach.

        The least over the last 1, 2, 4 ... steps is doubled, as two shorter stretches overlap.
        """
        best, spare = self._scratch(leaving.shape)
        _shifted(leaving, self.source, self.wall, best)
        for pull, wall in self.stretches:
            np.minimum(best, _shifted(best, pull, wall, spare), out=best)
        np.minimum(arrivals, best, out=arrivals)

    def _scratch(self, shape: tuple[int, ...]) -> tuple[Table, Table]:
        """Two tables to work in; to make them anew would take longer than the work."""
        if self._spare is None or self._spare[0].shape != shape:
            self._spare = np.empty(shape, np.int32), np.empty(shape, np.int32)
        return self._spare

    def _stretches(self, most: int) -> Iterator[tuple[NDArray[np.int64], Table]]:
        """Moves by 1, 2, 4 ... and a rest, from arrival to arrival, that add up to an edge."""
        step, fee = self.source ^ 2, self.wall
        pull, wall, span = step, fee, 1
        while span < most:
            more = min(span, most - span)
            if more < span:
                pull, wall = step, fee
                for _ in range(more - 1):
                    pull, wall = pull[step], np.minimum(fee + wall[step], FAR)
            yield pull, wall
            span += more
            pull, wall = pull[pull], np.minimum(wall + wall[pull], FAR)

    def _turned(self, arrivals: Table, turn_cost: Table, ways: tuple[int, ...] = (1, 3)) -> Table:
        by_port = arrivals.reshape(self.sheets, len(turn_cost), 4, -1)
        leaving = np.full_like(by_port, FAR)
        for came in PORTS:
            for goes in ((came + way) % 4 for way in ways):
                flip = sheet_change(came, goes) % self.sheets
                cost = turn_cost[:, came, goes, None]
                for s in range(self.sheets):
                    side = leaving[s ^ flip, :, goes]
                    np.minimum(side, by_port[s, :, came] + cost, out=side)
        for cell in self.folds:  # an edge-line cell parts the run
            for came in PORTS:
                side = leaving[:, cell, (came + 2) % 4]
                np.minimum(side, by_port[:, cell, came], out=side)
        return leaving.reshape(arrivals.shape)

    def legs_back(self, turn_cost: Table, anchors: list[int]) -> tuple[Table, ...]:
        """[sheet, state, column]: leave the state, arrive at the anchor and pay it.

        A table for each kind of turn behind the state. A leg back is a leg of the reversed tape:
        ports change roles, and so do the two sheets where both ends look the same way along their
        axes; what turns to the right turns to the left.
        """
        there = self.legs(turn_cost.transpose(0, 2, 1), anchors)
        tables = [self._reversed(table, anchors) for table in there]
        if self.kinds == 1:
            return tuple(tables)
        order = np.arange(tables[0].shape[2]).reshape(-1, 3, 4)[:, [0, 2, 1]].reshape(-1)
        return tuple(tables[kind][:, :, order] for kind in (0, 2, 1))

    def between(self, back: tuple[Table, ...], anchors: list[int]) -> Table:
        """[sheet, column left, column arrived at]: from anchor to anchor, off the legs back."""
        columns = back[0].shape[2]
        found = np.full((self.sheets, columns, columns), FAR, np.int32)
        for i, a in enumerate(anchors):
            for kind, port in product(range(self.kinds), PORTS):
                column = 4 * (self.kinds * i + kind) + port
                found[:, column] = back[kind][:, 4 * a + port]
        return found

    def anchor_turns(self, turn_cost: Table, anchors: list[int]) -> Table:
        """[sheet, column arrived at, column left]: the turn taken on an anchor itself."""
        size = 4 * self.kinds * len(anchors)
        turns = np.full((self.sheets, size, size), FAR, np.int32)
        for i, a in enumerate(anchors):
            for came, (place, way) in product(PORTS, enumerate(WAYS)):
                goes = (came + way) % 4
                kind = place % self.kinds
                first = 4 * (self.kinds * i + kind)
                flip = sheet_change(came, goes) % self.sheets
                turns[flip, first + came, first + goes] = turn_cost[a, came, goes]
        return turns

    def _reversed(self, reverse: Table, anchors: list[int]) -> Table:
        fee = np.repeat(self.cell_cost, 4)
        each = reverse.shape[2] // len(anchors)
        paid = np.repeat(self.cell_cost[anchors], each)[None, :] - fee[:, None]
        if self.sheets == 2:
            low_state = (np.arange(reverse.shape[1]) % 4 < 2)[:, None]
            low_anchor = (np.arange(reverse.shape[2]) % 4 < 2)[None, :]
            swap = low_state == low_anchor
            reverse = np.stack([np.where(swap, reverse[1 - s], reverse[s]) for s in range(2)])
        legs: Table = np.where(reverse < FAR, reverse + paid, FAR).astype(np.int32)
        return legs


def _shifted(table: Table, pull: NDArray[np.int64], wall: Table, out: Table) -> Table:
    np.take(table, pull, axis=0, out=out, mode="clip")  # "clip": straight into `out`
    out += wall
    return np.minimum(out, FAR, out=out)


def _held_karp(between: Table, turns: Table, anchors: int) -> Table:
    """[sheet, arriving, leaving]: from one anchor through all the others to the last."""
    sheets, size, _ = between.shape
    each = size // anchors
    hop = joined(between, turns)  # leave one anchor, arrive at the next, leave it
    full = (1 << anchors) - 1
    best = np.full((full + 1, sheets, size, size), FAR, np.int32)
    for a in range(anchors):
        mine = slice(each * a, each * a + each)
        best[1 << a, :, mine, mine] = turns[:, mine, mine]
    for subset in range(1, full):
        inside = [k for k in range(size) if subset >> (k // each) & 1]
        outside = [k for k in range(size) if not subset >> (k // each) & 1]
        here = best[subset][:, inside][:, :, inside]
        for s in range(sheets):
            for u in range(sheets):
                step = hop[u][inside][:, outside]
                reach = (here[s][:, :, None] + step[None, :, :]).min(axis=1)
                for n, a in enumerate(sorted({k // each for k in outside})):
                    mine = slice(each * a, each * a + each)
                    target = best[subset | 1 << a, s ^ u]
                    target[inside, mine] = np.minimum(
                        target[inside, mine], reach[:, each * n : each * n + each]
                    )
    tours: Table = np.minimum(best[full], FAR)
    return tours


def joined(one: Table, two: Table) -> Table:
    """[sheet, from, to]: one walk and then the other."""
    walk = np.full((len(one), one.shape[1], two.shape[2]), FAR, np.int32)
    for s in range(len(one)):
        for u in range(len(one)):
            both = (one[s][:, :, None] + two[u][None]).min(axis=1)
            np.minimum(walk[s ^ u], both, out=walk[s ^ u])
    return walk
