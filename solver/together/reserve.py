"""What one machine takes from the others of its room."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from models.geometry import FACES, VECTOR, Cell, add, step
from models.machine import Machine
from models.scenario import Scenario
from models.surface import Mark, Surface


@dataclass(frozen=True)
class Reserve:
    """Cells that are not for others."""

    dug: frozenset[Cell] = frozenset()
    """Behind the surfaces: not to be dug."""
    tape: frozenset[Cell] = frozenset()
    """On the surfaces: no tape and no button."""
    quiet: frozenset[Cell] = frozenset()
    """Behind the surfaces: no part, but it may be dug."""
    beside: frozenset[Cell] = frozenset()
    """Tape that no drive may disturb, as far as clearances were measured. What was measured is
    tape on the drive's own line, so nothing is proven with it."""

    def __or__(self, other: Reserve) -> Reserve:
        return Reserve(
            self.dug | other.dug,
            self.tape | other.tape,
            self.quiet | other.quiet,
            self.beside | other.beside,
        )


def reserve_machine(machine: Machine) -> Reserve:
    """All that a machine fills or needs free."""
    own = {p.at for p in machine.parts if p.kind != "cover"} | machine.dug_cells
    hung = {step(p.at, p.face) for p in machine.parts if p.kind == "button" and p.face}
    tape = frozenset(machine.tape)
    return Reserve(frozenset(own), tape | hung, beside=tape)


def without(scenario: Scenario, reserve: Reserve) -> Scenario | None:
    """The scenario with all that taken from it; None if a cell that must carry tape is taken."""
    if scenario.required() & reserve.tape:
        return None
    surfaces = {name: _marked(s, reserve.tape) for name, s in scenario.surfaces.items()}
    return replace(
        scenario,
        surfaces=surfaces,
        taken=scenario.taken | reserve.dug,
        quiet=scenario.quiet | reserve.quiet,
        beside=scenario.beside | reserve.beside,
    )


def untouched(scenarios: Iterable[Scenario]) -> Reserve:
    """What any of the scenarios wants left untouched, at any depth, no loop may dig."""
    dug: set[Cell] = set()
    tape: set[Cell] = set()
    for scenario in scenarios:
        for surface in scenario.surfaces.values():
            for cell in surface.cells("="):
                tape.add(cell)
                dug.update(step(cell, surface.plane.behind, k) for k in range(1, surface.depth + 1))
    return Reserve(frozenset(dug), frozenset(tape))


def around(cells: Iterable[Cell], steps: int) -> frozenset[Cell]:
    """The cells and all that are no more than so many steps from one.

    Power goes from a part to its neighbours, and through undug ground or overhead pickup one
    step further. How many steps are enough in a case at hand is left to the simulation.
    """
    reached = set(cells)
    front = reached
    for _ in range(steps):
        front = {add(cell, VECTOR[face]) for cell in front for face in FACES} - reached
        reached = reached | front
    return frozenset(reached)


def _marked(surface: Surface, taken: frozenset[Cell]) -> Surface:
    """A cell that others have is left untouched: no tape, no button, and nothing dug behind."""
    marks: list[tuple[Mark, ...]] = []
    for row, line in enumerate(surface.marks):
        cells = (surface.plane.cell(row, column) for column in range(len(line)))
        marks.append(
            tuple("=" if c in taken else mark for c, mark in zip(cells, line, strict=True))
        )
    return replace(surface, marks=tuple(marks))
