"""The commands that write files and drawings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from solver.cli.common import FILE, OK, finite, force_option, tell_written


@click.command()
@click.option(
    "--out", "target", type=FILE, required=True, help="Where to write the designs (JSON)."
)
@click.option("--only", multiple=True, help="Names of recipes; their system's own come along.")
@click.option(
    "--budget",
    "budget_s",
    type=click.FloatRange(min=0, min_open=True, max=1e7),
    callback=finite,
    default=600.0,
    show_default=True,
    help="Seconds for one number of parts of one design.",
)
@force_option
def design(target: Path, only: tuple[str, ...], budget_s: float, force: bool) -> int:
    """Search for corner drives of fewest parts, prove the bound, and try them in whole machines.

    \b
    Examples:
      ringwright design --out my-designs.json
      ringwright design --only floor-8 --out floor.json
    """
    from models.fault import InputError
    from solver.design.generate import RECIPES, designs_text
    from solver.files import check_out_dir, write_new

    known = [recipe.name for recipe in RECIPES]
    if wrong := [name for name in only if name not in known]:
        raise click.BadParameter(f"{wrong[0]!r} is not one of: {', '.join(known)}")
    if faults := check_out_dir(target.parent, [target.name], force):
        raise InputError(faults)
    text = designs_text(only, budget_s, lambda line: click.echo(line, err=True))
    write_new(target, text, force)
    return OK


@click.command()
@click.argument("file", type=FILE)
@force_option
def new(file: Path, force: bool) -> int:
    """Write a scenario with comments to FILE, to start from.

    \b
    Example:
      ringwright new my-room.toml
    """
    from importlib import resources

    from solver.files import write_new

    template = resources.files("solver").joinpath("data/new_scenario.toml").read_bytes()
    write_new(file, template, force)
    click.echo(f"wrote {file}", err=True)
    return OK


FORMS = {
    "page": "plan.html, the builder's page.",
    "text": "plan.txt.",
    "pdf": "plan.pdf, printed by a chromium on this computer.",
    "svg": "One drawing a layer.",
    "csv": "Lists of parts, order and digging.",
    "gltf": "machine.gltf, a scene in three dimensions.",
    "json": "plan.json with the schemas of plan and machine.",
}


def _form_options(command: Callable[..., int]) -> Callable[..., int]:
    for name, words in reversed(FORMS.items()):
        command = click.option(f"--{name}", is_flag=True, help=words)(command)
    return command


@click.command()
@click.argument("machine", type=FILE)
@_form_options
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@force_option
def sheets(machine: Path, paper: str, force: bool, **chosen: bool) -> int:
    """Write the plan of MACHINE (a machine.json or the directory of one) in other forms.

    \b
    Examples:
      ringwright sheets out/first-ring --pdf
      ringwright sheets other.json --page --csv --gltf
    """
    from solver.sheets.exports import export

    forms = tuple(name for name in FORMS if chosen[name])
    if not forms:
        raise click.UsageError(f"Name a form: {', '.join(f'--{name}' for name in FORMS)}.")
    tell_written(export(machine, forms, paper, force))
    return OK


@click.command()
@click.argument("scenario", type=FILE)
@click.option("--out", "picture", type=FILE, help="Write PNG pictures instead, one a surface.")
@click.option("--scale", type=click.IntRange(1, 64), default=1, help="Pixels a cell.")
@force_option
def draw(scenario: Path, picture: Path | None, scale: int, force: bool) -> int:
    """Show the maps of SCENARIO with row and column numbers.

    With --out the maps become pictures; at scale 1 they can serve as `image` of a scenario.
    Several surfaces get a file each, such as room-floor.png and room-north.png.

    \b
    Examples:
      ringwright draw my-room.toml
      ringwright draw my-room.toml --out my-room.png
    """
    from models.fault import InputError
    from solver.files import check_out_dir, write_new
    from solver.read_scenario import read_scenario
    from solver.scenario_file.draw import draw_png, draw_text, legend_text

    asked = read_scenario(scenario)
    if picture is None:
        click.echo(draw_text(asked), nl=False)
        return OK
    several = len(asked.surfaces) > 1
    targets = {
        name: picture.with_name(f"{picture.stem}-{name}{picture.suffix}") if several else picture
        for name in asked.surfaces
    }
    names = [target.name for target in targets.values()]
    if faults := check_out_dir(picture.parent, names, force):
        raise InputError(faults)
    for name, target in targets.items():
        write_new(target, draw_png(asked.surfaces[name], scale), force)
        click.echo(f"wrote {target}", err=True)
    click.echo(legend_text())
    return OK
