"""Commands for machines of other kinds: with logic, with two buttons, round a pillar."""

from __future__ import annotations

from pathlib import Path

import click

from solver.cli.common import (
    FILE,
    budget_option,
    deliver,
    force_option,
    json_option,
    progress,
    quiet_option,
    seed_option,
)


@click.command()
@click.argument("machine", type=FILE)
@click.argument("scenario", type=FILE)
@click.option("--clock", "what", flag_value="clock", help="No button: the machine runs by itself.")
@click.option("--hold-off", "what", flag_value="hold-off", help="No press comes too soon.")
@click.option("--loop", type=click.IntRange(1, 1000), help="Of several loops, which one.")
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for machine and plan.")
@budget_option
@json_option
@force_option
@quiet_option
def trigger(
    machine: Path,
    scenario: Path,
    what: str | None,
    loop: int | None,
    out_dir: Path,
    budget_s: float,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Build a clock or a hold-off before the trigger of MACHINE, where SCENARIO lets one dig.

    Sizes and places are tried, the fewest parts first, until a machine is right in simulation: with
    a hold-off, presses at any time; with a clock, one cell a period and flush in between. Ground to
    spare beside the button helps.

    \b
    Examples:
      ringwright trigger out/fountain scenarios/fountain.toml --hold-off --out out/patient
      ringwright trigger out/fountain scenarios/fountain.toml --clock --out out/running
    """
    from solver.trigger.report import trigger_file

    if what is None:
        raise click.UsageError("Name what to build: --clock or --hold-off.")
    report = trigger_file(
        machine / "machine.json" if machine.is_dir() else machine,
        scenario,
        "clock" if what == "clock" else "hold-off",
        out_dir,
        budget_s=budget_s,
        force=force,
        say=progress(quiet),
        loop=loop,
    )
    return deliver(report, out_dir, force=force, as_json=as_json)


@click.command()
@click.argument("scenario", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for machine and plans.")
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
@click.option("--one-button", is_flag=True, help="One button: now forth, now back. Floors.")
def counter(
    scenario: Path,
    out_dir: Path,
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
    one_button: bool,
) -> int:
    """Design a loop for SCENARIO that runs both ways: two buttons, or one that does both by turns.

    One floor or one ceiling, any shape of loop. Two drives stand at each corner, one the mirror
    image of the other. Loops through the wishes are tried, the best first, until a machine is right
    in simulation. It takes ground 5 cells deep or more, and edges of 6 cells or more where
    the loop turns the same way at both ends.

    \b
    Example:
      ringwright counter scenarios/counter/promenade.toml --out out/promenade
      ringwright counter scenarios/counter/promenade.toml --one-button --out out/swing
    """
    from solver.counter.report import counter_file

    report = counter_file(
        scenario,
        out_dir,
        budget_s=budget_s,
        seed=seed,
        force=force,
        say=progress(quiet),
        one_button=one_button,
    )
    return deliver(report, out_dir, force=force, as_json=as_json)


@click.command()
@click.argument("pillar", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for machine and plan.")
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def pillar(
    pillar: Path,
    out_dir: Path,
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Design a belt of tape round the outside of PILLAR, over its four edges.

    The file gives the solid: [pillar] with size = [x, y, z], row and direction. Sides have 18 cells
    at most; 15 and more leave room for the leads. At each edge the tape goes on
    beneath four covers. Every machine is right in simulation; fewest parts are not claimed.

    \b
    Example:
      ringwright pillar scenarios/pillar/arcade.toml --out out/arcade
    """
    from solver.pillar.report import pillar_file

    report = pillar_file(
        pillar, out_dir, budget_s=budget_s, seed=seed, force=force, say=progress(quiet)
    )
    return deliver(report, out_dir, force=force, as_json=as_json)
