"""The layers of a machine: the surface of each cell, how far behind it, how it is seen."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from models.geometry import OPPOSITE, VECTOR, Cell, Face, dot, step, sub
from models.machine import Machine
from models.plan import OF_LOOP, Layer, Piece
from models.problem import face_name
from models.surface import BEHIND, SURFACES, Plane, SurfaceName, plane_of

Home = tuple[SurfaceName, int]
"""A surface and how many cells behind it."""


def pieces_of(machine: Machine) -> tuple[Piece, ...]:
    """Every part and every tape block; a tape block's face is the way it travels."""
    tape = machine.tape
    found = [Piece(p.kind, p.at, p.face, p.delay, p.press, p.unit) for p in machine.parts]
    for loop, span in enumerate(machine.spans, start=1):
        of = f"{OF_LOOP}{loop}" if machine.loops else ""
        for index in span:
            cell = tape[index]
            way = sub(tape[machine.following[index]], cell)
            face = face_name(way) if way in VECTOR.values() else None
            found.append(Piece("tape", cell, face, unit=f"block {index - span.start}{of}"))
    return tuple(found)


def surfaces_of(machine: Machine) -> tuple[SurfaceName, ...]:
    """The surfaces that hold covers or tape; all six if none does."""
    layer = [part.at for part in machine.parts if part.kind == "cover"] + list(machine.tape)
    used = [
        name
        for name in SURFACES
        if any(plane_of(name, machine.room).spot(cell) is not None for cell in layer)
    ]
    return tuple(used) or SURFACES


class Homes:
    """Tells the surface and the level of any cell."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self.surfaces = surfaces_of(machine)
        self._planes = {name: plane_of(name, machine.room) for name in self.surfaces}
        self._known: dict[Cell, Home] = {}
        for part in machine.parts:
            if part.kind == "button" and part.face is not None and machine.in_room(part.at):
                for name in self.surfaces:
                    if BEHIND[name] == part.face:
                        self._known[part.at] = (name, self._planes[name].level(part.at))

    def __getitem__(self, cell: Cell) -> Home:
        home = self._known.get(cell)
        if home is None:
            home = self._known[cell] = min(
                ((name, plane.level(cell)) for name, plane in self._planes.items()),
                key=lambda found: self._distance(cell, found),
            )
        return home

    def _distance(self, cell: Cell, home: Home) -> tuple[bool, int, int, int]:
        """In front of a surface is far; then sideways from it, then how deep."""
        name, level = home
        beyond = _beyond(cell, self._machine.room, BEHIND[name])
        return (level < 0, beyond, abs(level), SURFACES.index(name))


def _beyond(cell: Cell, room: Cell, behind: Face) -> int:
    """How far a cell lies sideways outside of a surface."""
    axis = next(i for i in range(3) if VECTOR[behind][i])
    gaps = [max(-cell[i], cell[i] - room[i] + 1, 0) for i in range(3) if i != axis]
    return max(gaps)


def layers_of(machine: Machine, homes: Homes) -> tuple[Layer, ...]:
    """All layers that hold a piece or a dug cell, from the room inwards."""
    pieces: dict[Home, list[Piece]] = defaultdict(list)
    for piece in pieces_of(machine):
        pieces[homes[piece.at]].append(piece)
    filled = {piece.at for group in pieces.values() for piece in group}
    air: dict[Home, set[Cell]] = defaultdict(set)
    for cell in machine.dug_cells - filled:
        air[homes[cell]].add(cell)
    layers = []
    for name in homes.surfaces:
        levels = sorted({level for home, level in {*pieces, *air} if home == name})
        behind = [
            cell
            for level in levels
            if level > 0
            for cell in (*(p.at for p in pieces[name, level]), *air[name, level])
        ]
        for level in levels:
            own = [*(p.at for p in pieces[name, level]), *air[name, level]]
            frame = behind if level > 0 else own
            layers.append(
                _layer(machine, (name, level), frame, pieces[name, level], air[name, level])
            )
    return tuple(layers)


def _layer(
    machine: Machine, home: Home, frame: Iterable[Cell], pieces: list[Piece], air: set[Cell]
) -> Layer:
    name, level = home
    plane = plane_of(name, machine.room)
    right, down = view_of(plane)
    across = [dot(cell, VECTOR[right]) for cell in frame]
    along = [dot(cell, VECTOR[down]) for cell in frame]
    origin = step((0, 0, 0), right, min(across))
    origin = step(origin, down, min(along))
    deep = dot(step(plane.origin, plane.behind, level), VECTOR[plane.behind])
    origin = step(origin, plane.behind, deep)
    layer = Layer(
        name,
        level,
        origin,
        right,
        down,
        max(across) - min(across) + 1,
        max(along) - min(along) + 1,
        (),
        frozenset(air),
    )
    order = {
        layer.cell(row, column): (row, column)
        for row in range(layer.rows)
        for column in range(layer.columns)
    }
    placed = tuple(sorted(pieces, key=lambda piece: order[piece.at]))
    return Layer(
        layer.surface,
        layer.level,
        layer.origin,
        layer.right,
        layer.down,
        layer.columns,
        layer.rows,
        placed,
        layer.air,
    )


def view_of(plane: Plane) -> tuple[Face, Face]:
    """The ways to the right and down as one sees the surface from inside the room.

    Maps show the ceiling as seen through from above; whoever looks up at it sees it mirrored.
    """
    mirrored = plane.behind == "+z"
    return (OPPOSITE[plane.right] if mirrored else plane.right), plane.down
