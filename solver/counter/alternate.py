"""One button for both ways: a unit that lets it fire now one ram, now the other.

The button powers two rams at once, and one of them is barred: the head of another ram stands where
its own would go, and it waits. Two inverters that hold each other down remember which. A lead from
the ram that fired comes back when the press is long over, and turns them round.

Worked by hand from the rules; no claim is made that fewer parts will not do. Wires and buffers
stand on things, so it is for floors.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from models.geometry import LEVEL_FRAMES, Cell, Frame, step, sub
from models.parts import Part
from solver.counter.layout import WAYS, Layout, Way
from solver.trigger.site import NoRoomError

UNIT = "trigger"
COVER: Cell = (4, 1, 2)
"""The button hangs on this cover; it powers the wire below, and that both rams."""
HOLD = 4
"""Ticks for which a press that is over powers a side of the memory: inverters need two."""
_FIRES: dict[Way, Cell] = {"forth": (4, 0, 0), "back": (4, 2, 1)}
"""The rams that begin a press. The one on the forth side is free at first."""
_STANDING = (
    Part("wire", (4, 1, 1)),
    Part("inverter", (1, 0, 0), "-x"),
    Part("wire", (1, 1, 0)),
    Part("inverter", (1, 2, 1), "-z"),
    Part("wire", (0, 2, 1)),
    Part("wire", (0, 1, 1)),
    Part("wire", (0, 0, 1)),
    Part("buffer", (-1, 0, 0), "+x", HOLD),
    Part("buffer", (1, 3, 0), "-y", HOLD),
)
"""One inverter is on the block at (0, 0, 0) and powers the one at (1, 2, 0) over a wire; that has
the other inverter on it, which powers the first block over three wires."""
_RAMS = (
    Part("push_ram", _FIRES["forth"], "-x"),
    Part("push_ram", _FIRES["back"], "-x"),
    Part("push_ram", (2, 0, 0), "+x"),
    Part("push_ram", (2, 2, 1), "+x"),
)
"""Two that are fired, and the two that bar them: each stands beside one of the inverters."""
_BLOCKS: tuple[Cell, ...] = ((0, 0, 0), (1, 2, 0), (1, 1, 1))
"""The two sides of the memory, and one that keeps wires on two levels apart."""
_AIR: tuple[Cell, ...] = ((1, 0, 1), (3, 2, 1), (3, 0, 0), (3, 1, 1), (5, 1, 1), (4, 0, 1))
"""Heads, what the lone wire points at, and what the lower inverter would power through ground."""
_PORTS: dict[Way, tuple[Cell, Cell]] = {
    "forth": ((1, 4, 0), (1, 3, 0)),
    "back": ((-2, 0, 0), (-1, 0, 0)),
}
"""Where the lead ends that reports a press, and the buffer that it puts out to."""


@dataclass(frozen=True)
class Port:
    """The end of a lead that reports a press of its way."""

    way: Way
    cell: Cell
    buffer: Cell

    @property
    def heading(self) -> Cell:
        """The way that the lead's last sensor puts out."""
        return sub(self.buffer, self.cell)

    @property
    def way_in(self) -> tuple[Cell, Cell]:
        """Where the last two sensors stand."""
        return self.cell, sub(self.cell, self.heading)


def parts() -> list[Part]:
    """The unit in its own frame, the button left out."""
    blocks = {*_BLOCKS, *(step(part.at, "-z") for part in _STANDING if part.kind != "inverter")}
    return [*_STANDING, *_RAMS, *(Part("block", at) for at in sorted(blocks))]


def alternator(layout: Layout, cover: Cell, rng: Random) -> tuple[dict[Way, Cell], list[Port]]:
    """Put the unit below a cover: where leads of each way begin, and its ports.

    Raises NoRoomError.
    """
    before = layout.state()
    why = NoRoomError(f"the unit of the button has no room below {cover}")
    for axes in rng.sample(LEVEL_FRAMES, len(LEVEL_FRAMES)):
        frame = axes._replace(origin=sub(cover, axes.cell(COVER)))
        try:
            return _put(layout, cover, frame, rng)
        except NoRoomError as error:
            why = error
            layout.go_back(before)
    raise why


def _put(
    layout: Layout, cover: Cell, frame: Frame, rng: Random
) -> tuple[dict[Way, Cell], list[Port]]:
    press = layout.scenario.rules.press
    layout.put(Part("button", step(cover, "+z"), "-z", press=press, unit=UNIT))
    layout.put(*(part.placed(frame, UNIT) for part in parts()))
    layout.keep(frame.cell(cell) for cell in _AIR)
    bottom = layout.bottom(rng)
    starts = {way: layout.stem(frame.cell(_FIRES[way]), bottom, UNIT) for way in WAYS}
    ports = [Port(way, *map(frame.cell, _PORTS[way])) for way in WAYS]
    return starts, ports
