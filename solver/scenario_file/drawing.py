"""Faults of an exact drawing that show without designing anything.

The `o` cells of an exact shape must be one closed line. Ends, separate pieces, branches and
drawings that leave the order of the cells open are faults of the drawing. A drawing that
merely admits no loop is not: that is for the search to prove.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from models.fault import Fault
from models.geometry import Cell, step
from models.scenario import Place
from models.surface import BEHIND, Plane, SurfaceName
from solver.scenario_file.count_loops import count_loops

MAX_LISTED = 12
"""So many cells are listed for one kind of fault."""
Neighbours = Mapping[Cell, frozenset[Cell]]


def neighbours(cells: frozenset[Cell], planes: Mapping[SurfaceName, Plane]) -> Neighbours:
    """Which cells can follow each other: side by side, or both at one hidden edge cell."""
    across: dict[Cell, list[Cell]] = {}
    for cell in cells:
        for name, plane in planes.items():
            if plane.level(cell) == -1:
                across.setdefault(step(cell, BEHIND[name]), []).append(cell)
    found: dict[Cell, set[Cell]] = {
        cell: {n for face in BEHIND.values() if (n := step(cell, face)) in cells} for cell in cells
    }
    for group in across.values():
        for cell in group:
            found[cell].update(other for other in group if other != cell)
    return {cell: frozenset(others) for cell, others in found.items()}


def pieces(near: Neighbours) -> list[list[Cell]]:
    """The connected pieces, each in the order of `near`, the first cell's piece first."""
    piece_of: dict[Cell, int] = {}
    found: list[list[Cell]] = []
    for start in near:
        if start not in piece_of:
            todo = [start]
            piece_of[start] = len(found)
            while todo:
                for other in near[todo.pop()]:
                    if other not in piece_of:
                        piece_of[other] = len(found)
                        todo.append(other)
            found.append([])
        found[piece_of[start]].append(start)
    return found


def in_block(cell: Cell, near: Neighbours) -> bool:
    """Whether the cell is part of a 2 x 2 block of cells (also one folded over an edge)."""
    around = near[cell]
    return any((near[a] & near[b]) - {cell} for a in around for b in around if a < b)


class _Drawing:
    def __init__(self, near: Neighbours, places: Mapping[Cell, Place]) -> None:
        self.near = near
        self.places = places

    def fault(self, cell: Cell, what: str, value: str, remedy: str) -> Fault:
        return Fault(*self.places[cell], what, value, remedy)

    def listed(self, cells: Iterable[Cell], what: str, value: str, remedy: str) -> list[Fault]:
        cells = list(cells)
        faults = [self.fault(cell, what, value, remedy) for cell in cells[:MAX_LISTED]]
        if len(cells) > MAX_LISTED:
            more = f"and {len(cells) - MAX_LISTED} more such cells"
            faults.append(self.fault(cells[MAX_LISTED], more, value, remedy))
        return faults

    def ends(self) -> list[Fault]:
        loose = [cell for cell, others in self.near.items() if len(others) < 2]
        what = "the drawn loop ends here: this cell has fewer than two neighbours of mark o"
        return self.listed(loose, what, '"o"', "Draw the loop on, or take the cell away.")

    def separate(self) -> list[Fault]:
        found = pieces(self.near)
        what = f"the cells of mark o form {len(found)} separate pieces; here another one begins"
        remedy = "One scenario holds one loop: join the pieces or keep one."
        return [
            self.fault(piece[0], what, f"{len(piece)} cells", remedy)
            for piece in found[1 : MAX_LISTED + 1]
        ]

    def branches(self) -> list[Fault]:
        near = self.near
        forks = [c for c, others in near.items() if len(others) > 2 and not in_block(c, near)]
        what = "the drawn loop branches here"
        remedy = "A loop has two neighbours at every cell: take one arm away."
        return self.listed(forks, what, '"o"', remedy)

    def open_order(self) -> list[Fault]:
        thick = [c for c, others in self.near.items() if len(others) > 2]
        what = "touching cells leave the order of the loop open: several loops fit this drawing"
        remedy = "Leave a gap between neighbouring stretches, or set shape free with length max = "
        cell = next((c for c in thick if in_block(c, self.near)), thick[0])
        return [self.fault(cell, what, f"{len(self.near)} cells", f"{remedy}{len(self.near)}.")]


def drawing_faults(near: Neighbours, places: Mapping[Cell, Place]) -> list[Fault]:
    """All faults of an exact drawing; `near` and `places` have the same cells."""
    drawing = _Drawing(near, places)
    broken = drawing.ends() + drawing.separate()
    if broken:
        return broken + drawing.branches()
    loops = count_loops(near)
    if loops == 0:
        return drawing.branches()
    return drawing.open_order() if loops == 2 else []
