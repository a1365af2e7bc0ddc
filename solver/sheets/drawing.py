"""Layers as line drawings (SVG): the symbols, the sheet of a layer, its legend.

Every piece is a symbol in a cell of CELL units: an outline of its own, its sign as letters, and
a mark on the side that it faces. Colour only repeats what outline and letters say.
"""

from __future__ import annotations

from html import escape

from models.geometry import OPPOSITE, Cell, Face, step
from models.plan import OF_LOOP, PIECE_KINDS, BuildPlan, Layer, Piece, PieceKind
from models.surface import BEHIND
from solver.plan.words import (
    AXIS,
    LETTER,
    VIEW,
    WAY_NAME,
    layer_plane,
    level_name,
    symbol,
)

CELL = 24
LOOP_TINTS = ("#f0c000", "#00a0a0", "#d05080", "#7070d0")
"""Behind the pieces of several loops, one each; the loop's number stands on its tape too."""
LEFT, TOP = 40, 78
"""Room for the margin numbers and the heading."""
LEAST_WIDTH = 700
LEGEND_ROW = 26
_LEGEND: dict[PieceKind, str] = {
    "tape": "tape block, arrow: the way it travels",
    "cover": "cover, fixed block of the surface",
    "block": "block, passes power",
    "insulator": "insulator, full block, passes no power",
    "wire": "wire",
    "buffer": "buffer, arrow: output, number: delay in ticks",
    "inverter": "inverter, bar: the block it is mounted on",
    "sensor": "sensor, horns: the cell it watches; dot: output",
    "push_ram": "push ram, head: the way it pushes",
    "grip_ram": "grip ram (lift), head: the way it pushes",
    "button": "button, bar: the block it hangs on",
}
TURN = {"up": 0, "right": 90, "down": 180, "left": 270}

STYLE = """
.sheet{background:var(--paper,#fff);color:var(--ink,#1a1a1a);font-family:system-ui,sans-serif}
.sheet text{fill:var(--ink,#1a1a1a);font-size:10px}
.sheet .big{font-size:15px;font-weight:700}
.sheet .mid{text-anchor:middle}
.sheet .end{text-anchor:end}
.sheet .air{fill:var(--paper,#fff)}
.h{fill:none;stroke:var(--soft,#767676);stroke-width:.8}.pale{stroke:var(--faint,#b9b9b9)}
.sheet .rim{fill:none;stroke:var(--ink,#1a1a1a);stroke-width:1}
.sheet .o,.o{fill:var(--paper,#fff);stroke:var(--ink,#1a1a1a);stroke-width:1.4}
.thin{stroke-width:.8!important}
.l{fill:none;stroke:var(--ink,#1a1a1a);stroke-width:1.4}
.hv{fill:none;stroke:var(--ink,#1a1a1a);stroke-width:2.6}
.f{fill:var(--ink,#1a1a1a);stroke:none}
.c-tape{color:var(--c-tape,#0072b2)}.c-line{color:var(--c-line,#9b4f82)}
.c-ram{color:var(--c-ram,#b34700)}.c-eye{color:var(--c-eye,#00785a)}
.t{fill:none;stroke:currentColor;stroke-width:2.4}.tf{fill:currentColor;stroke:none}
.sheet .sg,.sg{font-size:8.5px;font-weight:700;text-anchor:middle;fill:var(--ink,#1a1a1a);
stroke:var(--paper,#fff);stroke-width:2.6px;paint-order:stroke;stroke-linejoin:round}
"""


def hatch(width: int, height: int, gap: int, *, rising: bool = False) -> str:
    """A path of slanting lines that fill a box from 0,0; plain lines, as patterns print badly."""
    path = []
    for start in range(gap // 2 - height, width, gap):
        x, y = (start, 0) if start >= 0 else (0, -start)
        length = min(width - x, height - y)
        if length > 0:
            top, bottom = (height - y, height - y - length) if rising else (y, y + length)
            path.append(f"M{x} {top}L{x + length} {bottom}")
    return "".join(path)


def _square(lines: str, size: int) -> str:
    """Lines of a box of this size around 0,0."""
    move = f'transform="translate({-size / 2:g},{-size / 2:g})"'
    return f'<path class="h" {move} d="{lines}"/>'


_STRIPES = "".join(f"M-11 {y}H11" for y in (-6, 0, 6))
_BLOCK = _square(hatch(21, 21, 5), 21)
_INSULATOR = _square(hatch(21, 21, 5) + hatch(21, 21, 5, rising=True), 21)
# Shapes face the top of the drawing and lie around 0,0.
_FLAT: dict[str, str] = {
    "tape": '<g class="c-tape"><rect class="o" x="-10" y="-10" width="20" height="20" rx="6"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20" rx="6"/>'
    '<path class="tf" d="M-5 -4L0 -10L5 -4Z"/></g>',
    "cover": '<rect class="o thin" x="-11" y="-11" width="22" height="22"/>'
    f'<path class="h pale" d="{_STRIPES}"/>',
    "block": f'<rect class="o" x="-10.5" y="-10.5" width="21" height="21"/>{_BLOCK}',
    "insulator": f'<rect class="o" x="-10.5" y="-10.5" width="21" height="21"/>{_INSULATOR}'
    '<rect class="l" x="-8" y="-8" width="16" height="16"/>',
    "wire": '<g class="c-line"><circle class="o" r="7.5"/><circle class="t" r="7.5"/></g>',
    "buffer": '<g class="c-line"><rect class="o" x="-10" y="-7" width="20" height="17"/>'
    '<rect class="t" x="-10" y="-7" width="20" height="17"/>'
    '<path class="tf" d="M-5 -7L0 -12L5 -7Z"/></g>',
    "inverter": '<g class="c-eye"><path class="hv" d="M-8 -11H8"/><path class="l" d="M0 -11V-5"/>'
    '<path class="o" d="M0 -7L10 10H-10Z"/><path class="t" d="M0 -7L10 10H-10Z"/></g>',
    "sensor": '<g class="c-eye"><rect class="o" x="-10" y="-5" width="20" height="13"/>'
    '<rect class="t" x="-10" y="-5" width="20" height="13"/>'
    '<path class="l" d="M-9 -11L-4 -5M9 -11L4 -5"/><circle class="tf" cy="10.5" r="2"/></g>',
    "push_ram": '<g class="c-ram"><rect class="o" x="-8" y="-3" width="16" height="14"/>'
    '<rect class="t" x="-8" y="-3" width="16" height="14"/><path class="l" d="M0 -3V-9"/>'
    '<path class="hv" d="M-9 -10H9"/></g>',
    "grip_ram": '<g class="c-ram"><rect class="o" x="-8" y="-3" width="16" height="14"/>'
    '<rect class="t" x="-8" y="-3" width="16" height="14"/><path class="l" d="M0 -3V-8"/>'
    '<path class="hv" d="M-9 -12V-8H9V-12"/></g>',
    "button": '<circle class="o" r="9"/><circle class="l" r="5.5"/>'
    '<path class="hv" d="M-7 -11H7"/>',
}
_BODY: dict[str, str] = {
    "tape": '<g class="c-tape"><rect class="o" x="-10" y="-10" width="20" height="20" rx="6"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20" rx="6"/></g>',
    "inverter": '<g class="c-eye"><path class="o" d="M0 -11L11 10H-11Z"/>'
    '<path class="t" d="M0 -11L11 10H-11Z"/></g>',
    "sensor": '<g class="c-eye"><rect class="o" x="-10" y="-10" width="20" height="20"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20"/></g>',
    "push_ram": '<g class="c-ram"><rect class="o" x="-10" y="-10" width="20" height="20"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20"/></g>',
    "grip_ram": '<g class="c-ram"><rect class="o" x="-10" y="-10" width="20" height="20"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20"/>'
    '<path class="hv" d="M-11 -5V-11H-5M5 -11H11V-5M11 5V11H5M-5 11H-11V5"/></g>',
    "button": '<circle class="o" r="10"/><circle class="l" r="7"/>',
}
# Facing out of the drawing: a ring with a dot; into it: a ring with a cross.
_TOWARDS = '<circle class="l" cy="-4.5" r="3.6"/><circle class="f" cy="-4.5" r="1.4"/>'
_AWAY = (
    '<circle class="l" cy="-4.5" r="3.6"/><path class="l" d="M-2.5 -7L2.5 -2M-2.5 -2L2.5 -7" '
    'style="stroke-width:1"/>'
)


def shown_way(face: Face | None, right: Face, down: Face, behind: Face) -> str:
    """Where a facing points in a drawing: up, right, down, left, towards, away, or ""."""
    ways: dict[Face, str] = {
        right: "right",
        OPPOSITE[right]: "left",
        down: "down",
        OPPOSITE[down]: "up",
        behind: "away",
        OPPOSITE[behind]: "towards",
    }
    return ways[face] if face else ""


def shape(kind: PieceKind, way: str, sign: str) -> str:
    """The drawing of one piece around 0,0."""
    if way in ("towards", "away"):
        body = _BODY.get(kind, _FLAT[kind]) + (_TOWARDS if way == "towards" else _AWAY)
        place = 8.0
    else:
        turn = TURN.get(way, 0)
        body = f'<g transform="rotate({turn})">{_FLAT[kind]}</g>' if turn else _FLAT[kind]
        place = 3.2 + {"up": 2.5, "down": -2.0}.get(way, 0.0)
    if kind == "cover":
        return body
    return f'{body}<text class="sg" y="{place:g}">{sign}</text>'


def definitions(plan: BuildPlan) -> str:
    """A symbol for every sign on every surface: once in a page."""
    symbols = {
        _key(layer, piece): _symbol(layer, piece) for layer in plan.layers for piece in layer.pieces
    }
    legend = "".join(
        f'<symbol id="k-{kind}" viewBox="-12 -12 24 24" overflow="visible">'
        f"{shape(kind, 'up' if kind in _BODY or kind == 'buffer' else '', LETTER[kind])}</symbol>"
        for kind in PIECE_KINDS
    )
    return f"<defs>{''.join(symbols.values())}{legend}</defs>"


def _key(layer: Layer, piece: Piece) -> str:
    return f"s-{layer.surface}-{symbol(piece)}"


def _symbol(layer: Layer, piece: Piece) -> str:
    way = shown_way(piece.face, layer.right, layer.down, BEHIND[layer.surface])
    drawn = shape(piece.kind, way, symbol(piece))
    return (
        f'<symbol id="{_key(layer, piece)}" viewBox="-12 -12 24 24" overflow="visible">'
        f"{drawn}</symbol>"
    )


# ------------------------------------------------------------------ a sheet


def sheet_size(layer: Layer) -> tuple[int, int]:
    """Width and height of a layer's sheet."""
    width = max(LEAST_WIDTH, 2 * LEFT + layer.columns * CELL)
    return width, TOP + layer.rows * CELL + 34 + _legend_height(width)


def sheet(plan: BuildPlan, layer: Layer, revision: str, *, alone: bool = False) -> str:
    """One layer: heading, coordinates on the margins, pieces, compass, scale, legend."""
    width, height = sheet_size(layer)
    label = escape(f"{level_name(layer.surface, layer.level)}, {layer_plane(layer)}")
    opening = (
        f'<svg class="sheet" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'role="img" aria-label="{label}"'
    )
    opening += f' width="{width}" height="{height}">' if alone else ">"
    own = f"<style>{STYLE}</style>{definitions(plan)}" if alone else ""
    body = [
        opening,
        own,
        f'<rect class="air" width="{width}" height="{height}"/>' if alone else "",
        _heading(plan, layer, revision, width),
        _ground(layer),
        _margins(layer),
        f'<g transform="translate({LEFT},{TOP})"><g id="{drawing_id(layer)}">'
        f"{_pieces(layer)}</g></g>",
        _legend(TOP + layer.rows * CELL + 34, width),
        "</svg>",
    ]
    return "".join(body)


def drawing_id(layer: Layer) -> str:
    """The name under which a page finds the bare drawing of a layer."""
    return f"d-{layer.surface}-{layer.level}"


def _heading(plan: BuildPlan, layer: Layer, revision: str, width: int) -> str:
    title = escape(" ".join(plan.machine.title.split()) or "Untitled")
    name = escape(level_name(layer.surface, layer.level))
    side = width - 54
    return (
        f'<text class="big" x="{LEFT}" y="18">{name} ({layer_plane(layer)})</text>'
        f'<text x="{LEFT}" y="33">{title}, revision {revision}</text>'
        f'<text x="{LEFT}" y="47">{escape(VIEW[layer.surface])}</text>'
        f'<text class="end" x="{side - 38}" y="47">columns {AXIS[layer.right]}, '
        f"rows {AXIS[layer.down]}</text>" + _compass(layer, side, 32)
    )


def _compass(layer: Layer, x: int, y: int) -> str:
    """An arrow to the top of the drawing, with the names of the four ways; and a scale."""
    top, side = WAY_NAME[OPPOSITE[layer.down]], WAY_NAME[layer.right]
    return (
        f'<path class="l" d="M{x} {y + 16}V{y - 12}"/>'
        f'<path class="f" d="M{x - 5} {y - 8}L{x} {y - 19}L{x + 5} {y - 8}Z"/>'
        f'<text class="end" x="{x - 8}" y="{y - 8}">{top}</text>'
        f'<path class="l" d="M{x} {y + 8}H{x + 14}M{x + 10} {y + 5}L{x + 15} {y + 8}'
        f'L{x + 10} {y + 11}"/><text x="{x + 3}" y="{y + 22}">{side}</text>'
        f'<path class="hv" d="M{x - 160} {y - 8}h{5 * CELL}"/>'
        f'<path class="l" d="M{x - 160} {y - 12}v8m{5 * CELL} -8v8"/>'
        f'<text class="mid" x="{x - 160 + 5 * CELL // 2}" y="{y - 14}">5 cells</text>'
    )


def _ground(layer: Layer) -> str:
    size = f'width="{layer.columns * CELL}" height="{layer.rows * CELL}"'
    where = f'x="{LEFT}" y="{TOP}"'
    width, height = layer.columns * CELL, layer.rows * CELL
    grid = "".join(f"M{x} 0V{height}" for x in range(CELL, width, CELL))
    grid += "".join(f"M0 {y}H{width}" for y in range(CELL, height, CELL))
    ground = "" if layer.level < 0 else hatch(width, height, 8, rising=True)
    return (
        f'<rect class="air" {where} {size}/><g transform="translate({LEFT},{TOP})">'
        f'<path class="h pale" d="{ground}"/><path class="air" d="{_squares(layer)}"/>'
        f'<path class="h pale" d="{grid}"/></g><rect class="rim" {where} {size}/>'
    )


def _squares(layer: Layer) -> str:
    """Dug cells and cells with pieces, as one path of rows."""
    free = layer.air | set(layer.piece_at)
    path = []
    for row in range(layer.rows):
        column = 0
        while column < layer.columns:
            length = 0
            while column + length < layer.columns and layer.cell(row, column + length) in free:
                length += 1
            if length:
                width = length * CELL
                path.append(f"M{column * CELL} {row * CELL}h{width}v{CELL}h-{width}z")
            column += length + 1
    return "".join(path)


def _margins(layer: Layer) -> str:
    across, along = "xyz".index(AXIS[layer.right]), "xyz".index(AXIS[layer.down])
    bottom = TOP + layer.rows * CELL + 14
    right = LEFT + layer.columns * CELL + 6
    texts = []
    for column in range(layer.columns):
        number = layer.cell(0, column)[across]
        x = LEFT + column * CELL + CELL // 2
        texts.append(f'<text class="mid" x="{x}" y="{TOP - 6}">{number}</text>')
        texts.append(f'<text class="mid" x="{x}" y="{bottom}">{number}</text>')
    for row in range(layer.rows):
        number = layer.cell(row, 0)[along]
        y = TOP + row * CELL + 16
        texts.append(f'<text class="end" x="{LEFT - 6}" y="{y}">{number}</text>')
        texts.append(f'<text x="{right}" y="{y}">{number}</text>')
    return "".join(texts)


def spots(layer: Layer) -> dict[Cell, tuple[int, int]]:
    """Column and row of every cell of the layer's frame."""
    return {
        layer.cell(row, column): (column, row)
        for row in range(layer.rows)
        for column in range(layer.columns)
    }


def _pieces(layer: Layer) -> str:
    where = spots(layer)
    drawn = []
    for piece in layer.pieces:
        column, row = where[piece.at]
        drawn.append(
            f"{_loop_tint(piece, column * CELL, row * CELL)}"
            f'<use href="#{_key(layer, piece)}" x="{column * CELL}" y="{row * CELL}" '
            f'width="{CELL}" height="{CELL}"/>'
        )
    links = _wire_links(layer, where)
    return f'<g class="c-line">{links}</g>' + "".join(drawn) if links else "".join(drawn)


def _loop_tint(piece: Piece, x: int, y: int) -> str:
    """Behind a piece of one of several loops: the loop's colour, and its number on the tape."""
    _, of, number = piece.unit.rpartition(OF_LOOP)
    if not of or not number.isdecimal():
        return ""
    colour = LOOP_TINTS[(int(number) - 1) % len(LOOP_TINTS)]
    size = f'width="{CELL}" height="{CELL}"'
    tint = f'<rect x="{x}" y="{y}" {size} fill="{colour}" fill-opacity=".35"/>'
    if piece.kind != "tape":
        return tint
    return f'{tint}<text class="loop" x="{x + 2}" y="{y + 7}" font-size="7">{number}</text>'


def _wire_links(layer: Layer, where: dict[Cell, tuple[int, int]]) -> str:
    """Lines between wires that lie side by side and so are joined."""
    path = []
    onward: tuple[Face, ...] = ("+x", "+y")
    for piece in layer.pieces:
        if piece.kind != "wire":
            continue
        for face in onward:
            beside = layer.piece_at.get(step(piece.at, face))
            if beside is not None and beside.kind == "wire":
                (a, b), (c, d) = where[piece.at], where[beside.at]
                half = CELL // 2
                path.append(
                    f"M{a * CELL + half} {b * CELL + half}L{c * CELL + half} {d * CELL + half}"
                )
    return f'<path class="t" d="{"".join(path)}"/>' if path else ""


# ------------------------------------------------------------------ legend


def _legend_columns(width: int) -> int:
    return max(1, width // 320)


def _legend_height(width: int) -> int:
    columns = _legend_columns(width)
    return 24 + LEGEND_ROW * -(-(len(PIECE_KINDS) + 3) // columns)


def _legend(top: int, width: int) -> str:
    columns = _legend_columns(width)
    span = width // columns
    rows = [(_legend_mark(kind), _LEGEND[kind]) for kind in PIECE_KINDS]
    rows += [
        (f'<g transform="translate(0,4.5)">{_TOWARDS}</g>', "faces out of the drawing, to you"),
        (f'<g transform="translate(0,4.5)">{_AWAY}</g>', "faces into the drawing, away from you"),
        (_square(hatch(20, 20, 8, rising=True), 20), "ground, not dug"),
    ]
    texts = [
        f'<text x="{LEFT}" y="{top + 8}">Letters after the sign: n north, e east, s south, '
        "w west, u up, d down. White cells without a sign: dug, stay empty.</text>"
    ]
    for index, (mark, words) in enumerate(rows):
        x, y = span * (index % columns) + LEFT, top + 26 + LEGEND_ROW * (index // columns)
        texts.append(
            f'<g transform="translate({x},{y})">{mark}<text x="18" y="4">{escape(words)}</text></g>'
        )
    return f'<g class="legend">{"".join(texts)}</g>'


def _legend_mark(kind: PieceKind) -> str:
    return f'<use href="#k-{kind}" x="-12" y="-12" width="24" height="24"/>'
