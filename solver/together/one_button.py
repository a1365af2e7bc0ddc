"""A joint machine with a button for each loop -> the same with one button for all.

One loop keeps its trigger. From its ram a lead of sensors goes to the place of each other trigger's
ram, which gives way to it, and its button too. So every loop is fired as before, some ticks later.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from models.geometry import Cell, step
from models.machine import Machine
from models.parts import RAMS, Part
from models.plan import OF_LOOP
from models.problem import Digging
from models.scenario import Scenario
from solver.net.assemble import boxes
from solver.together.reserve import untouched
from solver.trigger.lead import field_of, goals_of, lead_to


def with_one_button(machine: Machine, scenarios: Sequence[Scenario]) -> Iterator[Machine | str]:
    """For each loop, the machine in which its button fires all; or why there is none."""
    triggers = _triggers(machine)
    if isinstance(triggers, str):
        yield triggers
        return
    allows = _digging(scenarios)
    for first in range(len(triggers)):
        yield _led(machine, triggers, first, allows)


def _digging(scenarios: Sequence[Scenario]) -> Callable[[Cell], bool]:
    """What one of the scenarios lets dig and none wants untouched."""
    diggings = [Digging(scenario) for scenario in scenarios]
    quiet = untouched(scenarios).dug
    return lambda cell: cell not in quiet and any(d.allows(cell) for d in diggings)


def _triggers(machine: Machine) -> list[tuple[Part, Part]] | str:
    """The button and the ram of each loop."""
    part_at = {part.at: part for part in machine.parts}
    found = []
    for button in machine.parts:
        if button.kind == "button" and button.face is not None:
            ram = part_at.get(step(button.at, button.face, 2))
            if ram is None or ram.kind not in RAMS:
                return f"no ram stands behind the cover of the button at {button.at}"
            found.append((button, ram))
    return found


def _led(
    machine: Machine,
    triggers: Sequence[tuple[Part, Part]],
    first: int,
    allows: Callable[[Cell], bool],
) -> Machine | str:
    """The machine with leads from the trigger of one loop to all others."""
    source = triggers[first][1].at
    for k, (button, ram) in enumerate(triggers):
        if k == first:
            continue
        assert ram.face is not None, "a ram has a face"
        goals = goals_of(machine, ram)
        gone = frozenset((button.at, ram.at, step(ram.at, ram.face)))
        parts = tuple(part for part in machine.parts if part.at not in gone)
        lead = lead_to(field_of(machine, allows, gone), source, goals, f"lead{OF_LOOP}{k + 1}")
        if lead is None:
            return f"no way for a lead from the button of loop {first + 1} to loop {k + 1}"
        new = tuple(boxes(sorted(lead.dug)))
        machine = replace(machine, parts=(*parts, *lead.parts), dug=(*machine.dug, *new))
    return machine
