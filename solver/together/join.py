"""Machines of one room -> one machine. They share nothing."""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import Box, Cell
from models.machine import Machine
from models.plan import OF_LOOP
from solver.net.assemble import boxes


def join(title: str, machines: Sequence[Machine]) -> Machine | str:
    """The machine with all loops, or which of them want the same cell."""
    holder: dict[Cell, int] = {}
    for k, machine in enumerate(machines, start=1):
        for cell in sorted(_own(machine)):
            if holder.setdefault(cell, k) != k:
                return f"loops {holder[cell]} and {k} want the same cell {cell}"
    tape = tuple(cell for machine in machines for cell in machine.tape)
    parts = [
        part._replace(unit=f"{part.unit}{OF_LOOP}{k}")
        for k, machine in enumerate(machines, start=1)
        for part in machine.parts
        if part.kind != "cover"
    ]
    covers = {part.at: part for m in machines for part in m.parts if part.kind == "cover"}
    parts += [covers[cell] for cell in sorted(covers.keys() - set(tape))]
    dug: list[Box] = boxes(cell for machine in machines for cell in machine.dug_cells)
    first = machines[0]
    lengths = tuple(len(machine.tape) for machine in machines)
    return Machine(title, first.room, first.rules, tape, tuple(parts), tuple(dug), loops=lengths)


def _own(machine: Machine) -> set[Cell]:
    """All that no other machine may have: tape, parts and dug cells."""
    parts = {part.at for part in machine.parts if part.kind != "cover"}
    return parts | set(machine.tape) | machine.dug_cells
