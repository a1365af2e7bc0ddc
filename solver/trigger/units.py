"""The units: a clock and a hold-off, each in several sizes, the fewest parts first.

The clock's rings are searched for; the hold-off is worked by hand from the rules. Both are proven
by simulation, each time anew in the machine that they are built into. A larger size is only taken
where a smaller one fails there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Literal

from models.geometry import Cell, step
from models.parts import Part
from models.trigger import Unit
from solver.trigger.rings import fewest_rings

Covers = Literal["above", "below", "beside"]
"""Where the surface is, seen from the unit: of a floor, a ceiling, a wall."""
LAYER: Mapping[Covers, int] = {"above": 2, "below": -1, "beside": 1}
"""The layer of the covers in a unit's frame: its z, beside a wall its y."""
LONGEST = 4
"""Ticks; the longest delay of the buffers that the units are made of."""
_RING_CLAIM = "no ring of one chain with as many buffers has fewer parts: all were tried"
_WORKED_CLAIM = "worked by hand; fewer parts are not proven impossible"
SHAPES = 2
"""Rings of one size that are tried."""
_OVER_G: Cell = (1, 0, 1)
"""Ground above the inverter G would take its power and hand it to the wires beside it."""
_OVER_P: Cell = (-4, 0, 1)
"""Ground here would cut the step of the wires up to P."""
_BUTTONS: Mapping[Covers, tuple[Part, Cell]] = {
    "above": (Part("button", (-3, 0, 3), "-z"), (-3, 0, 2)),
    "below": (Part("button", (-4, 0, -2), "+z"), (-4, 0, -1)),
    "beside": (Part("button", (-3, 2, 1), "-y"), (-3, 1, 1)),
}
"""The button of a hold-off, and the cover that it hangs on."""


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


def hold_offs(covers: Covers) -> Iterator[Unit]:
    """The fewest taps first, then the shortest time in which presses are ignored."""
    for taps in range(2, 6):
        for again in range(1, LONGEST + 1):
            yield hold_off(taps, again, covers)


def _on_block(part: Part) -> tuple[Part, Part]:
    return part, Part("block", step(part.at, "-z"))


def clock(ring: tuple[Part, ...], delays: Iterable[int]) -> Unit:
    """A ring with these delays; its wire is the port."""
    left = iter(delays)
    parts = [p._replace(delay=next(left)) if p.kind == "buffer" else p for p in ring]
    port = next(part.at for part in ring if part.kind == "wire")
    air = () if any(part.at == _OVER_G for part in ring) else (_OVER_G,)
    return Unit("clock", tuple(parts), air, port, _RING_CLAIM)


def hold_off(taps: int, again: int, covers: Covers) -> Unit:
    """A button whose presses count only when the last cycle is over. Seen from the side:

        z = 1      P M n W                      P wire, M block, n inverter, W wire
        z = 0            K G b B b B b B        K block, G inverter, b buffers, B blocks

    P touches the cover with the button; over covers one more wire leads up to P. Beside all that,
    at z = 0, is a row of wires o that the blocks B feed: the port. The first of the row goes back
    through one buffer, block J and a wire on it to W.

    Idle: n is lit, so W and K are on and G is dark. A press darkens n, G lights, and its light
    runs along the buffers; the first makes it at least 4 ticks long, and each further tap keeps
    the row on for 4 more. The row, `again` ticks late, keeps W on, whatever the button does. A
    press that is still held when that ends counts as the next press.
    """
    button, cover = _BUTTONS[covers]
    parts = [
        button,
        *(_on_block(Part("wire", (-4, 0, 0))) if covers == "below" else ()),
        *_on_block(Part("wire", (-3, 0, 1))),
        Part("block", (-2, 0, 1)),
        Part("inverter", (-1, 0, 1), "-x"),
        *_on_block(Part("wire", (0, 0, 1))),
        Part("inverter", (1, 0, 0), "-x"),
        *_on_block(Part("wire", (0, -1, 1))),
        *_on_block(Part("buffer", (1, -1, 0), "-x", again)),
    ]
    for tap in range(1, taps + 1):
        parts += _on_block(Part("buffer", (2 * tap, 0, 0), "+x", LONGEST))
        parts.append(Part("block", (2 * tap + 1, 0, 0)))
    last = 2 * taps + 1
    for x in range(2, last + 1):
        parts += _on_block(Part("wire", (x, -1, 0)))
    air = (_OVER_G, _OVER_P) if covers == "below" else (_OVER_G,)
    return Unit("hold-off", tuple(parts), air, (last, -1, 0), _WORKED_CLAIM, cover)
