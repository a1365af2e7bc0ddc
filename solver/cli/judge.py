"""The commands that judge a machine."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from solver.cli.common import (
    FILE,
    IMPOSSIBLE,
    OK,
    force_option,
    json_option,
    progress,
    quiet_option,
    show,
)

if TYPE_CHECKING:
    from solver.faults.diagnosis import Reply


@click.command()
@click.argument("machine", type=FILE)
@click.option("--presses", type=click.IntRange(1, 1_000_000), help="Default: one full round.")
@click.option("--vcd", type=FILE, help="Write the waveforms here (IEEE 1364 VCD).")
@json_option
@force_option
def simulate(
    machine: Path, presses: int | None, vcd: Path | None, as_json: bool, force: bool
) -> int:
    """Press the button of MACHINE again and again and report what happens.

    \b
    Examples:
      ringwright simulate out/first-ring/machine.json --presses 8
      ringwright simulate other.json --presses 3 --vcd other.vcd
    """
    from models.fault import InputError
    from solver.files import check_out_dir, write_new

    if vcd and (faults := check_out_dir(vcd.parent, [vcd.name], force)):
        raise InputError(faults)

    from solver.pipeline import simulate_file

    report = simulate_file(machine, presses=presses)
    if vcd:
        write_new(vcd, report.waveforms(), force)
    show(report.as_json() if as_json else report.summary())
    return OK if report.ok else IMPOSSIBLE


@click.command()
@click.argument("machine", type=FILE)
@json_option
def check(machine: Path, as_json: bool) -> int:
    """Check MACHINE without running it: supports, clashes, places, closed tape.

    \b
    Example:
      ringwright check out/first-ring/machine.json
    """
    from solver.pipeline import check_file

    report = check_file(machine)
    show(report.as_json() if as_json else report.summary())
    return OK if report.ok else IMPOSSIBLE


@click.command()
@click.argument("machine", type=FILE)
@json_option
@quiet_option
def faults(machine: Path, as_json: bool, quiet: bool) -> int:
    """Judge every single fault that MACHINE can be built with: told, or proven harmless.

    \b
    Example:
      ringwright faults out/first-ring/machine.json
    """
    from solver.faults.reports import faults_file

    report = faults_file(machine, progress(quiet))
    show(report.as_json() if as_json else report.summary())
    return OK


@click.command()
@click.argument("machine", type=FILE)
@click.option("--limit", type=click.IntRange(1, 40), default=8, show_default=True)
@json_option
@quiet_option
def margins(machine: Path, limit: int, as_json: bool, quiet: bool) -> int:
    """Show by how much each delay of MACHINE may be off before it fails.

    Looks up to --limit half-ticks either way.

    \b
    Example:
      ringwright margins out/first-ring/machine.json
    """
    from solver.faults.reports import margins_file

    report = margins_file(machine, limit, progress(quiet))
    show(report.as_json() if as_json else report.summary())
    return OK


@click.command()
@click.argument("machine", type=FILE)
@click.option("--seen", multiple=True, help='Such as "(3,4,-1) proud"; may be given several times.')
@click.option("--answer", multiple=True, help="To a question asked before, in the same words.")
@click.option("--partly", is_flag=True, help="Cells not named in --seen were not looked at.")
@click.option("--ask/--no-ask", default=None, help="Ask questions. Default: on a terminal.")
@click.option("--questions", type=click.IntRange(0, 100), default=6, show_default=True)
@click.option("--keep", is_flag=True, help="Keep the simulated symptoms beside MACHINE.")
@json_option
@quiet_option
def diagnose(
    machine: Path,
    seen: tuple[str, ...],
    answer: tuple[str, ...],
    partly: bool,
    ask: bool | None,
    questions: int,
    keep: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Find what was built wrong, when MACHINE is the plan and what was built fails.

    Press until a press goes wrong, and say what you see. Cells of the tape are flush unless named.
    Say too which did not sink during the press, or that all sank: that tells most.
    Questions are answered with y, n or ? (not known); an empty line stops. Without a terminal
    --json names the next question and how to give the answer to it with --answer.

    \b
    Words after cells: proud, sunk, empty, flush, sank, did not sink, stayed, moved on;
    out, in (a ram, now); out before, in before; lit, dark, lit before, dark before;
    stroked, still; changed, unchanged; as planned, not as planned (who went and looked).
    Without cells: all flush, all sank, never rests, rests, first press wrong, first press right.
    "unsure" before any of these: it is not known.

    \b
    Examples:
      ringwright diagnose out/first-ring/machine.json --seen "(3,4,-1) (3,5,-1) sunk"
      ringwright diagnose out/first-ring/machine.json --no-ask \\
        --seen "after one press (3,4,-1) and (3,5,-1) stand proud, (3,6,-1) is empty"
      ringwright diagnose out/first-ring/machine.json --no-ask --json --seen "never rests"
    """
    from solver.faults.diagnosis import diagnose_file

    asking = sys.stdin.isatty() if ask is None else ask
    report = diagnose_file(
        machine,
        seen,
        ask=_reply if asking else None,
        questions=questions,
        answers=answer,
        partly=partly,
        keep=keep,
        say=progress(quiet),
    )
    show(report.as_json() if as_json else report.summary())
    return OK


def _reply(question: str) -> Reply:
    """The answer from stdin; an empty line or the end stops."""
    while True:
        click.echo(f"{question} [y/n/?] ", err=True, nl=False)
        answer = sys.stdin.readline().strip().lower()
        if not answer:
            return "stop"
        if answer in ("y", "yes"):
            return "yes"
        if answer in ("n", "no"):
            return "no"
        if answer in ("?", "unsure", "unknown", "don't know", "dont know"):
            return "unsure"
