"""The waveforms of a press as a line drawing (SVG): what changes alike shares a row."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from html import escape

from models.geometry import Cell
from models.parts import Kind
from models.plan import BuildPlan, PieceKind
from solver.plan.words import at, count_of, ticks, unit_words

LEFT, STEP, ROW, HEIGHT = 250, 12, 24, 14
"""Room for the names; one half-tick; one row; from low to high."""

Changes = tuple[tuple[int, float], ...]
"""(half-tick, how high from 0 to 1), the first at 0."""
_RAM = {0: 0.0, 1: 0.5, 2: 1.0, 3: 0.5}


@dataclass(frozen=True)
class Row:
    """Things that change alike."""

    name: str
    changes: Changes


def rows_of(plan: BuildPlan) -> list[Row]:
    """One row for each history, in the order in which they first change."""
    trace, machine = plan.trace, plan.machine
    parts = {part.at: part for part in machine.parts}
    histories: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
    for happening in trace.happenings:
        value = _height(happening.what, happening.value)
        line = histories[happening.what, happening.which]
        if not line or line[-1][1] != value:
            line.append((happening.half_tick, value))
    cells = {
        "wire": trace.wires,
        "on": tuple(cell for _, cell in trace.switches),
        "ram": trace.rams,
        "tape": machine.tape,
    }
    groups: dict[tuple[PieceKind, str, Changes], list[Cell]] = defaultdict(list)
    for (what, which), line in histories.items():
        cell = cells[what][which]
        kind: Kind | PieceKind = "tape" if what == "tape" else parts[cell].kind
        role = "" if what == "tape" else parts[cell].unit.split(" ")[0]
        if line[-1][0] > 0:
            groups[kind, role, _from_zero(line)].append(cell)
    units = {part.at: part.unit for part in machine.parts}
    found = [
        Row(_name(kind, role, group, [units.get(cell, "") for cell in group]), changes)
        for (kind, role, changes), group in groups.items()
    ]
    return sorted(found, key=lambda row: (row.changes[1:2], row.changes, row.name))


def _height(what: str, value: int) -> float:
    return _RAM[value] if what == "ram" else float(value > 0)


def _from_zero(line: list[tuple[int, float]]) -> Changes:
    return tuple(line) if line[0][0] == 0 else ((0, 0.0), *line)


def _name(kind: PieceKind, role: str, cells: list[Cell], units: list[str]) -> str:
    words = count_of([kind] * len(cells))
    if kind == "tape":
        return words
    return words + (unit_words(role, units) or (f" {at(cells[0])}" if len(cells) == 1 else ""))


def waves(plan: BuildPlan) -> str:
    """The drawing. Rams: high is out, half way is a stroke. All else: high is on or moving."""
    rows = rows_of(plan)
    width = LEFT + (plan.trace.half_ticks + 1) * STEP + 16
    height = 34 + ROW * len(rows) + 8
    lines = [
        f'<svg class="wave" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" role="img" aria-label="Waveforms of a press">'
    ]
    for half_tick in range(0, plan.trace.half_ticks + 1, 2):
        x = LEFT + half_tick * STEP
        strong = half_tick % 10 == 0
        lines.append(f'<path class="ax" d="M{x} {24 if strong else 30}V{height}"/>')
        if strong:
            lines.append(f'<text x="{x}" y="14" text-anchor="middle">{ticks(half_tick)}</text>')
    lines.append('<text x="8" y="14">ticks from the press</text>')
    for number, row in enumerate(rows):
        low = 34 + number * ROW + HEIGHT + 3
        name = row.name if len(row.name) <= 42 else row.name[:41] + "..."
        lines.append(f'<text x="8" y="{low - 3}">{escape(name)}</text>')
        lines.append(f'<path class="lv" d="{_path(row.changes, low, plan.trace.half_ticks)}"/>')
    lines.append(
        f'<line id="cursor" class="cursor js" x1="{LEFT}" x2="{LEFT}" y1="20" y2="{height}"/>'
    )
    return "".join([*lines, "</svg>"])


def _path(changes: Changes, low: int, end: int) -> str:
    path = f"M{LEFT} {low - changes[0][1] * HEIGHT:g}"
    for half_tick, value in changes[1:]:
        path += f"H{LEFT + half_tick * STEP}V{low - value * HEIGHT:g}"
    return path + f"H{LEFT + end * STEP}"
