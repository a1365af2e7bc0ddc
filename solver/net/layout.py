"""Route and trigger net -> machine."""

from __future__ import annotations

from dataclasses import replace

from models.geometry import Cell
from models.machine import Machine
from models.problem import Problem
from models.route import Route
from models.system import System
from solver.net.assemble import Placed, assemble
from solver.net.floor_line import Net
from solver.route.problem import corner_frame


def lay_out(problem: Problem, system: System, route: Route, net: Net) -> Machine:
    """The machine of a decided route and trigger net."""
    cells = problem.graph.cells
    tape = [cells[i] for i in route.cells]
    surface = [cell for cell, home in zip(cells, problem.homes, strict=True) if home is not None]
    machine = assemble(
        problem.scenario.title,
        problem.scenario.room,
        problem.scenario.rules,
        tape,
        (*net.units, *place_drives(problem, system, route)),
        net.loose,
        surface,
        lambda cell: _may_vent(problem, system, cell),
        net.air,
    )
    press = problem.scenario.rules.press
    parts = [net.replaced.get(part.at, part) for part in machine.parts]
    parts = [p._replace(press=press) if p.kind == "button" else p for p in parts]
    return replace(machine, parts=tuple(parts))


def place_drives(problem: Problem, system: System, route: Route) -> list[Placed]:
    """The corner drives of a route."""
    return [
        Placed(
            system.drive(corner.variant),
            corner_frame(problem, corner.cell, corner.in_port, corner.out_port),
            f"drive {k}",
        )
        for k, corner in enumerate(route.corners)
    ]


def depth_of(problem: Problem, machine: Machine) -> int:
    """How deep a machine reaches behind the nearest surface of each cell dug."""
    return max(level_of(problem, cell) for cell in machine.dug_cells)


def level_of(problem: Problem, cell: Cell) -> int:
    """How deep a cell lies behind the nearest surface that it is behind of."""
    planes = [surface.plane for surface in problem.scenario.surfaces.values()]
    return min(level for plane in planes if (level := plane.level(cell)) > 0)


def _may_vent(problem: Problem, system: System, cell: Cell) -> bool:
    """A vent that would be deeper than the machine itself is left as ground."""
    if not problem.digging.allows_air(cell):
        return False
    return bool(system.surfaces) or level_of(problem, cell) <= system.depth


def score(machine: Machine, corners: int, depth: int) -> dict[str, int]:
    """The value of every objective term."""
    return {
        "parts": machine.placed,
        "depth": depth,
        "length": len(machine.tape),
        "corners": corners,
        "dug": sum(box.volume() for box in machine.dug),
    }
