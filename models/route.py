"""What the search for a tape route takes and gives: a planar graph, wishes, a closed loop.

Cells are named by their index in `RouteGraph.cells`. A flat grid and the inside of a box are
the same thing here: cells with up to four ports, and faces that tile a sphere.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from models.geometry import Cell

Ports = tuple[int, int, int, int]

NO_LIMIT = 1 << 20
"""Longer than any edge or loop."""


@dataclass(frozen=True, slots=True)
class RouteGraph:
    """Which cells touch which: topology only, nothing about what may stand where.

    Ports are numbered counter-clockwise as seen from inside the room; on a floor 0 is +x, 1 is
    +y, 2 is -x, 3 is -y. Straight on is out through the port opposite to the arrival port.
    """

    cells: tuple[Cell, ...]
    ports: tuple[Ports, ...]
    """The neighbour through each port, -1 for none."""
    arrive: tuple[Ports, ...]
    """At which port of that neighbour one arrives, -1 for none."""
    faces: tuple[tuple[int, ...], ...]
    """Rings of cells walked with the face on the left; rims count too: every link borders two."""


@dataclass(frozen=True, slots=True)
class EdgeSpan:
    """The least and the most cells of an edge, both ends counted."""

    least: int = 2
    most: int = NO_LIMIT


@dataclass(frozen=True, slots=True)
class EdgeLimits:
    """How long an edge may be, by what stands at its first and at its last cell."""

    drive_drive: EdgeSpan = EdgeSpan(2, 13)
    drive_fold: EdgeSpan = EdgeSpan(2, 12)
    fold_fold: EdgeSpan = EdgeSpan(2, 13)
    fold_drive: EdgeSpan = EdgeSpan(2, 14)


@dataclass(frozen=True, slots=True)
class CornerOption:
    """One way to put a corner drive: the tape arrives through `in_port`, leaves by `out_port`."""

    cell: int
    in_port: int
    out_port: int
    variant: str = ""
    costs: tuple[int, ...] = ()
    """One for each term of the objective."""
    claims: frozenset[int] = frozenset()
    """Opaque tokens: no two chosen options hold the same one."""
    forbids: frozenset[int] = frozenset()
    """Cells that carry no tape if this option is chosen."""


@dataclass(frozen=True, slots=True)
class ReachTerm:
    """A price to pay if no cell of a set is tape, say for a link to a far button."""

    cells: frozenset[int]
    penalty: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RouteProblem:
    """Everything that decides which loops are allowed and which is best."""

    graph: RouteGraph
    allowed: frozenset[int]
    options: tuple[CornerOption, ...]
    terms: tuple[str, ...]
    """Names of the objective terms; all are minimised, the first matters most."""
    cell_costs: tuple[tuple[int, ...], ...]
    """For each term the cost of each cell of the graph if it is tape."""
    required: frozenset[int] = frozenset()
    exact: bool = False
    """The loop is made of the required cells and no other."""
    inside_on_right: bool = True
    """Clockwise as seen from inside the room; else the inside is on the left of the travel."""
    inside_faces: frozenset[int] = frozenset()
    outside_faces: frozenset[int] = frozenset()
    """Faces whose side is known; on a floor the rim is outside."""
    around: int | None = None
    """A cell that ends up inside the loop, not on it."""
    rims: frozenset[int] = frozenset()
    """Faces that are not all inside, if there are any: a loop round a cell parts it from one."""
    length_min: int = 4
    length_max: int = NO_LIMIT
    limits: EdgeLimits = field(default_factory=EdgeLimits)
    folds: frozenset[int] = frozenset()
    """Edge-line cells: runs go through them and are counted in two parts."""
    fixed_costs: tuple[int, ...] = ()
    reach_terms: tuple[ReachTerm, ...] = ()


@dataclass(frozen=True, slots=True)
class RouteCut:
    """A clause that every further route keeps: at least one of these holds."""

    tape: frozenset[int] = frozenset()
    """Cells that are tape."""
    bare: frozenset[int] = frozenset()
    """Cells that are not tape."""
    chosen: frozenset[CornerOption] = frozenset()
    dropped: frozenset[CornerOption] = frozenset()


@dataclass(frozen=True, slots=True)
class Route:
    """A closed loop in travel order, from its lowest cell, with the corner drives it needs."""

    cells: tuple[int, ...]
    corners: tuple[CornerOption, ...]
    costs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RouteFound:
    """Feasible. `optimal` means proven; else no route is better than `lower_bound`."""

    route: Route
    optimal: bool
    lower_bound: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ImpossibilityProof:
    """Why no route exists, and by what two ways that is known."""

    kind: Literal["counting", "cut", "search"]
    reason: str
    confirmed_by: str
    cells: tuple[int, ...] = ()
    """The cells the reason speaks of."""


@dataclass(frozen=True, slots=True)
class RouteNone:
    """Proven impossible."""

    proof: ImpossibilityProof


@dataclass(frozen=True, slots=True)
class RouteUnknown:
    """Undecided within the time given, no route known."""

    lower_bound: tuple[int, ...]


RouteVerdict = RouteFound | RouteNone | RouteUnknown
