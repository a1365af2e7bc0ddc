"""The parts a machine is made of."""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

from models.geometry import Cell, Face, Frame

Kind = Literal[
    "block",
    "cover",
    "insulator",
    "wire",
    "inverter",
    "buffer",
    "sensor",
    "push_ram",
    "grip_ram",
    "button",
]

KINDS: tuple[Kind, ...] = get_args(Kind)
FULL: frozenset[str] = frozenset({"block", "cover", "insulator", "sensor"})
"""What a wire, buffer, inverter or button can stand on or hang from."""
CONDUCTIVE: frozenset[str] = frozenset({"block", "cover"})
RAMS: frozenset[str] = frozenset({"push_ram", "grip_ram"})
FACED: frozenset[str] = frozenset(
    {"inverter", "buffer", "sensor", "push_ram", "grip_ram", "button"}
)
"""Kinds that need a face."""


class Part(NamedTuple):
    """One part in one cell. `face` means what the kind says (push direction, mount, output ...)."""

    kind: Kind
    at: Cell
    face: Face | None = None
    delay: int | None = None
    """Buffers only, in ticks."""
    press: int | None = None
    """Buttons only, in ticks."""
    unit: str = ""
    """Which unit of the machine the part belongs to; only for people."""

    def placed(self, frame: Frame, unit: str) -> Part:
        """The part of a local design in the world."""
        face = frame.face(self.face) if self.face else None
        return self._replace(at=frame.cell(self.at), face=face, unit=unit)
