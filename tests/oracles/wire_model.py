"""Nets of sensors and wires as one model for CP-SAT: who has power from whom, when, at which level.

Written from the rules: a sensor fires a tick after the cell it watches changes; a wire is live with
the one it has its power from, one level lower; power climbs where nothing conducts above the lower
wire, and comes down from a wire on a block. Each wire stands on a part of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from ortools.sat.python import cp_model

from tests.oracles.cable_model import STEPS, Cell, _plus

UP: Cell = (0, 0, 1)
DOWN: Cell = (0, 0, -1)
LEVEL = tuple(step for step in STEPS if step[2] == 0)
Bool = cp_model.IntVar


@dataclass(frozen=True)
class Room:
    """A box to lay a net in."""

    free: Collection[Cell]
    inert: Collection[Cell]
    roots: Collection[Cell]
    line: Mapping[Cell, int]
    """Wires that are there, each with its ticks before the end; all must get power."""
    entries: Collection[tuple[Cell, Cell, Cell]]
    """Sensors that may feed the line: the wire, the sensor, what it watches."""
    near_trigger: Collection[Cell]
    """No wire of the net lies there, and no block."""
    reach: int


class Net:
    """The model; `fewest` solves it."""

    def __init__(self, room: Room, most_ticks: int) -> None:
        self.room, self.model = room, cp_model.CpModel()
        new, self.end = self.model.new_bool_var, self.model.new_int_var(1, most_ticks, "")
        self.sensor = {c: new("") for c in room.free}
        self.wire = {
            c: new("")
            for c in room.free
            if _plus(c, DOWN) in room.free and c not in room.near_trigger
        }
        self.block = {c: new("") for c in self.wire}
        """Whether the wire stands on a block."""
        self.past = {c: new("") for c in room.free}
        """Cells that power climbs past."""
        cells = [*room.free, *room.line]
        self.time = {c: self.model.new_int_var(1, most_ticks, "") for c in cells}
        self.level = {c: self.model.new_int_var(1, room.reach, "") for c in cells}
        self.power: dict[Cell, list[Bool]] = {c: [] for c in (*self.wire, *room.line)}
        self.into: dict[Cell, list[Bool]] = {c: [] for c in cells}
        """Sensors that put out into a cell without feeding it."""
        for wire, lead in room.line.items():
            self.model.add(self.time[wire] == self.end - lead)
        self._sensors()
        self._wires()
        self._standing()

    def _sensors(self) -> None:
        model, room = self.model, self.room
        for cell, stands in self.sensor.items():
            ways = []
            for step in STEPS:
                before = _plus(cell, step)
                out = _plus(cell, (-step[0], -step[1], -step[2]))
                if before not in self.time and before not in room.roots:
                    continue
                feeds = out in self.wire or (out, cell, before) in room.entries
                for feeding in (False, True) if feeds else (False,):
                    if not feeding and (out not in room.inert or out in room.line):
                        continue
                    way = model.new_bool_var("")
                    ways.append(way)
                    self._after(way, cell, before)
                    if feeding:
                        self.power[out].append(way)
                        model.add(self.time[out] == self.time[cell]).only_enforce_if(way)
                    elif out in self.into:
                        self.into[out].append(way)
            model.add(sum(ways) == stands)

    def _after(self, way: Bool, cell: Cell, before: Cell) -> None:
        """The sensor in the cell watches another one."""
        if before in self.room.roots:
            self.model.add(self.time[cell] == 1).only_enforce_if(way)
            return
        self.model.add(self.time[cell] == self.time[before] + 1).only_enforce_if(way)
        if before not in self.room.line:
            live = [self.sensor[before], *([self.wire[before]] if before in self.wire else [])]
            self.model.add_bool_or(live).only_enforce_if(way)

    def _wires(self) -> None:
        for a in self.power:
            for step in LEVEL:
                for b in (_plus(a, step), _plus(_plus(a, step), UP), _plus(_plus(a, step), DOWN)):
                    if b in self.power:
                        self._pair(a, b)
        for cell, ways in self.power.items():
            here = self.wire.get(cell)
            self.model.add(sum(ways) == (1 if here is None else here))

    def _pair(self, a: Cell, b: Cell) -> None:
        """Two wires side by side are live at once; power may go from a to b."""
        model = self.model
        there = [self.wire[c] for c in (a, b) if c in self.wire]
        if there:
            model.add(self.time[a] == self.time[b]).only_enforce_if(there)
        if not there and a[2] != b[2]:
            return
        way = model.new_bool_var("")
        self.power[b].append(way)
        for wire in there:
            model.add_implication(way, wire)
        model.add(self.level[b] <= self.level[a] - 1).only_enforce_if(way)
        if a[2] != b[2]:
            high, low = (a, b) if a[2] > b[2] else (b, a)
            if _plus(low, UP) in self.past:
                model.add_implication(way, self.past[_plus(low, UP)])
            else:
                model.add(way == 0)
            if high == a:  # Down: what a line wire stands on is not known to conduct.
                model.add_implication(way, self.block[a]) if a in self.block else model.add(
                    way == 0
                )

    def _standing(self) -> None:
        model = self.model
        for cell, stands in self.sensor.items():
            above = _plus(cell, UP)
            foot = [self.wire[above]] if above in self.wire else []
            here = [self.wire[cell]] if cell in self.wire else []
            model.add_at_most_one([stands, *here, *foot])
            for out in self.into[cell]:
                for wire in here:
                    model.add_implication(out, wire.negated())
                if above in self.block:
                    model.add_implication(out, self.block[above].negated())
            if above in self.block:
                model.add_implication(self.block[above], self.wire[above])
                model.add_implication(self.past[cell], self.block[above].negated())
                if cell in self.room.near_trigger:
                    model.add(self.block[above] == 0)

    def fewest(self) -> int | None:
        """The least parts of any net; None if there is none."""
        self.model.minimize(sum(self.sensor.values()) + 2 * sum(self.wire.values()))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), "too large for the oracle"
        return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def fewest_parts(room: Room, most_ticks: int) -> int | None:
    """The least sensors, wires and footings that power every wire of the line in time."""
    return Net(room, most_ticks).fewest()
