"""Where a unit fits: ground that may be dug and is not used, and a wire from its port to the ram.

Only what surely fails is left out here (cells that are taken or must not be dug, wires and parts
that would touch others). Whether a place is any good shows in simulation.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product

from models.geometry import HORIZONTAL, VECTOR, Cell, Face, Frame, add, step, sub
from models.machine import Machine
from models.parts import Part
from models.problem import Digging
from models.trigger import Unit
from solver.net.assemble import boxes

LAYER = 2
"""The layer of the covers in a unit's frame."""
LONGEST_WAY = 9
"""Wires from a port to the ram: its level is 11 or more."""
AROUND = 24
"""How far from the ram, along x and y, a unit is tried."""
_SIX = tuple(VECTOR.values())


@dataclass(frozen=True)
class Place:
    """A unit in the world and what leads from it to the ram."""

    parts: tuple[Part, ...]
    dug: frozenset[Cell]
    button: Part | None


@dataclass
class Site:
    """A machine without its button, and what is known about its ground."""

    machine: Machine
    digging: Digging
    button: Part
    ram: Part
    taken: dict[Cell, Part] = field(init=False)

    def __post_init__(self) -> None:
        self.taken = {part.at: part for part in self.machine.parts if part is not self.button}

    def free(self, cell: Cell) -> bool:
        """Whether the cell is ground that may be dug and is left alone so far."""
        return (
            cell not in self.taken
            and cell not in self.machine.dug_cells
            and cell not in self.machine.tape
            and self.digging.allows(cell)
        )

    def clear(self, cell: Cell) -> bool:
        """Whether nothing of the machine that carries or reads power touches the cell."""
        touching = (self.taken.get(add(cell, vector)) for vector in _SIX)
        return all(part is None or part.kind == "cover" for part in touching)


def site_of(machine: Machine, digging: Digging) -> Site | str:
    """The trigger of a machine on the floor, or why a unit cannot be built before it."""
    buttons = [part for part in machine.parts if part.kind == "button"]
    if len(buttons) != 1 or buttons[0].face != "-z":
        return "the machine does not have one button on the floor"
    behind = step(buttons[0].at, "-z", 2)
    ram = next((part for part in machine.parts if part.at == behind), None)
    if ram is None or ram.kind not in ("push_ram", "grip_ram"):
        return f"there is no ram at {behind}, below the cover of the button"
    return Site(machine, digging, buttons[0], ram)


def places(site: Site, unit: Unit) -> Iterator[Place]:
    """All places of a unit, those near the ram first."""
    for frame in _frames(site, unit):
        if not site.free(frame.cell(unit.port)):
            continue
        own = {frame.cell(part.at) for part in unit.parts if part.kind != "button"}
        air = set(map(frame.cell, unit.air))
        if not all(map(site.free, own | air)) or not all(map(site.clear, own)):
            continue
        if unit.cover is not None and not _may_press(site, frame.cell(unit.cover)):
            continue
        way = _way(site, own, air, frame.cell(unit.port))
        if way is not None:
            yield _placed(unit, frame, own | air, way)


def _frames(site: Site, unit: Unit) -> list[Frame]:
    """Every way to lay the unit down with its port within reach of the ram."""
    x0, y0, z0 = site.ram.at
    floor = z0 + 1 - LAYER
    found = []
    spread = range(-AROUND, AROUND + 1)
    for along, across in product(HORIZONTAL, HORIZONTAL):
        if along[1] == across[1]:
            continue
        for dx, dy in product(spread, spread):
            frame = Frame((x0 + dx, y0 + dy, floor), VECTOR[along], VECTOR[across], (0, 0, 1))
            port = frame.cell(unit.port)
            distance = abs(port[0] - x0) + abs(port[1] - y0)
            if distance <= LONGEST_WAY + 1:
                found.append((distance, frame))
    return [frame for _, frame in sorted(found, key=lambda item: item[0])]


def _may_press(site: Site, cover: Cell) -> bool:
    """Whether a button can hang on a cover of the floor."""
    part = site.taken.get(cover)
    return part is not None and part.kind == "cover" and step(cover, "+z") not in site.taken


@dataclass(frozen=True)
class _Way:
    """Wires from the port, exclusive, to a cell beside the ram, and the headroom they need."""

    wires: tuple[Cell, ...] = ()
    air: frozenset[Cell] = frozenset()


def _way(site: Site, own: set[Cell], air: set[Cell], port: Cell) -> _Way | None:
    """The shortest run of wires that ends pointing at a side of the ram that is not its front."""
    first = _Way()
    waiting, known = deque([first]), {port}
    while waiting:
        way = waiting.popleft()
        here = way.wires[-1] if way.wires else port
        before = way.wires[-2] if len(way.wires) > 1 else (port if way.wires else None)
        if before is not None and _points_at_ram(site, before, here):
            return way
        if len(way.wires) == LONGEST_WAY:
            continue
        for face in HORIZONTAL:
            for rise in (0, 1, -1):
                cell = add(step(here, face), (0, 0, rise))
                head = step(here, "+z") if rise == 1 else step(cell, "+z")
                if cell in known or not _passable(site, own, air, here, cell, way):
                    continue
                if rise and not (site.free(head) and head not in own):
                    continue
                known.add(cell)
                more = {head} if rise else set()
                waiting.append(_Way((*way.wires, cell), way.air | more))
    return None


def _points_at_ram(site: Site, before: Cell, here: Cell) -> bool:
    """Whether a wire that is fed from `before` alone points at the ram."""
    ram = site.ram
    towards = sub(ram.at, here)
    if towards not in VECTOR.values() or towards[2]:
        return False
    came = sub(here, before)
    assert ram.face is not None, "a ram has a face"
    return (came[0], came[1]) == towards[:2] and here != step(ram.at, ram.face)


def _passable(
    site: Site, own: set[Cell], air: set[Cell], here: Cell, cell: Cell, way: _Way
) -> bool:
    """Whether a wire and its block can stand here and touch nothing but what feeds them."""
    under = step(cell, "-z")
    taken = own | set(way.wires) | {step(w, "-z") for w in way.wires}
    if cell in taken or under in taken or cell in air or under in air or under in way.air:
        return False
    if not site.free(cell) or not site.free(under):
        return False
    if any(step(site.ram.at, face) == cell for face in HORIZONTAL):
        others = [add(cell, v) for v in _SIX if add(cell, v) != site.ram.at]
        return all(c not in site.taken or site.taken[c].kind == "cover" for c in others)
    beside = {add(cell, v) for v in _SIX} - {here, under}
    wires = own | set(way.wires[:-1])
    return site.clear(cell) and site.clear(under) and not (beside & wires)


def _placed(unit: Unit, frame: Frame, own: set[Cell], way: _Way) -> Place:
    moved = [_moved(part, frame) for part in unit.parts]
    line = [Part("wire", cell, unit="trigger") for cell in way.wires]
    line += [Part("block", step(cell, "-z"), unit="trigger") for cell in way.wires]
    dug = own | {part.at for part in line} | way.air
    button = next((part for part in moved if part.kind == "button"), None)
    parts = [part for part in moved if part.kind != "button"]
    return Place((*parts, *line), frozenset(dug), button)


def _moved(part: Part, frame: Frame) -> Part:
    """The part in the world; all that a unit brings belongs to the trigger."""
    face: Face | None = None if part.face is None else frame.face(part.face)
    return part._replace(at=frame.cell(part.at), face=face, unit="trigger")


def build(site: Site, place: Place) -> Machine:
    """The machine with the unit in its place; its old button is gone."""
    old = site.machine
    parts = [part for part in old.parts if part is not site.button]
    new = list(place.parts)
    if place.button is not None:
        new.append(place.button._replace(press=site.button.press))
    dug = sorted(place.dug)
    return replace(
        old, parts=(*sorted(new, key=lambda p: p.at), *parts), dug=(*old.dug, *boxes(dug))
    )
