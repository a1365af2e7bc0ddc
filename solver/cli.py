"""The command line: takes the call apart, hands it on, turns the result into an exit status.

Everything heavy is imported inside the command that needs it, so that help comes at once.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

if TYPE_CHECKING:
    from models.scenario import Term

OK, OUR_FAULT, WRONG_INPUT, IMPOSSIBLE, UNDECIDED, INTERRUPTED = 0, 1, 2, 3, 4, 130
STATUS = {"feasible": OK, "infeasible": IMPOSSIBLE, "undecided": UNDECIDED}

FILE = click.Path(path_type=Path)
HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
force_option = click.option("--force", is_flag=True, help="Overwrite files that exist.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib import metadata

        try:
            click.echo(f"ringwright {metadata.version('ringwright')}")
        except metadata.PackageNotFoundError:
            click.echo("ringwright, run from its source tree")
        context.exit()


def _finite(_: click.Context, parameter: click.Parameter, value: float) -> float:
    if not math.isfinite(value):
        raise click.BadParameter("give a finite number of seconds", param=parameter)
    return value


def _terms(_: click.Context, parameter: click.Parameter, value: str | None) -> tuple[Term, ...]:
    from models.scenario import TERMS

    words = [word.strip() for word in (value or "").split(",")] if value is not None else []
    found = tuple(term for word in words for term in TERMS if term == word)
    if len(found) < len(words) or len(set(found)) < len(found):
        raise click.BadParameter(
            f"give some of {', '.join(TERMS)}, each once, with commas between", param=parameter
        )
    return found


budget_option = click.option(
    "--budget",
    "budget_s",
    type=click.FloatRange(min=0, min_open=True, max=1e7),
    callback=_finite,
    default=60.0,
    show_default=True,
    help="Seconds to search.",
)
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True
)
quiet_option = click.option("--quiet", is_flag=True, help="No progress, no drawing.")


@click.group(context_settings=HELP)
@click.option("--version", is_flag=True, is_eager=True, expose_value=False, callback=_show_version)
def cli() -> None:
    """Design closed loops of moving blocks, prove them by simulation, plan their building.

    \b
    Start here:
      ringwright new my-room.toml
      ringwright draw my-room.toml
      ringwright solve my-room.toml --out my-room

    \b
    Exit status: 0 done, 2 wrong scenario or call, 3 proven impossible (or a machine that
    does not work), 4 undecided within the budget, 130 interrupted, 1 a fault of the program.
    """


@cli.command()
@click.argument("scenario", type=FILE)
@click.option("--out", "out_dir", type=FILE, required=True, help="Directory for the results.")
@click.option(
    "--front",
    metavar="TERM,TERM...",
    callback=_terms,
    help="Also find all machines that none other beats in all of these: parts, depth, length, "
    "corners, dug. Half of the budget is kept for it.",
)
@budget_option
@seed_option
@json_option
@force_option
@quiet_option
def solve(
    scenario: Path,
    out_dir: Path,
    front: tuple[Term, ...],
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
        from solver.front_files import check_front_dirs

        faults = check_front_dirs(out_dir, force)
    try:
        asked = read_scenario(scenario)
    except InputError as error:
        raise InputError([*error.faults, *faults]) from error
    if faults:
        raise InputError(faults)

    from solver.pipeline import solve_scenario, write_outcome
    from solver.status import reporter

    told = reporter(sys.stderr, quiet, os.environ, _width)
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
    drawing = [] if quiet or as_json else outcome.drawing(_width())
    _report(outcome.as_json(files) if as_json else [*drawing, *outcome.summary(files)])
    return INTERRUPTED if outcome.was_interrupted else STATUS[outcome.verdict]


def _width() -> int:
    """Columns of the terminal."""
    return shutil.get_terminal_size().columns


def _progress(quiet: bool) -> Callable[[str], None]:
    def say(line: str) -> None:
        if not quiet:
            click.echo(line, err=True)

    return say


@cli.command()
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
    _report(report.as_json() if as_json else report.summary())
    return OK if report.ok else IMPOSSIBLE


@cli.command()
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
    _report(report.as_json() if as_json else report.summary())
    return OK if report.ok else IMPOSSIBLE


def _report(content: dict[str, object] | list[str]) -> None:
    click.echo(json.dumps(content) if isinstance(content, dict) else "\n".join(content))


@cli.command()
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
    from solver.advice import REPAIR_NAMES, repair_scenario
    from solver.files import check_out_dir
    from solver.read_scenario import read_scenario

    asked = read_scenario(scenario)
    if faults := check_out_dir(out_dir, REPAIR_NAMES, force):
        raise InputError(faults)
    report = repair_scenario(asked, budget_s=budget_s, seed=seed, say=_progress(quiet))
    files = report.write(out_dir, force)
    _report(report.as_json(files) if as_json else report.summary(files))
    return OK if report.ok else UNDECIDED


@cli.command()
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
    from solver.advice import limits_scenario
    from solver.read_scenario import read_scenario

    report = limits_scenario(read_scenario(scenario), budget_s=budget_s, say=_progress(quiet))
    _report(report.as_json() if as_json else report.summary())
    return STATUS[report.verdict]


@cli.command()
@click.argument("machine", type=FILE)
@json_option
@quiet_option
def faults(machine: Path, as_json: bool, quiet: bool) -> int:
    """Judge every single fault that MACHINE can be built with: told, or proven harmless.

    \b
    Example:
      ringwright faults out/first-ring/machine.json
    """
    from solver.fault_reports import faults_file

    report = faults_file(machine, _progress(quiet))
    _report(report.as_json() if as_json else report.summary())
    return OK


@cli.command()
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
    from solver.fault_reports import margins_file

    report = margins_file(machine, limit, _progress(quiet))
    _report(report.as_json() if as_json else report.summary())
    return OK


@cli.command()
@click.argument("machine", type=FILE)
@click.option("--seen", multiple=True, help='Such as "(3,4,-1) proud"; may be given several times.')
@click.option("--partly", is_flag=True, help="Cells not named in --seen were not looked at.")
@click.option("--ask/--no-ask", default=None, help="Ask questions. Default: on a terminal.")
@click.option("--questions", type=click.IntRange(0, 100), default=6, show_default=True)
@click.option("--keep", is_flag=True, help="Keep the simulated symptoms beside MACHINE.")
@json_option
@quiet_option
def diagnose(
    machine: Path,
    seen: tuple[str, ...],
    partly: bool,
    ask: bool | None,
    questions: int,
    keep: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Find what was built wrong, when MACHINE is the plan and what was built fails.

    Press until a press goes wrong, and say what you see. Cells of the tape are flush unless named.
    Questions are answered with y or n; an empty line stops.

    \b
    Words after cells: proud, sunk, empty, flush, stayed, moved on; out, in (a ram, now); out
    before, in before; lit, dark, lit before, dark before; stroked, still; changed, unchanged.
    Without cells: never rests, rests, first press wrong, first press right.

    \b
    Examples:
      ringwright diagnose out/first-ring/machine.json --seen "(3,4,-1) (3,5,-1) sunk"
      ringwright diagnose out/first-ring/machine.json --no-ask --json --seen "never rests"
    """
    from solver.fault_reports import diagnose_file

    asking = sys.stdin.isatty() if ask is None else ask
    report = diagnose_file(
        machine,
        seen,
        ask=_yes_or_no if asking else None,
        questions=questions,
        partly=partly,
        keep=keep,
        say=_progress(quiet),
    )
    _report(report.as_json() if as_json else report.summary())
    return OK


def _yes_or_no(question: str) -> bool | None:
    """The answer from stdin; None for an empty line or the end."""
    while True:
        click.echo(f"{question} [y/n] ", err=True, nl=False)
        answer = sys.stdin.readline().strip().lower()
        if not answer:
            return None
        if answer in ("y", "yes", "n", "no"):
            return answer.startswith("y")


@cli.command()
@click.option(
    "--out", "target", type=FILE, required=True, help="Where to write the designs (JSON)."
)
@click.option("--only", multiple=True, help="Names of recipes; their system's own come along.")
@click.option(
    "--budget",
    "budget_s",
    type=click.FloatRange(min=0, min_open=True, max=1e7),
    callback=_finite,
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


@cli.command()
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


@cli.command()
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
    from solver.exports import export

    forms = tuple(name for name in FORMS if chosen[name])
    if not forms:
        raise click.UsageError(f"Name a form: {', '.join(f'--{name}' for name in FORMS)}.")
    for path in export(machine, forms, paper, force):
        click.echo(f"wrote {path}", err=True)
    return OK


@cli.command()
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
    from solver.draw_scenario import draw_png, draw_text, legend_text
    from solver.files import check_out_dir, write_new
    from solver.read_scenario import read_scenario

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


@cli.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> int:
    """Print the completion script for a shell.

    \b
    Example:
      ringwright completion bash >> ~/.bashrc
    """
    from click.shell_completion import get_completion_class

    maker = get_completion_class(shell)
    assert maker is not None, f"click knows {shell}"
    click.echo(maker(cli, {}, "ringwright", "_RINGWRIGHT_COMPLETE").source())
    return OK


def _run() -> int:
    """Run the command that was called; every way out becomes an exit status."""
    from models.fault import InputError

    try:
        return int(cli.main(prog_name="ringwright", standalone_mode=False) or OK)
    except InputError as error:
        click.echo(str(error), err=True)
        return WRONG_INPUT
    except click.ClickException as error:
        error.show()
        return WRONG_INPUT
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        return INTERRUPTED
    except Exception as error:  # noqa: BLE001  the last line of defence: users see no traceback
        click.echo(f"ringwright failed, and that is its own fault: {error!r}", err=True)
        if os.environ.get("RINGWRIGHT_DEBUG"):
            traceback.print_exc()
        else:
            click.echo("Set RINGWRIGHT_DEBUG=1 to see where.", err=True)
        return OUR_FAULT


def _leave_script_folder() -> None:
    """Keep other programs' scripts from passing for our packages.

    Python looks for modules beside the script first, and python-sat installs a script
    `models.py` into the same folder as `ringwright`.
    """
    if sys.path[0] and Path(sys.path[0]).resolve() == Path(sys.argv[0]).resolve().parent:
        del sys.path[0]


def main() -> NoReturn:
    """The entry point of the `ringwright` command."""
    _leave_script_folder()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    status = _run()
    if threading.active_count() == 1:
        sys.exit(status)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    # A solver is still at work in its thread; it must not hold up, or crash, the way out.
    os._exit(status)
