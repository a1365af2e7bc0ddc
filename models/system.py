"""A system: designs that work together on one surface."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from models.catalogue import Design
from models.rules import Rules
from models.surface import SurfaceName


@dataclass(frozen=True)
class System:
    """A way of firing lifts, with the drives, the trigger and the line that go with it.

    All wires of the trigger line lie in one layer, `line_level` cells from the surface layer
    (negative: behind it).
    """

    name: str
    column: Design
    drives: tuple[Design, ...]
    trigger: Design
    line_level: int
    skew: int = 5
    """Half-ticks by which neighbouring drives may differ: less than from one's part to its feed."""
    feed: int = 15
    """Half-ticks from a drive's lifts to when it feeds the row, the latest of its drives."""
    convex_only: bool = False
    """Whether all corners of a loop must turn to its inside: rectangles."""
    edge_min: int = 2
    least_parts: int | None = None
    """Parts that fire and hold a tape cell at least; None: those of the column."""
    surfaces: Mapping[SurfaceName, System] = field(default_factory=dict, hash=False)
    """For loops over several surfaces: the system of each."""

    shares: bool = False
    """Whether neighbouring lifts may have in common what fires them."""
    fallback: tuple[str, ...] = ()
    """Drives that are offered only where no other fits in."""
    parities: Mapping[str, str] = field(default_factory=dict, hash=False)
    """Drives for vertical incoming edges of an odd or an even number of cells only.

    They are no fallback where the loop is drawn, as it is known there which of them fit.
    """
    world: System | None = None
    """What every machine of the world needs, whatever its designs; None: the catalogue decides.

    With it, a room is impossible only where not even this has a route.
    """

    def on(self, surface: SurfaceName | None) -> System:
        """The system that a cell of a surface belongs to."""
        return self.surfaces.get(surface, self) if surface is not None else self

    corner_saves: int = 0
    """Parts of its cells that a corner does without."""
    measured_as: str = ""
    """The system whose measured clearances hold here too, if that is another one."""
    settled: tuple[str, ...] = ()
    """Drives that another system has: loops with no other drive are left to that one."""

    def window(self, rules: Rules) -> tuple[int, int]:
        """How much earlier (negative) or later than the drive before it a drive may be fired.

        In half-ticks. The lifts of an edge fire with the drive at its end, and must not rise
        before the drive at its start has fed the row.
        """
        return -max(0, min(self.skew, rules.feed_until - self.feed - 1)), self.skew

    @property
    def table(self) -> str:
        """Under which name its clearances were measured."""
        return self.measured_as or self.name

    @property
    def links_by_wire(self) -> bool:
        """Whether the button's link is a run of wires in the layer of the line."""
        return self.column.up in ("+z", "-z") and not self.convex_only and not self.surfaces

    @property
    def by_cables(self) -> bool:
        """Whether a ram behind the button's cover fires all: or what else, by the rules alone."""
        return self.world is not None or self.column.system == "world"

    @property
    def measure(self) -> System:
        """The system whose lack of routes proves a room impossible."""
        return self.world or self

    @property
    def stand_level(self) -> int:
        """The layer of what the line's wires stand on: below them in the world."""
        return self.line_level - 1 if self.column.up == "+z" else self.line_level + 1

    @property
    def cell_parts(self) -> int:
        """Parts that a tape cell needs at least, the tape itself not counted."""
        return len(self.column.parts) if self.least_parts is None else self.least_parts

    @property
    def depth(self) -> int:
        """Cells behind the surface layer that the designs of this system reach."""
        if self.surfaces:
            return self.column.depth
        return max(design.depth for design in (self.column, self.trigger, *self.drives))

    @property
    def least_depth(self) -> int:
        """How deep a machine is at least: its loop turns each way, with the shallowest drives."""
        if self.surfaces:
            return self.column.depth
        ways = {drive.up for drive in self.drives}
        drives = (min(d.depth for d in self.drives if d.up == up) for up in ways)
        return max(self.column.depth, self.trigger.depth, *drives)

    def least_parts_of(self, cost: int) -> int:
        """The parts of a machine at least, if its route costs so many.

        Where lifts share what fires them a route counts too many for its cells: a block and the
        wire on it fire five lifts at most, three that touch the block and two that the wire
        points at. Its four corners and more are counted right, and there is a cable.
        """
        if not self.shares:
            return cost
        trigger = len(self.trigger.parts)
        drives = 4 * min(len(drive.parts) for drive in self.drives)
        cells = max(0, cost - trigger - drives) / (1 + self.cell_parts)
        return trigger + drives + math.ceil(cells * (2 + 2 / 5)) + 1

    def drive(self, name: str) -> Design:
        """The drive of that name."""
        return next(design for design in self.drives if design.name == name)
