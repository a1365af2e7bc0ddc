"""The trigger net of a shallow floor: a line beside the sunk tape, inside a rectangle.

Wires run on blocks along the inner side of the lifts, one cell behind the surface; each block
fires the lift beside it. The line has no boosters (a buffer would leave the block below it dark),
so one feed reaches only so far. The trigger stands inside the loop: sensors on one side of its
ram, or on two opposite sides, each feed the line, through a straight trunk of wires where the
line is further off.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import replace

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
_SECOND = Part("sensor", (-1, 0, -1), "+x")
"""On the other side of the trigger's ram."""
_Trigger = tuple[Placed, tuple[Part, ...]]
"""The trigger and the parts of its trunks."""


class FlatSearch:
    """Finds trigger nets for rectangles on a shallow floor."""

    exhaustive = True

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system
        self.reach = problem.scenario.rules.reach

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets with the trigger in different places, those of fewest parts first."""
        problem = self.problem
        loop = [problem.graph.cells[i] for i in route.cells]
        normal = problem.normal(route.cells[0])
        line = _line_cells(loop)
        loose = _wires(line, normal, "line")
        for part in loose:
            if not problem.digging.allows(part.at):
                yield NoLine(f"the line beside the tape needs {part.at}, which may not be dug")
                return
        lifts = [
            Placed(self.system.column, upright(problem, c), f"lift {k}") for k, c in enumerate(loop)
        ]
        units = [*lifts, *place_drives(problem, self.system, route)]
        found = 0
        for trigger, trunk in sorted(self._triggers(loop, normal), key=_parts):
            net = Net(trigger.frame.origin, (*lifts, trigger), (*loose, *trunk))
            try:
                merge([*units, trigger], net.loose)
            except CollisionError:
                continue
            yield net
            found += 1
            if found >= MAX_MACHINES:
                return
        if not found:
            yield NoLine("no cover inside the loop is free for the button and its trigger")

    def _triggers(self, loop: Sequence[Cell], normal: Cell) -> Iterator[_Trigger]:
        """Triggers with the trunks to the line, if every wire of the line has level from them."""
        line = {*_line_cells(loop), *_corner_wires(loop)}
        for cover in button_covers(self.problem):
            at = upright(self.problem, cover)
            ways = {x: self._trunk(cover, x, line) for x in (at.x, at.y, _back(at.x), _back(at.y))}
            for x, trunk in ways.items():
                opposite = ways[_back(x)]
                if trunk is None:
                    continue
                alone = self._placed(cover, x, normal, (trunk,), line)
                both = None
                if alone is None and opposite is not None and x in (at.x, at.y):
                    both = self._placed(cover, x, normal, (trunk, opposite), line)
                yield from (found for found in (alone, both) if found is not None)

    def _placed(
        self,
        cover: Cell,
        x: Cell,
        normal: Cell,
        trunks: tuple[list[Cell], ...],
        line: Set[Cell],
    ) -> _Trigger | None:
        """A trigger that feeds these trunks; None if it does not reach or may not be dug."""
        feeds = {trunk[-1]: self.reach - (len(trunk) - 1) for trunk in trunks}
        if not _carried(line, feeds):
            return None
        frame = Frame(cover, x, cross(normal, x), normal)
        design = self.system.trigger
        if len(trunks) > 1:
            design = replace(design, parts=(*design.parts, _SECOND))
        placed = Placed(design, frame, "trigger")
        wires = _wires((cell for trunk in trunks for cell in trunk[:-1]), normal, "trunk")
        behind = [p.at for p in placed.parts() if p.kind != "button"]
        needed = (*behind, *placed.air(), *(part.at for part in wires))
        return (placed, tuple(wires)) if all(map(self.problem.digging.allows, needed)) else None

    def _trunk(self, cover: Cell, x: Cell, line: Set[Cell]) -> list[Cell] | None:
        """Cells from the sensor's output straight to the first cell of the line, it included."""
        cells = [add(cover, scale(x, 2))]
        if add(cover, x) in line or cover in line:
            return None
        while cells[-1] not in line:
            cells.append(add(cells[-1], x))
            if len(cells) > self.reach:
                return None
        return cells


def _back(way: Cell) -> Cell:
    return sub((0, 0, 0), way)


def _carried(line: Set[Cell], feeds: dict[Cell, int]) -> bool:
    """Whether wires of the line all have a level, one less from cell to cell."""
    level: dict[Cell, int] = {}
    front = sorted(feeds.items(), key=lambda feed: -feed[1])
    while front:
        cell, here = front.pop(0)
        if cell not in line or here < 1 or level.get(cell, 0) >= here:
            continue
        level[cell] = here
        front += [(add(cell, s), here - 1) for s in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0))]
    return len(level) == len(line)


def _wires(cells: Iterable[Cell], normal: Cell, unit: str) -> list[Part]:
    """Wires one cell behind the surface, on blocks."""
    ordered = list(cells)
    wires = [Part("wire", add(c, scale(normal, -1)), unit=unit) for c in ordered]
    return wires + [Part("block", add(c, scale(normal, -2)), unit=unit) for c in ordered]


def _parts(trigger: _Trigger) -> int:
    placed, trunk = trigger
    return len(placed.design.parts) + len(trunk)


def _corner_wires(loop: Sequence[Cell]) -> list[Cell]:
    """Surface cells over the wires that the chains at the corners watch."""
    found = []
    edges = [edge for _, edge in turns_of(loop)]
    for edge, after in zip(edges, edges[1:] + edges[:1], strict=True):
        corner = edge[-1]
        found.append(add(edge[-3], sub(after[2], corner)))
    return found


def _line_cells(loop: Sequence[Cell]) -> list[Cell]:
    """Surface cells over the line: beside every lift but the corners', on the inner side."""
    beside = (add(cell, side) for side, edge in turns_of(loop) for cell in edge[1:-1])
    return list(dict.fromkeys(beside))
