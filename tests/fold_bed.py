"""Loops over a floor and its north wall, to try folds in: two lines, two folds, all drives."""

from __future__ import annotations

from collections.abc import Sequence

from models.catalogue import Design
from models.geometry import Box, Cell, Face, add, scale, sub
from models.machine import ALL_CASES, Machine
from models.parts import Part
from models.rules import Rules
from solver.characterise.testbed import _merge, corner_frames, up_of
from solver.net.catalogue import load_entries
from solver.net.folds import SENSOR_FOLD, fold_frame
from solver.net.lift_lines import deep_line, wall_line
from solver.simulate import Simulation

UP: Cell = (0, 0, 1)
SOUTH: Cell = (0, -1, 0)
PRESS = 20
LEAD = 2
"""A floor's lifts fire one tick after their line."""


def loop(
    floor: Sequence[tuple[int, int]], wall: Sequence[tuple[int, int]], north: int
) -> list[Cell]:
    """Corner points on the floor (x, y) and on the wall (x, z), folds left out, in travel order.

    The floor path ends below the first wall point, the wall path ends above the first floor point.
    """
    (ax, _), (bx, _) = floor[0], floor[-1]
    points: list[Cell] = [(x, y, -1) for x, y in floor]
    points.append((bx, north, -1))
    points += [(x, north, z) for x, z in wall]
    points.append((ax, north, -1))
    cells: list[Cell] = []
    for here, there in zip(points, [*points[1:], points[0]], strict=True):
        way = sub(there, here)
        length = max(abs(v) for v in way)
        unit = (way[0] // length, way[1] // length, way[2] // length)
        cells += [add(here, scale(unit, k)) for k in range(length)]
    return cells


def drives(system: str) -> dict[Face, Design]:
    """The first design of each turn."""
    found: dict[Face, Design] = {}
    for entry in load_entries():
        if entry.design.system == system and entry.design.name != "floor-worked":
            found.setdefault(entry.design.up, entry.design)
    return found


def build(tape: Sequence[Cell], north: int) -> tuple[Machine, list[Cell], list[Cell]]:
    """The machine, dug wide, and the wires at which to feed the floor's and the wall's line."""
    xs = [x for x, y, _ in tape if y == north]
    below, behind = deep_line(tape, UP, -1), wall_line(tape, SOUTH, -north)
    parts: dict[Cell, Part] = {}
    for part in (*below.parts.values(), *behind.parts.values()):
        _merge(parts, part)
    folds = [i for i, (_, y, z) in enumerate(tape) if y == north and z == -1]
    for i in folds:
        # On the side away from the other fold: there the climb has no bends.
        along = (1, 0, 0) if tape[i][0] == max(tape[j][0] for j in folds) else (-1, 0, 0)
        for part in SENSOR_FOLD.place(fold_frame(tape, i, along), "fold"):
            _merge(parts, part)
    for inward, system in ((UP, "deep"), (SOUTH, "wall")):
        on = {cell for cell in tape if (cell[2] == -1 if inward == UP else cell[1] == north)}
        for frame in corner_frames(tape, inward):
            around = {frame.origin, sub(frame.origin, frame.x), add(frame.origin, frame.y)}
            if not around <= on:
                continue
            for part in drives(system)[up_of(frame)].place(frame, "drive"):
                _merge(parts, part)
    room = (max(x for x, _, _ in tape) + 8, north, max(z for _, _, z in tape) + 6)
    for cell in _surfaces(room):
        if cell not in set(tape):
            _merge(parts, Part("cover", cell))
    west, east = min(xs) - 12, max(xs) + 12
    dug = (
        Box((west, -12, -12), (east, north + 12, -2)),
        Box((west, north + 1, -12), (east, north + 12, room[2] + 12)),
    )
    machine = Machine("fold", room, Rules(reach=64), tuple(tape), tuple(parts.values()), dug)
    return machine, below.entries, behind.entries


def _surfaces(room: tuple[int, int, int]) -> list[Cell]:
    width, north, height = room
    floor: list[Cell] = [(x, y, -1) for x in range(width) for y in range(north)]
    return floor + [(x, north, z) for x in range(width) for z in range(height)]


def runs(tape: Sequence[Cell], north: int) -> bool:
    """Whether a full turn breaks no rule, in all cases and both orders of the rams."""
    machine, floor, wall = build(tape, north)
    for case in ALL_CASES:
        for order in (1, -1):
            simulation = Simulation(machine, case, order=order)
            if not simulation.run_to_rest(200) or not _turn(simulation, floor, wall):
                return False
    return True


def _turn(simulation: Simulation, floor: Sequence[Cell], wall: Sequence[Cell]) -> bool:
    states = {simulation.state()}
    for count in range(1, len(simulation.machine.tape) + 1):
        for wire in floor:
            simulation.pulse_wire(wire, 1, PRESS)
        for wire in wall:
            simulation.pulse_wire(wire, 1 + LEAD, 2)
            simulation.pulse_wire(wire, 1 + LEAD + PRESS, 2)
        rested = simulation.run_to_rest(400)
        if not rested or simulation.faults or simulation.misplaced(count):
            return False
        if simulation.state() in states:
            return True
        states.add(simulation.state())
    return True


WALLS: tuple[Cell, ...] = ((0, 1, 0), (-1, 0, 0), (0, -1, 0), (1, 0, 0))
"""Ways to the room from the south, east, north and west wall."""


def belt(width: int, length: int, z: int) -> list[Cell]:
    """Once round the four walls of a room at height z: four folds and no corner."""
    ring = [(x, -1, z) for x in range(-1, width)] + [(width, y, z) for y in range(-1, length)]
    ring += [(x, length, z) for x in range(width, -1, -1)]
    return ring + [(-1, y, z) for y in range(length, -1, -1)]


def belt_runs(tape: Sequence[Cell], room: tuple[int, int, int]) -> bool:
    """Whether a belt turns in all cases; the folds' sensors hang below it, clear of the lines."""
    width, length, height = room
    parts: dict[Cell, Part] = {}
    entries: list[Cell] = []
    for inward, plane in zip(WALLS, (-1, -width, -length, -1), strict=True):
        line = wall_line(tape, inward, plane)
        entries += line.entries
        for part in line.parts.values():
            _merge(parts, part)
    for i, cell in enumerate(tape):
        if sub(cell, tape[i - 1]) != sub(tape[(i + 1) % len(tape)], cell):
            for part in SENSOR_FOLD.place(fold_frame(tape, i, (0, 0, -1)), "fold"):
                _merge(parts, part)
    on = set(tape)
    for z in range(height):
        rim = [(x, y, z) for x in range(width) for y in (-1, length)]
        rim += [(x, y, z) for y in range(length) for x in (-1, width)]
        for cell in rim:
            if cell not in on:
                _merge(parts, Part("cover", cell))
    low, high = (-9, -9, -6), (width + 8, length + 8, height + 6)
    dug = (
        Box(low, (high[0], -2, high[2])),
        Box((low[0], length + 1, low[2]), high),
        Box(low, (-2, high[1], high[2])),
        Box((width + 1, low[1], low[2]), high),
    )
    machine = Machine("belt", room, Rules(reach=64), tuple(tape), tuple(parts.values()), dug)
    for case in ALL_CASES:
        for order in (1, -1):
            simulation = Simulation(machine, case, order=order)
            if not simulation.run_to_rest(200) or not _turn(simulation, (), entries):
                return False
    return True
