"""A lead: sensors in a row, each watching the one before it, from a ram or wire to a trigger.

It stands on nothing and hears no power, so it goes through ground where no wire could. What it
puts out at its corners is kept from all that would hear it. Simulation shows whether it is right.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from models.geometry import FACE_OF, FACES, OPPOSITE, Cell, Face, step, sub
from models.machine import Machine
from models.parts import CONDUCTIVE, RAMS, Part

LONGEST = 80
"""Sensors."""
HEARS = (*RAMS, "wire", "buffer", "inverter")


@dataclass(frozen=True)
class Lead:
    """Sensors in their order, and the cells that are dug for them."""

    parts: tuple[Part, ...]
    dug: frozenset[Cell]


@dataclass(frozen=True)
class Field:
    """What stands in the way of a lead."""

    taken: Mapping[Cell, Part]
    """Parts by their cells."""
    kept: frozenset[Cell]
    """Tape and cells that something else needs dug and free."""
    allows: Callable[[Cell], bool]
    """Whether a cell may be dug."""
    in_room: Callable[[Cell], bool]
    air: frozenset[Cell] = frozenset()
    """Dug cells of the machine: what is put out there is heard only if a block comes by."""

    def free(self, cell: Cell) -> bool:
        """Whether a sensor can be put here."""
        return cell not in self.taken and cell not in self.kept and self.allows(cell)

    def fits(self, cell: Cell) -> bool:
        """Whether a sensor can be put here that another one puts its power out to."""
        return self.free(cell) and not self._ram_under(cell)

    def watched(self) -> frozenset[Cell]:
        """Cells that some sensor watches: what changes there fires it."""
        sensors = (part for part in self.taken.values() if part.kind == "sensor")
        return frozenset(step(part.at, part.face) for part in sensors if part.face)

    def harmless(self, cell: Cell) -> bool:
        """Whether nobody hears it when a sensor puts out power into the cell."""
        if self._ram_under(cell):
            return False
        part = self.taken.get(cell)
        if part is not None and part.kind in HEARS:
            return False
        solid = part.kind in CONDUCTIVE if part is not None else not self.in_room(cell)
        if not solid or self.free(cell) or (part is None and cell in self.air):
            return True  # a free cell is dug, if it is ground
        return not self.heard_beside(cell)

    def heard_beside(self, cell: Cell) -> bool:
        """Whether anybody beside the cell would hear it if a block or ground in it had power."""
        beside = [step(cell, face) for face in FACES]
        heard = any(c in self.taken and self.taken[c].kind in HEARS for c in beside)
        return heard or any(map(self._ram_under, beside))

    def _ram_under(self, cell: Cell) -> bool:
        """With overhead pickup a ram hears what comes into the cell above it."""
        part = self.taken.get(step(cell, "-z"))
        return part is not None and part.kind in RAMS


def field_of(machine: Machine, allows: Callable[[Cell], bool], without: frozenset[Cell]) -> Field:
    """The ground of a machine, the parts in these cells taken out."""
    taken = {part.at: part for part in machine.parts if part.at not in without}
    kept = (frozenset(machine.tape) | machine.dug_cells) - without
    air = machine.dug_cells - frozenset(machine.tape)
    return Field(taken, kept, allows, machine.in_room, air)


def goals_of(machine: Machine, ram: Part) -> tuple[Cell, ...]:
    """The cells of a trigger's ram, its own and its head's, that sensors watch."""
    assert ram.face is not None, "a ram has a face"
    looks = {
        step(part.at, part.face) for part in machine.parts if part.kind == "sensor" and part.face
    }
    return tuple(cell for cell in (ram.at, step(ram.at, ram.face)) if cell in looks)


def lead_to(field: Field, source: Cell, goals: tuple[Cell, ...], unit: str) -> Lead | None:
    """A lead that takes the place of a trigger's ram.

    Where both its cells are watched two sensors stand there, one a tick after the other. None if
    there is no way, or nothing watches the ram.
    """
    if len(goals) == 1:
        return find_lead(field, source, goals[0], unit)
    for first, last in (goals, goals[::-1]) if goals else ():
        heading = FACE_OF[sub(last, first)]
        lead = find_lead(field, source, first, unit, heading)
        if lead is not None and field.harmless(step(last, heading)):
            end, air = Part("sensor", last, OPPOSITE[heading], unit=unit), step(last, heading)
            dug = lead.dug | {last} | ({air} if field.free(air) else set())
            return Lead((*lead.parts, end), dug)
    return None


def find_lead(
    field: Field, source: Cell, goal: Cell, unit: str, heading: Face | None = None
) -> Lead | None:
    """The shortest row of sensors that begins beside `source` and has its last one in `goal`.

    With a heading the last one puts out that way, to what stands there; without, to nobody.
    """
    for ground in (replace(field, air=frozenset()), field) if field.air else (field,):
        way = _way(ground, source, goal, heading)
        if way is not None:
            return _lead(ground, way, unit)
    return None


def _way(
    field: Field, source: Cell, goal: Cell, heading: Face | None
) -> list[tuple[Cell, Face]] | None:
    watched = field.watched()
    came: dict[tuple[Cell, Face], tuple[Cell, Face] | None] = {}
    waiting: deque[tuple[tuple[Cell, Face], int]] = deque()

    def enter(state: tuple[Cell, Face], before: tuple[Cell, Face] | None, length: int) -> None:
        cell = state[0]
        fits = cell == goal or (cell not in watched and field.fits(cell))
        if fits and state not in came and length <= LONGEST:
            came[state] = before
            waiting.append((state, length))

    for face in FACES:
        enter((step(source, face), face), None, 1)
    while waiting:
        state, length = waiting.popleft()
        cell, face = state
        out = step(cell, face)
        if cell == goal:
            way = list(_back(came, state))[::-1]
            right = face == heading if heading else field.harmless(out)
            if right and len({c for c, _ in way}) == len(way):
                return way
            continue
        for turn in FACES:
            if turn == OPPOSITE[face] or not (turn == face or field.harmless(out)):
                continue
            enter((step(cell, turn), turn), state, length + 1)
    return None


def _back(
    came: Mapping[tuple[Cell, Face], tuple[Cell, Face] | None], state: tuple[Cell, Face] | None
) -> Iterator[tuple[Cell, Face]]:
    while state is not None:
        yield state
        state = came[state]


def _lead(field: Field, way: list[tuple[Cell, Face]], unit: str) -> Lead:
    parts = tuple(Part("sensor", cell, OPPOSITE[face], unit=unit) for cell, face in way)
    cells = [cell for cell, _ in way]
    outs = {step(cell, face) for cell, face in way}
    return Lead(parts, frozenset(cells) | {cell for cell in outs if field.free(cell)})
