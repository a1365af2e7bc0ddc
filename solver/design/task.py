"""What a drive has to do: where its rams are, what is around them, what may be sensed, and when.

Half-tick 0 is when the lifts of the corner start to extend; they retract, and draw the tape, in
half-tick 2, and the strokes end in 4 (the tape can be moved from 5). The rise looks the same to
the drive, at the earliest 20 later.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from models.geometry import Cell, Face
from models.parts import Kind, Part

GRIP: Cell = (-1, -2, -1)
FEED: Cell = (0, -2, -1)
SHIFT: Cell = (-2, -1, -1)
HEADS: tuple[Cell, ...] = ((-1, -1, -1), (0, -1, -1))
"""Where the drawn block stands, and where it is fed from."""
RAMS: tuple[Part, ...] = (
    Part("grip_ram", GRIP, "+y"),
    Part("push_ram", FEED, "+y"),
    Part("push_ram", SHIFT, "+x"),
)
LIFT_CHANGES = (0, 2, 4)
PULSE = frozenset({0, 1})
"""Half-ticks in which lifts and pulse-carrying lines are live."""


@dataclass(frozen=True)
class Off:
    """A delay that is off: of all parts of a kind, or of the one in a cell."""

    kind: Kind
    half_ticks: int
    at: Cell | None = None

    def late(self, kind: Kind, at: Cell) -> int:
        """By how much a part of this kind in this cell is late."""
        return self.half_ticks if kind == self.kind and self.at in (None, at) else 0


@dataclass(frozen=True)
class Task:
    """One synthesis problem."""

    name: str
    up: Face
    free: tuple[Cell, ...]
    fixed: dict[Cell, Part]
    tape: frozenset[Cell]
    """Cells that the tape may be in: nothing of the drive may power them."""
    lifts: tuple[Cell, ...]
    changes: dict[Cell, tuple[int, ...]]
    """Cells that sensors may watch, and when something happens there."""
    live: dict[Cell, frozenset[int]] = field(default_factory=dict)
    """Fixed wires and blocks of the trigger line, and when they have power."""
    stiff: frozenset[Cell] = frozenset()
    """Wires of the line that must go on pointing where they point."""
    horizon: int = 20
    first_part: int = 5
    last_feed: int = 17
    """The feed must start no later, so that it is over before the tape rises."""
    wire_run: int = 4
    """Longest run of the drive's own wires that is modelled."""
    watch_rams: bool = False
    """Whether sensors may watch the drive's rams; these must then move alike in every run."""
    watch_own: bool = False
    """Whether sensors may also watch the drive's own parts."""
    kinds: tuple[Kind, ...] = ("block", "insulator", "wire", "buffer", "inverter", "sensor")
    """What the drive may be made of."""


def box(xs: range, ys: range, zs: range) -> list[Cell]:
    """All cells of a box, without those the rams and their heads take."""
    taken = {GRIP, FEED, SHIFT, *HEADS}
    return [(x, y, z) for x in xs for y in ys for z in zs if (x, y, z) not in taken]


def drive_task(
    name: str,
    up: Face,
    free: Iterable[Cell],
    line: Iterable[tuple[Part, frozenset[int] | None]] = (),
    *,
    reach: int = 4,
    stiff: Iterable[Cell] = (),
    behind: int | None = None,
    **limits: int,
) -> Task:
    """A drive beside columns whose lifts it may watch; `line` lists parts of the trigger line.

    `behind` is the y of another edge that runs past the drive, in a narrow strip.
    """
    incoming = [(x, 0) for x in range(-reach, 1)]
    outgoing = [(0, y) for y in range(1, reach + 1)]
    edge = incoming + outgoing
    if behind is not None:
        edge += [(x, behind) for x in range(-reach, reach)]
    tape = {(x, y, z) for x, y in edge for z in (0, -1)} | set(HEADS)
    lifts = tuple((x, y, -2) for x, y in edge)
    fixed = {at: Part("grip_ram", at, "+z") for at in lifts}
    fixed.update({ram.at: ram for ram in RAMS})
    covers = [(x, y, 0) for x in range(-reach, 3) for y in range(-reach, 0) if y != behind]
    fixed.update({at: Part("cover", at) for at in covers})
    live: dict[Cell, frozenset[int]] = {}
    changes: dict[Cell, tuple[int, ...]] = dict.fromkeys(lifts, LIFT_CHANGES)
    for part, times in line:
        fixed[part.at] = part
        if times is not None:
            live[part.at] = times
            if part.kind == "wire":
                changes[part.at] = (min(times), max(times) + 1)
    inside = tuple(cell for cell in free if cell not in fixed)
    return Task(
        name,
        up,
        inside,
        fixed,
        frozenset(tape),
        lifts,
        changes,
        live,
        frozenset(stiff),
        **limits,  # type: ignore[arg-type]
    )
