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
from functools import cache
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
SHORT_EDGES = (2, 3, 4)
"""Edges at whose ends two drives may meet; from five cells on all pairs of drives work."""
FAR = 4
"""Units further apart cannot touch: source, block, one cell over a ram's head, ram."""
HARDEST = (Case(True, True), Case(True, False))
"""Cases in which most couples with most; the other two are left to the final proof."""
Offset = tuple[int, int]
TABLE = Path(__file__).parents[1] / "data" / "clearances.json"


def corner_chain(
    bench: Bench, at: Offset, arrive: Face, leave: Face, skew: int = 0, drive: int = 0
) -> Chain:
    """The shortest chain with one corner that moves, the corner at `at` from the centre.

    Every loop has these cells at a corner, however short its edges are.
    """
    corner = add(bench.kit.centre, (*at, 0))
    lead = [step(corner, arrive, -k) for k in range(shortest_lead(bench, drive), 0, -1)]
    cells = (*lead, corner, step(corner, leave))
    return Chain(cells, (skew,) * len(cells) if skew else (), (drive,))


@cache
def shortest_lead(bench: Bench, drive: int) -> int:
    """Cells before the corner that the drive needs: some look at the lift of the second last."""
    chains = {n: path_chain(bench.kit, "L", (n + 1, 2), (drive,)) for n in (1, 2)}
    return next(n for n, chain in chains.items() if bench.moves([chain]))


def base_chain(bench: Bench, drive: int = 0) -> Chain:
    """The chain that a drive's surroundings are measured around."""
    return corner_chain(bench, (0, 0), "+x", "+y", 0, drive)


def offsets() -> list[Offset]:
    """The window around a drive."""
    span = range(-WINDOW, WINDOW + 1)
    return [(x, y) for x in span for y in span]


def _joined(cell: Cell, chain: Chain) -> bool:
    """Whether the line wires below join into one net, so that no skew can occur."""
    return any(abs(cell[0] - c[0]) + abs(cell[1] - c[1]) <= 1 for c in chain.cells)


def near_tape(bench: Bench, drive: int) -> list[Offset]:
    """Cells around a drive (its local frame) where no other tape may be."""
    base, bad = base_chain(bench, drive), []
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

    Poses whose stretches of tape overlap are left to the rule for tape, and to `edges_between`.
    """
    base, bad = base_chain(bench, drive), []
    for pose, (arrive, leave) in enumerate(POSES):
        for at in offsets():
            near = corner_chain(bench, at, arrive, leave, 0, other)
            if set(near.cells) & set(base.cells):
                continue
            if bench.distance(base, near) > FAR:
                continue
            joined = any(_joined(cell, base) for cell in near.cells)
            skews = (0,) if joined else SKEWS
            if not all(
                bench.clear([base, corner_chain(bench, at, arrive, leave, s, other)], cases=HARDEST)
                for s in skews
            ):
                bad.append((pose, *at))
    return bad


def edges_between(bench: Bench, drive: int, before: int) -> list[tuple[int, int, int]]:
    """(pose, dx, dy) of drives at the other end of a short edge into this one that do not work."""
    bad = []
    for turns, arrive in (("LL", "-y"), ("RL", "+y")):
        for length in SHORT_EDGES:
            chain = path_chain(bench.kit, turns, (4, length, 3), (before, drive))
            if not bench.moves([chain]):
                bad.append((POSES.index((arrive, "+x")), 1 - length, 0))
    return bad


def near_wire(bench: Bench, system: System, drive: int) -> list[Offset]:
    """Cells around a drive below which no link wire may lie."""
    base, bad = base_chain(bench, drive), []
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
    base, bad = base_chain(bench, drive), []
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
        if bench.moves([path_chain(bench.kit, turns, (first, length, last), (drive,))])
    ]


def path_chain(
    kit: Kit, turns: str, lengths: Iterable[int], drives: tuple[int, ...] = (0,)
) -> Chain:
    """A chain of edges with left and right turns between them, starting in +x."""
    ahead: Offset = (1, 0)
    cells = [add(kit.centre, (-8, 0, 0))]
    for index, length in enumerate(lengths):
        if index:
            x, y = ahead
            ahead = (-y, x) if turns[index - 1] == "L" else (y, -x)
        for _ in range(length - 1):
            cells.append(add(cells[-1], (*ahead, 0)))
    return Chain(tuple(cells), (), drives)


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
            # Each pair once; the search asks both ways round.
            "drives": {
                other.name: sorted(
                    edges_between(bench, index, k)
                    + (near_drives(bench, index, k) if k >= index else [])
                )
                for k, other in enumerate(system.drives)
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
