"""The designs that machines are made of: lift columns, corner drives and triggers.

The floor's column, its worked drive and its trigger are common practice of the trade (no
published source); the others were found by the synthesizer. All are verified by simulation.
"""

from __future__ import annotations

from models.catalogue import Design
from models.geometry import Cell, Face
from models.parts import Part
from solver.net.catalogue import entry

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

CEILING_COLUMN = Design(
    name="ceiling column, block behind",
    role="column",
    up="-z",
    parts=(
        Part("grip_ram", (0, 0, -2), "+z"),
        Part("block", (0, 0, -3)),
        Part("wire", (0, 0, -4)),
    ),
    air=((0, 0, -1),),
    provenance="common practice of the trade",
)

CEILING_TRIGGER = Design(
    name="trigger behind a ceiling cover",
    role="trigger",
    up="-z",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "-z"),
        Part("sensor", (0, 0, -3), "+z"),
        Part("wire", (0, 0, -4)),
    ),
    air=((0, 0, -2),),
    provenance="the floor's trigger turned over; its wire stands on its sensor",
)

WALL_COLUMN = Design(
    name="wall lift",
    role="column",
    up="+y",
    parts=(Part("grip_ram", (0, 0, -2), "+z"),),
    air=((0, 0, -1), (0, 0, -3)),
    provenance="the cells that every lift of a wall's line takes; the line adds what fires it",
)

WALL_TRIGGER = Design(
    name="trigger behind a wall cover",
    role="trigger",
    up="+y",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "-z"),
    ),
    air=((0, 0, -2),),
    provenance="a ram that sensors watch, itself or the cell its head enters",
)

LIFT_ALONE = Design(
    name="lift alone, whatever fires it",
    role="column",
    up="+z",
    parts=(Part("grip_ram", (0, 0, -2), "+z"),),
    air=((0, 0, -1),),
    system="world",
    provenance="by the rules: behind every tape cell stands a grip ram, one free cell between",
)

_LEVEL: tuple[Face, ...] = ("+x", "-x", "+y", "-y")

RAMS_ALONE = tuple(
    Design(
        name="rams of a drive, whatever fires them",
        role="drive",
        up=up,
        parts=(
            Part("grip_ram", (-1, -2, -1), "+y"),
            Part("push_ram", (0, -2, -1), "+y"),
            Part("push_ram", (-2, -1, -1), "+x"),
        ),
        air=((-1, -1, -1), _SHIFTED),
        system="world",
        provenance="by the rules: the cycle of a press leaves its rams no other place",
    )
    for up in _LEVEL
)
"""Part, shift and feed fix where the three rams stand and which two cells they need free.

Two drives share neither: a block drawn aside lies beside its own edge, and the block beside a
corner lies between that corner and its own feed ram.
"""

FLAT_COLUMN = Design(
    name="lift alone, fired from its side",
    role="column",
    up="+z",
    parts=(Part("grip_ram", (0, 0, -2), "+z"),),
    air=((0, 0, -1),),
    system="flat",
    provenance="the line runs beside the sunk tape, on blocks beside the lifts",
)

FLAT_DRIVE = Design(
    name="drive of sensors, corner of a shallow line",
    role="drive",
    up="+z",
    parts=(
        *entry("floor-8").design.parts,
        Part("wire", (-2, 2, -2)),
        Part("sensor", (-2, 2, -3), "+z"),
        Part("sensor", (-2, 1, -3), "+y"),
        Part("sensor", (-2, 0, -3), "+y"),
        Part("sensor", (-1, 0, -3), "-x"),
        Part("block", (0, 0, -3)),
    ),
    air=((-1, -1, -1), _SHIFTED, (-2, 2, -1)),
    system="flat",
    provenance="found by the synthesizer; the corner's own lift is fired by a chain of sensors",
)

FLAT_TRIGGER = Design(
    name="trigger under a cover, shallow",
    role="trigger",
    up="+z",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "-z"),
        Part("sensor", (1, 0, -1), "-x"),
    ),
    air=((0, 0, -2),),
    system="flat",
    provenance="a sensor that watches the ram itself: one pulse a stroke",
)
