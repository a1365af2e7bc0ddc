"""What is wrong with a machine as it stands, in one world, before anything moves."""

from __future__ import annotations

from collections import Counter

from models.geometry import HORIZONTAL, Cell, step
from models.parts import FULL, Part
from solver.simulate.journal import Journal
from solver.simulate.world import World


def judge_standing(world: World, journal: Journal) -> None:
    """Faces that a part may not have, parts without support, two things in one cell."""
    for part in world.machine.parts:
        _judge_face(part, journal)
        support = _support(part)
        if support is not None and not _is_full(world, support):
            text = f"the {part.kind} has no full block to stand on or hang from"
            journal.fault("no support", (part.at, support), text)
    count = Counter([part.at for part in world.machine.parts])
    count.update(world.machine.tape)
    for cell in sorted(cell for cell, times in count.items() if times > 1):
        journal.fault("two in one cell", (cell,), "two things are in one cell")


def _judge_face(part: Part, journal: Journal) -> None:
    level = part.face in HORIZONTAL
    if (part.kind == "buffer" and not level) or (
        part.kind == "inverter" and not level and part.face != "-z"
    ):
        journal.fault("bad face", (part.at,), f"no {part.kind} can face {part.face}")


def _support(part: Part) -> Cell | None:
    if part.kind in ("wire", "buffer"):
        return step(part.at, "-z")
    if part.kind in ("inverter", "button") and part.face is not None:
        return step(part.at, part.face)
    return None


def _is_full(world: World, cell: Cell) -> bool:
    part = world.part_at.get(cell)
    return world.is_ground(cell) if part is None else part.kind in FULL
