"""The commands that look for a machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from solver.cli.common import (
    FILE,
    INTERRUPTED,
    OK,
    STATUS,
    UNDECIDED,
    budget_option,
    force_option,
    json_option,
    progress,
    quiet_option,
    seed_option,
    show,
    width,
)


def _terms(_: click.Context, parameter: click.Parameter, value: str | None) -> tuple[str, ...]:
    from models.front import FRONT_TERMS

    words = [word.strip() for word in (value or "").split(",")] if value is not None else []
    found = tuple(term for word in words for term in FRONT_TERMS if term == word)
    if len(found) < len(words) or len(set(found)) < len(found):
        raise click.BadParameter(
            f"give some of {', '.join(FRONT_TERMS)}, each once, with commas between",
            param=parameter,
        )
    return found


@click.command()
@click.argument("scenario", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for the results.")
@click.option(
    "--front",
    metavar="TERM,TERM...",
    callback=_terms,
    help="Also find all machines that none other beats in all of these: parts, depth, length, "
    "corners, dug, time (of a press). Half of the budget is kept for it.",
)
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def solve(
    scenario: Path,
    out_dir: Path,
    front: tuple[str, ...],
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Design a machine for SCENARIO and write it with its plan into a directory.

    \b
    Examples:
      ringwright solve scenarios/first-ring.toml --out out/first-ring
      ringwright solve my-room.toml --out my-room --budget 300 --json
      ringwright solve my-room.toml --out my-room --front parts,depth,length
    """
    from models.fault import InputError
    from solver.files import OUTPUT_NAMES, check_out_dir
    from solver.read_scenario import read_scenario

    faults = check_out_dir(out_dir, OUTPUT_NAMES, force)
    if front and not faults:
        from solver.front.files import check_front_dirs

        faults = check_front_dirs(out_dir, force)
    try:
        asked = read_scenario(scenario)
    except InputError as error:
        raise InputError([*error.faults, *faults]) from error
    if faults:
        raise InputError(faults)

    from solver.pipeline import solve_scenario, write_outcome
    from solver.status import reporter

    told = reporter(sys.stderr, quiet, os.environ, width)
    try:
        outcome = solve_scenario(
            asked,
            budget_s=budget_s,
            seed=seed,
            on_progress=told.say,
            on_tick=told.tick,
            front=front,
        )
    finally:
        told.close()
    files = write_outcome(outcome, out_dir, force)
    drawing = [] if quiet or as_json else outcome.drawing(width())
    show(outcome.as_json(files) if as_json else [*drawing, *outcome.summary(files)])
    return INTERRUPTED if outcome.was_interrupted else STATUS[outcome.verdict]


@click.command()
@click.argument("scenario", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for the results.")
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def repair(
    scenario: Path,
    out_dir: Path,
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Find the smallest changes to SCENARIO that make a machine possible.

    Up to three are written, each as a scenario to run and the machine that it has.

    \b
    Example:
      ringwright repair scenarios/impossible-depth.toml --out out/repairs
    """
    from models.fault import InputError
    from solver.explain.advice import REPAIR_NAMES, repair_scenario
    from solver.files import check_out_dir
    from solver.read_scenario import read_scenario

    asked = read_scenario(scenario)
    if faults := check_out_dir(out_dir, REPAIR_NAMES, force):
        raise InputError(faults)
    report = repair_scenario(asked, budget_s=budget_s, seed=seed, say=progress(quiet))
    files = report.write(out_dir, force)
    show(report.as_json(files) if as_json else report.summary(files))
    return OK if report.ok else UNDECIDED


@click.command()
@click.argument("scenario", type=FILE)
@budget_option
@json_option
@quiet_option
def limits(scenario: Path, budget_s: float, as_json: bool, quiet: bool) -> int:
    """Show what limits SCENARIO: what each requirement costs, the largest gain first.

    \b
    Example:
      ringwright limits scenarios/pillars.toml
    """
    from solver.explain.advice import limits_scenario
    from solver.read_scenario import read_scenario

    report = limits_scenario(read_scenario(scenario), budget_s=budget_s, say=progress(quiet))
    show(report.as_json() if as_json else report.summary())
    return STATUS[report.verdict]
