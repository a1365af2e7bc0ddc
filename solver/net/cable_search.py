"""From goals and triggers to trees of cables: the fewest parts, proven where the search ends."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import islice

from models.geometry import Cell, add
from solver.net.cable_trees import FAR, MOST_TICKS, CableTable, Goal
from solver.net.cables import Space
from solver.net.lift_lines import UP
from solver.net.net_layout import Laid
from solver.net.tree_search import EffortSpentError, TreeSearch
from solver.net.wire_ground import NO_WIRES, WireGround

MOST_WIRED = 5
"""Goals up to which a net may have wires; their tables take too long beyond."""
MOST_SPARE = 6
"""Parts more than the least that a tree may have before other ways are tried."""
MOST_RAISES = 3
"""How often the least that the table allows is raised by trying all trees of it."""
EFFORT, EFFORT_A_TREE = 40_000, 2_000
"""Steps of the search for trees, in all and for one tree."""
Roots = tuple[Cell, Cell]
"""The cells of a trigger that change: its ram's, and where the head goes."""
Found = tuple[Cell, Laid]
"""A trigger's cover and a tree from there."""
Plan = tuple[int, int, Cell]
"""Parts at least, ticks from the trigger to the lifts, the trigger's cover."""


class CableSearch:
    """Trees of cables from one of many triggers to all goals, no cell used twice."""

    def __init__(
        self,
        space: Space,
        goals: Sequence[Goal],
        triggers: Mapping[Cell, Roots],
        spare: int,
        ground: WireGround = NO_WIRES,
    ) -> None:
        self.triggers = triggers
        ends = (cell for roots in triggers.values() for cell in roots)
        wires = ground if len(goals) <= MOST_WIRED else NO_WIRES
        self.table = CableTable(space, goals, ends, wires.within(space.free))
        self.effort = EFFORT
        self.longest = MOST_TICKS - max((goal.lead for goal in goals), default=0)
        """Parts of a cable of more ticks than the table has."""
        self.plans = sorted(self._plans(spare))

    def _plans(self, spare: int) -> Iterator[Plan]:
        """For every trigger and every time the least parts, if few enough above the fewest.

        A cable of so many ticks has as many parts, less the lead of the lifts behind it.
        """
        table, best = self.table, FAR - spare - 1
        for ticks in range(1, MOST_TICKS):
            if ticks + self.longest - MOST_TICKS > best + spare:
                return
            table.extend()
            found = table.from_roots(ticks, list(self.triggers.values()))
            for trigger, least in zip(self.triggers, found, strict=True):
                if least <= best + spare:
                    yield least, ticks, trigger
                    best = min(best, least)

    def fewest(self) -> tuple[int, Found | None]:
        """Parts that no tree has less than, and such a tree if one was found.

        Trees of very many ticks are not looked at.
        """
        if not self.plans:
            return self.longest, None
        least = self.plans[0][0]
        if least >= self.longest:
            return self.longest, None
        for parts in range(least, least + MOST_RAISES):
            for plan in self.plans:
                try:
                    tree = self._tree(plan, parts) if plan[0] <= parts else None
                except EffortSpentError:
                    return parts, None
                if tree is not None:
                    return parts, (plan[2], tree)
        return least + MOST_RAISES, None

    def trees(self, below: int = FAR) -> Iterator[Found]:
        """A trigger's cover and a tree from there, fewest parts first."""
        done: set[Cell] = set()
        least = self.plans[0][0] if self.plans else 0
        for parts in range(least, min(least + MOST_SPARE + 1, below)):
            for plan in self.plans:
                if plan[0] > parts or plan[2] in done or self.effort <= 0:
                    continue
                try:
                    tree = self._tree(plan, parts)
                except EffortSpentError:
                    continue
                if tree is not None:
                    done.add(plan[2])
                    yield plan[2], tree

    def _tree(self, plan: Plan, parts: int) -> Laid | None:
        """A tree of so many parts at most; None if there is none. Raises EffortSpentError."""
        _, ticks, trigger = plan
        roots = self.triggers[trigger]
        over = {add(cell, UP) for cell in roots}
        search = TreeSearch(self.table, frozenset(roots), over, min(self.effort, EFFORT_A_TREE))
        given = search.effort
        try:
            return search.run(ticks, roots, parts)
        finally:
            self.effort -= given - max(search.effort, 0)


def best_trees(
    space: Space, goals: Sequence[Goal], triggers: Mapping[Cell, Roots], ground: WireGround
) -> Iterator[Found]:
    """Trees from any trigger: the smallest first, then the smallest of sensors only, then others.

    One of sensors only is soon found, and it is the one to try where wires turn out to do harm;
    those with wires are worth while only if they are smaller.
    """
    plain = CableSearch(space, goals, triggers, MOST_SPARE).trees()
    first = next(plain, None)
    wired: Iterator[Found] = iter(())
    if len(goals) <= MOST_WIRED:
        below = FAR if first is None else first[1].size
        wired = CableSearch(space, goals, triggers, MOST_SPARE, ground).trees(below)
        yield from islice(wired, 1)
    if first is not None:
        yield first
    yield from wired
    yield from plain
