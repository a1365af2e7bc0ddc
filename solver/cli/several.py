"""The command for several loops in one room."""

from __future__ import annotations

from pathlib import Path

import click

from solver.cli.common import (
    FILE,
    STATUS,
    budget_option,
    force_option,
    json_option,
    progress,
    quiet_option,
    seed_option,
    show,
    width,
)


@click.command()
@click.argument("scenarios", type=FILE, nargs=-1, required=True)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for the results.")
@click.option("--one-button", is_flag=True, help="One button for all loops.")
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def together(
    scenarios: tuple[Path, ...],
    out_dir: Path,
    one_button: bool,
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Design one machine with a loop for each of SCENARIOS, all of one room.

    Each loop has its own button and moves by no other. The joint machine is simulated as one:
    each button alone, and one press of each at every distance in time. With --one-button a lead of
    sensors joins all triggers to one of them, through ground that may be dug.

    \b
    Example:
      cd scenarios/together
      ringwright together nested-outer.toml nested-inner.toml --out ../../out/nested
    """
    from models.fault import InputError
    from models.together import Joined
    from solver.files import check_out_dir
    from solver.sheets.terminal import draw_machine
    from solver.together.report import read_together, solve_together, together_names

    if len(scenarios) < 2:
        raise click.UsageError("give two scenarios or more; for one there is `solve`")
    faults = check_out_dir(out_dir, together_names(len(scenarios)), force)
    try:
        asked = read_together(scenarios)
    except InputError as error:
        raise InputError([*error.faults, *faults]) from error
    if faults:
        raise InputError(faults)
    outcome = solve_together(asked, budget_s, seed, progress(quiet), one_button=one_button)
    files = outcome.write(out_dir, force)
    result = outcome.result
    drawn = isinstance(result, Joined) and not (quiet or as_json)
    drawing = draw_machine(result.machine, width()) if drawn and isinstance(result, Joined) else []
    show(outcome.as_json(files) if as_json else [*drawing, *outcome.summary(files)])
    return STATUS[outcome.verdict]
