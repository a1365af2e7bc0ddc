"""How far power runs along a line's wires, and what ground with power in it would wake."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Set

from models.geometry import OPPOSITE, VECTOR, Cell, add, step
from models.parts import CONDUCTIVE, RAMS, Part
from solver.net.lift_lines import DOWN, UP

HEARING = frozenset({*RAMS, "wire", "inverter", "buffer"})
"""Kinds that ground with power in it would wake."""
_LEVEL: tuple[Cell, ...] = tuple(v for face, v in VECTOR.items() if face[1] != "z")


def powered(
    parts: Mapping[Cell, Part], air: Set[Cell], source: Cell, reach: int
) -> dict[Cell, int]:
    """The level of every wire that power from one wire reaches, ground or no ground."""

    def conducts(cell: Cell) -> bool:
        part = parts.get(cell)
        return part.kind in CONDUCTIVE if part is not None else cell not in air

    def is_wire(cell: Cell) -> bool:
        part = parts.get(cell)
        return part is not None and part.kind == "wire"

    level = {source: reach}
    queue = deque([source])
    while queue:
        at = queue.popleft()
        if level[at] == 1:
            continue
        for side in _LEVEL:
            beside = add(at, side)
            near = [beside] if is_wire(beside) else []
            if is_wire(add(beside, UP)) and not conducts(add(at, UP)):
                near.append(add(beside, UP))
            under = parts.get(add(at, DOWN))
            if is_wire(add(beside, DOWN)) and not conducts(beside):
                near += [add(beside, DOWN)] if under and under.kind in CONDUCTIVE else []
            for other in near:
                if other not in level:
                    level[other] = level[at] - 1
                    queue.append(other)
    return level


def output_of(part: Part) -> Cell | None:
    """The cell that a part puts power into straight ahead."""
    if part.face is None or part.kind not in ("sensor", "buffer"):
        return None
    return step(part.at, OPPOSITE[part.face] if part.kind == "sensor" else part.face)
