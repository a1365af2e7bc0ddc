"""The units: a clock and a hold-off, each in several sizes, the fewest parts first.

The clock's rings are searched for; the hold-off is worked by hand from the rules. Both are proven
by simulation, each time anew in the machine that they are built into. A larger size is only taken
where a smaller one fails there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from models.geometry import Cell, step
from models.parts import Part
from models.trigger import Unit
from solver.trigger.rings import fewest_rings

LONGEST = 4
"""Ticks; the longest delay of the buffers that the units are made of."""
_RING_CLAIM = "no ring of one chain with as many buffers has fewer parts: all were tried"
_WORKED_CLAIM = "worked by hand; fewer parts are not proven impossible"
WIDEST = 4
"""Cells by which a hold-off may be wider than the narrowest."""
_IN_TICKS = 2
"""What a pulse that comes in is lengthened to: an inverter ignores shorter ones."""
SHAPES = 2
"""Rings of one size that are tried."""
_OVER_G: Cell = (1, 0, 1)
"""Ground above the inverter G would take its power and hand it to the wires beside it."""


def clocks() -> Iterator[Unit]:
    """Rings of one inverter and buffers. On and off for 1 tick + all delays each, for ever.

    The fewest parts first, and among those the shortest period; none that fewer buffers can do.
    """
    for buffers in range(1, 6):
        for total in range(LONGEST * (buffers - 1) + 1, LONGEST * buffers + 1):
            each, more = divmod(total, buffers)
            delays = tuple(each + (number < more) for number in range(buffers))
            for ring in fewest_rings(buffers)[:SHAPES]:
                yield clock(ring, delays)


def hold_offs() -> list[Unit]:
    """The fewest parts first."""
    return [hold_off(wide) for wide in range(WIDEST + 1)]


def _on_block(part: Part) -> tuple[Part, Part]:
    return part, Part("block", step(part.at, "-z"))


def clock(ring: tuple[Part, ...], delays: Iterable[int]) -> Unit:
    """A ring with these delays; its wire is the port."""
    left = iter(delays)
    parts = [p._replace(delay=next(left)) if p.kind == "buffer" else p for p in ring]
    port = next(part.at for part in ring if part.kind == "wire")
    air = () if any(part.at == _OVER_G for part in ring) else (_OVER_G,)
    return Unit("clock", tuple(parts), air, port, _RING_CLAIM)


def shut_ticks(unit: Unit) -> int:
    """How long a hold-off is on, and then off at least."""
    on_the_way = [part.delay or 0 for part in unit.parts if part.kind == "buffer"]
    return 1 + sum(on_the_way) - _IN_TICKS


def hold_off(wide: int) -> Unit:
    """A gate that a pulse opens if none did for a while: on for its delays and a tick, then off for
    at least as long, whatever comes meanwhile.

    Seen from above, w wires, b buffers, blocks in capitals; `wide` is 1:

        y = 2         w C b B     C feeds the wire on its left, which points at Q
        y = 1     b w Q b   b     Q carries the inverter m, which feeds the wire on K
        y = 0         K G   b     G is an inverter on K
        y = -1        J b b B     J carries a wire that leads to the one on K

    Idle: m is lit, so K is powered and G is dark. A pulse comes in on the left and is lengthened
    to 2 ticks, for which m and K are off: G lights. Through the first buffer, which makes of the
    shortest flicker a pulse of 4 ticks, that keeps Q on and m dark. When the ring of buffers comes
    round to K, G darkens, and so Q goes off; K stays on for as long again as G was lit. Pulses
    that come meanwhile find m dark or K on. One that comes as the gate opens again counts or does
    not, but never for less than the whole time.

    A wire that leads on from the port stands above the one beside C (y = 3).
    """
    far = 2 + wide
    parts = [
        Part("block", (0, 0, 0)),
        Part("wire", (0, 0, 1)),
        Part("inverter", (1, 0, 0), "-x"),
        Part("block", (0, 1, 0)),
        Part("inverter", (0, 1, 1), "-z"),
        *_on_block(Part("buffer", (-2, 1, 0), "+x", _IN_TICKS)),
        *_on_block(Part("wire", (-1, 1, 0))),
        *_on_block(Part("buffer", (1, 1, 0), "+y", LONGEST)),
        Part("block", (1, 2, 0)),
        *_on_block(Part("wire", (0, 2, 0))),
    ]
    for x in range(2, far):
        parts += _on_block(Part("buffer", (x, 2, 0), "+x", LONGEST))
    parts += [Part("block", (far, 2, 0))] if wide else _on_block(Part("wire", (far, 2, 0)))
    for y in (1, 0):
        parts += _on_block(Part("buffer", (far, y, 0), "-y", LONGEST))
    parts.append(Part("block", (far, -1, 0)))
    for x in range(far - 1, 0, -1):
        parts += _on_block(Part("buffer", (x, -1, 0), "-x", LONGEST))
    parts += [Part("block", (0, -1, 0)), Part("wire", (0, -1, 1))]
    port, entry = (0, 3, 0), (-3, 1, 0)
    parts += _on_block(Part("wire", port))
    return Unit("hold-off", tuple(parts), (_OVER_G,), port, _WORKED_CLAIM, entry=entry)


def led(unit: Unit) -> Unit:
    """The unit for a lead of sensors: the clock's own wire is watched, or a ram at the port."""
    if unit.entry is None:
        return replace(unit, watch=unit.port)
    gone = (unit.port, step(unit.port, "-z"))
    ram, head = (-1, 2, 0), (-2, 2, 0)
    parts = (*(p for p in unit.parts if p.at not in gone), Part("push_ram", ram, "-x"))
    return replace(unit, parts=parts, air=(*unit.air, head), port=ram, watch=ram)
