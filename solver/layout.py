"""Route and trigger net -> machine."""

from __future__ import annotations

from dataclasses import replace

from models.geometry import Cell, Frame
from models.machine import Machine
from models.problem import Problem
from models.route import Route
from models.system import System
from solver.assemble import Placed, assemble
from solver.net import Line, line_parts, replace_parts
from solver.routing import corner_frame


def lay_out(problem: Problem, system: System, route: Route, line: Line) -> Machine:
    """The machine of a decided route and line."""
    cells = problem.graph.cells
    tape = [cells[i] for i in route.cells]
    normal = problem.normal(route.cells[0])
    placed = [
        Placed(system.column, _column_frame(problem, i), f"lift {k}")
        for k, i in enumerate(route.cells)
    ]
    for k, corner in enumerate(route.corners):
        frame = corner_frame(problem, corner.cell, corner.in_port, corner.out_port)
        placed.append(Placed(system.drive(corner.variant), frame, f"drive {k}"))
    start = problem.index[line.trigger]
    frame = Frame(line.trigger, problem.heading(start, 0), problem.heading(start, 1), normal)
    placed.append(Placed(system.trigger, frame, "trigger"))
    loose, replaced = line_parts(line, system, normal)
    surface = [cell for cell, home in zip(cells, problem.homes, strict=True) if home is not None]
    machine = assemble(
        problem.scenario.title,
        problem.scenario.room,
        problem.scenario.rules,
        tape,
        placed,
        loose,
        surface,
        problem.digging.allows,
    )
    parts = replace_parts(machine.parts, replaced)
    press = problem.scenario.rules.press
    parts = [p._replace(press=press) if p.kind == "button" else p for p in parts]
    return replace(machine, parts=tuple(parts))


def _column_frame(problem: Problem, cell: int) -> Frame:
    at: Cell = problem.graph.cells[cell]
    return Frame(at, problem.heading(cell, 0), problem.heading(cell, 1), problem.normal(cell))


def score(machine: Machine, corners: int, depth: int) -> dict[str, int]:
    """The value of every objective term.

    parts: every part to be placed, tape blocks counted, covers not (they stand already).
    """
    placed = sum(1 for part in machine.parts if part.kind != "cover")
    return {
        "parts": placed + len(machine.tape),
        "depth": depth,
        "length": len(machine.tape),
        "corners": corners,
        "dug": sum(box.volume() for box in machine.dug),
    }
