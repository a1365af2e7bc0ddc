"""Nets of sensors and wires: the fewest parts against another solver, and what they are worth."""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping
from itertools import product

import pytest

from models.geometry import Cell, add
from models.machine import Case, Machine
from models.parts import Part
from models.rules import Rules
from solver.net.cable_search import MOST_SPARE, CableSearch
from solver.net.cable_trees import Goal
from solver.net.cables import Feed, Space
from solver.net.wire_ground import ALWAYS, JOINS, WireGround
from solver.simulate import Simulation, Stroke
from tests.oracles.cable_model import STEPS, fewest_sensors
from tests.oracles.wire_model import DOWN, LEVEL, UP, Room, fewest_parts

COVER: Cell = (0, 0, -9)
REACH = 3
"""Short, so that it matters in a small box."""


def beside(cells: Collection[Cell]) -> set[Cell]:
    return {add(cell, step) for cell in cells for step in STEPS}


def levels_of(line: Mapping[Cell, int]) -> dict[Cell, dict[Cell, int]]:
    """The level that each wire of a line gives to the others; they lie side by side or apart."""
    found = {}
    for wire in line:
        levels, edge = {wire: REACH}, [wire]
        while edge:
            at = edge.pop(0)
            for step in LEVEL:
                near = add(at, step)
                if near in line and near not in levels and levels[at] > 1:
                    levels[near] = levels[at] - 1
                    edge.append(near)
        found[wire] = levels
    return found


def random_line(rng: random.Random, cells: frozenset[Cell]) -> dict[Cell, int]:
    """Two or three pieces of one or two wires, none beside another."""
    line: dict[Cell, int] = {}
    for _ in range(rng.choice((2, 2, 3))):
        lead = rng.choice((0, 0, 0, 1))
        first = rng.choice(sorted(c for c in cells if c[2]))
        second = add(first, rng.choice(LEVEL))
        piece = [first, second] if second in cells and rng.random() < 0.4 else [first]
        around = {add(c, step) for c in line for step in (*JOINS, *STEPS)} | line.keys()
        if around.isdisjoint(piece):
            line.update(dict.fromkeys(piece, lead))
    return line


def ground_of(free: frozenset[Cell], line: Mapping[Cell, int]) -> WireGround:
    """Wires wherever they have a footing; beside the line at its time."""
    when: dict[Cell, int] = {}
    for cell in free:
        times = {line[n] for n in (add(cell, step) for step in JOINS) if n in line}
        if add(cell, DOWN) in free and len(times) < 2:
            when[cell] = next(iter(times), ALWAYS)
    cost = dict.fromkeys(when, 2)
    return WireGround(cost, when, when, line, levels_of(line), REACH, clear=free)


def pieces_of(line: Mapping[Cell, int]) -> list[frozenset[Cell]]:
    return sorted({frozenset(levels) for levels in levels_of(line).values()}, key=sorted)


def test_the_fewest_parts_are_those_of_another_solver() -> None:
    """Small boxes with obstacles; power may go over wires, up, down, and on from the line."""
    seen = {"cheaper": 0, "none": 0, "same": 0}
    for seed in range(60):
        rng = random.Random(seed)
        x, y, z = map(range, rng.choice(((4, 3, 3), (5, 3, 2), (4, 4, 2), (6, 2, 3))))
        cells: frozenset[Cell] = frozenset(product(x, y, z))
        line = random_line(rng, cells)
        first = rng.choice(sorted(cells - line.keys()))
        second = next((c for s in STEPS if (c := add(first, s)) in cells - line.keys()), None)
        if second is None:
            continue
        roots = (first, second)
        over = {add(root, UP) for root in roots}
        taken = {*line, *roots, *(add(wire, DOWN) for wire in line)}
        free = frozenset(c for c in cells - taken if rng.random() > 0.05)
        inert = frozenset(free | beside(cells) - cells)
        feeds = [
            Feed(wire, add(wire, step), add(add(wire, step), step))
            for wire in line
            for step in STEPS
            if add(wire, step) in free
        ]
        goals = [
            Goal(tuple(f for f in feeds if f.wire in piece), line[min(piece)], piece)
            for piece in pieces_of(line)
        ]
        ground = ground_of(free, line)
        search = CableSearch(Space(free, inert), goals, {COVER: roots}, 12, ground)
        near = beside({*roots, *over})
        room = Room(free, inert - over, roots, line, set(feeds), near, REACH)
        best = fewest_parts(room, 14)
        found = next(search.trees(), None)
        if best is None:
            assert found is None, seed
            seen["none"] += 1
            continue
        assert search.fewest()[0] <= best, seed
        if best > search.plans[0][0] + MOST_SPARE:
            continue
        assert found is not None, seed
        assert found[1].size == best, (seed, found, best)
        plain = fewest_sensors(
            free, inert - over, roots, [(goal.feeds, goal.lead) for goal in goals], 14
        )
        seen["cheaper" if plain is None or best < plain else "same"] += 1
    assert min(seen.values()) > 0, seen
    assert seen["cheaper"] > 9, "wires are worth their parts, even in boxes as small as these"


def strokes_after_a_pulse(*parts: Part) -> int:
    """How often the one ram is fired by a pulse of a tick in a wire at the origin."""
    wire = (Part("wire", (0, 0, 0)), Part("block", (0, 0, -1)))
    machine = Machine("", (9, 9, 9), Rules(), (), (*wire, *parts))
    simulation = Simulation(machine, Case(overhead=False, ground=False))
    simulation.run_to_rest(100)
    simulation.pulse_wire((0, 0, 0), 1, 2)
    count, before = 0, simulation.rams[0].state
    for _ in range(60):
        simulation.step()
        now = simulation.rams[0].state
        count += now != before and now == Stroke.EXTENDING
        before = now
    return count


@pytest.mark.parametrize("delay", [1, 2, 3, 4])
def test_a_buffer_of_more_than_a_tick_fires_what_follows_twice(delay: int) -> None:
    """So it cannot stand in for sensors; one of a tick can, for a part more."""
    buffer = Part("buffer", (1, 0, 0), "+x", delay)
    after = (Part("sensor", (2, 0, 0), "-x"), Part("grip_ram", (3, 0, 0), "+z"))
    strokes = strokes_after_a_pulse(buffer, Part("block", (1, 0, -1)), *after)
    assert strokes == (1 if delay == 1 else 2)


def test_an_inverter_swallows_the_pulse_that_a_sensor_passes_on() -> None:
    """Pulses of one tick are too short for it."""
    ram = Part("grip_ram", (4, 0, 0), "+z")
    last = Part("sensor", (3, 0, 0), "-x")
    inverter = (Part("block", (1, 0, 0)), Part("inverter", (2, 0, 0), "-x"))
    sensors = (Part("sensor", (1, 0, 0), "-x"), Part("sensor", (2, 0, 0), "-x"))
    assert strokes_after_a_pulse(*inverter, last, ram) == 0
    assert strokes_after_a_pulse(*sensors, last, ram) == 1
