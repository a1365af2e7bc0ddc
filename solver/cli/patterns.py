"""The command for what the tape carries."""

from __future__ import annotations

from pathlib import Path

import click

from solver.cli.common import (
    FILE,
    STATUS,
    budget_option,
    force_option,
    json_option,
    show,
    tell_written,
)


@click.command()
@click.argument("machine", type=FILE)
@click.argument("choreography", type=FILE)
@click.option("--after", multiple=True, type=click.IntRange(0, 1_000_000), help="Show this too.")
@click.option("--out", "out_dir", type=FILE, help="Write page, pictures and JSON here.")
@budget_option
@json_option
@force_option
def pattern(
    machine: Path,
    choreography: Path,
    after: tuple[int, ...],
    out_dir: Path | None,
    budget_s: float,
    as_json: bool,
    force: bool,
) -> int:
    """Mark the blocks of MACHINE's tape so that presses show what CHOREOGRAPHY demands.

    Words that must stand somewhere after so many presses, whole pictures, how many cells show a
    mark, when the picture repeats. If no pattern does it, the fewest demands that clash are told.

    \b
    CHOREOGRAPHY (TOML):
      marks = "AB"                  marks that may be used beside those demanded
      blank = "."                   the mark where nothing is demanded
      [palette]
      A = "tomato"                  a colour of CSS, or "#rrggbb"
      [[demand]]
      after = 5                     presses; or [5, 13], or "every"
      from = [3, 4, -1]             the cell of the first letter
      to = [7, 4, -1]               and of the last
      reads = "COURT"               ? stands for any mark
      [[demand]]
      after = 0
      surface = "floor"
      map = "..."                   a picture, drawn like the map of a scenario
      [[demand]]
      after = "every"
      mark = "A"                    so many cells show it, of the tape or of a box from, to
      at_most = 3                   or at_least, or exactly
      [[demand]]
      period = 4                    presses until the picture first repeats

    With given = "A.B..." there are no demands: one mark a block, shown as it turns.

    \b
    Examples:
      ringwright pattern out/first-ring scenarios/patterns/lamp.toml
      ringwright pattern my-room/machine.json words.toml --after 3 --out my-room/pattern
    """
    from solver.pattern.report import pattern_file

    source = machine / "machine.json" if machine.is_dir() else machine
    report = pattern_file(source, choreography, after, out_dir, budget_s=budget_s, force=force)
    files = report.write(out_dir, force) if out_dir is not None else []
    show(report.as_json() if as_json else report.summary())
    tell_written(files)
    return STATUS[report.verdict]
