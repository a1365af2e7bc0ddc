"""The trigger net of a shallow floor: a line beside the sunk tape, inside a rectangle.

Wires run on blocks along the inner side of the lifts, one cell behind the surface; each block
fires the lift beside it. The line is one run without boosters (a buffer would leave the block
below it dark), so it reaches only so far. The trigger stands inside the loop and feeds a cell of
the line through a sensor that watches its ram.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from models.geometry import Cell, Frame, add, cross, scale, sub
from models.parts import Part
from models.problem import Problem
from models.route import Route
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.floor_line import Net, NoLine, button_covers, upright
from solver.net.layout import place_drives
from solver.net.lift_lines import turns_of

MAX_MACHINES = 6
"""Places of the trigger that are tried in full machines."""


class FlatSearch:
    """Finds trigger nets for rectangles on a shallow floor."""

    exhaustive = False

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets with the trigger in different places, those that feed the line's middle first."""
        problem = self.problem
        loop = [problem.graph.cells[i] for i in route.cells]
        normal = problem.normal(route.cells[0])
        line = _line_cells(loop)
        loose = [Part("wire", add(c, scale(normal, -1)), unit="line") for c in line]
        loose += [Part("block", add(c, scale(normal, -2)), unit="line") for c in line]
        for part in loose:
            if not problem.digging.allows(part.at):
                yield NoLine(f"the line beside the tape needs {part.at}, which may not be dug")
                return
        lifts = [
            Placed(self.system.column, upright(problem, c), f"lift {k}") for k, c in enumerate(loop)
        ]
        units = [*lifts, *place_drives(problem, self.system, route)]
        found = 0
        for trigger in self._triggers(line, normal):
            net = Net(trigger.frame.origin, (*lifts, trigger), tuple(loose))
            try:
                merge([*units, trigger], loose)
            except CollisionError:
                continue
            yield net
            found += 1
            if found >= MAX_MACHINES:
                return
        if not found:
            yield NoLine("no cover inside the loop is free for the button and its trigger")

    def _triggers(self, line: Sequence[Cell], normal: Cell) -> Iterator[Placed]:
        """Triggers whose sensor's output is a cell of the line."""
        cells, problem = set(line), self.problem
        for cover in button_covers(problem):
            at = upright(problem, cover)
            for x in (at.x, at.y, sub((0, 0, 0), at.x), sub((0, 0, 0), at.y)):
                frame = Frame(cover, x, cross(normal, x), normal)
                if add(cover, scale(x, -2)) not in cells:
                    continue
                placed = Placed(self.system.trigger, frame, "trigger")
                behind = [p.at for p in placed.parts() if p.kind != "button"]
                if all(problem.digging.allows(c) for c in (*behind, *placed.air())):
                    yield placed


def _line_cells(loop: Sequence[Cell]) -> list[Cell]:
    """Surface cells over the line: beside every lift but the corners', on the inner side."""
    beside = (add(cell, side) for side, edge in turns_of(loop) for cell in edge[1:-1])
    return list(dict.fromkeys(beside))
