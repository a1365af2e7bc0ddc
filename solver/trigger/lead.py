"""A lead: sensors in a row, each watching the one before it, from a ram or wire to a trigger.

It stands on nothing and hears no power, so it goes through ground where no wire could. What it
puts out at its corners is kept from all that would hear it. Simulation shows whether it is right.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from models.geometry import FACES, OPPOSITE, Cell, Face, step
from models.machine import Machine
from models.parts import CONDUCTIVE, RAMS, Part
from models.problem import Digging

LONGEST = 80
"""Sensors."""
_HEARS = (*RAMS, "wire", "buffer", "inverter")


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
        if part is not None and part.kind in _HEARS:
            return False
        solid = part.kind in CONDUCTIVE if part is not None else not self.in_room(cell)
        if not solid or self.free(cell):
            return True  # a free cell is dug, if it is ground
        beside = [step(cell, face) for face in FACES]
        heard = any(c in self.taken and self.taken[c].kind in _HEARS for c in beside)
        return not heard and not any(map(self._ram_under, beside))

    def _ram_under(self, cell: Cell) -> bool:
        """With overhead pickup a ram hears what comes into the cell above it."""
        part = self.taken.get(step(cell, "-z"))
        return part is not None and part.kind in RAMS


def field_of(machine: Machine, digging: Digging, without: frozenset[Cell]) -> Field:
    """The ground of a machine, the parts in these cells taken out."""
    taken = {part.at: part for part in machine.parts if part.at not in without}
    kept = (frozenset(machine.tape) | machine.dug_cells) - without
    return Field(taken, kept, digging.allows, machine.in_room)


def goal_of(machine: Machine, ram: Part) -> Cell | None:
    """The one cell that all sensors watch which a trigger's ram fires; None if there is not one."""
    assert ram.face is not None, "a ram has a face"
    own = {ram.at, step(ram.at, ram.face)}
    looks = {
        step(part.at, part.face) for part in machine.parts if part.kind == "sensor" and part.face
    }
    seen = own & looks
    return next(iter(seen)) if len(seen) == 1 else None


def find_lead(field: Field, source: Cell, goal: Cell, unit: str) -> Lead | None:
    """The shortest row of sensors that begins beside `source` and has its last one in `goal`."""
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
            if field.harmless(out) and len({c for c, _ in way}) == len(way):
                return _lead(field, way, unit)
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
