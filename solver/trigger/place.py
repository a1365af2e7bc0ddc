"""Where a unit fits: ground that may be dug and is not used, and a way from its port to the ram.

The way is a run of wires to a side of the ram or, where that is walled in, a lead of sensors to
the place of the ram itself.

Only what surely fails is left out here (cells that are taken or must not be dug, wires and parts
that would touch others). Whether a place is any good shows in simulation.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product

from models.geometry import HORIZONTAL, OPPOSITE, VECTOR, Cell, Face, Frame, add, step, sub
from models.machine import Machine
from models.parts import RAMS, Part
from models.problem import Digging
from models.trigger import Unit
from solver.net.assemble import boxes
from solver.trigger.lead import field_of, find_lead, goal_of
from solver.trigger.units import Covers

LONGEST_WAY = 9
"""Wires from a port to the ram: its level is 11 or more."""
FARTHEST = 30
"""From the port to the ram, along the axes, where a lead of sensors joins them."""
LEADS = 6
"""So many places without a way for a lead, and no more are tried."""
AROUND = 24
"""How far from the ram, along each axis, a unit is tried."""
_SIX = tuple(VECTOR.values())


@dataclass(frozen=True)
class Place:
    """A unit in the world and what leads from it to the ram."""

    parts: tuple[Part, ...]
    dug: frozenset[Cell]
    button: Part | None
    gives_way: frozenset[Cell] = frozenset()
    """Cells of the trigger's ram, where a lead ends instead."""


@dataclass
class Site:
    """A machine without its button, and what is known about its ground."""

    machine: Machine
    loop: int
    digging: Digging
    button: Part
    ram: Part
    covers: Covers
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

    def carries(self, cell: Cell) -> bool:
        """Whether a block can be put here, or a cover is here that does its service."""
        part = self.taken.get(cell)
        return self.free(cell) if part is None else part.kind == "cover"

    def clear(self, cell: Cell) -> bool:
        """Whether nothing of the machine that carries or reads power touches the cell."""
        touching = (self.taken.get(add(cell, vector)) for vector in _SIX)
        return all(part is None or part.kind == "cover" for part in touching)


def site_of(machine: Machine, digging: Digging, loop: int = 0) -> Site | str:
    """The trigger of a machine's loop, or why a unit cannot be built before it."""
    buttons = [part for part in machine.parts if part.kind == "button"]
    if len(buttons) != machine.triggers:
        return f"the machine has {len(buttons)} buttons, not {machine.triggers}"
    button = buttons[loop]
    if button.face is None:
        return "the button hangs on nothing"
    behind = step(button.at, button.face, 2)
    ram = next((part for part in machine.parts if part.at == behind), None)
    if ram is None or ram.kind not in RAMS:
        return f"there is no ram at {behind}, behind the cover of the button"
    covers: Covers = {"-z": "above", "+z": "below"}.get(button.face, "beside")  # type: ignore[assignment]
    return Site(machine, loop, digging, button, ram, covers)


def places(site: Site, unit: Unit) -> Iterator[Place]:
    """All places of a unit, those near the ram first."""
    in_vain = 0
    for frame, stand in _stands(site, unit):
        if unit.watch is not None:
            place = _led(site, unit, frame, stand)
            in_vain += place is None
        else:
            way = _way(site, stand, frame.cell(unit.port))
            place = None if way is None else _placed(site, unit, frame, stand, way)
        if place is not None:
            yield place
        if in_vain > LEADS:
            return


def _stands(site: Site, unit: Unit) -> Iterator[tuple[Frame, _Stand]]:
    for frame in _frames(site, unit):
        if not site.free(frame.cell(unit.port)):
            continue
        stand = _stand(site, unit, frame)
        if stand is None or (unit.cover is not None and not _may_press(site, frame, unit)):
            continue
        yield frame, stand


def _led(site: Site, unit: Unit, frame: Frame, stand: _Stand) -> Place | None:
    """The unit with a lead that ends where the trigger's ram stands now."""
    goal = goal_of(site.machine, site.ram)
    if goal is None:
        return None
    assert unit.watch is not None, "a unit that is led from is watched"
    assert site.ram.face is not None, "a ram has a face"
    gives_way = frozenset((site.ram.at, step(site.ram.at, site.ram.face)))
    place = _placed(site, unit, frame, stand, _Way())
    ground = field_of(site.machine, site.digging, gives_way | {site.button.at})
    taken = {**ground.taken, **{part.at: part for part in place.parts}}
    ground = replace(ground, taken=taken, kept=ground.kept | stand.air)
    lead = find_lead(ground, frame.cell(unit.watch), goal, "trigger")
    if lead is None:
        return None
    parts = (*place.parts, *lead.parts)
    return replace(place, parts=parts, dug=place.dug | lead.dug, gives_way=gives_way)


@dataclass(frozen=True)
class _Stand:
    """The cells of a unit that is laid down."""

    blocks: frozenset[Cell]
    others: frozenset[Cell]
    """What reads or carries power."""
    air: frozenset[Cell]

    @property
    def all(self) -> frozenset[Cell]:
        """Every cell that is used up."""
        return self.blocks | self.others | self.air


def _stand(site: Site, unit: Unit, frame: Frame) -> _Stand | None:
    """Where the parts come to stand, if they can; a cover does where a block is asked for."""
    air = frozenset(map(frame.cell, unit.air))
    cells: dict[bool, set[Cell]] = {True: set(), False: set()}
    for part in unit.parts:
        cell, block = frame.cell(part.at), part.kind == "block"
        if part.kind == "button" or (block and cell in site.taken and site.carries(cell)):
            continue
        if not site.free(cell) or not site.clear(cell):
            return None
        cells[block].add(cell)
    if not all(map(site.free, air)):
        return None
    return _Stand(frozenset(cells[True]), frozenset(cells[False]), air)


def _frames(site: Site, unit: Unit) -> list[Frame]:
    """Every way to lay the unit down along the surface with its port within reach of the ram."""
    found = []
    for along, across in product(HORIZONTAL, HORIZONTAL):
        if along[1] == across[1]:
            continue
        for offset in _offsets(site, unit.layer, across):
            frame = Frame(offset, VECTOR[along], VECTOR[across], (0, 0, 1))
            away = sub(frame.cell(unit.port), site.ram.at)
            distance = sum(map(abs, away))
            if distance <= (LONGEST_WAY + 1 if unit.watch is None else FARTHEST):
                found.append((distance, frame))
    return [frame for _, frame in sorted(found, key=lambda item: item[0])]


def _offsets(site: Site, layer: int, across: Face) -> Iterator[Cell]:
    """Where a unit's origin may be, so that the surface is where the unit expects it."""
    spread = range(-AROUND, AROUND + 1)
    button = site.button.face
    assert button is not None, "a button has a face"
    cover = step(site.button.at, button)
    if site.covers == "beside":
        if across != OPPOSITE[button]:
            return
        base = step(cover, across, -layer)
        aside: Face = "+x" if across[1] == "y" else "+y"
        for move, rise in product(spread, spread):
            yield add(step(base, aside, move), (0, 0, rise))
        return
    base = add(cover, (0, 0, -layer))
    for dx, dy in product(spread, spread):
        yield add(base, (dx, dy, 0))


def _may_press(site: Site, frame: Frame, unit: Unit) -> bool:
    """Whether the unit's button can hang on its cover."""
    assert unit.cover is not None
    part = site.taken.get(frame.cell(unit.cover))
    button = next(part for part in unit.parts if part.kind == "button")
    at = frame.cell(button.at)
    return (
        part is not None
        and part.kind == "cover"
        and at not in site.taken
        and (site.machine.in_room(at))
    )


@dataclass(frozen=True)
class _Way:
    """Wires from the port, exclusive, to a cell beside the ram, and the headroom they need."""

    wires: tuple[Cell, ...] = ()
    air: frozenset[Cell] = frozenset()


def _way(site: Site, stand: _Stand, port: Cell) -> _Way | None:
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
                if cell in known or not _passable(site, stand, here, cell, way):
                    continue
                if rise and not (site.free(head) and head not in stand.blocks | stand.others):
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


def _passable(site: Site, stand: _Stand, here: Cell, cell: Cell, way: _Way) -> bool:
    """Whether a wire and its block can stand here and touch nothing that they must not feed."""
    under = step(cell, "-z")
    taken = stand.all | set(way.wires) | {step(w, "-z") for w in way.wires} | way.air
    if cell in taken or under in taken or not site.free(cell) or not site.carries(under):
        return False
    if any(step(site.ram.at, face) == cell for face in HORIZONTAL):
        others = [add(cell, v) for v in _SIX if add(cell, v) != site.ram.at]
        return all(c not in site.taken or site.taken[c].kind == "cover" for c in others)
    beside = {add(cell, v) for v in _SIX} - {here, under}
    below_clear = under in site.taken or site.clear(under)
    alone = not beside & (stand.others | set(way.wires[:-1]))
    return alone and site.clear(cell) and below_clear


def _placed(site: Site, unit: Unit, frame: Frame, stand: _Stand, way: _Way) -> Place:
    moved = [_moved(part, frame) for part in unit.parts]
    line = [Part("wire", cell, unit="trigger") for cell in way.wires]
    line += [Part("block", step(cell, "-z"), unit="trigger") for cell in way.wires]
    button = next((part for part in moved if part.kind == "button"), None)
    new = [p for p in (*moved, *line) if p.kind != "button" and p.at not in site.taken]
    dug = stand.all | {part.at for part in new} | way.air
    return Place(tuple(new), frozenset(dug), button)


def _moved(part: Part, frame: Frame) -> Part:
    """The part in the world; all that a unit brings belongs to the trigger."""
    face: Face | None = None if part.face is None else frame.face(part.face)
    return part._replace(at=frame.cell(part.at), face=face, unit="trigger")


def build(site: Site, place: Place) -> Machine:
    """The machine with the unit in its place; its old button is gone.

    A new one takes the old one's place in the list, as buttons are told apart by their order.
    """
    old = site.machine
    button = [] if place.button is None else [place.button._replace(press=site.button.press)]
    parts = []
    for part in old.parts:
        if part is site.button:
            parts += button
        elif part.at not in place.gives_way:
            parts.append(part)
    new = place.parts
    dug = sorted(place.dug)
    return replace(
        old, parts=(*sorted(new, key=lambda p: p.at), *parts), dug=(*old.dug, *boxes(dug))
    )
