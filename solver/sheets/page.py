"""The builder's page: one HTML file that needs no network, with and without JavaScript."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from html import escape
from importlib import resources

from models.geometry import Box
from models.plan import BuildPlan, Count, Layer, Step
from solver.plan.words import (
    VIEW,
    caution_lines,
    count_of,
    digging,
    layer_plane,
    level_name,
    name_of,
    opening_lines,
    placing,
    revision,
    step_notes,
    step_title,
    stroke_lines,
    symbol,
    tape_lines,
    test_lines,
    ticks,
    time_lines,
)
from solver.sheets import drawing
from solver.sheets.chapter import Chapter
from solver.sheets.draw_waves import LEFT, STEP, waves
from solver.sheets.drawing import CELL, STYLE, definitions, drawing_id, sheet, sheet_size

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'"
)
PAPERS = {"a4": "A4", "letter": "Letter"}
_WHAT = {"wire": 0, "on": 1, "ram": 2, "tape": 3}
_PARTS = (
    ("overview", "Overview"),
    ("order", "Build"),
    ("layers", "Layers"),
    ("press", "View and press"),
    ("parts", "Parts"),
    ("digging", "Digging"),
)


def write_page(plan: BuildPlan, paper: str = "a4", chapters: Sequence[Chapter] = ()) -> str:
    """The HTML text."""
    title = _title(plan)
    marked = revision(plan)
    body = [
        _overview(plan, marked),
        _order(plan),
        _layers(plan, marked),
        _press(plan),
        _parts(plan.counts),
        _digging(plan),
        *(_chapter(chapter) for chapter in chapters),
    ]
    look = "".join(chapter.look for chapter in chapters)
    scripts = "".join(f"<script>{chapter.script}</script>\n" for chapter in chapters)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{escape(POLICY)}">
<title>{title}: build plan</title>
<style>{_asset("page.css")}{STYLE}{look}</style>
<style id="paper-size">{_paper(PAPERS[paper])}</style>
</head>
<body>
<a class="skip" href="#overview">Skip to the plan</a>
{_nav(chapters)}
<svg width="0" height="0" style="position:absolute" aria-hidden="true">{definitions(plan)}</svg>
<main>
{"".join(body)}
</main>
<footer><p>Revision {marked}. Lengths in cells (x east, y north, z up), times in ticks. Made by
Ringwright from a machine that was simulated press by press. Local codes, the owner's rules and
licensed practice come first.</p></footer>
<script type="application/json" id="plan-data">{_json(_data(plan, marked))}</script>
<script>{_asset("page.js")}</script>
{scripts}</body>
</html>
"""


def _paper(name: str) -> str:
    """The script writes the same when another paper is chosen."""
    return f"@page{{size:{name}}}@page broad{{size:{name} landscape}}"


def _asset(name: str) -> str:
    return resources.files("solver").joinpath("data", "page", name).read_text("utf-8")


def _title(plan: BuildPlan) -> str:
    return escape(" ".join(plan.machine.title.split()) or "Untitled")


def _nav(chapters: Sequence[Chapter]) -> str:
    parts = [*_PARTS, *((chapter.name, escape(chapter.title)) for chapter in chapters)]
    links = "".join(f'<li><a href="#{name}">{words}</a></li>' for name, words in parts)
    return f'<nav aria-label="Parts of the plan"><ul>{links}</ul></nav>'


def _list(lines: Iterable[str], kind: str = "lines") -> str:
    return f'<ul class="{kind}">{"".join(f"<li>{escape(line)}</li>" for line in lines)}</ul>'


# ------------------------------------------------------------------ overview


def _overview(plan: BuildPlan, marked: str) -> str:
    x, y, z = plan.machine.room
    return f"""<header id="overview"><h1>{_title(plan)}</h1>
<p>Build plan, revision {marked}. {escape(" ".join(tape_lines(plan)))}</p></header>
<section class="caution" aria-label="Cautions"><h2>Cautions, read first</h2>
{_list(caution_lines(plan))}
<details><summary>Which surface cells are open, and when</summary>
{_list(opening_lines(plan.openings))}</details></section>
{_loop(plan)}<dl class="facts">{_facts(plan)}<div><dt>Room</dt><dd>{x} x {y} x {z}</dd></div></dl>
<div class="bar js"><label>Colours <select id="theme"><option value="">as the system</option>
<option value="light">light</option><option value="dark">dark</option></select></label>
<label>Paper <select id="paper"><option>A4</option><option>Letter</option></select></label>
<button type="button" id="print">Print the sheets</button></div>
"""


def _loop(plan: BuildPlan) -> str:
    """The surfaces, small: their symbols are those of the layer sheets."""
    drawn = []
    for layer in plan.layers:
        if layer.level != 0:
            continue
        name = f"{level_name(layer.surface, 0)}, {VIEW[layer.surface]}"
        width, height = layer.columns * CELL + 4, layer.rows * CELL + 4
        drawn.append(
            f'<figure><svg viewBox="-2 -2 {width} {height}" role="img" '
            f'style="max-width:{layer.columns}rem;aspect-ratio:{width}/{height}" '
            f'aria-label="{escape(name)}"><use href="#{drawing_id(layer)}"/></svg>'
            f"<figcaption>{escape(name)}</figcaption></figure>"
        )
    return f'<div class="loop screen">{"".join(drawn)}</div>'


def _facts(plan: BuildPlan) -> str:
    timing = plan.timing
    parts = sum(count.number for count in plan.counts if count.kind != "cover")
    facts = [
        ("Surfaces", ", ".join(plan.surfaces), ""),
        ("Tape", f"{len(plan.machine.tape)} blocks", f"{plan.corners} corners"),
        ("Parts", str(parts), "tape included, covers not"),
        ("Depth", f"{plan.depth} cells", "behind the surface"),
        ("Digging", f"{plan.dug_volume} cells", "behind the surfaces"),
    ]
    if timing:
        facts.append(("A press", f"{ticks(timing.flush_half_ticks)} ticks", "until flush again"))
        facts.append(("At rest after", f"{ticks(timing.rest_half_ticks)} ticks", ""))
        if timing.interval_half_ticks is not None:
            interval = ticks(timing.interval_half_ticks)
            facts.append(("Between presses", f"{interval} ticks", "or more"))
    return "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}"
        f"{f'<small>{escape(more)}</small>' if more else ''}</dd></div>"
        for name, value, more in facts
    )


# ------------------------------------------------------------------ building order


def _order(plan: BuildPlan) -> str:
    steps = "".join(_step(step) for step in plan.steps)
    return f"""<section id="order"><h2>Building order</h2>
<div class="now js" role="group" aria-label="Next to place"><div>
<p>Next to place</p><p class="what" id="next-what" aria-live="polite"></p><p id="next-where"></p>
<div class="bar"><button type="button" class="main" id="next-done">Placed, next</button>
<button type="button" id="next-back">Back</button>
<button type="button" id="next-step">Whole step placed</button>
<button type="button" id="next-layer">Show its layer</button>
<button type="button" id="forget">Start again</button></div>
<p>Faint signs are not placed yet. The ticks are kept in this browser.</p></div>
<svg id="near" role="img" aria-label="Surroundings" viewBox="0 0 10 10"></svg></div>
<ol class="steps">{steps}</ol></section>
"""


def _step(step: Step) -> str:
    if step.stage == "dig":
        volume = sum(box.volume() for box in step.boxes)
        count, lines, look = f"{volume} cells", digging(step), "lines screen"
    else:
        count = count_of(piece.kind for piece in step.pieces)
        lines, look = placing(step), "lines"
    title = f"{step.number}. {step_title(step)}: {count}"
    test = ""
    if step.test:
        test = f"<h3>Test</h3>{_list(test_lines(step.test))}"
    return (
        f'<li><label class="tick"><input type="checkbox" class="step" value="{step.number}">'
        f"<span>{escape(title)}</span></label>"
        f"{_list(step_notes(step))}<details><summary>Where, and the test</summary>"
        f"{_list(lines, look)}{test}</details></li>"
    )


# ------------------------------------------------------------------ layers


def _layers(plan: BuildPlan, marked: str) -> str:
    figures = "".join(_figure(plan, layer, marked) for layer in plan.layers)
    last = max(0, len(plan.layers) - 1)
    return f"""<section id="layers"><h2>Layers</h2>
<div class="bar js"><button type="button" id="layer-back">Nearer the room</button>
<label class="grow">Layer
<input type="range" id="layer-range" min="0" max="{last}" value="0"></label>
<button type="button" id="layer-on">Deeper</button></div>
<p class="js say" id="layer-name" aria-live="polite"></p>
{figures}</section>
"""


def _figure(plan: BuildPlan, layer: Layer, marked: str) -> str:
    name = f"{level_name(layer.surface, layer.level)} ({layer_plane(layer)})"
    width, height = sheet_size(layer)
    drawn = sheet(plan, layer, marked).replace(
        "<svg ", f'<svg style="width:{width}px;aspect-ratio:{width}/{height}" ', 1
    )
    broad = " broad" if width > 1.2 * height else ""
    return (
        f'<figure class="layer{broad}" data-name="{escape(name)}"><div class="wide" tabindex="0" '
        f'role="region" aria-label="Drawing: {escape(name)}"><div class="stack">{drawn}</div>'
        "</div></figure>"
    )


# ------------------------------------------------------------------ view and press


def _press(plan: BuildPlan) -> str:
    return f"""<section id="press"><h2>View and press</h2>
<div class="js"><p id="view-help">Drag to turn, two fingers or the buttons to come nearer. With the
view in focus the arrow keys turn it, + and - change its size. Filled with colour is powered, dashed
is moving; on the layers above a dashed frame is an open surface cell.</p>
<canvas id="view" class="view" tabindex="0" role="img" aria-label="The machine as a line drawing in
three dimensions" aria-describedby="view-help state-said"></canvas>
{_transport(plan)}
<details open><summary>Turn, slice, fade</summary>{_view_controls(plan)}</details></div>
<h3>Times</h3>{_list(time_lines(plan))}
<h3>Waveforms</h3><p>Rams: high is out, half way is a stroke. All else: high is on or moving.</p>
<div class="wide" tabindex="0" role="region" aria-label="Waveforms">{waves(plan)}</div>
<details><summary>Every stroke in words</summary>{_list(stroke_lines(plan.movers))}</details>
</section>
"""


def _transport(plan: BuildPlan) -> str:
    return f"""<div class="bar"><button type="button" class="main" id="play">Play</button>
{_buttons({"one-back": "Half-tick back", "one-on": "Half-tick on"})}
<label class="grow">Half-ticks from the press <input type="range" id="scrub" min="0"
max="{plan.trace.half_ticks}" value="0"></label>
<label>Speed <select id="speed"><option value="1000">slow</option><option value="300" selected>
easy</option><option value="100">fast</option><option value="33">very fast</option></select></label>
</div>
<p class="say" id="state"></p><p id="state-said" class="unseen" aria-live="polite"></p>"""


def _view_controls(plan: BuildPlan) -> str:
    levels = [layer.level for layer in plan.layers] or [0]
    low, high = min(levels), max(levels)
    units = sorted({p.unit.split(" ")[0] for p in plan.pieces if p.kind != "tape" and p.unit})
    drives = sorted(
        {p.unit for p in plan.pieces if p.unit.startswith("drive ")}, key=lambda u: (len(u), u)
    )
    roles = "".join(f"<option>{escape(unit)}</option>" for unit in [*units, *drives, "tape"])
    layers = "".join(
        f'<option value="{number}">{escape(level_name(layer.surface, layer.level))}</option>'
        for number, layer in enumerate(plan.layers)
    )
    turns = {"turn-left": "Turn left", "turn-right": "Turn right", "turn-up": "Tilt up"}
    turns |= {"turn-down": "Tilt down", "zoom-in": "Nearer", "zoom-out": "Farther"}
    return f"""<div class="bar" role="group" aria-label="Turn">
{_buttons(turns | {"from-room": "From above"})}</div>
<div class="bar"><label class="grow">First level shown <input type="range" id="slice-from"
min="{low}" max="{high}" value="{low}"></label><label class="grow">Last level shown
<input type="range" id="slice-to" min="{low}" max="{high}" value="{high}"></label></div>
<p id="slice-says" class="say"></p>
<div class="bar"><label class="row"><input type="checkbox" id="with-covers"> Covers</label>
<label>Clear only this unit
<select id="fade-unit"><option value="">all units</option>{roles}</select></label>
<label>Clear only this layer
<select id="fade-layer"><option value="">all layers</option>{layers}</select></label></div>"""


def _buttons(names: dict[str, str]) -> str:
    return "".join(f'<button type="button" id="{i}">{name}</button>' for i, name in names.items())


# ------------------------------------------------------------------ lists


def _parts(counts: tuple[Count, ...]) -> str:
    rows = "".join(
        f'<tr><td>{escape(name_of(c.kind))}</td><td class="n">{c.number}</td>'
        f'<td class="n">{c.stacks[0]}</td><td class="n">{c.stacks[1]}</td></tr>'
        for c in counts
    )
    return f"""<section id="parts"><h2>Parts</h2><div class="wide" tabindex="0" role="region"
aria-label="Parts list"><table><thead>
<tr><th scope="col">Part</th><th scope="col" class="n">Count</th>
<th scope="col" class="n">Stacks of 64</th><th scope="col" class="n">and</th></tr></thead>
<tbody>{rows}</tbody></table></div></section>
"""


def _digging(plan: BuildPlan) -> str:
    boxes = [box for step in plan.steps for box in step.boxes]
    rows = "".join(_box(box) for box in boxes)
    return f"""<section id="digging"><h2>Digging</h2><p>{plan.dug_volume} cells behind the surfaces.
Take up the surface over them and where the tape runs.</p>
<div class="wide" tabindex="0" role="region" aria-label="Digging list"><table><thead>
<tr><th scope="col">From</th><th scope="col">To</th>
<th scope="col" class="n">Cells</th></tr></thead><tbody>{rows}</tbody></table></div></section>
"""


def _box(box: Box) -> str:
    low, high = (", ".join(map(str, corner)) for corner in box)
    return f'<tr><td>{low}</td><td>{high}</td><td class="n">{box.volume()}</td></tr>'


def _chapter(chapter: Chapter) -> str:
    return f"""<section id="{chapter.name}"><h2>{escape(chapter.title)}</h2>
{chapter.html}</section>
"""


# ------------------------------------------------------------------ data for the script


def _json(data: object) -> str:
    """JSON that no text in it can end early."""
    text = json.dumps(data, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


class _Names:
    """Numbers for words that come again and again."""

    def __init__(self) -> None:
        self._number: dict[str, int] = {}

    def __call__(self, word: str) -> int:
        return self._number.setdefault(word, len(self._number))

    @property
    def words(self) -> list[str]:
        """The words by their numbers."""
        return list(self._number)


def _data(plan: BuildPlan, marked: str) -> dict[str, object]:
    """What the script needs; tape blocks come first, in travel order."""
    kinds, signs, units = _Names(), _Names(), _Names()
    home = {p.at: number for number, layer in enumerate(plan.layers) for p in layer.pieces}
    by_cell = {piece.at: piece for piece in plan.pieces}
    tape = set(plan.machine.tape)
    order = [by_cell[cell] for cell in plan.machine.tape]
    order += [piece for piece in plan.pieces if piece.at not in tape]
    index = {piece.at: number for number, piece in enumerate(order)}
    pieces = [
        [kinds(p.kind), *p.at, p.face or 0, signs(symbol(p)), units(p.unit), home[p.at]]
        for p in order
    ]
    trace = plan.trace
    return {
        "revision": marked,
        "tape": len(plan.machine.tape),
        "pieces": pieces,
        "kinds": kinds.words,
        "signs": signs.words,
        "units": units.words,
        "layers": [
            {
                "surface": layer.surface,
                "level": layer.level,
                "origin": layer.origin,
                "right": layer.right,
                "down": layer.down,
                "columns": layer.columns,
                "rows": layer.rows,
            }
            for layer in plan.layers
        ],
        "layerNames": [level_name(layer.surface, layer.level) for layer in plan.layers],
        "steps": [
            {"number": step.number, "pieces": [index[piece.at] for piece in step.pieces]}
            for step in plan.steps
        ],
        "trace": {
            "n": trace.half_ticks,
            "wires": [index[cell] for cell in trace.wires],
            "switches": [index[cell] for _, cell in trace.switches],
            "rams": [index[cell] for cell in trace.rams],
            "events": [
                [h.half_tick, _WHAT[h.what], h.which, h.value, *(h.to or ())]
                for h in trace.happenings
            ],
        },
        "sheet": {"left": drawing.LEFT, "top": drawing.TOP},
        "wave": {"left": LEFT, "step": STEP},
    }
