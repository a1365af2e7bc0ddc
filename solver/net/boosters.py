"""Boosters of a closed trigger line, placed by CP-SAT: every wire fed, all arms in step.

One choice per cell of the line (wire, or booster in one of the two directions of the run), a net
time per cell in ticks and a level per wire. Neighbouring wires are one net: same time. A wire
has its level from a feed (15) or from a neighbour (one less). That is enough: the real level is
never lower. Fewest nets in a row first; the number is proven by trying 0, 1, 2 ...
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.geometry import Cell, add, sub
from solver.net.arms import STEPS, Boosters, TwoArms

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

EXTRA_TICKS = 3
"""How many more ticks than the least are tried before a feeding place is given up."""
EFFORT = 20.0
"""Deterministic seconds of the solver for any line of one feeding place."""
HOPE = 2.0
"""The same for a quicker line than the two arms have."""


@dataclass
class Allowance:
    """Deterministic seconds of the solver that are left for the lines of one route."""

    left: float = 60.0

    def settle(self) -> None:
        """There is a line: what is left is for quicker ones."""
        self.left = min(self.left, 3 * HOPE)


def place_boosters(
    two_arms: TwoArms, path: Sequence[Cell], least: int, allowance: Allowance
) -> tuple[Boosters, int] | None:
    """The boosters and the ticks of the last net, or None where nothing fits or was found.

    `path` runs from the trigger's cell to the cell beside the loop; its first cell is the feed.
    """
    arms = two_arms.fed(path)
    for ticks in range(least, least + EXTRA_TICKS + 1):
        if allowance.left <= 0 or (arms is not None and arms[1] <= ticks):
            return arms
        line = _Line(two_arms, path, ticks)
        found = line.solve(EFFORT if arms is None else HOPE, allowance)
        if found is not None:
            return found, ticks
    return arms


class _Line:
    """A line of any shape as a model."""

    def __init__(self, arms: TwoArms, path: Sequence[Cell], ticks: int) -> None:
        from ortools.sat.python import cp_model

        loop, reach = arms.loop, arms.reach

        self.model = cp_model.CpModel()
        self.cells = [*path, *loop]
        self.index = {cell: i for i, cell in enumerate(self.cells)}
        self.reach, self.ticks = reach, ticks
        self.boost: list[list[tuple[Cell, cp_model.IntVar]]] = []
        for i, cell in enumerate(self.cells):
            self.boost.append(self._choices(i, cell, path, loop))
        self.wire = [self._is_wire(choices) for choices in self.boost]
        self.time = [self.model.new_int_var(0, ticks, "") for _ in self.cells]
        self.level = [self.model.new_int_var(1, reach, "") for _ in self.cells]
        self.model.add(self.time[0] == 0)
        self._post()
        early, late = arms.window
        drives = [self.time[self.index[loop[i]]] for i in arms.feeds]
        for k, drive in enumerate(drives):
            self.model.add_linear_constraint(drive - drives[k - 1], early, late)

    def _choices(
        self, i: int, cell: Cell, path: Sequence[Cell], loop: Sequence[Cell]
    ) -> list[tuple[Cell, cp_model.IntVar]]:
        if i == 0 or self.ticks == 0:
            return []
        if i < len(path):
            if i + 1 >= len(path):
                return []
            runs = [(path[i - 1], path[i + 1])]
        else:
            k = i - len(path)
            before, after = loop[k - 1], loop[(k + 1) % len(loop)]
            runs = [(before, after), (after, before)]
        return [
            (sub(to, cell), self.model.new_bool_var(""))
            for back, to in runs
            if sub(to, cell) == sub(cell, back)
        ]

    def _is_wire(self, choices: list[tuple[Cell, cp_model.IntVar]]) -> cp_model.IntVar:
        wire = self.model.new_bool_var("")
        self.model.add_exactly_one([wire, *(b for _, b in choices)])
        return wire

    def _near(self, cell: Cell) -> list[int]:
        return [self.index[add(cell, s)] for s in STEPS if add(cell, s) in self.index]

    def _post(self) -> None:
        model, time, level = self.model, self.time, self.level
        fed: list[list[cp_model.IntVar]] = [[] for _ in self.cells]
        for i, cell in enumerate(self.cells):
            for direction, booster in self.boost[i]:
                back, front = self.index[sub(cell, direction)], self.index[add(cell, direction)]
                # The cell behind and the cell in front are wires of two different nets.
                model.add_implication(booster, self.wire[back])
                model.add_implication(booster, self.wire[front])
                model.add(time[i] == time[back] + 1).only_enforce_if(booster)
                model.add(time[front] == time[i]).only_enforce_if(booster)
                fed[front].append(booster)
        for i, cell in enumerate(self.cells):
            if i == 0:
                continue
            sources = list(fed[i])
            for j in self._near(cell):
                if j < i:
                    model.add(time[i] == time[j]).only_enforce_if([self.wire[i], self.wire[j]])
                source = model.new_bool_var("")
                model.add_implication(source, self.wire[j])
                model.add(level[i] <= level[j] - 1).only_enforce_if(source)
                sources.append(source)
            model.add_bool_or([*sources, self.wire[i].negated()])

    def solve(self, effort: float, allowance: Allowance) -> Boosters | None:
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 0
        solver.parameters.max_deterministic_time = min(effort, allowance.left)
        status = solver.solve(self.model)
        allowance.left -= solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        return {
            cell: (direction, 1)
            for cell, choices in zip(self.cells, self.boost, strict=True)
            for direction, booster in choices
            if solver.value(booster)
        }
