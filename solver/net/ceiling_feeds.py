"""The trigger net of a ceiling whose loop is longer than one wire run reaches.

On a ceiling no booster may stand in the line itself: over a ram's head the block of the cell
before would be read one tick before the booster's own, and the lift between would be fired
twice. So the whole line fires in one half-tick, from several feeds: a *trunk* of wires leads
from the trigger to buffers, and each buffer faces a cell of the line. The trunk keeps away from
the line by one cell. CP-SAT decides the trunk; few parts are aimed at, not proven.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from models.geometry import Cell, add, scale
from models.parts import Part
from models.problem import face_name
from models.route import Route
from solver.net.assemble import Placed
from solver.net.floor_line import Line, LineSearch, Net, NoLine, sides_of, upright

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

EFFORT = 3.0
"""Deterministic seconds for a trunk."""
AROUND = 3
"""How far beyond the loop's own rectangle a trunk may run."""


class FeedSearch(LineSearch):
    """One run of wires where it reaches, else a trunk with feeds."""

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """The best line without boosters; else the best trunk found."""
        lines = self.find(route)
        if isinstance(lines, NoLine):
            if lines.proven:
                yield lines
                return
            lines = []
        plain = [line for line in lines if not line.boosters]
        yield from (self.net_of(route, line) for line in plain)
        if plain:
            # No trunk costs less: it would be a link too, with a buffer at its end.
            return
        self.exhaustive = False
        loop = [self.problem.graph.cells[i] for i in route.cells]
        normal = self.problem.normal(route.cells[0])
        triggers, wires = self.places(route, set(loop), normal)
        sides = sides_of(self.problem, loop[0], normal)
        trunk = _Trunk(loop, sides, triggers, wires, self.reach).solve()
        if trunk is None:
            yield NoLine("no trunk of wires reaches the whole line at once", proven=False)
            return
        yield self._trunk_net(route, normal, *trunk)

    def _fed(self, loop: Sequence[Cell], path: tuple[Cell, ...]) -> Line | None:
        """A line that would need boosters is no use here: none are placed."""
        return None if self._least_ticks(loop, path) else super()._fed(loop, path)

    def _trunk_net(
        self, route: Route, normal: Cell, trigger: Cell, wires: list[Cell], feeds: list[_Feed]
    ) -> Net:
        system, loose = self.system, []
        for cell in wires:
            if cell != trigger:
                loose.append(Part("wire", self._at(cell, normal), unit="trunk"))
                loose.append(Part("block", self._stand(cell, normal), unit="trunk"))
        for cell, direction in feeds:
            buffer = self._at(add(cell, scale(direction, -1)), normal)
            loose.append(Part("buffer", buffer, face_name(direction), 1, unit="feed"))
            stand = self._stand(add(cell, scale(direction, -1)), normal)
            loose.append(Part("block", stand, unit="feed"))
        lifts = self.lifts(route)
        button = Placed(system.trigger, upright(self.problem, trigger), "trigger")
        return Net(trigger, (*lifts, button), tuple(loose))

    def _at(self, cell: Cell, normal: Cell) -> Cell:
        return add(cell, scale(normal, self.system.line_level))

    def _stand(self, cell: Cell, normal: Cell) -> Cell:
        return add(cell, scale(normal, self.system.stand_level))


_Feed = tuple[Cell, Cell]
"""(line cell that is fed, direction in which its buffer faces)."""


class _Trunk:
    def __init__(
        self,
        loop: Sequence[Cell],
        sides: Sequence[Cell],
        triggers: Sequence[Cell],
        wires: set[Cell],
        reach: int,
    ) -> None:
        from ortools.sat.python import cp_model

        self.model = cp_model.CpModel()
        self.loop, self.sides, self.reach = loop, sides, reach
        beside = {add(cell, side) for cell in loop for side in sides}
        low = [min(cell[i] for cell in loop) - AROUND for i in range(3)]
        high = [max(cell[i] for cell in loop) + AROUND for i in range(3)]
        fixed = len(triggers) == 1
        self.free = sorted(
            cell
            for cell in wires - beside
            if fixed or all(a <= v <= b for a, v, b in zip(low, cell, high, strict=True))
        )
        self.wire = {cell: self.model.new_bool_var("") for cell in self.free}
        self.trigger = {cell: self.model.new_bool_var("") for cell in triggers if cell in self.wire}
        self.feeds: dict[_Feed, cp_model.IntVar] = {}
        for cell in loop:
            for side in sides:
                if add(cell, side) in wires and add(cell, scale(side, 2)) in self.wire:
                    self.feeds[cell, scale(side, -1)] = self.model.new_bool_var("")

    def solve(self) -> tuple[Cell, list[Cell], list[_Feed]] | None:
        """Trigger, trunk cells and feeds; None if nothing was found."""
        from ortools.sat.python import cp_model

        if not self.trigger or not self.feeds:
            return None
        self._post_trunk()
        self._post_line()
        self.model.minimize(sum(self.wire.values()) + sum(self.feeds.values()))
        solver = cp_model.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 0
        solver.parameters.max_deterministic_time = EFFORT
        if solver.solve(self.model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        trigger = next(cell for cell, chosen in self.trigger.items() if solver.value(chosen))
        return (
            trigger,
            [cell for cell, chosen in self.wire.items() if solver.value(chosen)],
            [feed for feed, chosen in self.feeds.items() if solver.value(chosen)],
        )

    def _post_trunk(self) -> None:
        model = self.model
        model.add_exactly_one(self.trigger.values())
        for cell, chosen in self.trigger.items():
            model.add_implication(chosen, self.wire[cell])
        roots = {cell: [chosen] for cell, chosen in self.trigger.items()}
        self._carried(self.wire, roots)
        for (cell, direction), chosen in self.feeds.items():
            model.add_implication(chosen, self.wire[add(cell, scale(direction, -2))])

    def _post_line(self) -> None:
        always = self.model.new_constant(1)
        roots: dict[Cell, list[cp_model.IntVar]] = {}
        for (cell, _), chosen in self.feeds.items():
            roots.setdefault(cell, []).append(chosen)
        self._carried(dict.fromkeys(self.loop, always), roots)

    def _carried(
        self, wires: dict[Cell, cp_model.IntVar], roots: dict[Cell, list[cp_model.IntVar]]
    ) -> None:
        """Every wire has its level from a root, or one less from a neighbour."""
        level = {cell: self.model.new_int_var(1, self.reach, "") for cell in wires}
        for cell, here in wires.items():
            sources = list(roots.get(cell, []))
            for side in self.sides:
                near = add(cell, side)
                if near not in wires:
                    continue
                source = self.model.new_bool_var("")
                self.model.add_implication(source, wires[near])
                self.model.add(level[cell] <= level[near] - 1).only_enforce_if(source)
                sources.append(source)
            self.model.add_bool_or([*sources, here.negated()])
