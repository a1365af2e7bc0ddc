"""From a machine to its build plan."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from models.geometry import Cell, sub
from models.machine import Machine
from models.plan import PIECE_KINDS, BuildPlan, Count, Trace
from solver.faults.margins import find_margins
from solver.plan.build_order import build_steps
from solver.plan.layers import Homes, layers_of
from solver.plan.watch import crushing, movers, openings, timing, watch_press


def build_plan(machine: Machine, *, interval_half_ticks: int | None = None) -> BuildPlan:
    """Everything that the sheets and the page show of a machine.

    `interval_half_ticks`: from which interval on presses are right, if that was proven otherwise.
    """
    homes = Homes(machine)
    layers = layers_of(machine, homes)
    trace = watch_press(machine)
    times = timing(machine)
    if times is not None and interval_half_ticks is not None:
        times = replace(times, interval_half_ticks=interval_half_ticks)
    numbers = Counter(piece.kind for layer in layers for piece in layer.pieces)
    return BuildPlan(
        machine=machine,
        surfaces=homes.surfaces,
        counts=tuple(Count(kind, numbers[kind]) for kind in PIECE_KINDS if numbers[kind]),
        dug_volume=len(machine.dug_cells),
        depth=max((layer.level for layer in layers), default=0),
        corners=_corners(machine),
        layers=layers,
        steps=build_steps(machine, homes, _line_wire(machine, trace)),
        trace=trace,
        timing=times,
        openings=openings(machine, trace),
        movers=movers(machine, trace),
        crushing=crushing(machine, trace),
        margins=find_margins(machine, times) if times else None,
    )


def _corners(machine: Machine) -> int:
    ways = [
        sub(machine.tape[after], cell)
        for cell, after in zip(machine.tape, machine.following, strict=True)
    ]
    turns = (ways[after] != way for way, after in zip(ways, machine.following, strict=True))
    # Over an outer edge the tape goes straight on: two turns fewer.
    return sum(turns) - 2 * len(machine.covered)


def _line_wire(machine: Machine, trace: Trace) -> Cell | None:
    """The wire outside the trigger itself that goes live first; of several, the strongest."""
    trigger = {part.at for part in machine.parts if part.unit.split(" ")[0] == "trigger"}
    live = [
        (happening.half_tick, -happening.value, trace.wires[happening.which])
        for happening in trace.happenings
        if happening.what == "wire" and happening.half_tick > 0 and happening.value > 0
    ]
    return min((found for found in live if found[2] not in trigger), default=(0, 0, None))[2]
