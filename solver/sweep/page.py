"""The summary of a sweep as a page: one file, no network, no script."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path
from statistics import median

from models.sweep import RESULTS, Axis, Case, Result, Row, Sweep
from solver.sheets.shell import page_head
from solver.sweep.table import word

POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
SIGN: Mapping[Result, str] = {
    "feasible": "●",
    "infeasible": "✕",
    "undecided": "?",
    "wrong": "!",
    "failed": "!!",
}
MEANS: Mapping[Result, str] = {
    "feasible": "a machine was found; * proven optimal",
    "infeasible": "proven impossible",
    "undecided": "undecided within the budget; with a figure: the best machine so far",
    "wrong": "the scenario is wrong",
    "failed": "its worker failed; the next run tries again",
}
LOOK = """
.grid{width:auto;margin:.4rem 0 1.6rem}
.grid td,.grid th{border:1px solid var(--faint);padding:.25rem .55rem;white-space:nowrap}
.grid td{text-align:right;font-variant-numeric:tabular-nums}
.grid .feasible{background:color-mix(in srgb,var(--c-eye) 16%,transparent)}
.grid .infeasible{background:color-mix(in srgb,var(--warn) 18%,transparent)}
.grid .undecided{background:color-mix(in srgb,var(--live) 35%,transparent)}
.grid .wrong,.grid .failed{outline:2px dashed var(--warn);outline-offset:-3px}
.signs{display:flex;flex-wrap:wrap;gap:.2rem 1.4rem;list-style:none;padding:0}
"""
Results = Sequence[tuple[Case, Row]]


def write_summary(sweep: Sweep, rows: Results) -> str:
    """The HTML text."""
    title = escape(" ".join(sweep.title.split()))
    head = page_head(f"{title}: sweep", POLICY, LOOK)
    signs = "".join(f"<li><b>{SIGN[r]}</b> {MEANS[r]}</li>" for r in RESULTS)
    return f"""{head}
<body>
<main>
<h1>{title}</h1>
<dl class="facts">{_facts(rows)}</dl>
<ul class="signs">{signs}</ul>
<p>A figure is the number of parts. Every machine was simulated in all four cases.</p>
<h2>Rooms</h2>
{"".join(_room(sweep, room, rows) for room in sweep.rooms)}
{_troubles(rows)}
</main>
<footer><p>All figures are in <a href="table.csv">table.csv</a>; every case is a scenario in
<code>cases</code>, every machine lies in <code>machines</code>.</p></footer>
</body>
</html>
"""


def _facts(rows: Results) -> str:
    counts = Counter(row.result for _, row in rows)
    searched = [row.cpu_seconds for _, row in rows if row.result not in ("wrong", "failed")]
    facts = [("cases", str(len(rows))), *((r, str(counts[r])) for r in RESULTS if counts[r])]
    facts.append(("proven optimal", str(sum(row.optimal for _, row in rows))))
    if searched:
        facts.append(("processor time, s", f"{sum(searched):.0f}"))
        facts.append(("half of the cases took at most, s", f"{median(searched):.2f}"))
    return "".join(f"<div><dt>{escape(k)}</dt><dd>{v}</dd></div>" for k, v in facts)


def _room(sweep: Sweep, room: str, rows: Results) -> str:
    """A room's results: the values of the last axis side by side, all else line by line."""
    of_room = [(case, row) for case, row in rows if case.room == room]
    across = sweep.axes[-1] if sweep.axes else Axis("", ("",))
    heads = "".join(f'<th scope="col">{escape(word(value))}</th>' for value in across.values)
    lines: dict[str, list[str]] = {}
    for case, row in of_room:
        lines.setdefault(_line_name(sweep, case), []).append(_cell(row))
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>{"".join(cells)}</tr>'
        for name, cells in lines.items()
    )
    name = escape(Path(room).stem)
    return (
        f'<h3>{name}</h3><div class="wide" tabindex="0" role="region" aria-label="{name}">'
        f'<table class="grid"><thead><tr><th scope="col">{escape(across.name)}</th>{heads}</tr>'
        f"</thead><tbody>{body}</tbody></table></div>\n"
    )


def _line_name(sweep: Sweep, case: Case) -> str:
    words = [case.rule_set] if len(sweep.rule_sets) > 1 else []
    words += [f"{a.name.split('.')[-1]} {word(case.values[a.name])}" for a in sweep.axes[:-1]]
    return ", ".join(words) or case.rule_set


def _cell(row: Row) -> str:
    figure = f" {row.score['parts']}" if "parts" in row.score else ""
    return (
        f'<td class="{row.result}">{SIGN[row.result]}{figure}{"*" if row.optimal else ""}'
        f'<span class="unseen"> {row.result}</span></td>'
    )


def _troubles(rows: Results) -> str:
    """What is wrong with scenarios, or went wrong with workers; the same words told once."""
    told: dict[str, list[str]] = {}
    for case, row in rows:
        for error in row.errors:
            told.setdefault(error, []).append(case.name)
    if not told:
        return ""
    lines = "".join(
        f"<li>{escape(error)} <small>({len(names)}: {escape(names[0])}"
        f"{' ...' if len(names) > 1 else ''})</small></li>"
        for error, names in told.items()
    )
    return f"<h2>Errors</h2><ul>{lines}</ul>"
