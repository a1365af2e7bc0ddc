"""What to do about a fault that the simulation found, and where to look."""

from __future__ import annotations

from dataclasses import replace

from models.geometry import Cell, add, scale, sub
from models.machine import Machine, MachineFault
from models.parts import RAMS

BY_CODE = {
    "idle oscillates": "Find the loop of inverters or sensors that feeds itself, and break it.",
    "stroke into part": "Clear the cell in front of the ram, or turn the ram.",
    "moved twice": "Let the two rams fire at different times: change a delay of one of them.",
    "two in one cell": "Move or remove one of the two.",
    "drags a part": "Keep the cell two ahead of a grip ram free of all but tape.",
    "no support": "Put a full block there.",
    "bad face": "Turn the part.",
    "no button": "Hang a button on a cover, and a trigger behind that cover.",
    "never rests": "Find the part that goes on switching, and break the loop that feeds it.",
    "too many blocks": "Shorten the edge, or turn the tape earlier: it is more than rams move.",
}


def with_remedy(machine: Machine, fault: MachineFault) -> MachineFault:
    """The fault with a remedy, if it had none."""
    if fault.remedy:
        return fault
    if fault.code == "misplaced" and len(fault.cells) == 2:
        return replace(fault, remedy=_misplaced(machine, *fault.cells))
    return replace(fault, remedy=BY_CODE.get(fault.code, "Compare the place with the plan."))


def _misplaced(machine: Machine, at: Cell, must: Cell) -> str:
    """A block that is behind its place did not rise; one elsewhere was not moved on."""
    behind = _behind(machine, must)
    if behind is not None and at in [add(must, scale(behind, k)) for k in (1, 2)]:
        return _lift(machine, must, behind)
    corner = _corner_before(machine, must)
    lifts = [
        cell
        for cell in machine.tape
        if (way := _behind(machine, cell)) is not None and not _has_lift(machine, cell, way)
    ]
    if lifts:
        return f"There is no lift behind {lifts[0]}: put a grip ram there, facing the surface."
    if corner is None:
        return "Compare the lifts and drives near it with the plan."
    return (
        f"It was not moved on: look at the drive of the corner {corner} "
        "(its rams, what powers each, and their delays)."
    )


def _lift(machine: Machine, must: Cell, behind: Cell) -> str:
    ram = add(must, scale(behind, 2))
    if not _has_lift(machine, must, behind):
        return f"There is no lift behind {must}: put a grip ram at {ram}, facing the surface."
    return (
        f"It did not rise: look at the lift at {ram} and at what fires it "
        f"(the line behind it, near {add(must, scale(behind, 4))})."
    )


def _has_lift(machine: Machine, cell: Cell, behind: Cell) -> bool:
    ram = add(cell, scale(behind, 2))
    return any(part.at == ram and part.kind in RAMS for part in machine.parts)


def _behind(machine: Machine, cell: Cell) -> Cell | None:
    """The way behind the surface that a cell lies on; None for cells of an edge line."""
    ways = [
        tuple((-1 if cell[i] < 0 else 1) if i == axis else 0 for i in range(3))
        for axis in range(3)
        if not 0 <= cell[axis] < machine.room[axis]
    ]
    return (ways[0][0], ways[0][1], ways[0][2]) if len(ways) == 1 else None


def _corner_before(machine: Machine, cell: Cell) -> Cell | None:
    """The last corner on the way to a tape cell, itself counted."""
    tape, n = machine.tape, len(machine.tape)
    if cell not in tape:
        return None
    start = tape.index(cell)
    for back in range(n):
        i = (start - back) % n
        if sub(tape[i], tape[i - 1]) != sub(tape[(i + 1) % n], tape[i]):
            return tape[i]
    return None
