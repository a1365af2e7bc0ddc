"""Clearances, measured: what may stand next to what, found by simulating pairs.

Nothing is assumed. Overlaps and couplings (through blocks, ground, wires, or over a ram's head)
all show as a chain that no longer moves as it does alone.
`python -m solver.characterise.measure` writes
the table that the search uses.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path

from models.catalogue import Design
from models.geometry import VECTOR, Cell, Face, add, step
from models.machine import Case
from models.parts import Part
from models.system import System
from solver.characterise.bench import Bench, Chain, Kit, column_frame
from solver.net.assemble import Placed
from solver.net.clearance import POSES
from solver.net.systems import SYSTEMS

SKEWS = (-8, -4, -2, 0, 2, 4, 8)
"""Half-ticks between two neighbours that are fed through different boosters."""
WINDOW = 9
"""Offsets looked at; two designs facing each other fit inside."""
FAR = 4
"""Units further apart cannot touch: source, block, one cell over a ram's head, ram."""
HARDEST = (Case(True, True), Case(True, False))
"""Cases in which most couples with most; the other two are left to the final proof."""
Offset = tuple[int, int]
TABLE = Path(__file__).parents[1] / "data" / "clearances.json"


def corner_chain(
    kit: Kit, at: Offset, arrive: Face, leave: Face, skew: int = 0, drive: int = 0
) -> Chain:
    """The shortest chain with one corner, the corner at `at` from the centre.

    Every loop has these three cells at a corner, however short its edges are.
    """
    corner = add(kit.centre, (*at, 0))
    cells = (step(corner, arrive, -1), corner, step(corner, leave))
    return Chain(cells, (skew,) * 3 if skew else (), drive)


def base_chain(kit: Kit, drive: int = 0) -> Chain:
    """The chain that a drive's surroundings are measured around."""
    return corner_chain(kit, (0, 0), "+x", "+y", 0, drive)


def offsets() -> list[Offset]:
    """The window around a drive."""
    span = range(-WINDOW, WINDOW + 1)
    return [(x, y) for x in span for y in span]


def _joined(cell: Cell, chain: Chain) -> bool:
    """Whether the line wires below join into one net, so that no skew can occur."""
    return any(abs(cell[0] - c[0]) + abs(cell[1] - c[1]) <= 1 for c in chain.cells)


def near_tape(bench: Bench, drive: int) -> list[Offset]:
    """Cells around a drive (its local frame) where no other tape may be."""
    base, bad = base_chain(bench.kit, drive), []
    for at in offsets():
        cell = add(bench.kit.centre, (*at, 0))
        if cell in base.cells:
            continue
        if bench.distance(base, Chain((cell,))) > FAR:
            continue
        skews = (0,) if _joined(cell, base) else SKEWS
        if not all(bench.clear([base, Chain((cell,), (s,))]) for s in skews):
            bad.append(at)
    return bad


def near_drives(bench: Bench, drive: int, other: int) -> list[tuple[int, int, int]]:
    """(pose, dx, dy) of other drives that cannot stand near this one.

    Poses whose stretches of tape touch are left to the rule for tape, and to `edges`.
    """
    base, bad = base_chain(bench.kit, drive), []
    for pose, (arrive, leave) in enumerate(POSES):
        for at in offsets():
            near = corner_chain(bench.kit, at, arrive, leave, 0, other)
            if set(near.cells) & set(base.cells):
                continue
            if bench.distance(base, near) > FAR:
                continue
            joined = any(_joined(cell, base) for cell in near.cells)
            skews = (0,) if joined else SKEWS
            if not all(
                bench.clear(
                    [base, corner_chain(bench.kit, at, arrive, leave, s, other)], cases=HARDEST
                )
                for s in skews
            ):
                bad.append((pose, *at))
    return bad


def near_wire(bench: Bench, system: System, drive: int) -> list[Offset]:
    """Cells around a drive below which no link wire may lie."""
    base, bad = base_chain(bench.kit, drive), []
    for at in offsets():
        cell = add(bench.kit.centre, (*at, 0))
        if cell in base.cells or bench.distance(base, Chain((cell,))) > FAR:
            continue
        wire = _upright(_wire(system), cell, bench.kit)
        skews = (0,) if _joined(cell, base) else SKEWS
        at_line = wire.frame.cell((0, 0, system.line_level))
        pulses = [(at_line, s) for s in skews]
        if not all(bench.clear([base], [wire], [pulse]) for pulse in pulses):
            bad.append(at)
    return bad


def near_trigger(bench: Bench, system: System, drive: int) -> list[Offset]:
    """Cells around a drive where no button with its trigger may stand."""
    base, bad = base_chain(bench.kit, drive), []
    for at in offsets():
        cell = add(bench.kit.centre, (*at, 0))
        if cell in base.cells or bench.distance(base, Chain((cell,))) > FAR:
            continue
        if not bench.clear([base], [_upright(system.trigger, cell, bench.kit)]):
            bad.append(at)
    return bad


def trigger_near_tape(bench: Bench, system: System) -> list[Offset]:
    """Cells around a lift column where no button with its trigger may stand."""
    alone, bad = Chain((bench.kit.centre,)), []
    for at in offsets():
        if max(map(abs, at)) > 2 or at == (0, 0):
            continue
        trigger = _upright(system.trigger, add(bench.kit.centre, (*at, 0)), bench.kit)
        if not bench.clear([alone], [trigger]):
            bad.append(at)
    return bad


def edges(bench: Bench, drive: int, turns: str, first: int, last: int) -> list[int]:
    """Lengths of an edge between two corners ("LL", "LR" ...) that work, from 2 to 15.

    `first` and `last` are the lengths of the edges before and after it.
    """
    return [
        length
        for length in range(2, 16)
        if bench.moves([path_chain(bench.kit, turns, (first, length, last), drive)])
    ]


def path_chain(kit: Kit, turns: str, lengths: Iterable[int], drive: int = 0) -> Chain:
    """A chain of edges with left and right turns between them, starting in +x."""
    ahead: Offset = (1, 0)
    cells = [add(kit.centre, (-8, 0, 0))]
    for index, length in enumerate(lengths):
        if index:
            x, y = ahead
            ahead = (-y, x) if turns[index - 1] == "L" else (y, -x)
        for _ in range(length - 1):
            cells.append(add(cells[-1], (*ahead, 0)))
    return Chain(tuple(cells), (), drive)


def _upright(design: Design, cell: Cell, kit: Kit) -> Placed:
    return Placed(design, column_frame(cell, (1, 0, 0), kit.normal), design.name)


def _wire(system: System) -> Design:
    """A cell of the link: a wire and what it stands on."""
    level = system.line_level
    parts = (Part("wire", (0, 0, level)), Part("block", (0, 0, system.stand_level)))
    return Design("link wire", "column", system.column.up, parts)


def measure(system: System, normal: Cell) -> dict[str, object]:
    """The whole table for one system."""
    bench = Bench(Kit(system.column, system.drives, normal))
    table: dict[str, object] = {"trigger_tape": trigger_near_tape(bench, system)}
    for index, drive in enumerate(system.drives):
        table[drive.name] = {
            "tape": near_tape(bench, index),
            "wire": near_wire(bench, system, index),
            "trigger": near_trigger(bench, system, index),
            "drives": {
                other.name: near_drives(bench, index, k) for k, other in enumerate(system.drives)
            },
            "edges": {
                f"{turns} after {first}": edges(bench, index, turns, first, 3)
                for turns in ("LL", "LR", "RL", "RR")
                for first in (2, 3, 4)
            },
        }
    return table


def main() -> None:
    """Measure everything again and write the table; with names, only these systems."""
    for name in sys.argv[1:] or list(SYSTEMS):
        system = SYSTEMS[name]
        measured = measure(system, VECTOR[system.column.up])
        table = json.loads(TABLE.read_text(encoding="utf-8")) if TABLE.exists() else {}
        table[name] = measured
        TABLE.write_text(json.dumps(table, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
