"""What commands share: exit statuses, options, how results are printed."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Protocol

import click

OK, OUR_FAULT, WRONG_INPUT, IMPOSSIBLE, UNDECIDED, INTERRUPTED = 0, 1, 2, 3, 4, 130
STATUS = {"feasible": OK, "infeasible": IMPOSSIBLE, "undecided": UNDECIDED}

FILE = click.Path(path_type=Path)
HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
force_option = click.option("--force", is_flag=True, help="Overwrite files that exist.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


def finite(_: click.Context, parameter: click.Parameter, value: float) -> float:
    if not math.isfinite(value):
        raise click.BadParameter("give a finite number of seconds", param=parameter)
    return value


budget_option = click.option(
    "--budget",
    "budget_s",
    type=click.FloatRange(min=0, min_open=True, max=1e7),
    callback=finite,
    default=60.0,
    show_default=True,
    help="Seconds to search.",
)
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True
)
quiet_option = click.option("--quiet", is_flag=True, help="No progress, no drawing.")


def width() -> int:
    """Columns of the terminal."""
    return shutil.get_terminal_size().columns


def progress(quiet: bool) -> Callable[[str], None]:
    def say(line: str) -> None:
        if not quiet:
            click.echo(line, err=True)

    return say


def show(content: dict[str, object] | list[str]) -> None:
    click.echo(json.dumps(content) if isinstance(content, dict) else "\n".join(content))


def tell_written(files: Iterable[Path]) -> None:
    """Name every file that was written, beside the result."""
    for path in files:
        click.echo(f"wrote {path}", err=True)


class Report(Protocol):
    """What a command that builds comes to."""

    @property
    def ok(self) -> bool: ...
    def summary(self) -> list[str]: ...
    def as_json(self) -> dict[str, object]: ...
    def write(self, out_dir: Path, force: bool) -> list[Path]: ...


def deliver(report: Report, out_dir: Path, *, force: bool, as_json: bool) -> int:
    """Write and show what was built; the exit status."""
    files = report.write(out_dir, force)
    show(report.as_json() if as_json else report.summary())
    tell_written(files)
    return OK if report.ok else UNDECIDED
