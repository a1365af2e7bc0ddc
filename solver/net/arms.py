"""Boosters of a closed trigger line without a model: two arms from the button in step.

The line parts where the link meets it. Along each arm a booster stands wherever the pulse would
end, and where both arms meet they have had equally many. Where the line touches itself beside its
own run, the wires on both sides are one net, or a booster on one side keeps them apart.
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, product

from models.geometry import Cell, add, sub

Boosters = dict[Cell, tuple[Cell, int]]
"""{cell: (direction, delay in ticks)}."""
STEPS: tuple[Cell, ...] = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
MAX_WAYS = 27
"""Ways of dealing with contacts that are tried."""


class TwoArms:
    """The arms of one closed line, wherever it is fed."""

    def __init__(self, loop: Sequence[Cell], reach: int, window: tuple[int, int] = (-2, 2)) -> None:
        """`window`: ticks by which a drive may be fired earlier (negative) or later than the one
        before it along the loop."""
        self.loop, self.reach, self.window = loop, reach, window
        self.index = {cell: i for i, cell in enumerate(loop)}
        self.ways = list(islice(_ways(loop, self.index, reach), MAX_WAYS))
        self.feeds = feeds(loop)
        self.known: dict[tuple[int, int], tuple[Boosters, int] | None] = {}

    def fed(self, path: Sequence[Cell]) -> tuple[Boosters, int] | None:
        """The boosters and the ticks of the last net, as few as can be; None: the arms disagree.

        `path` runs from the trigger's cell to the cell beside the loop; its first cell is the feed.
        """
        around = [add(path[-1], step) for step in STEPS]
        touched = [self.index[cell] for cell in around if cell in self.index]
        if len(touched) != 1 or len(path) >= self.reach:
            return None
        key = touched[0], self.reach - 1 - len(path)
        if key not in self.known:
            self.known[key] = self._best(*key)
        return self.known[key]

    def _best(self, start: int, covered: int) -> tuple[Boosters, int] | None:
        best: tuple[Boosters, int] | None = None
        for barred, forced in self.ways:
            arms = _Arms(self, start, covered, barred, forced)
            found = arms.place(len(self.loop) if best is None else best[1] - 1)
            best = found if found is not None else best
        return best


Way = tuple[frozenset[int], frozenset[int]]
"""Where along the loop no booster may stand, and where one must."""


def _ways(loop: Sequence[Cell], index: dict[Cell, int], reach: int) -> Iterator[Way]:
    """Ways of dealing with all places where the line touches itself."""
    choices = [list(_ways_of(run, len(loop), reach)) for run in _contacts(loop, index)]
    for chosen in product(*choices):
        barred = frozenset(i for way in chosen for i in way[0])
        forced = frozenset(i for way in chosen for i in way[1])
        if not barred & forced:
            yield barred, forced


def _contacts(loop: Sequence[Cell], index: dict[Cell, int]) -> list[list[tuple[int, int]]]:
    """Pairs of cells that touch without following each other, in runs side by side."""
    n = len(loop)
    pairs = {
        (i, index[add(cell, s)])
        for i, cell in enumerate(loop)
        for s in STEPS
        if add(cell, s) in index and (index[add(cell, s)] - i) % n not in (1, n - 1)
    }
    runs = []
    for first in sorted(pairs):
        before = {((first[0] - 1) % n, (first[1] + step) % n) for step in (1, -1)}
        if before & pairs or first not in pairs:
            continue
        ahead = {((first[0] + 1) % n, (first[1] + step) % n): step for step in (-1, 1)}
        step = next((step for pair, step in ahead.items() if pair in pairs), -1)
        run, pair = [], first
        while pair in pairs:
            run.append(pair)
            pairs -= {pair, pair[::-1]}
            pair = ((pair[0] + 1) % n, (pair[1] + step) % n)
        runs.append(run)
    return runs


def _ways_of(run: Sequence[tuple[int, int]], n: int, reach: int) -> Iterator[Way]:
    """Ways of dealing with one run: all one net, or boosters on both sides by turns."""
    ends = {i for pair in (run[0], run[-1]) for i in pair}
    spans = [[(a + k) % n for k in range(reach)] for a in ends]
    short = [span for span in spans if ends <= set(span)]
    if short:
        span = min(short, key=lambda cells: max(cells.index(i) for i in ends))
        yield frozenset(span[: max(span.index(i) for i in ends) + 1]), frozenset()
    for turn in (0, 1):
        yield frozenset(), frozenset(pair[(k + turn) % 2] for k, pair in enumerate(run))


@dataclass(frozen=True)
class _Arms:
    line: TwoArms
    start: int
    """The place in the loop where the link meets it."""
    covered: int
    """Cells of each arm that the trigger itself powers."""
    barred: Collection[int]
    forced: Collection[int]

    @property
    def loop(self) -> Sequence[Cell]:
        return self.line.loop

    @property
    def reach(self) -> int:
        return self.line.reach

    def place(self, most: int) -> tuple[Boosters, int] | None:
        """The fewest boosters an arm, at most so many; None if the arms cannot agree."""
        n = len(self.loop)
        if self.start in self.forced:
            return None
        counts = [self._counts(way) for way in (1, -1)]
        after = _next_true([self._at(1, s) in self.forced for s in range(n)], n)
        found: tuple[int, int, int, int] | None = None
        for a, of_a in counts[0].items():
            needed = n - 1 - self._covers(a)
            # What lies between the last boosters is one net: both reach it, and nothing is forced.
            least = max(n - after[a], needed - self.reach, 1)
            for b in (0, *range(least, n - a - 1)):
                both = of_a & counts[1].get(b, 0)
                if both and self._covers(b) >= needed and (b or after[a] >= n):
                    ticks = (both & -both).bit_length() - 1
                    # Of equally quick ones that whose last net is longest: fewest close boosters.
                    better = (ticks, -(n - a - b), a, b)
                    found = better if found is None or better < found else found
        if found is None or found[0] > most:
            return None
        ticks, _, a, b = found
        boosters: Boosters = {}
        for way, last, reached in ((1, a, counts[0]), (-1, b, counts[1])):
            for s in self._standing(way, last, ticks, reached):
                cell, onward = self.loop[self._at(way, s)], self.loop[self._at(way, s + 1)]
                boosters[cell] = (sub(onward, cell), 1)
        return boosters, ticks

    def _at(self, way: int, s: int) -> int:
        return (self.start + way * s) % len(self.loop)

    def _allowed(self, way: int) -> int:
        """How many boosters of an arm may stand between the feeds of two neighbouring drives.

        With the travel each makes the next drive later, against it the drive before.
        """
        return self.line.window[1] if way == 1 else -self.line.window[0]

    def _follows(self, way: int, before: int, s: int) -> bool:
        """Whether a booster may stand at `s` after the last one, or the link, at `before`."""
        if before == s - 1 or self._covers(before) + 1 < s:
            return False
        if before == 0 or self._allowed(way) > 1:
            return True
        # A booster's own lift is late with the cells after it: with the travel a feed's booster
        # makes that drive late, against it the drive whose feed it is.
        edge = [bisect(self.line.feeds, self._at(way, k) - (way == 1)) for k in (before, s)]
        last = len(self.line.feeds)
        return not last or edge[0] % last != edge[1] % last

    def _covers(self, last: int) -> int:
        """How far an arm reaches whose last booster stands there; 0: it has none."""
        return last + self.reach if last else self.covered

    def _counts(self, way: int) -> dict[int, int]:
        """For each place of an arm's last booster which numbers of boosters it allows, as bits."""
        n, counts = len(self.loop), {0: 1}
        forced = [self._at(way, s) in self.forced for s in range(n)]
        allowed = self._allowed(way)
        for s in range(2, n - 1):
            at = self._at(way, s)
            if not straight(self.loop, at) or at in self.barred or not allowed:
                continue
            bits = 0
            for before in range(s - 1, -1, -1):
                if before in counts and self._follows(way, before, s):
                    bits |= counts[before] << 1
                if forced[before] or s - before > self.reach + 1:
                    break
            if bits:
                counts[s] = bits
        return counts

    def _standing(self, way: int, last: int, count: int, counts: dict[int, int]) -> Iterator[int]:
        """The places of so many boosters of an arm, the last first, each as far as it can be."""
        forced = [self._at(way, s) in self.forced for s in range(len(self.loop))]
        while last:
            yield last
            count -= 1
            for before in range(max(0, last - self.reach - 1), last - 1):
                free = not any(forced[before + 1 : last])
                fits = before in counts and counts[before] >> count & 1
                if fits and free and self._follows(way, before, last):
                    last = before
                    break
            else:
                raise AssertionError("the counts promised a booster before this one")


def straight(loop: Sequence[Cell], i: int) -> bool:
    """Whether a closed line does not turn at this place."""
    return sub(loop[i], loop[i - 1]) == sub(loop[(i + 1) % len(loop)], loop[i])


def feeds(loop: Sequence[Cell]) -> list[int]:
    """The places before the corners: the lifts there fire the corners' drives too."""
    return [i for i in range(len(loop)) if not straight(loop, (i + 1) % len(loop))]


def _next_true(values: Sequence[bool], none: int) -> list[int]:
    """For each place the next one after it that holds, or `none`."""
    after, coming = [none] * len(values), none
    for i in range(len(values) - 1, -1, -1):
        after[i] = coming
        coming = i if values[i] else coming
    return after
