"""From goals and triggers to trees of cables: the fewest sensors, proven where the search ends."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from models.geometry import Cell, add
from solver.net.cable_trees import FAR, MOST_TICKS, CableTable, EffortSpentError, Goal, TreeSearch
from solver.net.cables import Space
from solver.net.lift_lines import UP

MOST_SPARE = 6
"""Sensors more than the least that a tree may have before other ways are tried."""
MOST_RAISES = 3
"""How often the least that the table allows is raised by trying all trees of it."""
EFFORT, EFFORT_A_TREE = 40_000, 2_000
"""Steps of the search for trees, in all and for one tree."""
Roots = tuple[Cell, Cell]
"""The cells of a trigger that change: its ram's, and where the head goes."""
Plan = tuple[int, int, Cell]
"""Sensors at least, ticks from the trigger to the lifts, the trigger's cover."""


class CableSearch:
    """Trees of cables from one of many triggers to all goals, no cell used twice."""

    def __init__(
        self, space: Space, goals: Sequence[Goal], triggers: Mapping[Cell, Roots], spare: int
    ) -> None:
        self.triggers = triggers
        ends = (cell for roots in triggers.values() for cell in roots)
        self.table = CableTable(space, goals, ends)
        self.effort = EFFORT
        self.longest = MOST_TICKS - max((goal.lead for goal in goals), default=0)
        """Sensors of a cable of more ticks than the table has."""
        self.plans = sorted(self._plans(spare))

    def _plans(self, spare: int) -> Iterator[Plan]:
        """For every trigger and every time the least sensors, if few enough above the fewest.

        A cable of so many ticks has as many sensors, less the lead of the lifts behind it.
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

    def fewest(self) -> int:
        """Sensors that no tree has less than; trees of very many ticks are not looked at."""
        if not self.plans:
            return self.longest
        least = self.plans[0][0]
        if least >= self.longest:
            return self.longest
        for sensors in range(least, least + MOST_RAISES):
            within = [plan for plan in self.plans if plan[0] <= sensors]
            try:
                if any(self._tree(plan, sensors) for plan in within):
                    return sensors
            except EffortSpentError:
                return sensors
        return least + MOST_RAISES

    def trees(self) -> Iterator[tuple[Cell, Mapping[Cell, Cell]]]:
        """A trigger's cover and the cell that each sensor watches, fewest sensors first."""
        done: set[Cell] = set()
        least = self.plans[0][0] if self.plans else 0
        for sensors in range(least, least + MOST_SPARE + 1):
            for plan in self.plans:
                if plan[0] > sensors or plan[2] in done or self.effort <= 0:
                    continue
                try:
                    tree = self._tree(plan, sensors)
                except EffortSpentError:
                    continue
                if tree is not None:
                    done.add(plan[2])
                    yield plan[2], tree

    def _tree(self, plan: Plan, sensors: int) -> Mapping[Cell, Cell] | None:
        """A tree of so many sensors at most; None if there is none. Raises EffortSpentError."""
        _, ticks, trigger = plan
        roots = self.triggers[trigger]
        over = {add(cell, UP) for cell in roots}
        search = TreeSearch(self.table, frozenset(roots), over, min(self.effort, EFFORT_A_TREE))
        given = search.effort
        try:
            return search.run(ticks, roots, sensors)
        finally:
            self.effort -= given - max(search.effort, 0)
