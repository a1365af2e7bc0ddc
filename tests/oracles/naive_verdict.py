"""All loops of a small floor, one by one, up to the machine: the slow twin of the verdict.

Shares with the search what a drive and a lift take (designs and measured clearances), nothing
of how loops are found.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from models.geometry import Cell, Frame, add, scale, sub
from models.problem import Digging, Problem
from models.route import CornerOption, Route
from models.scenario import Scenario
from models.system import System
from solver.flatten import flatten
from solver.net.clearance import offsets
from solver.net.realise import Refused, net_search, realise
from solver.route.problem import clashing, corner_frame

SIDES = ((1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0))
UP = (0, 0, 1)


def loops(cells: set[Cell]) -> Iterator[tuple[Cell, ...]]:
    """Every simple loop of four or more cells, once in each direction, from its least cell."""
    for start in sorted(cells):
        yield from _onward([start], {start}, {c for c in cells if c >= start})


def _onward(path: list[Cell], on: set[Cell], usable: set[Cell]) -> Iterator[tuple[Cell, ...]]:
    start = path[0]
    for side in SIDES:
        cell = add(path[-1], side)
        if cell == start and len(path) >= 4:
            yield tuple(path)
        elif cell in usable and cell not in on and _can_return(cell, start, usable, on):
            path.append(cell)
            on.add(cell)
            yield from _onward(path, on, usable)
            on.discard(path.pop())


def _can_return(cell: Cell, start: Cell, usable: set[Cell], on: set[Cell]) -> bool:
    seen, todo = {cell}, [cell]
    for here in todo:
        for side in SIDES:
            near = add(here, side)
            if near == start:
                return True
            if near in usable and near not in on and near not in seen:
                seen.add(near)
                todo.append(near)
    return False


def turns_left(loop: tuple[Cell, ...]) -> int:
    """Left turns less right turns."""
    total = 0
    for i in range(len(loop)):
        a, b = sub(loop[i - 1], loop[i - 2]), sub(loop[i], loop[i - 1])
        total += a[0] * b[1] - a[1] * b[0]
    return total


def edges(loop: tuple[Cell, ...]) -> list[int]:
    """The lengths of all edges, both ends counted."""
    n = len(loop)
    corners = [i for i in range(n) if sub(loop[i], loop[i - 1]) != sub(loop[(i + 1) % n], loop[i])]
    return [(j - i - 1) % n + 2 for i, j in zip(corners, corners[1:] + corners[:1], strict=True)]


def routes(scenario: Scenario, system: System, problem: Problem) -> Iterator[Route]:
    """Every loop that keeps the scenario, with each choice of drives that stand."""
    digging = Digging(scenario)
    (surface,) = scenario.surfaces.values()
    exact = scenario.loop.shape == "exact"
    cells = {
        cell
        for cell in surface.cells("o" if exact else ".o")
        if all(digging.allows(c) for c in system.column.claimed(Frame(cell, *SIDES[:2], UP)))
    }
    required = scenario.required()
    low, high = scenario.loop.min_length or 4, scenario.loop.max_length or 10**6
    for loop in loops(cells):
        if not low <= len(loop) <= high or not required <= set(loop):
            continue
        if turns_left(loop) != (-4 if scenario.loop.direction == "clockwise" else 4):
            continue
        if scenario.loop.around is not None and not _inside(scenario.loop.around, loop):
            continue
        if max(edges(loop)) > scenario.rules.push_limit + 1:
            continue
        yield from _driven(problem, system, digging, loop)


def _inside(cell: Cell, loop: tuple[Cell, ...]) -> bool:
    """Even-odd rule along +x: steps of the loop that cross the ray."""
    if cell in loop:
        return False
    crossings = 0
    for i, b in enumerate(loop):
        a = loop[i - 1]
        if a[0] == b[0] > cell[0] and {a[1], b[1]} == {cell[1], cell[1] + 1}:
            crossings += 1
    return crossings % 2 == 1


def _driven(
    problem: Problem, system: System, digging: Digging, loop: tuple[Cell, ...]
) -> Iterator[Route]:
    tape, n = set(loop), len(loop)
    choices: list[list[CornerOption]] = [[]]
    for i, cell in enumerate(loop):
        arrive, leave = sub(cell, loop[i - 1]), sub(loop[(i + 1) % n], cell)
        if arrive == leave:
            continue
        frame = Frame(cell, arrive, leave, UP)
        standing = []
        for drive in system.drives:
            barred = {
                add(cell, add(scale(arrive, x), scale(leave, y)))
                for x, y in offsets(system.table, drive.name, "tape")
            }
            if barred & tape or not all(digging.allows(c) for c in drive.claimed(frame)):
                continue
            came, goes = SIDES.index(scale(arrive, -1)), SIDES.index(leave)
            option = CornerOption(
                problem.index[cell], came, goes, drive.name, (), drive.claimed(frame)
            )
            assert corner_frame(problem, option.cell, came, goes) == frame
            standing.append(option)
        choices = [
            [*chosen, option]
            for chosen in choices
            for option in standing
            if not any(_meet(problem, system, option, other) for other in chosen)
        ]
    for chosen in choices:
        yield Route(tuple(problem.index[c] for c in loop), tuple(chosen), ())


def _meet(problem: Problem, system: System, a: CornerOption, b: CornerOption) -> bool:
    return bool(a.claims & b.claims) or clashing(problem, system, a, b)


def has_machine(scenario: Scenario, system: System, deadline: float) -> bool | None:
    """Whether some loop becomes a machine that the simulation accepts; None: in doubt."""
    problem = flatten(scenario)
    nets = net_search(problem, system)
    doubt = False
    for route in routes(scenario, system, problem):
        if time.monotonic() > deadline:
            return None
        machine = realise(problem, system, nets, route)
        if not isinstance(machine, Refused):
            return True
        doubt |= not machine.proven
    return None if doubt else False
