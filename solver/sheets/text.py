"""The build plan as plain text: what `plan.txt` holds."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from models.geometry import Cell
from models.plan import PIECE_KINDS, BuildPlan, Layer, Step
from solver.plan.words import (
    AIR,
    AXIS,
    GROUND,
    LETTER,
    MEANING,
    VIEW,
    caution_lines,
    count_of,
    digging,
    layer_plane,
    level_name,
    name_of,
    opening_lines,
    placing,
    step_notes,
    step_title,
    stroke_lines,
    symbol,
    tape_lines,
    test_lines,
    time_lines,
)
from solver.sheets.chapter import Chapter

WIDTH = 98
"""Characters a line, as far as words go."""
PANEL = 24
"""Columns of a drawing that stand side by side; wider layers go on below."""


def write_sheets(plan: BuildPlan, chapters: Sequence[Chapter] = ()) -> str:
    """The text of the plan."""
    sections = [
        _head(plan),
        _cautions(plan),
        _figures(plan),
        _parts(plan),
        _press(plan),
        _steps(plan),
        _legend(),
        *(_layer(layer) for layer in plan.layers),
        *(_chapter(chapter) for chapter in chapters),
    ]
    return "\n\n".join("\n".join(section) for section in sections) + "\n"


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode("ascii")


def _rule(title: str, mark: str = "-") -> list[str]:
    return [title, mark * len(title)]


def _item(text: str, lead: str = "  - ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))


def _items(lines: Iterable[str], lead: str = "  - ") -> list[str]:
    return [row for line in lines for row in _item(line, lead)]


def _head(plan: BuildPlan) -> list[str]:
    x, y, z = plan.machine.room
    title = " ".join(_ascii(plan.machine.title).split()) or "Untitled"
    return [
        *_rule(f"BUILD PLAN: {title}", "="),
        f"Room {x} x {y} x {z} (x east, y north, z up). Lengths in cells, times in ticks.",
        *(row for line in tape_lines(plan) for row in _item(line, "")),
    ]


def _cautions(plan: BuildPlan) -> list[str]:
    lines = [*_rule("CAUTIONS, READ FIRST"), *_items(caution_lines(plan), "  ! ")]
    return [*lines, *_items(opening_lines(plan.openings), "  ! ")]


def _figures(plan: BuildPlan) -> list[str]:
    return [
        *_rule("KEY FIGURES"),
        f"  surfaces: {', '.join(plan.surfaces)}",
        f"  tape: {len(plan.machine.tape)} blocks, {plan.corners} corners",
        f"  depth behind the surface: {plan.depth}",
        f"  digging: {plan.dug_volume} cells behind the surfaces",
        *_items(time_lines(plan), "  "),
    ]


def _parts(plan: BuildPlan) -> list[str]:
    lines = [*_rule("PARTS"), f"  {'part':<14}{'count':>7}   stacks of 64 + rest"]
    for count in plan.counts:
        full, rest = count.stacks
        lines.append(f"  {name_of(count.kind):<14}{count.number:>7}   {full} + {rest}")
    return lines


def _press(plan: BuildPlan) -> list[str]:
    return [*_rule("A PRESS: RAM HEADS OUT AND BACK, IN TICKS"), *_items(stroke_lines(plan.movers))]


def _steps(plan: BuildPlan) -> list[str]:
    lines = _rule("BUILDING ORDER")
    for step in plan.steps:
        lines += ["", *_step(step)]
    return lines


def _step(step: Step) -> list[str]:
    if step.stage == "dig":
        volume = sum(box.volume() for box in step.boxes)
        lines = [f"[ ] {step.number}. {step_title(step)}: {volume} cells"]
        lines += _items(digging(step), "      ")
    else:
        count = count_of(piece.kind for piece in step.pieces)
        lines = [f"[ ] {step.number}. {step_title(step)}: {count}"]
        lines += _items(placing(step), "      ")
    lines += _items(step_notes(step), "      note: ")
    if step.test:
        lines += _items(test_lines(step.test), "      test: ")
    return lines


def _legend() -> list[str]:
    lines = [*_rule("LEGEND"), "  Facing: n north, e east, s south, w west, u up, d down."]
    lines += [f"  {LETTER[kind]}  {MEANING[kind]}" for kind in PIECE_KINDS]
    lines += [f"  {AIR}  dug, or the air of the room: stays empty", f"  {GROUND}  ground, not dug"]
    return lines


def _layer(layer: Layer) -> list[str]:
    name = f"LAYER {layer.surface} {layer.level}: {layer_plane(layer)}"
    lines = [
        *_rule(name),
        f"  {level_name(layer.surface, layer.level)}; {VIEW[layer.surface]}",
        f"  columns: {AXIS[layer.right]}, rows: {AXIS[layer.down]}",
    ]
    if layer.pieces:
        lines.append(f"  {count_of(piece.kind for piece in layer.pieces)}")
    for first in range(0, layer.columns, PANEL):
        lines += ["", *_panel(layer, range(first, min(first + PANEL, layer.columns)))]
    return lines


def _chapter(chapter: Chapter) -> list[str]:
    return [*_rule(_ascii(chapter.title.upper())), *(f"  {_ascii(x)}" for x in chapter.lines)]


def _panel(layer: Layer, columns: range) -> list[str]:
    across, along = "xyz".index(AXIS[layer.right]), "xyz".index(AXIS[layer.down])
    heads = [str(layer.cell(0, column)[across]) for column in columns]
    body = [[_sign(layer, layer.cell(row, c)) for c in columns] for row in range(layer.rows)]
    width = 1 + max(len(text) for text in (*heads, *(sign for line in body for sign in line)))
    top = " " * 8 + "".join(head.ljust(width) for head in heads).rstrip()
    lines = [top]
    for row, signs in enumerate(body):
        place = layer.cell(row, 0)[along]
        line = "".join(sign.ljust(width) for sign in signs)
        lines.append(f"{place:>5} | {line}| {place}")
    return [*lines, top]


def _sign(layer: Layer, cell: Cell) -> str:
    piece = layer.piece_at.get(cell)
    if piece is not None:
        return symbol(piece)
    return AIR if cell in layer.air or layer.level < 0 else GROUND
