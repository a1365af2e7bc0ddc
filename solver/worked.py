"""The worked designs of the trade for floors: lift column, corner drive and trigger.

Common practice of the trade, no published source; verified by simulation in the tests.
"""

from __future__ import annotations

from models.catalogue import Design
from models.geometry import Cell
from models.parts import Part

FLOOR_COLUMN = Design(
    name="floor column, sensor below",
    role="column",
    up="+z",
    parts=(
        Part("grip_ram", (0, 0, -2), "+z"),
        Part("sensor", (0, 0, -3), "-z"),
        Part("wire", (0, 0, -4)),
        Part("block", (0, 0, -5)),
    ),
    air=((0, 0, -1),),
    provenance="worked example of the trade",
)

_SHIFTED: Cell = (0, -1, -1)

FLOOR_DRIVE = Design(
    name="floor drive, worked",
    role="drive",
    up="+z",
    parts=(
        Part("sensor", (-1, -1, -3), "+y"),
        Part("buffer", (-1, -2, -3), "-y", 2),
        Part("block", (-1, -2, -4)),
        Part("block", (-1, -3, -3)),
        Part("inverter", (-1, -3, -2), "-z"),
        Part("block", (-1, -3, -1)),
        Part("grip_ram", (-1, -2, -1), "+y"),
        Part("wire", (0, -3, -1)),
        Part("block", (0, -3, -2)),
        Part("push_ram", (0, -2, -1), "+y"),
        Part("inverter", (-2, -3, -1), "+x"),
        Part("wire", (-2, -2, -1)),
        Part("block", (-2, -2, -2)),
        Part("push_ram", (-2, -1, -1), "+x"),
    ),
    air=((-1, -1, -1), _SHIFTED),
    provenance="worked example of the trade",
)

FLOOR_TRIGGER = Design(
    name="trigger under a floor cover",
    role="trigger",
    up="+z",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "-z"),
        Part("sensor", (0, 0, -3), "+z"),
        Part("wire", (0, 0, -4)),
        Part("block", (0, 0, -5)),
    ),
    air=((0, 0, -2),),
    provenance="worked example of the trade",
)
