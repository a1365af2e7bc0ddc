"""A scenario and a machine that breaks some of its wishes -> the scenario whose wishes it keeps."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from models.geometry import Cell, step, sub
from models.machine import Machine
from models.repair import Change
from models.scenario import Loop, Scenario
from models.surface import Mark, Surface
from solver.check_sides import cells_inside
from solver.explain.wording import at, listed
from solver.scenario_file.count_loops import count_loops
from solver.scenario_file.drawing import neighbours
from solver.scenario_file.write import scenario_text

DROP, ADD, FREE, SPARE = 2, 1, 3, 4
"""Weights of a cell: no longer required, drawn on, freed for tape, dug behind though untouched."""
DEPTH, MARGIN = 2, 2
"""Weights of one cell more."""
BUTTON, DIRECTION, LENGTH, AROUND = 2, 3, 2, 3
"""Weights of moving the button, of running the other way, of another limit to the length, of
running around another cell."""


@dataclass
class Changed:
    """The new scenario and what was done to it."""

    scenario: Scenario
    changes: list[Change] = field(default_factory=list)

    @property
    def weight(self) -> int:
        """The price of all changes."""
        return sum(change.weight for change in self.changes)

    def text(self) -> str:
        """The file, with the changes on top."""
        done = "\n".join(f"- {change.text}" for change in self.changes)
        return scenario_text(self.scenario, f"Changed so that a machine exists:\n{done}")

    def note(self, text: str, weight: int) -> None:
        """Write a change down."""
        self.changes.append(Change(text, weight))


def changed_scenario(given: Scenario, loose: Scenario, machine: Machine) -> Changed:
    """The scenario that the machine keeps, as near to the given one as it allows.

    `loose` is what the machine was found for.
    """
    changed = Changed(given)
    tape = frozenset(machine.tape)
    button = next(part for part in machine.parts if part.kind == "button")
    assert button.face is not None
    cells = _Cells(given, tape, machine.dug_cells, step(button.at, button.face))
    surfaces = {}
    for key, surface in given.surfaces.items():
        new = replace(surface, marks=cells.marks(surface))
        other = loose.surfaces[key]
        if other.depth > surface.depth:
            deeper = other.depth - surface.depth
            changed.note(
                f"dig {deeper} deeper behind the {key}: depth {other.depth}", DEPTH * deeper
            )
        if other.margin > surface.margin:
            more = other.margin - surface.margin
            changed.note(
                f"dig {more} further beyond the rim of the {key}: margin {other.margin}",
                MARGIN * more,
            )
        surfaces[key] = replace(
            new, depth=max(surface.depth, other.depth), margin=max(surface.margin, other.margin)
        )
    cells.tell(changed)
    loop = _loop(given.loop, loose.loop, len(tape), changed)
    if given.loop.around is not None and loose.loop.around is None:
        loop = _around(given, loop, machine, changed)
    changed.scenario = replace(given, surfaces=surfaces, loop=loop)
    if loop.shape == "exact":
        changed.scenario = _unambiguous(changed.scenario, tape)
    return changed


@dataclass
class _Cells:
    """Which marks must change."""

    given: Scenario
    tape: frozenset[Cell]
    dug: frozenset[Cell]
    trigger: Cell

    def __post_init__(self) -> None:
        self.exact = self.given.loop.shape == "exact"
        button = self.given.button()
        self.moved = button is not None and button.cell != self.trigger
        self.dropped: list[Cell] = []
        self.added: list[Cell] = []
        self.freed: list[Cell] = []
        self.touched: list[Cell] = []

    def marks(self, surface: Surface) -> tuple[tuple[Mark, ...], ...]:
        """The new map of a surface."""
        return tuple(
            tuple(self._mark(surface, surface.plane.cell(r, c), now) for c, now in enumerate(row))
            for r, row in enumerate(surface.marks)
        )

    def _mark(self, surface: Surface, cell: Cell, now: Mark) -> Mark:
        if self.moved and cell == self.trigger:
            return "@"
        if cell in self.tape:
            if now in ("#", "=", "@"):
                self.freed.append(cell)
            if self.exact and now != "o":
                self.added.append(cell)
            return "o" if self.exact or now == "o" else "."
        if now == "o":
            self.dropped.append(cell)
            return "."
        if now == "=" and self._is_dug(surface, cell):
            self.touched.append(cell)
            return "#"
        return "." if now == "@" and self.moved else now

    def _is_dug(self, surface: Surface, cell: Cell) -> bool:
        return any(step(cell, surface.plane.behind, k) in self.dug for k in range(1, 65))

    def tell(self, changed: Changed) -> None:
        """Write down what was done to the cells."""
        if self.dropped:
            changed.note(f"no tape at {listed(self.dropped)}", DROP * len(self.dropped))
        if self.added:
            changed.note(f"tape at {listed(self.added)} too", ADD * len(self.added))
        if self.freed:
            changed.note(f"free {listed(self.freed)} for tape", FREE * len(self.freed))
        if self.touched:
            changed.note(f"dig behind {listed(self.touched)}", SPARE * len(self.touched))
        if self.moved:
            changed.note(f"move the button to {at(self.trigger)}", BUTTON)


def _loop(given: Loop, loose: Loop, length: int, changed: Changed) -> Loop:
    """Direction and lengths as the route has them."""
    low, high = given.min_length, given.max_length
    if loose.direction != given.direction:
        changed.note(f"run {loose.direction}", DIRECTION)
    if low is not None and length < low:
        changed.note(f"allow {length} cells: min {length}", LENGTH + (low - length) // 2)
        low = length
    if high is not None and length > high:
        changed.note(f"allow {length} cells: max {length}", LENGTH + (length - high) // 2)
        high = length
    return replace(given, direction=loose.direction, min_length=low, max_length=high)


def _around(given: Scenario, loop: Loop, machine: Machine, changed: Changed) -> Loop:
    """The cell to run around, or the nearest one that the tape does run around."""
    asked, within = given.loop.around, cells_inside(machine, replace(given, loop=loop))
    assert asked is not None
    if not within or asked in within:
        return loop
    cell = min(within, key=lambda c: (sum(map(abs, sub(c, asked))), c))
    name = next(name for name, s in given.surfaces.items() if s.plane.spot(cell) is not None)
    changed.note(f"run around {at(cell)}", AROUND)
    return replace(loop, around=cell, around_surface=name)


def _unambiguous(scenario: Scenario, tape: frozenset[Cell]) -> Scenario:
    """A drawing that fits several loops cannot stay exact: cover the rest and limit the length."""
    near = neighbours(tape, {name: s.plane for name, s in scenario.surfaces.items()})
    if count_loops(near) == 1:
        return scenario
    covered = {
        key: replace(
            surface,
            marks=tuple(tuple("#" if m == "." else m for m in row) for row in surface.marks),
        )
        for key, surface in scenario.surfaces.items()
    }
    loop = replace(scenario.loop, shape="free", min_length=None, max_length=len(tape))
    return replace(scenario, surfaces=covered, loop=loop)
