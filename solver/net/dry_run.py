"""Whether a scene works before any cable is led: its lines and lifts are powered from outside.

Every wire of the line and every lift that no wire fires gets its two pulses, as cables would bring
them. What fails here fails with any cables, and the faults tell where.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from models.geometry import Cell
from models.machine import ALL_CASES, Case, Machine, MachineFault
from models.parts import Part
from models.problem import Problem
from solver.net.assemble import boxes
from solver.net.space_line import SpaceLine
from solver.simulate import Simulation

PULSE = 2
"""Half-ticks that a sensor's pulse lasts."""
IDLE_LIMIT, REST_LIMIT = 200, 400
"""Half-ticks to come to rest in, before the first press and after each."""
MOST_PRESSES = 4
"""Presses after which a scene passes that has not come back to a state seen."""


def bare_machine(
    problem: Problem, tape: Iterable[Cell], parts: Mapping[Cell, Part], dug: Iterable[Cell]
) -> Machine:
    """The machine without trigger and cables."""
    cells, scenario = tuple(tape), problem.scenario
    on_tape = set(cells)
    covers = (
        Part("cover", cell)
        for cell, home in zip(problem.graph.cells, problem.homes, strict=True)
        if home is not None and cell not in on_tape
    )
    holes = tuple(boxes({*dug, *parts}))
    return Machine("", scenario.room, scenario.rules, cells, (*parts.values(), *covers), holes)


def faults_of_scene(machine: Machine, line: SpaceLine, mute: Iterable[Cell]) -> list[MachineFault]:
    """What breaks in the first case in which something does."""
    alone = tuple(mute)
    for case in ALL_CASES:
        if faults := _faults_in(machine, line, alone, case):
            return faults
    return []


def _faults_in(
    machine: Machine, line: SpaceLine, mute: tuple[Cell, ...], case: Case
) -> list[MachineFault]:
    simulation = Simulation(machine, case)
    if not simulation.run_to_rest(IDLE_LIMIT):
        simulation.fault("idle oscillates", (), "the machine is not at rest before a press")
    states = {simulation.state()}
    for press in range(1, MOST_PRESSES + 1):
        if simulation.faults:
            break
        if not _pressed(simulation, line, mute):
            simulation.fault("never rests", (), "the machine does not come to rest")
        for _, cell, must in simulation.misplaced(press):
            simulation.fault("misplaced", (cell, must), "a block is not on its next cell")
        if simulation.state() in states:
            break
        states.add(simulation.state())
    return list(simulation.faults)


def _pressed(simulation: Simulation, line: SpaceLine, mute: tuple[Cell, ...]) -> bool:
    """One press; whether the machine comes to rest after it."""
    rules = simulation.rules
    latest = max(line.lead.values(), default=0)
    for begin in (1, 1 + 2 * rules.press):
        for wire, lead in line.lead.items():
            simulation.pulse_wire(wire, begin + 2 * (latest - lead), PULSE)
    for half_tick in range(2 * (latest + rules.press + PULSE)):
        for on in (True, False):
            since = half_tick - 2 * latest - (0 if on else PULSE)
            if since in (0, 2 * rules.press):
                for lift in mute:
                    simulation.power_ram(lift, on)
        simulation.step()
    return simulation.run_to_rest(REST_LIMIT)


def unfired(machine: Machine, line: SpaceLine) -> tuple[Cell, ...]:
    """The lifts that do not move when all wires are powered at once, each in its own time."""
    simulation = Simulation(machine, Case(overhead=False, ground=True))
    simulation.run_to_rest(IDLE_LIMIT)
    before = {ram.at: ram.state for ram in simulation.rams}
    latest = max(line.lead.values(), default=0)
    for wire, lead in line.lead.items():
        simulation.pulse_wire(wire, 1 + 2 * (latest - lead), PULSE)
    for _ in range(1 + 2 * latest):
        simulation.step()
    moving = {ram.at for ram in simulation.rams if ram.state != before[ram.at]}
    return tuple(lift for lift in line.lifts if lift not in moving)
