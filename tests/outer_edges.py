"""Where two surfaces meet at an outer edge, and the machine that tries a mechanism found there.

The solid fills x <= 0, z <= 0; its top is z = 0, its side x = 0, and (0, y, 0) is the edge.
"""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import OPPOSITE, Box, Cell, Face, step
from models.machine import ALL_CASES, Case, Machine
from models.parts import Part
from models.passage import Mechanism, Passage
from models.rules import Rules
from solver.simulate import Simulation

HALF = 2
"""The box reaches that far to both sides along the edge."""
STEP = 4
"""Half-ticks from one step to the next; a stroke takes three."""
PULSE = 2
"""Half-ticks that a pulse of one tick lasts."""


def cells(x: range, y: range, z: range) -> frozenset[Cell]:
    """All cells of a box."""
    return frozenset((i, j, k) for i in x for j in y for k in z)


def outer_edge(
    path: Sequence[Cell], enters: tuple[Cell, Face], leaves: tuple[Cell, Face], deep: int
) -> Passage:
    """Tape over an outer edge, with rams in a box `deep` deep and five wide; air on both sides."""
    across = range(-HALF, HALF + 1)
    ports = {step(enters[0], OPPOSITE[enters[1]]), step(*leaves)}
    solid = cells(range(-deep, 0), across, range(-deep, 0)) - ports
    around = cells(range(-deep, 2), across, range(-deep, 2))
    air = frozenset(cell for cell in around if cell[0] == 1 or cell[2] == 1)
    return Passage(tuple(path), solid, air, enters, leaves)


def inner_edge(deep: int) -> Passage:
    """Two cells before and two behind a fold: a floor z = 0 with air above, a wall x = 0."""
    path = ((-2, 0, 0), (-1, 0, 0), (0, 0, 0), (0, 0, 1), (0, 0, 2))
    across = range(-1, 2)
    floor = cells(range(-2, deep + 1), across, range(-deep, 0))
    wall = cells(range(1, deep + 1), across, range(-deep, 3))
    return Passage(path, floor | wall, frozenset(), ((-2, 0, -1), "+x"), ((1, 0, 2), "+z"))


def moves_on(passage: Passage, mechanism: Mechanism) -> bool:
    """Whether the simulator agrees: every block ends in the next cell, nothing breaks a rule."""
    return all(_moves_on(passage, mechanism, case) for case in ALL_CASES)


def _moves_on(passage: Passage, mechanism: Mechanism, case: Case) -> bool:
    enters, way = passage.enters
    waits = step(enters, OPPOSITE[way])
    feed = Part("push_ram", step(waits, OPPOSITE[way]), way)
    rams = [
        Part("grip_ram" if ram.grip else "push_ram", ram.at, ram.face) for ram in mechanism.rams
    ]
    beyond = step(*passage.leaves)
    tape = (waits, *passage.path)
    known = {*passage.hidden, *passage.air, *passage.path, *tape, beyond}
    fixed = {
        step(cell, face)
        for cell in passage.hidden
        for face in ("+x", "-x", "+y", "-y", "+z", "-z")
        if step(cell, face) not in known
    }
    covers = [
        Part("cover", cell) for cell in sorted(fixed) if cell != feed.at and 0 in (cell[0], cell[2])
    ]
    dug = tuple(Box(cell, cell) for cell in sorted(known))
    machine = Machine("passage", (1, 1, 1), Rules(), tape, (feed, *rams, *covers), dug)
    simulation = Simulation(machine, case)
    _power(simulation, mechanism, 0)
    if not simulation.run_to_rest(20):
        return False
    for t in range(1, len(mechanism.rams[0].extended)):
        _power(simulation, mechanism, t)
        if t - 1 in (mechanism.enters_at, mechanism.enters_at + 1):
            simulation.power_ram(feed.at, t - 1 == mechanism.enters_at)
        fired = [ram for ram in mechanism.rams if ram.pulses[t - 1]]
        for half_tick in range(STEP):
            for ram in fired if half_tick in (0, PULSE) else ():
                simulation.power_ram(ram.at, half_tick == 0)
            simulation.step()
    if mechanism.enters_at == len(mechanism.rams[0].extended) - 2:
        simulation.power_ram(feed.at, False)
    rested = simulation.run_to_rest(20)
    return rested and not simulation.faults and simulation.block_at == [*passage.path, beyond]


def _power(simulation: Simulation, mechanism: Mechanism, t: int) -> None:
    """Give every ram the state that it has before step `t`."""
    for ram in mechanism.rams:
        before = t > 0 and ram.extended[t - 1]
        if ram.extended[t] != before:
            simulation.power_ram(ram.at, ram.extended[t])
