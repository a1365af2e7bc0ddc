"""Designs of units (lift columns, corner drives, triggers) in a local frame, with provenance.

Local frame of a corner drive: the corner's tape cell is (0, 0, 0), the tape arrives in direction
+x and leaves in +y, +z points into the room; the other turn is the mirror image. Local frame of a
lift column: its tape cell is (0, 0, 0), the tape runs in +x, +z points into the room. Wires and
buffers stand on things, so a design holds for one direction of gravity only: `up` names the local
direction that is up in the world (floor +z, ceiling -z, a wall's drives +-x or +-y).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from models.geometry import FACES, OPPOSITE, Cell, Face, Frame, step
from models.parts import Part

LED_AFTER = (2, 4)
"""Half-ticks from the lifts of a corner until the last sensor of a lead to its drive is on: a led
drive bears either.
"""
Role = Literal["drive", "column", "trigger", "fold"]


@dataclass(frozen=True)
class Design:
    """One way to build a unit."""

    name: str
    role: Role
    up: Face
    parts: tuple[Part, ...]
    air: tuple[Cell, ...] = ()
    """Cells that must be dug and left free (ram heads, the tape's own detour)."""
    system: str = "deep"
    """Which way of firing lifts the design belongs to; one machine uses one system per surface."""
    provenance: str = ""
    led: Cell | None = None
    """Where the last sensor of a lead stands whose pulse fires the drive; None: a lift does."""

    @cached_property
    def vents(self) -> tuple[Cell, ...]:
        """Cells that a wire or an output of a drive points at: dug where that is allowed.

        Undug ground conducts, so power that goes into it can wake a ram two cells on.
        """
        if self.role != "drive":
            return ()
        kinds = {part.at: part for part in self.parts}
        sides = [face for face in FACES if face[1] != self.up[1]]
        found: set[Cell] = set()
        for part in self.parts:
            if part.kind in ("sensor", "buffer") and part.face is not None:
                found.add(step(part.at, part.face, -1 if part.kind == "sensor" else 1))
            if part.kind != "wire":
                continue
            joined = [f for f in sides if _joins(kinds.get(step(part.at, f)), f)]
            axes = {face[1] for face in joined}
            points = joined if len(axes) == 2 else [f for f in sides if not axes or f[1] in axes]
            found.update(step(part.at, face) for face in points)
        return tuple(sorted(found - set(kinds) - set(self.air)))

    @property
    def depth(self) -> int:
        """Cells behind the surface layer that the design reaches."""
        return -min(min(p.at[2] for p in self.parts), min((c[2] for c in self.air), default=0))

    def place(self, frame: Frame, unit: str) -> list[Part]:
        """The parts of the unit in the world."""
        return [part.placed(frame, unit) for part in self.parts]

    def claimed(self, frame: Frame) -> frozenset[Cell]:
        """Every world cell that the unit fills or keeps free."""
        return frozenset(
            frame.cell(cell) for cell in (*(part.at for part in self.parts), *self.air)
        )


def _joins(part: Part | None, side: Face) -> bool:
    """Whether a wire connects to the part on its given side."""
    if part is None:
        return False
    if part.kind in ("wire", "inverter", "button"):
        return True
    if part.kind == "buffer":
        return part.face in (side, OPPOSITE[side])
    return part.kind == "sensor" and part.face == side
