"""A machine -> a small drawing of each of its surfaces for the terminal, a sign a cell."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Iterable, Iterator

from models.geometry import VECTOR, Cell, dot, step, sub
from models.machine import Machine
from models.problem import face_name
from models.surface import BEHIND, SURFACES, SurfaceName, plane_of
from solver.plan.layers import Homes, view_of
from solver.plan.words import AXIS, LETTER, VIEW, level_name
from solver.sheets.drawing import shown_way

ARROW = {"right": ">", "up": "^", "left": "<", "down": "v"}
CORNER, DRIVE, LINK, COVER = "+", "*", "~", " "
MEANING = {
    "> ^ < v": "tape, the way it moves",
    CORNER: "corner or fold",
    DRIVE: "drive or fold behind the surface",
    LINK: "trigger and its link behind the surface",
    LETTER["button"]: "button",
}
_OF_UNIT = {"drive": DRIVE, "fold": DRIVE, "trigger": LINK, "link": LINK, "booster": LINK}
_LEAST = 8
"""Columns of a drawing on the narrowest terminal."""
Spot = tuple[int, int]
Signs = dict[Spot, str]
"""By the coordinates to the right and down, as one sees the surface from the room."""


def draw_machine(machine: Machine, width: int) -> list[str]:
    """A drawing a surface and a legend, within `width` characters but for very narrow ones."""
    drawn = signs_of(machine)
    lines: list[str] = []
    for name in SURFACES:
        if name in drawn:
            head = f"{level_name(name, 0).split(',')[0]}, {VIEW[name]}"
            lines += textwrap.wrap(head, max(width, _LEAST))
            lines += _panels(machine, name, drawn[name], width)
    used = {sign for signs in drawn.values() for sign in signs.values()}
    legend = [f"{mark} {words}" for mark, words in MEANING.items() if used & set(mark.split())]
    return [*lines, *_packed(legend, width)]


def _packed(items: Iterable[str], width: int) -> list[str]:
    """Items side by side, as many as a line takes."""
    lines: list[str] = []
    for item in items:
        if lines and len(lines[-1]) + len(item) + 3 <= width:
            lines[-1] += f";  {item}"
        else:
            lines += textwrap.wrap(item, max(width, _LEAST))
    return lines


def signs_of(machine: Machine) -> dict[SurfaceName, Signs]:
    """The signs of all surfaces; of several in one cell that nearest to the room."""
    homes = Homes(machine)
    signs: dict[SurfaceName, Signs] = defaultdict(dict)

    def put(cell: Cell, sign: str) -> None:
        name, level = homes[cell]
        right, down = view_of(plane_of(name, machine.room))
        flat = step(cell, BEHIND[name], -level)
        signs[name][dot(flat, VECTOR[right]), dot(flat, VECTOR[down])] = sign

    units = [(part.at, _OF_UNIT.get(part.unit.split(" ")[0])) for part in machine.parts]
    for wanted in (LINK, DRIVE):
        for at, sign in units:
            if sign == wanted:
                put(at, sign)
    tape, following = machine.tape, machine.following
    before = {after: tape[i] for i, after in enumerate(following)}
    for i, cell in enumerate(tape):
        put(cell, _tape_sign(machine, homes, before[i], cell, tape[following[i]]))
    for part in machine.parts:
        if part.kind == "button":
            put(part.at, LETTER["button"])
    return signs


def _tape_sign(machine: Machine, homes: Homes, before: Cell, cell: Cell, after: Cell) -> str:
    """An arrow, or the sign of a corner."""
    way = sub(after, cell)
    if way != sub(cell, before):
        return CORNER
    if way not in VECTOR.values():
        return LETTER["tape"]
    name = homes[cell][0]
    right, down = view_of(plane_of(name, machine.room))
    return ARROW.get(shown_way(face_name(way), right, down, BEHIND[name]), CORNER)


def _panels(machine: Machine, name: SurfaceName, signs: Signs, width: int) -> Iterator[str]:
    """A surface as far as anything is on it, its coordinates on the margins."""
    right, down = view_of(plane_of(name, machine.room))
    across, along = (VECTOR[face]["xyz".index(AXIS[face])] for face in (right, down))
    columns = _span(c for c, _ in signs)
    rows = _span(r for _, r in signs)
    side = max(len(str(along * r)) for r in (rows[0], rows[-1]))
    room = max(_LEAST, width - side - 4)
    for first in range(0, len(columns), room):
        panel = columns[first : first + room]
        if first:
            yield ""
        ends = (across * panel[0], across * panel[-1])
        yield " " * (side + 2) + _head(AXIS[right], *ends, len(panel))
        for r in rows:
            line = "".join(signs.get((c, r), COVER) for c in panel)
            yield f"{along * r:>{side}} |{line}|"
    yield f"{AXIS[down]:>{side}}"


def _span(values: Iterable[int]) -> range:
    found = list(values)
    return range(min(found), max(found) + 1)


def _head(axis: str, first: int, last: int, columns: int) -> str:
    """The coordinates of the first and the last column."""
    left, right = f"{axis} {first}", str(last)
    gap = columns - len(left) - len(right)
    return left + " " * gap + right if gap > 0 else left
