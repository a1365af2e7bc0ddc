"""Pictures of a pattern as text: each surface as its map is drawn, a mark a cell."""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import Cell
from models.machine import Machine
from models.pattern import Scene
from models.surface import SURFACES, SurfaceName, plane_of
from solver.pattern.wishes import presses_text


def spots(machine: Machine) -> dict[SurfaceName, dict[Cell, tuple[int, int]]]:
    """Row and column of every tape cell, on the surface that shows it; hidden ones on none."""
    found: dict[SurfaceName, dict[Cell, tuple[int, int]]] = {}
    for name in SURFACES:
        plane = plane_of(name, machine.room)
        on = {cell: spot for cell in machine.tape if (spot := plane.spot(cell)) is not None}
        if on:
            found[name] = on
    return found


def draw_scene(machine: Machine, scene: Scene) -> list[str]:
    """The picture of every surface that carries tape, cut to where tape runs."""
    lines = []
    for name, on in spots(machine).items():
        rows = [row for row, _ in on.values()]
        columns = [column for _, column in on.values()]
        canvas = [
            [" "] * (max(columns) - min(columns) + 1) for _ in range(min(rows), max(rows) + 1)
        ]
        for cell, (row, column) in on.items():
            canvas[row - min(rows)][column - min(columns)] = scene.shows[cell]
        lines += [f"{presses_text(scene.presses)}, {name}:"]
        lines += [f"  {''.join(row)}".rstrip() for row in canvas]
    return lines


def list_marks(machine: Machine, marks: Sequence[str]) -> list[str]:
    """Which mark each block gets, in the order of the tape, runs of one mark in one line."""
    starts = {span.start for span in machine.spans}
    lines, start = [], 0
    for at in range(1, len(marks) + 1):
        if at < len(marks) and marks[at] == marks[start] and at not in starts:
            continue
        cells = f"{machine.tape[start]}"
        if at - 1 > start:
            cells += f" to {machine.tape[at - 1]}"
        count = at - start
        lines.append(f"{marks[start]}  {count} block{'s' * (count > 1)}: {cells}")
        start = at
    return lines
