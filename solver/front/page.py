"""The page that compares the machines of a front side by side: one file, no network, no script."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from models.front import TIME, Front
from models.plan import PIECE_KINDS, BuildPlan
from models.surface import SURFACES
from solver.plan.words import LETTER, VIEW, level_name, name_of, ticks
from solver.sheets.drawing import CELL, STYLE, hatch, shape
from solver.sheets.shell import page_head
from solver.sheets.terminal import CORNER, COVER, DRIVE, LINK, Signs, signs_of
from solver.tell import CAUTION, tell_completeness

POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
LOOK = """
.choice th[scope=row]{font-weight:400;width:14rem;color:var(--soft);position:sticky;left:0;
background:var(--paper)}
.choice td,.choice thead th{min-width:10rem}
.choice svg{display:block;width:100%;min-width:9rem;height:auto;max-height:20rem}
.choice .asked th{color:var(--ink);font-weight:700}
.choice .least{font-weight:700}
.choice .least::after{content:" least";font-weight:400;font-size:.8rem;color:var(--soft)}
.key{display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;list-style:none;padding:0}
.key li{display:flex;align-items:center;gap:.4rem}
.key svg{width:1.6rem;height:1.6rem;flex:none}
"""
TERM_WORDS = {
    "parts": "Parts, tape included, covers not",
    "depth": "Depth behind the surface, cells",
    "length": "Tape, blocks",
    "corners": "Corners",
    "dug": "Digging, cells",
    TIME: "Time of a press until rest, ticks",
}
_DRIVE = (
    '<rect class="o thin" x="-11" y="-11" width="22" height="22" stroke-dasharray="4 2"/>'
    f'<path class="h" transform="translate(-11,-11)" d="{hatch(22, 22, 7)}"/>'
)
_CORNER = (
    '<g class="c-tape"><rect class="o" x="-10" y="-10" width="20" height="20" rx="6"/>'
    '<rect class="t" x="-10" y="-10" width="20" height="20" rx="6"/>'
    '<path class="t" d="M-4 0H4M0 -4V4"/></g>'
)
_WAYS = {">": "right", "^": "up", "<": "left", "v": "down"}
_KEY = (
    ("tape-right", "tape, the way it moves"),
    ("corner", "corner or fold"),
    ("drive", "drive or fold behind the surface"),
    ("link", "trigger and its link behind the surface"),
    ("button", "button"),
)


@dataclass(frozen=True)
class Offer:
    """A machine of the front as the page shows it."""

    name: str
    """Its directory beside the page."""
    score: dict[str, int]
    plan: BuildPlan


def write_front(title: str, front: Front, offers: Sequence[Offer], best: str) -> str:
    """The HTML text; `best` names the offer that the scenario's own objective chooses."""
    name = escape(" ".join(title.split()) or "Untitled")
    head = page_head(f"{name}: machines to choose from", POLICY, STYLE + LOOK)
    said = "".join(f"<li>{escape(line)}</li>" for line in tell_completeness(front))
    return f"""{head}
<body>
<svg width="0" height="0" style="position:absolute" aria-hidden="true">{_symbols()}</svg>
<main>
<h1>{name}: machines to choose from</h1>
<p>{escape(_opening(front))}</p>
<section class="caution" aria-label="Cautions"><h2>Cautions, read first</h2>
<p>{escape(CAUTION)}</p></section>
<h2>Side by side</h2>
<div class="wide" tabindex="0" role="region" aria-label="Comparison">
<table class="choice"><thead>{_heads(offers, best)}</thead><tbody>
{_drawings(offers)}{_figures(front, offers)}{_counts(offers)}</tbody></table></div>
<h2>Legend</h2><ul class="key">{_key()}</ul>
<h2>Is this all?</h2><ul class="lines">{said}</ul>
</main>
<footer><p>Lengths in cells, times in ticks. Local codes, the owner's rules and licensed practice
come first.</p></footer>
</body>
</html>
"""


def _opening(front: Front) -> str:
    """What the machines have in common."""
    terms = ", ".join(front.terms)
    if len(front.machines) == 1:
        return f"This machine beats all others found, in all of: {terms}. It was simulated."
    return (
        f"Of any two of these machines each is better in at least one of: {terms}. "
        "All were accepted by simulation."
    )


def _symbols() -> str:
    drawn = {f"tape-{way}": shape("tape", way, "") for way in _WAYS.values()}
    drawn |= {"corner": _CORNER, "drive": _DRIVE}
    drawn |= {"link": shape("wire", "", ""), "button": shape("button", "", LETTER["button"])}
    return "".join(
        f'<symbol id="m-{name}" viewBox="-12 -12 24 24" overflow="visible">{body}</symbol>'
        for name, body in drawn.items()
    )


def _symbol_of(sign: str) -> str:
    others = {CORNER: "corner", DRIVE: "drive", LINK: "link", LETTER["button"]: "button"}
    return f"tape-{_WAYS[sign]}" if sign in _WAYS else others[sign]


def _key() -> str:
    return "".join(
        f'<li><svg viewBox="-13 -13 26 26" aria-hidden="true"><use href="#m-{name}" x="-12" '
        f'y="-12" width="24" height="24"/></svg>{words}</li>'
        for name, words in _KEY
    )


def _heads(offers: Sequence[Offer], best: str) -> str:
    cells = "".join(
        f'<th scope="col">{offer.name}'
        f"{' (best as the scenario asks)' if offer.name == best else ''}<br>"
        f'<a href="{offer.name}/plan.html" aria-label="Build plan of {offer.name}">build plan</a>'
        "</th>"
        for offer in offers
    )
    return f'<tr><th scope="col">Machine</th>{cells}</tr>'


def _row(head: str, cells: Sequence[str], look: str = "") -> str:
    return f'<tr{look}><th scope="row">{escape(head)}</th>{"".join(cells)}</tr>\n'


# ------------------------------------------------------------------ drawings, all to one scale


def _drawings(offers: Sequence[Offer]) -> str:
    """A row for each surface that any of the machines uses; all cells of a row to one scale."""
    drawn = [signs_of(offer.plan.machine) for offer in offers]
    rows = []
    for name in SURFACES:
        spots = [spot for signs in drawn for spot in signs.get(name, {})]
        if not spots:
            continue
        head = f"{level_name(name, 0).split(',')[0]}, {VIEW[name]}"
        frame = _frame(spots)
        cells = [
            f"<td>{_drawing(signs.get(name, {}), frame, f'{offer.name}, {head}')}</td>"
            for offer, signs in zip(offers, drawn, strict=True)
        ]
        rows.append(_row(head, cells))
    return "".join(rows)


def _frame(spots: Sequence[tuple[int, int]]) -> tuple[int, int, int, int]:
    """Left, top, width and height of what must be seen."""
    left, top = min(c for c, _ in spots), min(r for _, r in spots)
    return left, top, 1 + max(c for c, _ in spots) - left, 1 + max(r for _, r in spots) - top


def _drawing(signs: Signs, frame: tuple[int, int, int, int], label: str) -> str:
    left, top, columns, rows = frame
    width, height = columns * CELL, rows * CELL
    uses = "".join(
        f'<use href="#m-{_symbol_of(sign)}" x="{(c - left) * CELL}" y="{(r - top) * CELL}" '
        f'width="{CELL}" height="{CELL}"/>'
        for (c, r), sign in sorted(signs.items(), key=lambda item: (item[0][1], item[0][0]))
        if sign != COVER
    )
    return (
        f'<svg class="sheet" viewBox="-2 -2 {width + 4} {height + 4}" role="img" '
        f'aria-label="{escape(label)}"><rect class="rim" width="{width}" height="{height}"/>{uses}'
        "</svg>"
    )


# ------------------------------------------------------------------ figures


def _figures(front: Front, offers: Sequence[Offer]) -> str:
    """The named terms first, then the other terms and the times."""
    others = (t for t in TERM_WORDS if t not in front.terms and t != TIME)
    rows = [
        _numbers(
            TERM_WORDS[t],
            [o.score[t] for o in offers],
            ticks if t == TIME else str,
            t in front.terms,
        )
        for t in [*front.terms, *others]
    ]
    timings = [offer.plan.timing for offer in offers]
    known = [timing for timing in timings if timing is not None]
    if len(known) == len(timings):
        flush = [timing.flush_half_ticks for timing in known]
        rows += [_numbers("Flush again after a press, ticks", flush, ticks, False)]
        if TIME not in front.terms:
            rest = [timing.rest_half_ticks for timing in known]
            rows += [_numbers(TERM_WORDS[TIME], rest, ticks, False)]
    return "".join(rows)


def _numbers(head: str, values: Sequence[int], words: Callable[[int], str], asked: bool) -> str:
    best = min(values) if len(set(values)) > 1 else None
    cells = [
        f"<td><span{' class=least' if value == best else ''}>{words(value)}</span></td>"
        for value in values
    ]
    return _row(head, cells, ' class="asked"' if asked else "")


def _counts(offers: Sequence[Offer]) -> str:
    """How many of each kind."""
    counts = [{count.kind: count.number for count in offer.plan.counts} for offer in offers]
    return "".join(
        _row(name_of(kind, 2).capitalize(), [f"<td>{c.get(kind, 0)}</td>" for c in counts])
        for kind in PIECE_KINDS
        if kind != "cover" and any(kind in c for c in counts)
    )
