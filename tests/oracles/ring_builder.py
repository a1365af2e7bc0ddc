"""Builds floor machines by hand, cell by cell, to feed simulators with.

No search and no choice: a column behind every tape cell, the floor drive at every corner, one
trigger under a cover. Whoever calls it sees to it that drives have room and wires reach.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from typing import Any

from models.geometry import HORIZONTAL, VECTOR, Cell, Face, Frame, step, sub

Spot = tuple[int, int]
Entry = dict[str, Any]
Booster = tuple[Spot, Face, int]
"""A column whose wire is replaced by a buffer: where, facing where, with which delay."""

SURFACE = -1
RIM = 5
"""Cells of floor to leave around the loop, so that drives stay under the floor."""

# the floor drive: corner tape cell at 0,0,0, the tape comes in along +x and leaves along +y
DRIVE: tuple[tuple[str, Cell, Face | None, int | None], ...] = (
    ("sensor", (-1, -1, -3), "+y", None),
    ("buffer", (-1, -2, -3), "-y", 2),
    ("block", (-1, -2, -4), None, None),
    ("block", (-1, -3, -3), None, None),
    ("inverter", (-1, -3, -2), "-z", None),
    ("block", (-1, -3, -1), None, None),
    ("grip_ram", (-1, -2, -1), "+y", None),
    ("wire", (0, -3, -1), None, None),
    ("block", (0, -3, -2), None, None),
    ("push_ram", (0, -2, -1), "+y", None),
    ("inverter", (-2, -3, -1), "+x", None),
    ("wire", (-2, -2, -1), None, None),
    ("block", (-2, -2, -2), None, None),
    ("push_ram", (-2, -1, -1), "+x", None),
)


def rectangle(width: int, length: int, *, clockwise: bool = False) -> list[Spot]:
    """The loop along the rim of a rectangle, its low corner at 0, 0."""
    spots = [(x, 0) for x in range(width - 1)]
    spots += [(width - 1, y) for y in range(length - 1)]
    spots += [(x, length - 1) for x in range(width - 1, 0, -1)]
    spots += [(0, y) for y in range(length - 1, 0, -1)]
    return spots[::-1] if clockwise else spots


def polygon(corners: Sequence[Spot]) -> list[Spot]:
    """The loop through the given corners, in order, along straight edges."""
    spots: list[Spot] = []
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        count = max(abs(bx - ax), abs(by - ay))
        dx, dy = (bx - ax) // count, (by - ay) // count
        spots += [(ax + k * dx, ay + k * dy) for k in range(count)]
    return spots


def build_ring(
    spots: Sequence[Spot],
    *,
    trigger: Spot | None = None,
    no_trigger: bool = False,
    boosters: Iterable[Booster] = (),
    snug: bool = False,
    press: int = 10,
) -> Entry:
    """The machine of a floor loop; `snug` digs column by column instead of one big box."""
    moved, shift = _into_the_room(spots)
    tape = [(x, y, SURFACE) for x, y in moved]
    parts: list[Entry] = []
    dug: list[Entry] = []
    swaps = {_moved(spot, shift): (face, delay) for spot, face, delay in boosters}
    for x, y, z in tape:
        parts += _column((x, y, z), swaps.get((x, y)))
        dug.append(_box((x, y, z - 5), (x, y, z - 1)))
    for frame in _corners(tape):
        parts += [
            _entry(kind, frame.cell(at), frame.face(face) if face else None, delay)
            for kind, at, face, delay in DRIVE
        ]
        dug.append(_box(frame.cell((-2, -1, -1)), frame.cell((0, -3, -4))))
    if not no_trigger:
        spot = _moved(trigger, shift) if trigger else _best_trigger(tape, parts)
        parts += _trigger((spot[0], spot[1], SURFACE), press)
        dug.append(_box((*spot, SURFACE - 5), (*spot, SURFACE - 1)))
    width = max(x for x, _ in moved) + 1 + RIM
    length = max(y for _, y in moved) + 1 + RIM
    parts += _covers(width, length, set(tape))
    if not snug:
        dug = [_box((0, 0, SURFACE - 5), (width - 1, length - 1, SURFACE - 1))]
    return {
        "format": "ringwright-machine",
        "version": 1,
        "title": "ring",
        "room": [width, length, 3],
        "rules": {"press": press},
        "tape": [list(cell) for cell in tape],
        "parts": parts,
        "dug": dug,
    }


def trigger_wires(machine: Entry) -> list[Cell]:
    """The cell of the trigger-line wire behind each tape cell, in travel order."""
    return [(x, y, z - 4) for x, y, z in machine["tape"]]


def _moved(spot: Spot, shift: Spot) -> Spot:
    return (spot[0] + shift[0], spot[1] + shift[1])


def _into_the_room(spots: Sequence[Spot]) -> tuple[list[Spot], Spot]:
    shift = (RIM - min(x for x, _ in spots), RIM - min(y for _, y in spots))
    return [_moved(spot, shift) for spot in spots], shift


def _entry(kind: str, at: Cell, face: Face | None = None, delay: int | None = None) -> Entry:
    entry: Entry = {"kind": kind, "at": list(at)}
    if face is not None:
        entry["face"] = face
    if delay is not None:
        entry["delay"] = delay
    return entry


def _box(a: Cell, b: Cell) -> Entry:
    pairs = list(zip(a, b, strict=True))
    return {"min": [min(p) for p in pairs], "max": [max(p) for p in pairs]}


def _column(tape: Cell, swap: tuple[Face, int] | None) -> list[Entry]:
    line = _entry("wire", step(tape, "-z", 4))
    if swap is not None:
        line = _entry("buffer", step(tape, "-z", 4), *swap)
    return [
        _entry("grip_ram", step(tape, "-z", 2), "+z"),
        _entry("sensor", step(tape, "-z", 3), "-z"),
        line,
        _entry("block", step(tape, "-z", 5)),
    ]


def _trigger(cover: Cell, press: int) -> list[Entry]:
    button = _entry("button", step(cover, "+z"), "-z")
    button["press"] = press
    return [
        button,
        _entry("push_ram", step(cover, "-z", 1), "-z"),
        _entry("sensor", step(cover, "-z", 3), "+z"),
        _entry("wire", step(cover, "-z", 4)),
        _entry("block", step(cover, "-z", 5)),
    ]


def _covers(width: int, length: int, tape: set[Cell]) -> list[Entry]:
    floor = [(x, y, SURFACE) for x in range(width) for y in range(length)]
    return [_entry("cover", cell) for cell in floor if cell not in tape]


def _corners(tape: Sequence[Cell]) -> list[Frame]:
    """The frame of every corner: origin, incoming direction, outgoing direction, up."""
    frames = []
    for i, cell in enumerate(tape):
        incoming = sub(cell, tape[i - 1])
        outgoing = sub(tape[(i + 1) % len(tape)], cell)
        if incoming != outgoing:
            frames.append(Frame(cell, incoming, outgoing, VECTOR["+z"]))
    return frames


def _best_trigger(tape: Sequence[Cell], parts: Sequence[Entry]) -> Spot:
    """A free cell beside the loop, clear of the drives, from which the wires run shortest."""
    taken = {(e["at"][0], e["at"][1]) for e in parts}
    loop = {(x, y) for x, y, _ in tape}

    def around(spot: Spot) -> list[Spot]:
        return [(spot[0] + VECTOR[f][0], spot[1] + VECTOR[f][1]) for f in HORIZONTAL]

    def farthest(spot: Spot) -> int:
        distance = {spot: 0}
        queue = deque([spot])
        while queue:
            here = queue.popleft()
            for n in around(here):
                if n in loop and n not in distance:
                    distance[n] = distance[here] + 1
                    queue.append(n)
        return max(distance.values())

    beside = sorted({n for spot in loop for n in around(spot)} - taken)
    clear = [s for s in beside if all(n in loop or n not in taken for n in around(s))]
    return min(clear, key=farthest)
