"""Where a unit fits: ground that may be dug and is not used, and a way from its port to the ram.

The way is a run of wires to a side of the ram or, where that is walled in, a lead of sensors to
the place of the ram itself. To a unit that has a button another lead comes from a wire behind the
button's cover: the old one, where nothing else needs the cell behind it, or one nearby.

Only what surely fails is left out here (cells that are taken or must not be dug, wires and parts
that would touch others). Whether a place is any good shows in simulation.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Set
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import islice, product

from models.geometry import (
    FACES,
    HORIZONTAL,
    LEVEL_FRAMES,
    OPPOSITE,
    VECTOR,
    Cell,
    Face,
    Frame,
    add,
    step,
    sub,
)
from models.machine import Machine
from models.parts import CONDUCTIVE, FULL, RAMS, Part
from models.problem import Digging
from models.trigger import Unit
from solver.net.assemble import boxes
from solver.trigger.lead import HEARS, Field, field_of, find_lead, goals_of, lead_to

LONGEST_WAY = 9
"""Wires from a port to the ram: its level is 10 or more."""
FARTHEST = 30
"""From the port to the ram, along the axes, where a lead of sensors joins them."""
IN_VAIN = 25
"""So many places without a way for a lead, and no more are tried."""
COVERS = 3
"""For each place of a unit so many covers are tried for its button; the nearest one counts."""
AROUND = 24
"""How far from the ram, along each axis, a unit is tried."""
_SIX = tuple(VECTOR.values())


@dataclass(frozen=True)
class Place:
    """A unit in the world and what leads from it to the ram."""

    parts: tuple[Part, ...]
    dug: frozenset[Cell]
    button: Part | None = None
    gives_way: frozenset[Cell] = frozenset()
    """Cells of the trigger's ram, where a lead ends instead."""
    late_ticks: int = 0
    """From the unit's port to the trigger."""

    def with_parts(self, parts: tuple[Part, ...], dug: frozenset[Cell]) -> Place:
        """The same and more."""
        return replace(self, parts=(*self.parts, *parts), dug=self.dug | dug)


@dataclass(frozen=True)
class Tap:
    """A button and the wire behind its cover that takes its signal."""

    button: Part
    wire: Cell
    parts: tuple[Part, ...]
    air: frozenset[Cell]
    """What the wire points at is dug, so that it powers no ground."""


@dataclass
class Site:
    """A machine without its button, and what is known about its ground."""

    machine: Machine
    loop: int
    digging: Digging
    button: Part
    ram: Part
    taken: dict[Cell, Part] = field(init=False)

    def __post_init__(self) -> None:
        self.taken = {part.at: part for part in self.machine.parts if part is not self.button}
        self._kept = self.machine.dug_cells | set(self.machine.tape)

    def free(self, cell: Cell) -> bool:
        """Whether the cell is ground that may be dug and is left alone so far."""
        return cell not in self.taken and cell not in self._kept and self.digging.allows(cell)

    def carries(self, cell: Cell) -> bool:
        """Whether a block can be put here, or a cover is here that does its service."""
        part = self.taken.get(cell)
        return self.free(cell) if part is None else part.kind == "cover"

    def clear(self, cell: Cell) -> bool:
        """Whether nothing of the machine that carries or reads power touches the cell."""
        touching = (self.taken.get(add(cell, vector)) for vector in _SIX)
        return all(part is None or part.kind == "cover" for part in touching)

    @cached_property
    def goals(self) -> tuple[Cell, ...]:
        """Where a lead ends in place of the trigger's ram."""
        return goals_of(self.machine, self.ram)

    @cached_property
    def gives_way(self) -> frozenset[Cell]:
        """The cells of the trigger's ram."""
        assert self.ram.face is not None, "a ram has a face"
        return frozenset((self.ram.at, step(self.ram.at, self.ram.face)))

    @cached_property
    def ground(self) -> frozenset[Cell]:
        """All free cells around the ram."""
        spread = range(-AROUND, AROUND + 1)
        near = (add(self.ram.at, away) for away in product(spread, spread, spread))
        return frozenset(cell for cell in near if self.free(cell))

    @cached_property
    def open_ground(self) -> frozenset[Cell]:
        """Free cells where nothing touches the machine."""
        return frozenset(cell for cell in self.ground if self.clear(cell))

    @cached_property
    def loud(self) -> frozenset[Cell]:
        """Cells two steps from what hears power: a wire here may reach it through the ground."""
        hears = (part.at for part in self.machine.parts if part.kind in HEARS)
        near = {add(cell, vector) for cell in hears for vector in _SIX}
        return frozenset(near | {add(cell, vector) for cell in near for vector in _SIX})

    def from_button(self, unit: Unit, frame: Frame) -> int:
        """How far the unit's entry is from where its button may be, about.

        What is under way in a long lead multiplies the situations that a proof has to look at.
        """
        if unit.entry is None:
            return 0
        entry = frame.cell(unit.entry)
        if self.digging.scenario.button() is not None or not self.covers:
            return sum(map(abs, sub(entry, self.ram.at)))
        surfaces = self.digging.scenario.surfaces.values()
        return min(max(0, surface.plane.level(entry) - 2) for surface in surfaces)

    @cached_property
    def covers(self) -> dict[Cell, Face]:
        """Covers that the button may hang on, and the way that is behind them."""
        scenario = self.digging.scenario
        given = scenario.surfaces.items()
        allowed = [s for name, s in given if scenario.button_surface in (None, name)]
        cells = ((cell, s.plane.behind) for s in allowed for cell in s.cells(".o#"))
        kinds = ((cell, self.taken.get(cell), behind) for cell, behind in cells)
        return {c: behind for c, part, behind in kinds if part is not None and part.kind == "cover"}

    @cached_property
    def reached(self) -> frozenset[Cell]:
        """Free cells from which a lead may come to the trigger, if nothing else is built there."""
        waiting = list(self.goals)
        known = set(waiting)
        for cell in waiting:
            for vector in _SIX:
                beside = add(cell, vector)
                if beside in self.ground and beside not in known:
                    known.add(beside)
                    waiting.append(beside)
        return frozenset(known)


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
    return Site(machine, loop, digging, button, ram)


def places(site: Site, unit: Unit) -> Iterator[Place]:
    """All places of a unit, those near the ram first."""
    if unit.watch is not None and not site.goals:
        return
    in_vain = 0
    for frame, stand in _stands(site, unit):
        place = _joined(site, unit, frame, stand)
        if place is not None and unit.entry is not None:
            place = _pressed(site, unit, frame, stand, place)
        if place is not None:
            in_vain = 0
            yield place
        elif unit.watch is not None or unit.entry is not None:
            in_vain += 1
            if in_vain > IN_VAIN:
                return


def _joined(site: Site, unit: Unit, frame: Frame, stand: _Stand) -> Place | None:
    """The unit and what leads from its port to the trigger."""
    if unit.watch is None:
        way = _way(site, stand, frame.cell(unit.port))
        return None if way is None else _placed(site, unit, frame, stand, way)
    place = replace(_placed(site, unit, frame, stand, _Way()), gives_way=site.gives_way)
    entry = () if unit.entry is None else (frame.cell(unit.entry),)
    # The button stays where it is if the ram's own cell is left to it.
    for left in ({*entry, site.ram.at}.difference(site.goals), set(entry)):
        ground = _ground(site, place, left)
        lead = lead_to(ground, frame.cell(unit.watch), site.goals, "trigger")
        if lead is not None:
            late = replace(place, late_ticks=len(lead.parts))
            return late.with_parts(lead.parts, lead.dug)
    return None


def _ground(site: Site, place: Place, left: Set[Cell] = frozenset()) -> Field:
    """What is in the way of a lead once the place is built on and some cells are left alone."""
    ground = field_of(site.machine, site.digging.allows, place.gives_way | {site.button.at})
    taken = {**ground.taken, **{part.at: part for part in place.parts}}
    return replace(ground, taken=taken, kept=ground.kept | place.dug | left)


# ------------------------------------------------------------------ the button


def _pressed(site: Site, unit: Unit, frame: Frame, stand: _Stand, place: Place) -> Place | None:
    """The place with a button, and a lead from it to the unit."""
    assert unit.entry is not None, "the unit has a button"
    entry, heading = frame.cell(unit.entry), frame.face("+x")
    best: Place | None = None
    for tap in islice(_taps(site, place, entry), COVERS):
        cells = frozenset(part.at for part in tap.parts)
        with_tap = replace(place.with_parts(tap.parts, cells), button=tap.button)
        lead = find_lead(_ground(site, with_tap), tap.wire, entry, "trigger", heading)
        if lead is not None:
            whole = with_tap.with_parts(lead.parts, lead.dug | tap.air)
            if best is None or len(whole.parts) < len(best.parts):
                best = whole
    return best


def _taps(site: Site, place: Place, entry: Cell) -> Iterator[Tap]:
    """Where the button may hang: where it does if it can, then near the entry."""
    ground = _ground(site, place)
    if place.gives_way and (tap := _tap(site, ground, site.button)) is not None:
        yield tap
    if site.digging.scenario.button() is not None:
        return
    away = {cell: sum(map(abs, sub(cell, entry))) for cell in site.covers}
    for cover in sorted(away, key=lambda cell: (away[cell], cell)):
        face = site.covers[cover]
        button = site.button._replace(at=step(cover, OPPOSITE[face]), face=face)
        if button.at != site.button.at and button.at not in site.taken:
            tap = _tap(site, ground, button)
            if tap is not None:
                yield tap


def _tap(site: Site, ground: Field, button: Part) -> Tap | None:
    """A wire behind the button's cover and what it stands on, that nobody hears but a lead."""
    assert button.face is not None, "a button has a face"
    cover, wire = step(button.at, button.face), step(button.at, button.face, 2)
    under = step(wire, "-z")
    stands = ground.taken.get(under)
    if wire in site.goals or not ground.free(wire):
        return None
    parts = [Part("wire", wire, unit="trigger")]
    if stands is None or stands.kind not in FULL:
        if not ground.free(under):
            return None
        parts.append(stands := Part("block", under, unit="trigger"))
    sides = [step(wire, face) for face in HORIZONTAL]
    powered = [cover, under] if stands.kind in CONDUCTIVE else [cover]
    if not all(map(ground.harmless, sides)) or any(map(ground.heard_beside, powered)):
        return None
    return Tap(button, wire, tuple(parts), frozenset(filter(ground.free, sides)))


# ------------------------------------------------------------------ the unit


def _stands(site: Site, unit: Unit) -> Iterator[tuple[Frame, _Stand]]:
    """Every way to lay the unit down, level, its port within reach of the ram; quiet ones first."""
    reach = LONGEST_WAY + 1 if unit.watch is None else FARTHEST
    away = {cell: sum(map(abs, sub(cell, site.ram.at))) for cell in site.open_ground}
    ports = [cell for cell in away if away[cell] <= reach]
    found = []
    for port in sorted(ports, key=lambda cell: (away[cell], cell)):
        if unit.watch is not None and not any(step(port, f) in site.reached for f in FACES):
            continue
        for turned in LEVEL_FRAMES:
            frame = turned._replace(origin=sub(port, turned.cell(unit.port)))
            stand = _stand(site, unit, frame)
            if stand is not None:
                loud = bool(stand.others & site.loud)
                found.append(((loud, site.from_button(unit, frame)), frame, stand))
    for _, frame, stand in sorted(found, key=lambda item: item[0]):
        yield frame, stand


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
    air = {frame.cell(cell) for cell in unit.air}
    if unit.entry is not None:
        air.add(frame.cell(unit.entry))
    if not air <= site.ground:
        return None
    cells: dict[bool, set[Cell]] = {True: set(), False: set()}
    for part in unit.parts:
        cell, block = frame.cell(part.at), part.kind == "block"
        if cell in site.open_ground:
            cells[block].add(cell)
        elif not (block and cell in site.taken and site.carries(cell)):
            return None
    return _Stand(frozenset(cells[True]), frozenset(cells[False]), frozenset(air))


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
    moved = [part.placed(frame, "trigger") for part in unit.parts]
    line = [Part("wire", cell, unit="trigger") for cell in way.wires]
    line += [Part("block", step(cell, "-z"), unit="trigger") for cell in way.wires]
    new = [part for part in (*moved, *line) if part.at not in site.taken]
    dug = stand.all | {part.at for part in new} | way.air
    return Place(tuple(new), frozenset(dug))


def build(site: Site, place: Place) -> Machine:
    """The machine with the unit in its place; its old button is gone.

    A new one takes the old one's place in the list, as buttons are told apart by their order.
    """
    old = site.machine
    button = [] if place.button is None else [place.button]
    parts = []
    for part in old.parts:
        if part is site.button:
            parts += button
        elif part.at not in place.gives_way:
            parts.append(part)
    # In the order of the unit: so an idle state is found for it, gate shut.
    return replace(old, parts=(*place.parts, *parts), dug=(*old.dug, *boxes(sorted(place.dug))))
