"""The static check: rules that can be read off a machine without running it.

Shares no code with the search, and none with the simulator.
"""

from __future__ import annotations

from models.geometry import VECTOR, Cell, add, sub
from models.machine import Machine, MachineFault
from models.parts import FULL, Part
from models.problem import Digging
from models.scenario import Scenario
from solver.check_sides import side_faults


def check_machine(machine: Machine) -> list[MachineFault]:
    """Every breach of the static rules: supports, tape, places, digging."""
    faults = _support_faults(machine)
    faults += _tape_faults(machine)
    faults += _place_faults(machine)
    return faults


def _support_faults(machine: Machine) -> list[MachineFault]:
    parts = {part.at: part for part in machine.parts}
    tape = set(machine.tape)
    faults = []
    for part in machine.parts:
        mount = _mount(part)
        if mount is None:
            continue
        under = parts.get(mount)
        if under is not None and under.kind in FULL:
            continue
        what = under.kind if under else ("the tape" if mount in tape else "nothing")
        text = f"the {part.kind} at {part.at} needs a full block at {mount}; there is {what}"
        remedy = f"Put a block at {mount}."
        faults.append(MachineFault("no support", (part.at, mount), text, None, remedy))
    return faults


def _mount(part: Part) -> Cell | None:
    """The cell that must hold a full block for the part to stay."""
    if part.kind in ("wire", "buffer"):
        return add(part.at, (0, 0, -1))
    if part.kind in ("inverter", "button") and part.face is not None:
        return add(part.at, VECTOR[part.face])
    return None


def _tape_faults(machine: Machine) -> list[MachineFault]:
    tape = machine.tape
    faults = []
    for span in machine.spans:
        if len(span) < 4:
            text = f"the tape has {len(span)} cells; a closed loop has at least 4"
            cells = tape[span.start : span.stop]
            return [MachineFault("tape too short", cells, text, None, "Draw a closed loop.")]
    for i, cell in enumerate(tape):
        after = tape[machine.following[i]]
        # Over an outer edge the tape goes on beneath covers, on another surface.
        over = i in machine.covered and sum(map(bool, sub(after, cell))) == 2
        if sum(map(abs, sub(after, cell))) != 1 and not over:
            text = f"tape cell {i} at {cell} is not next to the following one at {after}"
            faults.append(
                MachineFault(
                    "tape gap", (cell, after), text, None, "List the loop in travel order."
                )
            )
    if len(set(tape)) != len(tape):
        faults.append(
            MachineFault(
                "tape crosses itself",
                (),
                "a cell is listed twice",
                None,
                "A tape passes each cell once.",
            )
        )
    return faults


def _place_faults(machine: Machine) -> list[MachineFault]:
    faults = []
    for part in machine.parts:
        inside = machine.in_room(part.at)
        if part.kind == "button":
            if not inside:
                text = f"the button at {part.at} is not in the room"
                faults.append(
                    MachineFault(
                        "button out of reach",
                        (part.at,),
                        text,
                        None,
                        "Hang it on a cover, on the room's side.",
                    )
                )
        elif inside:
            text = f"the {part.kind} at {part.at} stands in the room, not behind a surface"
            faults.append(MachineFault("part in the room", (part.at,), text, None, "Move it back."))
        elif part.kind != "cover" and part.at not in machine.dug_cells:
            text = f"the {part.kind} at {part.at} lies in ground that is not dug"
            faults.append(
                MachineFault("not dug", (part.at,), text, None, f"Add {part.at} to the digging.")
            )
    for cell in machine.tape:
        if machine.in_room(cell):
            text = f"the tape cell {cell} lies inside the room"
            faults.append(
                MachineFault(
                    "tape in the room", (cell,), text, None, "Tape runs in the surface layers."
                )
            )
    return faults


def _is_passage(machine: Machine, k: int, scenario: Scenario) -> bool:
    """Whether the tape turns at this cell from one given surface into another."""
    before, cell = machine.tape[k - 1], machine.tape[k]
    after = machine.tape[(k + 1) % len(machine.tape)]
    edges = [s.plane.level(cell) for s in scenario.surfaces.values()]
    marks = scenario.mark_at(before), scenario.mark_at(after)
    return edges.count(0) == 2 and None not in marks and sub(cell, before) != sub(after, cell)


def check_against(machine: Machine, scenario: Scenario) -> list[MachineFault]:
    """Whether the machine does what the scenario asks, read from both alone."""
    digging = Digging(scenario)
    tape = set(machine.tape)
    faults = []
    for cell in sorted(scenario.required() - tape):
        faults.append(MachineFault("cell missed", (cell,), f"the tape must pass {cell}"))
    for k, cell in enumerate(machine.tape):
        mark = scenario.mark_at(cell)
        if mark in ("#", "=", "@") or (mark is None and not _is_passage(machine, k, scenario)):
            faults.append(MachineFault("forbidden cell", (cell,), f"no tape may run at {cell}"))
    if scenario.loop.shape == "exact" and any(scenario.mark_at(c) == "." for c in tape):
        faults.append(MachineFault("not the exact shape", (), "the tape leaves the drawn cells"))
    low, high = scenario.loop.min_length or 4, scenario.loop.max_length
    if len(tape) < low or (high is not None and len(tape) > high):
        faults.append(MachineFault("length", (), f"the tape has {len(tape)} cells"))
    for box in machine.dug:
        for z in range(box.low[2], box.high[2] + 1):
            for y in range(box.low[1], box.high[1] + 1):
                for x in range(box.low[0], box.high[0] + 1):
                    if not digging.allows((x, y, z)):
                        faults.append(
                            MachineFault("digging", ((x, y, z),), f"{(x, y, z)} may not be dug")
                        )
    return faults or side_faults(machine, scenario)
