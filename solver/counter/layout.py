"""Parts of a ring that runs both ways, as they are put down.

Two drives stand at each corner, one the mirror image of the other, and one line fires all lifts.
What makes the trade's drive fire is a sensor that watches a lift; here leads bring it from the
button of its way, so that the drives of the other way hear nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import Cell, step
from models.machine import Machine
from models.parts import Part
from models.problem import Digging
from models.scenario import Scenario
from solver.characterise.testbed import corner_frames
from solver.net.assemble import boxes
from solver.net.lift_lines import deep_line
from solver.net.worked import FLOOR_DRIVE
from solver.trigger.site import Site

UP: Cell = (0, 0, 1)
STEM = (-4, -5, -6, -7)
"""The row of sensors below a trigger; leads begin beside the last."""
LEAST_DEPTH = 8
"""Cells behind the surface that the deepest leads need at least."""
MOVED: dict[Cell, Part | None] = {
    (-1, -1, -3): None,
    (-1, -2, -4): None,
    (-1, -2, -3): Part("buffer", (-1, -4, -3), "+y", 2),
}
"""The trade's drive without the sensor that watches a lift, its buffer on the other side of the
block that it powers: where a wire for it could stand, the lift line would climb onto it.
"""

Goal = tuple[Cell, Cell]
"""A drive's buffer, and the direction it is fed in."""


class Layout(Site):
    """Parts, and the cells that must stay free."""

    def __init__(self, scenario: Scenario, digging: Digging, tape: Sequence[Cell]) -> None:
        super().__init__(tape, digging.allows, lambda cell: cell[2] >= 0)
        self.scenario = scenario
        self.line = [step(cell, "-z", 4) for cell in tape]
        self.keep(step(cell, "-z") for cell in tape)
        self.put(*deep_line(tape, UP, -1).parts.values())
        self.goals = (self._drives(self.tape, "forth"), self._drives(self.tape[::-1], "back"))

    def _drives(self, tape: Sequence[Cell], way: str) -> list[Goal]:
        """A drive at every corner."""
        goals = []
        for number, frame in enumerate(corner_frames(tape, UP)):
            unit = f"drive {way} {number + 1}"
            self.keep({frame.cell(cell) for cell in FLOOR_DRIVE.air})
            for part in FLOOR_DRIVE.parts:
                new = MOVED.get(part.at, part)
                if new is None:
                    continue
                face = frame.face(new.face) if new.face else None
                self.put(new._replace(at=frame.cell(new.at), face=face, unit=unit))
                if new.kind == "buffer":
                    goals.append((frame.cell(new.at), frame.y))
                    self.put(Part("block", step(frame.cell(new.at), "-z"), unit=unit))
        return goals

    def trigger(self, cover: Cell, way: str) -> Cell:
        """A button on a cover, its ram and the row of sensors below; the row's last cell."""
        x, y, _ = cover
        unit, press = f"trigger {way}", self.scenario.rules.press
        self.put(Part("button", (x, y, 0), "-z", press=press, unit=unit))
        self.put(Part("push_ram", (x, y, -2), "-z", unit=unit))
        self.keep({(x, y, -3)})
        self.put(*(Part("sensor", (x, y, z), "+z", unit=unit) for z in STEM))
        return x, y, STEM[-1]

    def machine(self, way: int) -> Machine:
        """All of it, seen from one way's button; no more dug than parts and what they hear need."""
        dug = {cell for cell in self.dug() if cell[2] < -1}
        on_tape = set(self.tape)
        floor = self.scenario.surfaces["floor"]
        covers = [
            Part("cover", c, unit="surface") for c in floor.cells(".o#=@") if c not in on_tape
        ]
        first = "trigger forth" if way > 0 else "trigger back"
        parts = sorted(
            self.parts.values(), key=lambda p: (p.kind != "button", p.unit != first, p.unit)
        )
        return Machine(
            self.scenario.title,
            self.scenario.room,
            self.scenario.rules,
            self.tape if way > 0 else self.tape[::-1],
            (*parts, *covers),
            tuple(boxes(sorted(dug))),
        )
