"""A scenario made flat: the graph of its surfaces and the ground that may be dug."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from models.geometry import VECTOR, Cell, Face, cross, step, sub
from models.route import RouteGraph
from models.scenario import Scenario
from models.surface import BEHIND, SURFACES, SurfaceName


@dataclass(frozen=True)
class Digging:
    """Which cells behind the surfaces may be dug."""

    scenario: Scenario

    def allows(self, cell: Cell) -> bool:
        """Whether a cell may be dug: close enough behind a surface, and behind no mark `=`."""
        cached = self._known.get(cell)
        if cached is None:
            cached = self._known[cell] = cell not in self.scenario.quiet and self.allows_air(cell)
        return cached

    def allows_air(self, cell: Cell) -> bool:
        """Whether a cell may be dug if nothing is put there."""
        return cell not in self.scenario.taken and self._reached(cell) and not self._untouched(cell)

    @cached_property
    def _known(self) -> dict[Cell, bool]:
        return {}

    def _reached(self, cell: Cell) -> bool:
        return any(
            1 <= surface.plane.level(cell) <= surface.depth and self.beside(name, cell)
            for name, surface in self.scenario.surfaces.items()
        )

    def beside(self, name: SurfaceName, cell: Cell) -> bool:
        """Whether the cell is over the surface, or no further beyond its rim than allowed."""
        own = self.scenario.surfaces[name]
        for other in SURFACES:
            vector = VECTOR[BEHIND[other]]
            if BEHIND[other][1] == BEHIND[name][1]:
                continue
            axis = next(i for i in range(3) if vector[i])
            rim = self.scenario.room[axis] - 1 if vector[axis] > 0 else 0
            beyond = (cell[axis] - rim) * vector[axis]
            neighbour = self.scenario.surfaces.get(other)
            allowed = own.margin
            if neighbour is not None:
                allowed = max(allowed, 1 + neighbour.depth)
            if beyond > allowed:
                return False
        return True

    def _untouched(self, cell: Cell) -> bool:
        for surface in self.scenario.surfaces.values():
            level = surface.plane.level(cell)
            if level >= 1 and surface.mark_at(step(cell, surface.plane.behind, -level)) == "=":
                return True
        return False


@dataclass(frozen=True)
class Problem:
    """What the search works on. Cells are indices into `graph.cells`."""

    scenario: Scenario
    graph: RouteGraph
    index: Mapping[Cell, int]
    homes: tuple[SurfaceName | None, ...]
    """The surface of each cell; None for cells on an edge line."""
    rims: frozenset[int]
    """Faces of the graph that are no squares of a surface: where surfaces end."""
    digging: Digging

    def normal(self, cell: int) -> Cell:
        """The direction from a surface cell into the room."""
        home = self.homes[cell]
        assert home is not None, "an edge line has no normal of its own"
        return sub((0, 0, 0), VECTOR[BEHIND[home]])

    def heading(self, cell: int, port: int) -> Cell:
        """The direction in which one leaves a surface cell through a port."""
        return sub_port(self.normal(cell), self.right(cell), port)

    def right(self, cell: int) -> Cell:
        """The direction of port 0 of a surface cell."""
        home = self.homes[cell]
        assert home is not None
        return VECTOR[self.scenario.surfaces[home].plane.right]


def sub_port(normal: Cell, right: Cell, port: int) -> Cell:
    """The direction of a port: counter-clockwise from `right`, seen from the room."""
    turned = (right, cross(normal, right))[port % 2]
    return turned if port < 2 else sub((0, 0, 0), turned)


def face_name(direction: Cell) -> Face:
    """The name of a unit step."""
    return next(face for face, vector in VECTOR.items() if vector == direction)
