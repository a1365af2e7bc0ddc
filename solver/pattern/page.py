"""A pattern as SVG, as a page that turns, and as a chapter of the builder's plan.

One file each, no network, readable without the script.
"""

from __future__ import annotations

import json
from html import escape
from importlib import resources
from xml.sax.saxutils import quoteattr

from models.machine import Machine
from models.pattern import Choreography, Scene
from solver.pattern.picture import draw_scene, list_marks, spots
from solver.pattern.turn import back_after, period, scene
from solver.pattern.wishes import presses_text
from solver.sheets.chapter import Chapter
from solver.sheets.shell import page_head

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "base-uri 'none'; form-action 'none'"
)
CELL, GAP = 24, 12
MOST_PRESSES = 10_000
"""As far as the page turns."""
LOOK = """
.scenes{display:flex;flex-wrap:wrap;gap:1rem 1.6rem}
.scenes figure{margin:.3rem 0}
.scenes svg,#turning svg{display:block;max-width:100%;height:auto}
#player .bar{align-items:center}
"""


def ink(colour: str) -> str:
    """Black or white, whichever stands out more (relative luminance as in WCAG 2)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if light > 0.179 else "#ffffff"


def svg_scene(machine: Machine, asked: Choreography, shown: Scene) -> str:
    """One picture: the surfaces that carry tape, side by side."""
    number = {cell: j for j, cell in enumerate(machine.tape)}
    body, left, height = [], 0, 0
    for name, on in spots(machine).items():
        top, start = min(r for r, _ in on.values()), min(c for _, c in on.values())
        body.append(f"<g><title>{name}</title>")
        for cell, (row, column) in on.items():
            x, y = left + (column - start) * CELL, (row - top) * CELL
            body.append(_cell(x, y, number[cell], shown.shows[cell], asked))
        body.append("</g>")
        height = max(height, (max(r for r, _ in on.values()) - top + 1) * CELL)
        left += (max(c for _, c in on.values()) - start + 1) * CELL + GAP
    label = quoteattr(f"{asked.title}, {presses_text(shown.presses)}")
    width = left - GAP
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-1 -1 {width + 2} {height + 2}" '
        f'width="{width + 2}" height="{height + 2}" role="img" aria-label={label}>'
        f"{''.join(body)}</svg>"
    )


def _cell(x: int, y: int, number: int, mark: str, asked: Choreography) -> str:
    colour = asked.colours[mark]
    letter = "" if mark == asked.blank else escape(mark)
    return (
        f'<g data-cell="{number}"><rect x="{x}" y="{y}" width="{CELL}" height="{CELL}" '
        f'fill="{colour}" stroke="#8a8a86"/><text x="{x + CELL // 2}" y="{y + 17}" '
        f'text-anchor="middle" font-family="sans-serif" font-size="15" fill="{ink(colour)}">'
        f"{letter}</text></g>"
    )


def write_pattern_page(machine: Machine, asked: Choreography, marks: str) -> str:
    """The HTML text."""
    title = escape(asked.title)
    head = page_head(f"{title}: pattern", POLICY, LOOK)
    return f"""{head}
<body>
<main>
<h1>{title}</h1>
{_inside(machine, asked, marks, "h2")}
</main>
<script>{_script()}</script>
</body>
</html>
"""


def pattern_chapter(machine: Machine, asked: Choreography, marks: str) -> Chapter:
    """What a builder must know: which mark goes on which block, and what presses show."""
    lines = ["Which block where, before the first press:"]
    lines += list_marks(machine, marks)
    for presses in asked.presses:
        lines += draw_scene(machine, scene(marks, machine, presses))
    html = f"<p>{escape(asked.title)}</p>\n{_inside(machine, asked, marks, 'h3')}"
    return Chapter("pattern", "Pattern", tuple(lines), html, LOOK, _script())


def _script() -> str:
    return resources.files("solver").joinpath("data", "pattern", "pattern.js").read_text("utf-8")


def _inside(machine: Machine, asked: Choreography, marks: str, heading: str) -> str:
    """All of a pattern below its title."""
    spans = machine.spans
    last = min(back_after(spans), MOST_PRESSES) - 1
    scenes = "".join(_figure(machine, asked, marks, presses) for presses in asked.presses)
    blocks = "".join(f"<li>{escape(line)}</li>" for line in list_marks(machine, marks))
    return f"""<dl class="facts"><div><dt>Blocks</dt><dd>{len(marks)}</dd></div>
<div><dt>Presses until the picture repeats</dt><dd>{period(marks, spans)}</dd></div>
<div><dt>Presses until every block is back</dt><dd>{back_after(spans)}</dd></div></dl>
<div id="player" hidden><{heading}>Turn it</{heading}>
<div id="turning">{svg_scene(machine, asked, scene(marks, machine, 0))}</div>
<div class="bar"><button id="turn-back" type="button">Back</button>
<button id="turn-play" type="button">Play</button><button id="turn-on" type="button">On</button>
<label class="grow">Presses
<input id="turn-presses" type="range" min="0" max="{last}" value="0"></label>
<output id="turn-told" for="turn-presses"></output></div></div>
<{heading}>Pictures</{heading}>
<div class="scenes">{scenes}</div>
<{heading}>Which block where, before the first press</{heading}>
<ol class="lines">{blocks}</ol>
<script type="application/json" id="pattern-data">{_json(machine, asked, marks)}</script>"""


def _figure(machine: Machine, asked: Choreography, marks: str, presses: int) -> str:
    drawn = svg_scene(machine, asked, scene(marks, machine, presses))
    return f"<figure>{drawn}<figcaption>{presses_text(presses)}</figcaption></figure>"


def _json(machine: Machine, asked: Choreography, marks: str) -> str:
    data = {
        "marks": marks,
        "loops": [[span.start, len(span)] for span in machine.spans for _ in span],
        "blank": asked.blank,
        "colours": dict(asked.colours),
        "inks": {mark: ink(colour) for mark, colour in asked.colours.items()},
    }
    return json.dumps(data, ensure_ascii=True).replace("<", "\\u003c")
