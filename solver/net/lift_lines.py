"""Lifts and the line that fires them, behind a closed tape on one surface.

Four systems, named in the designs that go with them:

- "deep" (floor): a sensor under every lift watches the line; the line carries a level, and every
  change of it fires the lifts one tick later. Depth 5.
- "over" (ceiling): a block behind every lift and a wire on it. The line carries pulses. Depth 4.
- "wall": the same along horizontal edges, the wire above the block, depth 3. Up a vertical edge
  the line climbs in a zigzag of wires on insulators, three and four cells behind the surface; on
  every second cell it reaches out to a wire right behind the lift, which fires this lift
  (it points at it) and the one below (through the block it stands on). No sensors, no delay: both
  corners and all lifts between fire in one half-tick. Depth 4. Power climbs, but does not
  come down: each piece of the line is fed at its lowest horizontal edge.

- "flat" (floor, loops that turn one way only): on the inner side of the loop a wire beside the
  sunk tape, on a block beside the lifts, which fires them. No such block touches a corner's lift:
  a chain of sensors under the incoming edge fires it, 4 ticks later than the others. Depth 3 with
  the drives; 2 wide, so loops of 5 x 5 and more.

Everywhere a lift is a grip ram two cells behind the surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from models.catalogue import Design
from models.geometry import FACE_OF, Cell, Frame, add, cross, dot, scale, sub
from models.parts import Kind, Part
from solver.net.arms import straight

UP: Cell = (0, 0, 1)
DOWN: Cell = (0, 0, -1)
WALL_DEPTH = 4
"""Cells behind a wall that its lift line reaches."""


WALL_TRIGGER = Design(
    name="trigger behind a wall cover",
    role="trigger",
    up="+y",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "+x"),
        Part("sensor", (0, 0, -2), "+z"),
        Part("wire", (0, 0, -3)),
        Part("block", (0, -1, -3)),
    ),
    air=((1, 0, -1),),
    system="wall",
    provenance="a sensor that watches the ram itself: one pulse a stroke",
)
"""Depth 3: its wire is in the layer of the horizontal lines and can be one of theirs."""
FLAT_TRIGGER = Design(
    name="trigger under a cover, shallow",
    role="trigger",
    up="+z",
    parts=(
        Part("button", (0, 0, 1), "-z"),
        Part("push_ram", (0, 0, -1), "+x"),
        Part("sensor", (-1, 0, -1), "+x"),
        Part("wire", (-2, 0, -1)),
        Part("block", (-2, 0, -2)),
    ),
    air=((1, 0, -1),),
    system="flat",
    provenance="a sensor that watches the ram itself: one pulse a stroke",
)


class ClashError(Exception):
    """Two different parts are asked for in one cell."""

    def __init__(self, text: str, cell: Cell | None = None) -> None:
        super().__init__(text)
        self.cell = cell


@dataclass
class LiftLine:
    """Parts of all lifts and of their trigger line."""

    parts: dict[Cell, Part] = field(default_factory=dict)
    entries: list[Cell] = field(default_factory=list)
    """Wires at which the line can be fed; one for each piece that must be fed."""
    air: set[Cell] = field(default_factory=set)
    """Cells to dig and leave free: wires climb only where nothing conducts above the lower one."""
    lenient: bool = False
    """Whether of two parts that want one cell the first stays, and no error is raised."""
    clashes: set[Cell] = field(default_factory=set)
    """Where a lenient line wanted two different parts."""
    level: bool = False
    """Whether the line carries a level (each change fires the lifts) instead of pulses."""

    def put(self, kind: Kind, at: Cell, face: Cell | None = None) -> None:
        """Place a part; the same part twice is one part."""
        part = Part(kind, at, None if face is None else FACE_OF[face], None, None, "line")
        old = self.parts.setdefault(at, part)
        if old != part and not self.lenient:
            raise ClashError(f"{part.kind} and {old.kind} at {at}", at)
        if old != part:
            self.clashes.add(at)

    def wires(self) -> list[Cell]:
        """Every wire of the line."""
        return [at for at, part in self.parts.items() if part.kind == "wire"]


def deep_line(tape: Sequence[Cell], inward: Cell, plane: int | None = None) -> LiftLine:
    """The floor's line with a sensor under every lift.

    Here and below, `plane` is the surface layer's place along `inward`: where a loop runs over
    several surfaces, only the cells in that layer get a lift here.
    """
    line = LiftLine(level=True)
    for cell in _lifts(line, tape, inward, plane):
        line.put("sensor", _behind(cell, inward, 3), scale(inward, -1))
        line.put("wire", _behind(cell, inward, 4))
        line.put("block", _behind(cell, inward, 5))
        if not line.entries:
            line.entries.append(_behind(cell, inward, 4))
    return line


def over_line(tape: Sequence[Cell], inward: Cell, plane: int | None = None) -> LiftLine:
    """The ceiling's line: a wire on a block above every lift."""
    line = LiftLine()
    for cell in _lifts(line, tape, inward, plane):
        line.put("block", _behind(cell, inward, 3))
        line.put("wire", _behind(cell, inward, 4))
        if not line.entries:
            line.entries.append(_behind(cell, inward, 4))
    return line


def level_line(tape: Sequence[Cell], inward: Cell) -> LiftLine:
    """The line of a floor or of a ceiling."""
    return deep_line(tape, inward) if inward == UP else over_line(tape, inward)


def wall_line(
    tape: Sequence[Cell], inward: Cell, plane: int | None = None, *, lenient: bool = False
) -> LiftLine:
    """The line of a loop on a wall. Loops less than three cells high or wide are not covered."""
    line = LiftLine(lenient=lenient)
    _lifts(line, tape, inward, plane)
    edges = edges_of(tape)
    for i, edge in enumerate(edges):
        if not all(_in_plane(cell, tape, inward, plane) for cell in edge):
            continue
        before, after = edges[i - 1], edges[(i + 1) % len(edges)]
        came, goes = sub(before[-2], edge[0]), sub(after[1], edge[-1])
        if edge[0][2] == edge[-1][2]:
            folds = (dot(came, inward) != 0, dot(goes, inward) != 0)
            _horizontal(line, edge, inward, folds)
            unfed = [
                fold or other[2] > edge[0][2]
                for fold, other in zip(folds, (before[0], after[-1]), strict=True)
            ]
            # A climb that ends here feeds this edge; otherwise somebody else must.
            if all(unfed) and (len(edge) > 2 or any(folds)):
                line.entries.append(add(_behind(edge[1], inward, 3), UP))
            continue
        rises = edge[0][2] < edge[-1][2]
        climb = list(edge) if rises else list(reversed(edge))
        low, high = (came, goes) if rises else (goes, came)
        if dot(low, inward):
            line.entries.append(_behind(climb[0], inward, 4))
        _vertical(line, climb, _along(low, inward), _along(high, inward), inward)
    line.air -= set(line.parts)
    return line


def double_climbs(line: LiftLine, tape: Sequence[Cell], inward: Cell, colour: int) -> bool:
    """Where two edges climb side by side, one zigzag over both columns in place of two.

    Wires and blocks lie behind the lifts like the squares of a chessboard: each wire points at its
    own lift and fires the one below through its block, and power climbs from column to column.
    `colour`: 0 or 1, on which squares the wires lie. Says whether there are such edges.
    """
    aside = cross(UP, inward)
    climbing = {c for e in edges_of(tape) if e[0][2] != e[-1][2] for c in e}
    paired = [
        cell
        for cell in sorted(climbing)
        if add(cell, aside) in climbing or sub(cell, aside) in climbing
    ]
    for cell in paired:
        trunk = _behind(cell, inward, 4)
        ends = [add(cell, way) for way in (UP, DOWN) if add(cell, way) not in climbing]
        single = [_behind(end, inward, depth) for end in ends for depth in (3, 4)]
        single += [add(trunk, s) for s in (aside, scale(aside, -1))]
        for at in single:
            line.parts.pop(at, None)
    for cell in paired:
        _square(line, cell, climbing, inward, sum(cell) % 2 == colour)
    return bool(paired)


def _square(line: LiftLine, cell: Cell, climbing: set[Cell], inward: Cell, light: bool) -> None:
    leaf, trunk = _behind(cell, inward, 3), _behind(cell, inward, 4)
    squares: list[tuple[Cell, Kind]] = [
        (leaf, "wire" if light else "block"),
        (trunk, "wire" if light else "insulator"),
    ]
    if light and add(cell, DOWN) not in climbing:
        squares += [(add(leaf, DOWN), "insulator"), (add(trunk, DOWN), "insulator")]
    if add(cell, UP) not in climbing:
        # A block over the last wire keeps it from joining its neighbour askew.
        squares += [(add(leaf, UP), "block")] if light else []
        squares += [] if light else [(add(leaf, UP), "wire"), (add(trunk, UP), "wire")]
    for at, kind in squares:
        line.parts[at] = Part(kind, at, unit="line")
        line.air.discard(at)
        line.clashes.discard(at)


def _along(side: Cell, inward: Cell) -> Cell | None:
    """The side, if it lies in the surface; None where the tape goes on along another one."""
    return None if dot(side, inward) else side


def _in_plane(cell: Cell, tape: Sequence[Cell], inward: Cell, plane: int | None) -> bool:
    return dot(cell, inward) == (dot(tape[0], inward) if plane is None else plane)


def _lifts(
    line: LiftLine, tape: Sequence[Cell], inward: Cell, plane: int | None = None
) -> list[Cell]:
    """The lifts of all tape cells in the layer, and these cells."""
    found = []
    for i, cell in enumerate(tape):
        if not _in_plane(cell, tape, inward, plane):
            continue
        arrives, leaves = sub(cell, tape[i - 1]), sub(tape[(i + 1) % len(tape)], cell)
        # At a fold the arriving surface's lift must never draw the block back.
        fold = dot(leaves, inward) != 0 and dot(arrives, inward) == 0
        line.put("push_ram" if fold else "grip_ram", _behind(cell, inward, 2), inward)
        found.append(cell)
    return found


FLAT_CORNER: tuple[tuple[Kind, Cell, Cell | None], ...] = (
    ("wire", (-2, 2, -2), None),
    ("sensor", (-2, 2, -3), (0, 0, 1)),
    ("sensor", (-2, 1, -3), (0, 1, 0)),
    ("sensor", (-2, 0, -3), (0, 1, 0)),
    ("sensor", (-1, 0, -3), (-1, 0, 0)),
    ("block", (0, 0, -3), None),
)
"""Fires a corner's lift: the line comes in along +x and leaves along +y, +z is inward."""


def flat_line(tape: Sequence[Cell], inward: Cell) -> LiftLine:
    """The shallow floor's line, on the side that the loop turns to."""
    line = LiftLine()
    n = len(tape)
    _lifts(line, tape, inward)
    for i, cell in enumerate(tape):
        arrives, leaves = sub(cell, tape[i - 1]), sub(tape[(i + 1) % n], cell)
        if arrives != leaves:
            frame = Frame(cell, arrives, leaves, inward)
            for kind, at, face in FLAT_CORNER:
                turned = None if face is None else sub(frame.cell(face), cell)
                line.put(kind, frame.cell(at), turned)
            line.air.add(frame.cell((-2, 2, -1)))
    for corner, edge in turns_of(tape):
        for cell in edge[1:-1]:
            beside = add(cell, corner)
            line.put("wire", _behind(beside, inward, 1))
            line.put("block", _behind(beside, inward, 2))
    line.air -= set(line.parts)
    line.entries.append(next(at for at, part in line.parts.items() if part.kind == "wire"))
    return line


def turns_of(tape: Sequence[Cell]) -> list[tuple[Cell, list[Cell]]]:
    """Each edge with the side that both its corners turn to."""
    found = []
    edges = edges_of(tape)
    for i, edge in enumerate(edges):
        before, after = edges[i - 1], edges[(i + 1) % len(edges)]
        came, goes = sub(before[-2], edge[0]), sub(after[1], edge[-1])
        if came != goes:
            raise ClashError("a flat line has no way across the tape: the loop turns both ways")
        found.append((goes, edge))
    return found


def edges_of(tape: Sequence[Cell]) -> list[list[Cell]]:
    """The edges of a closed loop, corner to corner, both counted."""
    n = len(tape)
    corners = [i for i in range(n) if not straight(tape, i)]
    edges = []
    for k, i in enumerate(corners):
        j = corners[(k + 1) % len(corners)]
        edges.append([tape[(i + m) % n] for m in range((j - i) % n + 1)])
    return edges


def _behind(cell: Cell, inward: Cell, depth: int) -> Cell:
    return add(cell, scale(inward, -depth))


def _horizontal(
    line: LiftLine, edge: Sequence[Cell], inward: Cell, folds: tuple[bool, bool]
) -> None:
    """The climbs see to their own corners; a fold's cell belongs to this edge."""
    for cell in edge[0 if folds[0] else 1 : len(edge) if folds[1] else -1]:
        block = _behind(cell, inward, 3)
        line.put("block", block)
        line.put("wire", add(block, UP))


def _vertical(
    line: LiftLine,
    edge: Sequence[Cell],
    low_side: Cell | None,
    high_side: Cell | None,
    inward: Cell,
) -> None:
    """One climb, from its lower end up. Sides: towards the next horizontal edge.

    None is a fold: a climb that begins there is fed at its lowest wires.
    """
    n = len(edge)
    spare = high_side or low_side or cross(UP, inward)
    for k in range(n + 1):
        cell = add(edge[0], scale(UP, k))
        if k % 2 == 0 and (k < n or n % 2 == 0):
            # The wire behind the lift fires it; the block it stands on fires the lift below.
            leaf, trunk = _behind(cell, inward, 3), _behind(cell, inward, 4)
            line.put("wire", leaf)
            line.put("block" if k else "insulator", add(leaf, DOWN))
            line.put("wire", trunk)
            line.put("insulator", add(trunk, DOWN))
            line.air.add(add(trunk, UP))
        elif k % 2 and (k < n or high_side is not None):
            joins = k == 1 and low_side is not None
            side = low_side if joins and low_side is not None else spare
            bend = add(_behind(cell, inward, 4), side)
            line.put("wire", bend)
            # From the horizontal edge power must also come down, to the corner's own lift.
            line.put("block" if joins else "insulator", add(bend, DOWN))
            line.air.add(add(bend, UP))
    # Blocks that keep the wires behind the lifts from joining the horizontal lines askew.
    if low_side is not None:
        line.put("block", add(add(_behind(edge[0], inward, 3), scale(UP, 2)), low_side))
    if n % 2 and high_side is not None:
        line.put("block", add(_behind(edge[-1], inward, 3), UP))
