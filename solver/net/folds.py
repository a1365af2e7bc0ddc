"""The fold: where the tape passes from one surface to another round an inner edge.

Local frame: the edge-line cell, which both surfaces share, is (0, 0, 0); the tape arrives in +x and
leaves in +z, which is also the way from the arriving surface to its room; y runs along the edge
line, either way round. The arriving surface's lift is a push ram, the leaving one's a grip ram;
both stand where lifts always stand and are fired by their own surface's line, in the same
half-tick.

The fold ram pushes the edge block, drawn behind the leaving surface, along it. It may go from one
half-tick after the next drive's part until the rise. A chain of six sensors, the first of which
watches the arriving surface's last lift but one, fires it 12 half-ticks after the lifts. The
drives of this catalogue part in half-tick 10 at the latest. Nothing stands on anything, so one fold
does for every passage. Its sensors must keep clear of the lines: between walls they go below the
tape (the line runs above it), and beside a climb on the side where it has no bends.
"""

from __future__ import annotations

from collections.abc import Sequence

from models.catalogue import Design
from models.geometry import Cell, Frame, sub
from models.parts import Part

SENSOR_FOLD = Design(
    name="fold of sensors",
    role="fold",
    up="+z",
    parts=(
        Part("sensor", (-1, 1, -2), "-y"),
        Part("sensor", (0, 1, -2), "-x"),
        Part("sensor", (0, 1, -3), "+z"),
        Part("sensor", (1, 1, -3), "-x"),
        Part("sensor", (1, 0, -3), "+y"),
        Part("sensor", (1, 0, -2), "-z"),
        Part("push_ram", (1, 0, -1), "+z"),
    ),
    air=((0, 0, -1), (1, 0, 0)),
    system="any",
    provenance="chain of sensors, laid by hand after a search had found the chain one shorter",
)
FIRES_AFTER = 12
"""Half-ticks from the arriving surface's lifts to the fold ram's stroke."""

LONGEST = {
    ("drive", "drive"): 13,
    ("drive", "fold"): 12,
    ("fold", "drive"): 14,
    ("fold", "fold"): 13,
}
"""Cells of an edge by its two ends, the edge-line cells counted, for a push limit of 12.

A ram moves what it holds and the edge but for: between drives, the last two (one is drawn aside,
one is the next feed's); before a fold, the last one only, which is drawn behind the other surface.
A fold ram holds a block of the edge itself, a drive one from outside.
"""


def fold_frame(tape: Sequence[Cell], index: int, along: Cell) -> Frame:
    """The frame of the fold at that cell of the tape; its sensors stand on the side `along`."""
    cell = tape[index]
    arrives, leaves = sub(cell, tape[index - 1]), sub(tape[(index + 1) % len(tape)], cell)
    return Frame(cell, arrives, along, leaves)
