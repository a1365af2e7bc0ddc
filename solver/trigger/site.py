"""Where a machine is put together part by part: what stands, what must stay free."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from models.geometry import HORIZONTAL, Cell, step
from models.parts import RAMS, Part
from solver.trigger.lead import Field

State = tuple[dict[Cell, Part], frozenset[Cell]]
"""What stands on a site, and what is kept free."""


class NoRoomError(Exception):
    """Two parts want one cell, or one a cell that may not be dug."""


class Site:
    """Parts, and the cells that must stay free."""

    def __init__(
        self,
        tape: Iterable[Cell],
        allows: Callable[[Cell], bool],
        in_room: Callable[[Cell], bool],
    ) -> None:
        self.tape, self.allows, self.in_room = tuple(tape), allows, in_room
        self.parts: dict[Cell, Part] = {}
        self.air: set[Cell] = set()

    def put(self, *parts: Part) -> None:
        """Place parts. Raises NoRoomError."""
        for part in parts:
            if part.at in self.parts or part.at in self.air:
                raise NoRoomError(f"two things want {part.at}")
            if part.kind != "button" and not self.allows(part.at):
                raise NoRoomError(f"{part.at} may not be dug")
            self.parts[part.at] = part

    def keep(self, cells: Iterable[Cell]) -> None:
        """Keep cells free. Raises NoRoomError."""
        for cell in cells:
            if cell in self.parts or not self.allows(cell):
                raise NoRoomError(f"{cell} is needed free and dug")
            self.air.add(cell)

    def free(self, cell: Cell) -> bool:
        """Whether a part can be put here."""
        return self.allows(cell) and cell not in self.parts and cell not in self.air

    def state(self) -> State:
        """What stands and what is kept free now."""
        return dict(self.parts), frozenset(self.air)

    def go_back(self, state: State) -> None:
        """Take away all that came after this."""
        self.parts, self.air = dict(state[0]), set(state[1])

    def field(self) -> Field:
        """What stands in the way of a lead now."""
        kept = frozenset(self.air) | frozenset(self.tape)
        return Field(self.parts, kept, self.allows, self.in_room)

    def dug(self) -> set[Cell]:
        """No more than parts and what they hear need."""
        cells = set(self.air)
        for part in self.parts.values():
            cells.add(part.at)
            if part.kind in RAMS and part.face:
                cells.add(step(part.at, part.face))
            if part.kind == "sensor" and part.face:
                cells.add(step(part.at, part.face, -1))
            if part.kind in ("wire", "inverter"):
                cells |= {step(part.at, face) for face in HORIZONTAL}
                cells |= {step(part.at, "+z")} if part.kind == "inverter" else set()
        return {cell for cell in cells if self.allows(cell)}
