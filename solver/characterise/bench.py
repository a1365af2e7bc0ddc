"""A bench for pairs of units: stretches of tape with their drives, pressed by scripted power.

A *chain* is a stretch of tape with its corner drives, open at both ends. After one press every
block from the one that the first drive draws aside must have moved on by one cell, flush. Two
units clear each other if, with both there, each chain still moves just as it does alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from models.catalogue import Design
from models.geometry import Box, Cell, Frame, add, cross, sub
from models.machine import ALL_CASES, Case, Machine
from models.rules import Rules
from solver.net.assemble import CollisionError, Placed, assemble
from solver.simulate import Simulation

ROOM: Cell = (40, 40, 4)
FLOOR_NORMAL: Cell = (0, 0, 1)
START = 10
"""Half-ticks before the first pulse."""
TRIGGER_LENGTH = 2
"""Half-ticks of the pulse on a trigger line."""
SECOND_PULSE = 20
"""Half-ticks from the sinking pulse to the rising one: the shorter usual press."""


_NEAR = range(-2, 3)
"""Covers further from every unit than this cannot matter."""


@dataclass(frozen=True)
class Chain:
    """A path of tape cells; with a corner in it, the last cell starts empty."""

    cells: tuple[Cell, ...]
    skews: tuple[int, ...] = ()
    """Half-ticks by which each cell's trigger comes late; empty: none."""
    drives: tuple[int, ...] = (0,)
    """Which of the kit's drives stands at each corner; the last goes on."""

    def corners(self) -> list[int]:
        """Indices of the cells where the path turns."""
        c = self.cells
        return [i for i in range(1, len(c) - 1) if sub(c[i], c[i - 1]) != sub(c[i + 1], c[i])]

    def blocks(self) -> tuple[Cell, ...]:
        """Where tape is before the press."""
        return self.cells[:-1] if self.corners() else self.cells

    def expected(self) -> frozenset[Cell]:
        """Where tape must be after the press."""
        start = min(self.corners(), default=len(self.cells) + 1) - 1
        moved = (self.cells[i + 1] if i >= start else c for i, c in enumerate(self.blocks()))
        return frozenset(moved)


@dataclass(frozen=True)
class Kit:
    """The designs under test. A chain names the drive that it uses."""

    column: Design
    drives: tuple[Design, ...]
    normal: Cell = FLOOR_NORMAL

    @property
    def centre(self) -> Cell:
        """A cell in the middle of the surface, floor or ceiling, of the bench's room."""
        return (20, 20, -1 if self.normal == FLOOR_NORMAL else ROOM[2])

    def units(self, chain: Chain, name: str) -> list[Placed]:
        """Columns and drives of a chain."""
        cells, placed = chain.cells, []
        for i, cell in enumerate(cells):
            if len(cells) == 1:
                along: Cell = (1, 0, 0)
            elif i + 1 < len(cells):
                along = sub(cells[i + 1], cell)
            else:
                along = sub(cell, cells[i - 1])
            placed.append(
                Placed(self.column, column_frame(cell, along, self.normal), f"{name}.{i}")
            )
        for k, i in enumerate(chain.corners()):
            drive = self.drives[chain.drives[min(k, len(chain.drives) - 1)]]
            placed.append(Placed(drive, corner_frame(cells, i, self.normal), f"{name} drive {i}"))
        return placed


def column_frame(cell: Cell, along: Cell, normal: Cell) -> Frame:
    """The frame of a lift column below tape that runs in direction `along`."""
    return Frame(cell, along, cross(normal, along), normal)


def corner_frame(cells: Sequence[Cell], i: int, normal: Cell) -> Frame:
    """The frame of the drive at cell i of a path."""
    return Frame(cells[i], sub(cells[i], cells[i - 1]), sub(cells[i + 1], cells[i]), normal)


Trace = frozenset[tuple[int, Cell, Cell, bool]]
"""(half-tick, home of the block, cell it goes to, still moving) of every step of the tape."""


class Bench:
    """Judges pairs. What a chain does alone is simulated once and kept."""

    def __init__(self, kit: Kit) -> None:
        self.kit = kit
        self._alone: dict[tuple[Chain, Case], Trace | None] = {}

    def clear(
        self,
        chains: Sequence[Chain],
        extra: Sequence[Placed] = (),
        pulses: Sequence[tuple[Cell, int]] = (),
        cases: Sequence[Case] = ALL_CASES,
    ) -> bool:
        """Whether every chain, with all of this there, moves just as it does alone.

        `extra` units that carry a button are pressed so that their line pulses with the chains'.
        `pulses`: further wires that are pulsed, each with its skew in half-ticks.
        """
        try:
            machine = build(self.kit, chains, extra)
        except CollisionError:
            return False
        for case in cases:
            wanted: Trace = frozenset()
            for chain in chains:
                alone = self._trace_alone(chain, case)
                if alone is None:
                    return False
                wanted |= alone
            if press(self.kit, machine, chains, case, pulses) != wanted:
                return False
        return True

    def distance(self, first: Chain, second: Chain) -> int:
        """How far apart the nearest cells of two chains' units are (largest step of an axis)."""
        sides = [
            {c for unit in self.kit.units(chain, "") for c in unit.design.claimed(unit.frame)}
            for chain in (first, second)
        ]
        return min(
            max(abs(a - b) for a, b in zip(one, two, strict=True))
            for one in sides[0]
            for two in sides[1]
        )

    def moves(self, chains: Sequence[Chain]) -> bool:
        """Whether the chains, together, end a press as they must."""
        try:
            machine = build(self.kit, chains)
        except CollisionError:
            return False
        return all(press(self.kit, machine, chains, case) is not None for case in ALL_CASES)

    def _trace_alone(self, chain: Chain, case: Case) -> Trace | None:
        key = (chain, case)
        if key not in self._alone:
            try:
                machine = build(self.kit, [chain])
            except CollisionError:
                return None
            self._alone[key] = press(self.kit, machine, [chain], case)
        return self._alone[key]


def build(kit: Kit, chains: Sequence[Chain], extra: Iterable[Placed] = ()) -> Machine:
    """The chains in a wide floor, only what they need dug. Raises CollisionError."""
    placed = [u for i, chain in enumerate(chains) for u in kit.units(chain, f"chain {i}")]
    tape = [cell for chain in chains for cell in chain.blocks()]
    keep = {cell for chain in chains for cell in chain.cells}
    units = [*placed, *extra]
    near = {(c[0], c[1]) for unit in units for c in unit.design.claimed(unit.frame)}
    layer = next(iter(keep))[2]
    covers = {(x + i, y + j, layer) for x, y in near for i in _NEAR for j in _NEAR} - keep
    machine = assemble("pair", ROOM, Rules(), tape, units, (), sorted(covers))
    ends = tuple(Box(cell, cell) for cell in sorted(keep - set(tape)))
    return replace(machine, dug=machine.dug + ends)


def press(
    kit: Kit,
    machine: Machine,
    chains: Sequence[Chain],
    case: Case,
    pulses: Sequence[tuple[Cell, int]] = (),
) -> Trace | None:
    """One press by pulsing every column's wire; None where the chains do not end as they must."""
    simulation = Simulation(machine, case, record=True)
    if not simulation.run_to_rest(60):
        return None
    start = simulation.now
    for cell, skew in [*pulses, *_feeds(kit, chains)]:
        simulation.pulse_wire(cell, START + skew, TRIGGER_LENGTH)
        simulation.pulse_wire(cell, START + skew + SECOND_PULSE, TRIGGER_LENGTH)
    if simulation.buttons:
        # Two half-ticks from the button to the sensor's pulse on the line.
        simulation.press(length=SECOND_PULSE, delay=START - 2)
    if not simulation.run_to_rest(400) or simulation.faults:
        return None
    if simulation.buttons and not _trigger_pulsed(simulation, start):
        return None
    expected: frozenset[Cell] = frozenset().union(*(chain.expected() for chain in chains))
    if frozenset(simulation.tape) != expected:
        return None
    return frozenset(
        (time - start, machine.tape[block], *value)
        for time, what, block, value in simulation.events or ()
        if what == "tape" and isinstance(value, tuple)
    )


def _feeds(kit: Kit, chains: Sequence[Chain]) -> list[tuple[Cell, int]]:
    depth = next(part.at[2] for part in kit.column.parts if part.kind == "wire")
    n = kit.normal
    feeds = []
    for chain in chains:
        late = chain.skews or (0,) * len(chain.cells)
        for cell, skew in zip(chain.cells, late, strict=True):
            feeds.append((add(cell, (n[0] * depth, n[1] * depth, n[2] * depth)), skew))
    return feeds


def _trigger_pulsed(simulation: Simulation, start: int) -> bool:
    """Whether the trigger's own sensor fired twice, at the right times, and never else."""
    button = simulation.buttons[0][0]
    sensor = next(s for s in simulation.sensors if s.at[:2] == button[:2])
    seen = [
        (time - start, value)
        for time, what, which, value in simulation.events or ()
        if what == "on" and which == sensor.driver
    ]
    again = START + SECOND_PULSE
    return seen == [
        (START, 1),
        (START + TRIGGER_LENGTH, 0),
        (again, 1),
        (again + TRIGGER_LENGTH, 0),
    ]
