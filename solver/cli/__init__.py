"""The command line: takes the call apart, hands it on, turns the result into an exit status.

Everything heavy is imported inside the command that needs it, so that help comes at once.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
import traceback
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

import click

from solver.cli import design, judge, many, patterns, several, triggers, write
from solver.cli.common import HELP, INTERRUPTED, OK, OUR_FAULT, WRONG_INPUT


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib import metadata

        try:
            click.echo(f"ringwright {metadata.version('ringwright')}")
        except metadata.PackageNotFoundError:
            click.echo("ringwright, run from its source tree")
        context.exit()


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


for _command in (
    design.solve,
    design.repair,
    design.limits,
    triggers.trigger,
    triggers.counter,
    triggers.pillar,
    several.together,
    many.sweep,
    patterns.pattern,
    judge.simulate,
    judge.check,
    judge.faults,
    judge.margins,
    judge.diagnose,
    write.design,
    write.new,
    write.sheets,
    write.draw,
):
    cli.add_command(_command)


UNWRITABLE = {errno.ENOSPC, errno.EDQUOT, errno.EIO}


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
    except OSError as error:
        if error.filename is not None or error.errno not in UNWRITABLE:
            return _own_fault(error)
        return _output_lost(error)
    except SystemExit:
        # click leaves like this, and only then, when nobody reads the output to its end.
        return _output_lost(BrokenPipeError(errno.EPIPE, os.strerror(errno.EPIPE)))
    except Exception as error:  # noqa: BLE001  the last line of defence: users see no traceback
        return _own_fault(error)


def _output_lost(error: OSError) -> int:
    """Say that standard output is full, or is not read to its end."""
    click.echo(
        f"the output cannot be written: {error.strerror}. "
        "Send it to a place that has room, and that reads to the end.",
        err=True,
    )
    return WRONG_INPUT


def _own_fault(error: Exception) -> int:
    """Say that this is a fault of the program; called while `error` is handled."""
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
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Nothing is left to interrupt.
    if threading.active_count() == 1:
        sys.exit(status)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    # A solver is still at work in its thread; it must not hold up, or crash, the way out.
    os._exit(status)
