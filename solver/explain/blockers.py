"""Which requirements keep a cell from being dug, a cell from carrying tape, a drive from standing.

A *block* is a set of requirements: while all of them hold, the thing is not allowed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

from models.geometry import Cell, Frame, step
from models.problem import Digging, Problem
from models.route import CornerOption
from models.scenario import Scenario, cell_requirement
from models.system import System
from solver.route.problem import corner_frame

Block = frozenset[str]


@dataclass
class Blockers:
    """Reads requirements off the scenario as given; `problem` is the relaxed one."""

    scenario: Scenario
    problem: Problem
    system: System
    _dug: dict[Cell, tuple[Block, ...]] = field(default_factory=dict)

    def of_digging(self, cell: Cell) -> tuple[Block, ...]:
        """What keeps a cell from being dug."""
        found = self._dug.get(cell)
        if found is None:
            found = self._dug[cell] = (*self._untouched(cell), *self._unreached(cell))
        return found

    def of_tape(self, cell: int) -> frozenset[Block]:
        """What keeps tape and its lift from a cell."""
        home = self.problem.homes[cell]
        if home is None:
            return frozenset()
        at = self.problem.graph.cells[cell]
        blocks: set[Block] = set()
        surface = self.scenario.surfaces[home]
        spot = surface.plane.spot(at)
        assert spot is not None
        if surface.marks[spot[0]][spot[1]] in ("#", "=", "@"):
            blocks.add(frozenset({cell_requirement(home, *spot)}))
        for dug in self.column_cells(cell):
            blocks.update(self.of_digging(dug))
        return frozenset(blocks)

    def of_drive(self, option: CornerOption) -> frozenset[Block]:
        """What keeps a drive from standing at a corner."""
        return frozenset(b for cell in self.drive_cells(option) for b in self.of_digging(cell))

    def column_cells(self, cell: int) -> frozenset[Cell]:
        """The cells that the lift behind a tape cell takes."""
        problem = self.problem
        frame = Frame(
            problem.graph.cells[cell],
            problem.heading(cell, 0),
            problem.heading(cell, 1),
            problem.normal(cell),
        )
        return self.system.on(problem.homes[cell]).column.claimed(frame)

    def drive_cells(self, option: CornerOption) -> frozenset[Cell]:
        """The cells that a drive takes."""
        frame = corner_frame(self.problem, option.cell, option.in_port, option.out_port)
        home = self.problem.homes[option.cell]
        return self.system.on(home).drive(option.variant).claimed(frame)

    def _untouched(self, cell: Cell) -> list[Block]:
        """A mark `=` in front of the cell."""
        found = []
        for name, surface in self.scenario.surfaces.items():
            level = surface.plane.level(cell)
            spot = surface.plane.spot(step(cell, surface.plane.behind, -level))
            if level >= 1 and spot is not None and surface.marks[spot[0]][spot[1]] == "=":
                found.append(frozenset({cell_requirement(name, *spot)}))
        return found

    def _unreached(self, cell: Cell) -> list[Block]:
        """Each surface from which the cell could be dug lies too shallow or ends too soon."""
        relaxed = self.problem.digging
        given = Digging(self.scenario)
        limits: list[list[str]] = []
        for name, surface in self.scenario.surfaces.items():
            loose = relaxed.scenario.surfaces[name]
            level = surface.plane.level(cell)
            if not 1 <= level <= loose.depth or not relaxed.beside(name, cell):
                continue
            why = [f"surfaces.{name}.depth"] if level > surface.depth else []
            why += [f"surfaces.{name}.margin"] if not given.beside(name, cell) else []
            if not why:
                return []
            limits.append(why)
        return [frozenset(choice) for choice in product(*limits)] if limits else []
