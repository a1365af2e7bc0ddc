"""On which side of a tape a cell lies, read off a machine and its scenario alone.

The inside of a room is a surface of squares. A hidden cell of an edge line is none of them: the
tape goes straight from the square before it to the square behind it. What matters are the corner
points of the squares, and the seams between two points. Nothing but the tape parts two points,
where it crosses their seam.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from models.geometry import VECTOR, Cell, add, cross, scale, sub
from models.machine import Machine, MachineFault
from models.scenario import Scenario
from models.surface import BEHIND, SurfaceName

Point = Cell
"""A corner of squares, in half cells."""
Seam = frozenset[Point]


@dataclass
class _Room:
    """The squares of the given surfaces, with what lies at their sides."""

    scenario: Scenario
    squares: dict[Cell, SurfaceName] = field(default_factory=dict)
    at_seam: dict[Seam, list[Cell]] = field(default_factory=dict)
    beside: dict[Point, set[Point]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, surface in self.scenario.surfaces.items():
            for cell in surface.cells(".o#=@"):
                self.squares[cell] = name
                for way in _ways(name):
                    seam = self.seam(cell, way)
                    self.at_seam.setdefault(seam, []).append(cell)
                    a, b = seam
                    self.beside.setdefault(a, set()).add(b)
                    self.beside.setdefault(b, set()).add(a)

    def seam(self, cell: Cell, way: Cell) -> Seam:
        """The side of a square that lies this way."""
        return frozenset(self.ends(cell, way))

    def ends(self, cell: Cell, way: Cell) -> tuple[Point, Point]:
        """The points left and right of one who leaves a square this way."""
        inward = scale(VECTOR[BEHIND[self.squares[cell]]], -1)
        right = cross(way, inward)
        ahead = add(add(scale(cell, 2), inward), way)
        return sub(ahead, right), add(ahead, right)

    def corners(self, cell: Cell) -> set[Point]:
        """The four points of a square."""
        return {p for way in _ways(self.squares[cell]) for p in self.ends(cell, way)}

    def rim(self) -> set[Point]:
        """Points where the surfaces end."""
        return {point for seam, cells in self.at_seam.items() if len(cells) == 1 for point in seam}


def _ways(name: SurfaceName) -> list[Cell]:
    inward = VECTOR[BEHIND[name]]
    return [way for way in VECTOR.values() if way not in (inward, scale(inward, -1))]


def side_faults(machine: Machine, scenario: Scenario) -> list[MachineFault]:
    """Whether the cell to run around is inside, and what is outside for certain is not."""
    room, clockwise = _Room(scenario), scenario.loop.direction == "clockwise"
    tape = set(machine.tape)
    sides = _sides(room, machine, clockwise)
    if sides is None:
        return []  # Not a loop over these surfaces, which is told elsewhere.
    inside, outside = sides
    if inside & outside:
        return [MachineFault("sides", (), "the tape does not part the surfaces in two")]
    around, rim = scenario.loop.around, room.rim()
    if around is None and len(scenario.surfaces) > 1:
        return []  # A drawing: either side may be meant.
    if around is not None and (around in tape or not room.corners(around) <= inside):
        text = f"{around} does not lie inside the loop, on its {_hand(clockwise)}"
        return [MachineFault("not around", (around,), text)]
    if rim & inside and not rim & outside:
        return [MachineFault("not around", (), "all that lies beyond the rim is inside the loop")]
    return []


def cells_inside(machine: Machine, scenario: Scenario) -> list[Cell]:
    """The cells that lie inside the loop, if it is one."""
    room = _Room(scenario)
    sides = _sides(room, machine, scenario.loop.direction == "clockwise")
    bare = sorted(room.squares.keys() - set(machine.tape)) if sides else []
    return [cell for cell in bare if sides and room.corners(cell) <= sides[0]]


def _sides(room: _Room, machine: Machine, clockwise: bool) -> tuple[set[Point], set[Point]] | None:
    """The points inside and outside; None if the tape does not go from square to square."""
    tape = [cell for cell in machine.tape if cell in room.squares]
    steps = list(zip(tape, tape[1:] + tape[:1], strict=True))
    crossed = {_crossing(room, a, b) for a, b in steps}
    if None in crossed:
        return None
    right, left = (_flooded(room, crossed, _banks(room, steps, side)) for side in (1, 0))
    return (right, left) if clockwise else (left, right)


def _hand(clockwise: bool) -> str:
    return "right" if clockwise else "left"


def _crossing(room: _Room, a: Cell, b: Cell) -> Seam | None:
    """The seam between two squares; None where they have none in common."""
    seams = [room.seam(a, way) for way in _ways(room.squares[a])]
    return next((seam for seam in seams if b != a and b in room.at_seam[seam]), None)


def _banks(room: _Room, steps: list[tuple[Cell, Cell]], side: int) -> set[Point]:
    """The points left (0) or right (1) of the travel."""
    found = set()
    for a, b in steps:
        seam = _crossing(room, a, b)
        way = next(way for way in _ways(room.squares[a]) if room.seam(a, way) == seam)
        found.add(room.ends(a, way)[side])
    return found


def _flooded(room: _Room, crossed: set[Seam | None], start: set[Point]) -> set[Point]:
    reached, open_ = set(start), list(start)
    while open_:
        here = open_.pop()
        for there in room.beside[here]:
            if there not in reached and frozenset((here, there)) not in crossed:
                reached.add(there)
                open_.append(there)
    return reached
