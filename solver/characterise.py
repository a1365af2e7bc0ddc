"""Clearances, measured: what may stand next to what, found by simulating pairs.

Nothing is assumed. Overlaps and couplings (through blocks, ground, wires, or over a ram's head)
all show as a chain that no longer moves as it does alone. `python -m solver.characterise` writes
the table that the search uses.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from models.catalogue import Design
from models.geometry import Cell, Face, Frame, add, step
from solver.assemble import Placed
from solver.bench import Bench, Chain, Kit
from solver.clearance import POSES
from solver.worked import FLOOR_COLUMN, FLOOR_DRIVE, FLOOR_TRIGGER

SKEWS = (-8, -4, -2, 0, 2, 4, 8)
"""Half-ticks between two neighbours that are fed through different boosters."""
WINDOW = 6
"""Offsets looked at; every design fits well inside."""
CENTRE: Cell = (20, 20, -1)
Offset = tuple[int, int]
TABLE = Path(__file__).parent / "data" / "clearances.json"

WIRE = Design("link wire", "column", "+z", FLOOR_COLUMN.parts[-2:])


def corner_chain(at: Offset, arrive: Face, leave: Face, skew: int = 0, drive: int = 0) -> Chain:
    """The shortest chain with one corner, the corner at `at` from the centre."""
    corner = add(CENTRE, (*at, 0))
    cells = (step(corner, arrive, -1), corner, step(corner, leave), step(corner, leave, 2))
    return Chain(cells, (skew,) * 4 if skew else (), drive)


def base_chain(drive: int = 0) -> Chain:
    """The chain that a drive's surroundings are measured around."""
    return corner_chain((0, 0), "+x", "+y", 0, drive)


def offsets() -> list[Offset]:
    """The window around a drive."""
    span = range(-WINDOW, WINDOW + 1)
    return [(x, y) for x in span for y in span]


def _joined(cell: Cell, chain: Chain) -> bool:
    """Whether the line wires below join into one net, so that no skew can occur."""
    return any(abs(cell[0] - c[0]) + abs(cell[1] - c[1]) <= 1 for c in chain.cells)


def near_tape(bench: Bench, drive: int) -> list[Offset]:
    """Cells around a drive (its local frame) where no other tape may be."""
    base, bad = base_chain(drive), []
    for at in offsets():
        cell = add(CENTRE, (*at, 0))
        if cell in base.cells:
            continue
        skews = (0,) if _joined(cell, base) else SKEWS
        if not all(bench.clear([base, Chain((cell,), (s,))]) for s in skews):
            bad.append(at)
    return bad


def near_drives(bench: Bench, drive: int, other: int) -> list[tuple[int, int, int]]:
    """(pose, dx, dy) of other drives that cannot stand near this one.

    Poses whose stretches of tape touch are left to the rule for tape, and to `edges`.
    """
    base, bad = base_chain(drive), []
    for pose, (arrive, leave) in enumerate(POSES):
        for at in offsets():
            near = corner_chain(at, arrive, leave, 0, other)
            if set(near.cells) & set(base.cells):
                continue
            joined = any(_joined(cell, base) for cell in near.cells)
            skews = (0,) if joined else SKEWS
            if not all(
                bench.clear([base, corner_chain(at, arrive, leave, s, other)]) for s in skews
            ):
                bad.append((pose, *at))
    return bad


def near_wire(bench: Bench, drive: int) -> list[Offset]:
    """Cells around a drive below which no link wire may lie."""
    base, bad = base_chain(drive), []
    for at in offsets():
        cell = add(CENTRE, (*at, 0))
        if cell in base.cells:
            continue
        wire = _upright(WIRE, cell)
        skews = (0,) if _joined(cell, base) else SKEWS
        pulses = [(add(cell, WIRE.parts[0].at), s) for s in skews]
        if not all(bench.clear([base], [wire], [pulse]) for pulse in pulses):
            bad.append(at)
    return bad


def near_trigger(bench: Bench, drive: int) -> list[Offset]:
    """Cells around a drive where no button with its trigger may stand."""
    base, bad = base_chain(drive), []
    for at in offsets():
        cell = add(CENTRE, (*at, 0))
        if cell not in base.cells and not bench.clear([base], [_upright(FLOOR_TRIGGER, cell)]):
            bad.append(at)
    return bad


def trigger_near_tape(bench: Bench) -> list[Offset]:
    """Cells around a lift column where no button with its trigger may stand."""
    alone = Chain((CENTRE,))
    return [
        at
        for at in offsets()
        if max(map(abs, at)) <= 2
        and at != (0, 0)
        and not bench.clear([alone], [_upright(FLOOR_TRIGGER, add(CENTRE, (*at, 0)))])
    ]


def edges(bench: Bench, drive: int, turns: str, first: int, last: int) -> list[int]:
    """Lengths of an edge between two corners ("LL", "LR" ...) that work, from 2 to 15.

    `first` and `last` are the lengths of the edges before and after it.
    """
    return [
        length
        for length in range(2, 16)
        if bench.moves([path_chain(turns, (first, length, last), drive)])
    ]


def path_chain(turns: str, lengths: Iterable[int], drive: int = 0) -> Chain:
    """A chain of edges with left and right turns between them, starting in +x."""
    ahead: Offset = (1, 0)
    cells = [add(CENTRE, (-8, 0, 0))]
    for index, length in enumerate(lengths):
        if index:
            x, y = ahead
            ahead = (-y, x) if turns[index - 1] == "L" else (y, -x)
        for _ in range(length - 1):
            cells.append(add(cells[-1], (*ahead, 0)))
    return Chain(tuple(cells), (), drive)


def _upright(design: Design, cell: Cell) -> Placed:
    return Placed(design, Frame(cell, (1, 0, 0), (0, 1, 0), (0, 0, 1)), design.name)


def measure(column: Design, drives: tuple[Design, ...]) -> dict[str, object]:
    """The whole table for the drives of one system."""
    bench = Bench(Kit(column, drives))
    table: dict[str, object] = {"column": column.name, "trigger_tape": trigger_near_tape(bench)}
    for index, drive in enumerate(drives):
        table[drive.name] = {
            "tape": near_tape(bench, index),
            "wire": near_wire(bench, index),
            "trigger": near_trigger(bench, index),
            "drives": {other.name: near_drives(bench, index, k) for k, other in enumerate(drives)},
            "edges": {
                f"{turns} after {first}": edges(bench, index, turns, first, 3)
                for turns in ("LL", "LR", "RL", "RR")
                for first in (2, 3, 4)
            },
        }
    return table


def main() -> None:
    """Measure everything again and write the table."""
    table = {"deep": measure(FLOOR_COLUMN, (FLOOR_DRIVE,))}
    TABLE.write_text(json.dumps(table, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
