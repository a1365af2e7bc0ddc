"""The units: a clock and a hold-off, each in several sizes, the fewest parts first.

The clock's rings are searched for; the hold-off is worked by hand from the rules. Both are proven
by simulation, each time anew in the machine that they are built into. A larger size is only taken
where a smaller one fails there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Literal

from models.geometry import Cell, step
from models.parts import Part
from models.trigger import Unit
from solver.trigger.rings import fewest_rings

Covers = Literal["above", "below", "beside"]
"""Where the surface is, seen from the unit: of a floor, a ceiling, a wall."""
LONGEST = 4
"""Ticks; the longest delay of the buffers that the units are made of."""
_RING_CLAIM = "no ring of one chain with as many buffers has fewer parts: all were tried"
_WORKED_CLAIM = "worked by hand; fewer parts are not proven impossible"
MOST_TAPS = 5
SHAPES = 2
"""Rings of one size that are tried."""
_OVER_G: Cell = (1, 0, 1)
"""Ground above the inverter G would take its power and hand it to the wires beside it."""
_AIR_BELOW_COVERS: tuple[Cell, ...] = ((-3, 1, 1), (-2, 0, 1))
"""Ground here would cut the wires below the button, or feed them from the inverter n."""
_BUTTONS: Mapping[Covers, tuple[Part, Cell]] = {
    "above": (Part("button", (-3, 0, 3), "-z"), (-3, 0, 2)),
    "below": (Part("button", (-3, 1, -2), "+z"), (-3, 1, -1)),
    "beside": (Part("button", (-3, 3, 0), "-y"), (-3, 2, 0)),
}
"""The button of a hold-off, and the cover that it hangs on."""
_CLOCK_LAYER: Mapping[Covers, int] = {"above": 2, "below": -1, "beside": 1}
_HOLD_OFF_LAYER: Mapping[Covers, int] = {"above": 2, "below": -1, "beside": 2}


def clocks(covers: Covers) -> Iterator[Unit]:
    """Rings of one inverter and buffers. On and off for 1 tick + all delays each, for ever.

    The fewest parts first, and among those the shortest period; none that fewer buffers can do.
    """
    for buffers in range(1, 6):
        for total in range(LONGEST * (buffers - 1) + 1, LONGEST * buffers + 1):
            each, more = divmod(total, buffers)
            delays = tuple(each + (number < more) for number in range(buffers))
            for ring in fewest_rings(buffers)[:SHAPES]:
                yield clock(ring, delays, covers)


def hold_offs(covers: Covers) -> list[Unit]:
    """The fewest parts first; the buffer back, which costs the same anyhow, as slow as can be."""
    units = [
        hold_off(taps, holds, LONGEST, covers)
        for taps in range(2, MOST_TAPS + 1)
        for holds in range(MOST_TAPS + 1)
    ]
    # Sorting keeps the order among units of one size.
    return sorted(units, key=lambda unit: unit.cost)


def _on_block(part: Part) -> tuple[Part, Part]:
    return part, Part("block", step(part.at, "-z"))


def clock(ring: tuple[Part, ...], delays: Iterable[int], covers: Covers) -> Unit:
    """A ring with these delays; its wire is the port."""
    left = iter(delays)
    parts = [p._replace(delay=next(left)) if p.kind == "buffer" else p for p in ring]
    port = next(part.at for part in ring if part.kind == "wire")
    air = () if any(part.at == _OVER_G for part in ring) else (_OVER_G,)
    return Unit("clock", tuple(parts), air, port, _CLOCK_LAYER[covers], _RING_CLAIM)


def hold_off(taps: int, holds: int, again: int, covers: Covers) -> Unit:
    """A button of which a press counts at its beginning only, and only when no cycle is under way.

    Seen from above, w wires, s sensor, b buffers, blocks in capitals:

        y = 1    w s b Q     x x x     Q carries the inverter m, which feeds the wire on K
        y = 0    P n w K G b B b B     n and G are inverters, on P and on K
        y = -1         J b w w w w     block J carries a wire that leads to the one on K

    The first wire is fed by the button's cover and powers P; under a floor another wire, which
    stands on P, is between them. Idle: n and m are lit, so K is powered and G is dark. A press
    darkens n for as long as it lasts. The sensor sees it begin, the buffer behind it lengthens
    that to 2 ticks, for which m is dark. So, and only then, K is off and G lights. What G sends
    runs along the buffers: the first makes it 4 ticks long, and each further tap keeps the row at
    y = -1 on for 4 more. That row keeps K powered, `again` ticks late.

    The machine is fired by the first `taps` of them. With no others that row is the port; with
    `holds` more, which keep the gate shut until the machine has come to rest, the port is the row
    at y = 1 (x), beside the first taps only.
    """
    button, cover = _BUTTONS[covers]
    parts = [
        button,
        *_on_block(Part("wire", (-3, 1, 0))),
        Part("block", (-3, 0, 0)),
        *((Part("wire", (-3, 0, 1)),) if covers == "above" else ()),
        Part("inverter", (-2, 0, 0), "-x"),
        *_on_block(Part("wire", (-1, 0, 0))),
        Part("sensor", (-2, 1, 0), "-x"),
        *_on_block(Part("buffer", (-1, 1, 0), "+x", 2)),
        Part("block", (0, 1, 0)),
        Part("inverter", (0, 1, 1), "-z"),
        *_on_block(Part("wire", (0, 0, 1))),
        Part("inverter", (1, 0, 0), "-x"),
        *_on_block(Part("wire", (0, -1, 1))),
        *_on_block(Part("buffer", (1, -1, 0), "-x", again)),
    ]
    for tap in range(1, taps + holds + 1):
        parts += _on_block(Part("buffer", (2 * tap, 0, 0), "+x", LONGEST))
        parts.append(Part("block", (2 * tap + 1, 0, 0)))
    last = 2 * (taps + holds) + 1
    for x in range(2, last + 1):
        parts += _on_block(Part("wire", (x, -1, 0)))
    port = (last, -1, 0)
    if holds:
        port = (2 * taps + 1, 1, 0)
        for x in range(3, port[0] + 1):
            parts += _on_block(Part("wire", (x, 1, 0)))
    air = (_OVER_G, *(_AIR_BELOW_COVERS if covers == "above" else ()))
    layer = _HOLD_OFF_LAYER[covers]
    return Unit("hold-off", tuple(parts), air, port, layer, _WORKED_CLAIM, cover=cover)


def led(unit: Unit) -> Unit:
    """The unit for a lead of sensors: the clock's own wire is watched, or a ram at the port."""
    if unit.cover is None:
        return replace(unit, watch=unit.port)
    ram, head = step(unit.port, "+x"), step(unit.port, "+x", 2)
    parts = (*unit.parts, Part("push_ram", ram, "+x"))
    return replace(unit, parts=parts, air=(*unit.air, head), watch=ram)
