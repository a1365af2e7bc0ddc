"""Who is in which cell: parts, ground, tape blocks and ram heads, in one of the worlds."""

from __future__ import annotations

from models.geometry import Cell
from models.machine import Case, Machine
from models.parts import CONDUCTIVE, Part


class World:
    """The cells of a machine in one case. Parts and ground stay; tape and heads come and go."""

    def __init__(self, machine: Machine, case: Case) -> None:
        self.machine = machine
        self.case = case
        self.part_at: dict[Cell, Part] = {part.at: part for part in machine.parts}
        self.tape: dict[Cell, int] = {cell: i for i, cell in enumerate(machine.tape)}
        self.block_at: list[Cell] = list(machine.tape)
        self.moving: dict[int, int] = {}
        """Blocks in transit, each with the half-tick in which its stroke ends."""
        self.heads: dict[Cell, int] = {}
        """Cells that hold the head of a ram."""
        self.changed: set[Cell] = set()
        """Cells in which a sensor might see something new."""
        self._tape_cells = frozenset(machine.tape)
        self._dug = machine.dug_cells

    def is_ground(self, cell: Cell) -> bool:
        """Whether the cell is undug ground."""
        return (
            self.case.ground
            and cell not in self.part_at
            and cell not in self._tape_cells
            and cell not in self._dug
            and not self.machine.in_room(cell)
        )

    def always_conducts(self, cell: Cell) -> bool | None:
        """True or False for cells in which that never changes, None where tape may come."""
        part = self.part_at.get(cell)
        if part is not None:
            return part.kind in CONDUCTIVE
        return True if self.is_ground(cell) else None

    def conducts(self, cell: Cell) -> bool:
        """Whether the cell holds something that passes power now."""
        always = self.always_conducts(cell)
        if always is not None:
            return always
        block = self.tape.get(cell)
        return block is not None and block not in self.moving

    def move(self, block: int, to: Cell, end: int) -> Cell:
        """Put a block in transit to the cell `to`; returns the cell that it leaves."""
        origin = self.block_at[block]
        if self.tape.get(origin) == block:
            del self.tape[origin]
        self.tape[to] = block
        self.block_at[block] = to
        self.moving[block] = end
        self.changed.add(origin)
        self.changed.add(to)
        return origin
