"""The command that solves many scenarios."""

from __future__ import annotations

from pathlib import Path

import click

from solver.cli.common import (
    FILE,
    INTERRUPTED,
    OK,
    OUR_FAULT,
    budget_option,
    force_option,
    json_option,
    progress,
    quiet_option,
    seed_option,
    show,
)


@click.command()
@click.argument("file", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory of the run.")
@click.option("--workers", type=click.IntRange(1, 1024), help="Processes. Default: one a core.")
@click.option("--cluster", metavar="ADDRESS", help="Use the Dask cluster with this scheduler.")
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def sweep(
    file: Path,
    out_dir: Path,
    workers: int | None,
    cluster: str | None,
    budget_s: float,
    seed: int,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> int:
    """Solve many rooms, each in many variants, as FILE says; one table comes out.

    The budget is that of one case. The same call again goes on where the last one stopped.
    A case that is wrong, impossible or undecided is a row like any other; if a worker failed at
    one, the exit status is 1, and the next call tries it again.

    \b
    FILE (TOML):
      rooms = ["my-room.toml", "more/*.toml"]      seen from FILE
      [vary]                                       every combination of
      "surfaces.floor.depth" = [4, 5, 6]           any field of a scenario
      "loop.length" = [{ max = 20 }, { max = 40 }]
      [rule_sets.usual]                            each laid over a room's [rules]
      [rule_sets.weak-rams]
      push_limit = 8

    \b
    Examples:
      ringwright sweep scenarios/sweeps/how-deep.toml --out out/how-deep --budget 20
      ringwright sweep my-sweep.toml --out out/mine --cluster tcp://10.0.0.5:8786
    """
    from solver.sweep.sweep import Workers, sweep_file

    report = sweep_file(
        file,
        out_dir,
        Workers(workers, cluster),
        budget_s=budget_s,
        seed=seed,
        force=force,
        say=progress(quiet),
    )
    show(report.as_json() if as_json else report.summary())
    if report.interrupted:
        return INTERRUPTED
    return OUR_FAULT if report.failed else OK
