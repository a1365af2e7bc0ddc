"""What `solve` shows in the terminal: the line of progress, and the drawing of its result."""

from __future__ import annotations

import io
import os
import pty
import re
import sys

import pytest

from models.geometry import VECTOR, step
from models.machine import Machine
from models.outcome import Feasible, Infeasible
from models.parts import Part
from models.rules import Rules
from models.surface import SURFACES, plane_of
from solver.all_systems import Live
from solver.machine_file import parse_machine
from solver.plan.layers import view_of
from solver.search import Progress
from solver.sheets.terminal import draw_machine
from solver.status import PlainLines, Silent, Snapshot, StatusLine, reporter
from tests.oracles.ring_builder import build_ring, rectangle
from tests.test_cli_input import ROOT, ringwright

RING = ROOT / "scenarios" / "first-ring.toml"
NOW = Snapshot({"parts": 219, "depth": 5}, {"parts": 187}, 41.6, " in system 1 of 2")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def screen(text):
    """What a terminal shows after a text with carriage returns."""
    shown: list[str] = []
    for line in text.split("\n"):
        row: list[str] = []
        for piece in line.split("\r"):
            row[: len(piece)] = piece
        shown.append("".join(row).rstrip())
    return shown


def test_the_line_tells_stage_best_bound_and_time_left():
    stream = Terminal()
    line = StatusLine(stream, lambda: 100)
    line.say("route of 30 cells, 8 corners")
    line.tick(NOW)
    assert (
        screen(stream.getvalue())
        == [
            "route of 30 cells, 8 corners | best parts 219, depth 5 | "
            "at least parts 187 in system .. | 42 s left"
        ]
        or "route of 30 cells" in screen(stream.getvalue())[0]
    )
    line.tick(NOW._replace(best={}, bound={}, left_s=-1.0))
    assert screen(stream.getvalue()) == ["route of 30 cells, 8 corners | time is up, finishing"]
    line.close()
    assert screen(stream.getvalue()) == [""]
    assert "\x1b" not in stream.getvalue()


@pytest.mark.parametrize("width", [1, 8, 20, 40, 60, 79, 80, 200])
def test_the_line_never_wraps(width):
    stream = Terminal()
    line = StatusLine(stream, lambda: width)
    for stage in ("a", "a long stage " * 20, "naïve\n\x1b[31m"):
        line.say(stage)
        line.tick(NOW)
    rows = stream.getvalue().split("\r")
    assert max(map(len, rows)) <= max(1, width - 1)
    assert stream.getvalue().isascii()
    if width >= 20:
        assert "42 s left" in rows[-1]


def test_the_same_state_is_written_once():
    stream = Terminal()
    line = StatusLine(stream, lambda: 80)
    line.tick(NOW)
    before = stream.getvalue()
    line.tick(NOW)
    assert stream.getvalue() == before


def test_plain_lines_and_now_and_then_where_things_stand():
    stream, time = io.StringIO(), [0.0]
    lines = PlainLines(stream, lambda: time[0])
    lines.say("route of 30 cells")
    for now in range(0, 60, 5):
        time[0] = float(now)
        lines.tick(NOW)
    told = stream.getvalue().splitlines()
    assert told[0] == "route of 30 cells"
    assert told[1:] == ["best parts 219, depth 5; at least parts 187 in system 1 of 2; 42 s left"]


def test_each_stream_gets_what_suits_it():
    def kind(stream, quiet=False, **environment):
        return type(reporter(stream, quiet, environment, lambda: 80))

    assert kind(Terminal(), TERM="xterm") is StatusLine
    assert kind(Terminal(), TERM="dumb") is PlainLines
    assert kind(io.StringIO(), TERM="xterm") is PlainLines
    assert kind(Terminal(), quiet=True) is Silent


def test_a_stream_that_is_gone_is_no_news():
    stream = Terminal()
    stream.close()
    line = StatusLine(stream, lambda: 80)
    line.tick(NOW)
    line.close()


# ------------------------------------------------------------------ how far the search has got


def made(parts):
    machine = Machine("", (9, 9, 3), Rules(), (), ())
    return Feasible(machine, {"parts": parts}, False, {}, "deep")


def test_the_machine_of_the_system_at_work_counts():
    """Ctrl-C in the middle of a system must not lose it."""
    live = Live(("parts",), systems=2)
    assert live.best is None
    live.current = Progress(best=made(30), bound=(20,), terms=("parts",))
    assert live.best == made(30)
    assert live.bound == {}, "the other system has not been looked at"
    live.done_best, live.results = made(25), [made(25)]
    assert live.best == made(25)


def test_a_bound_holds_for_all_systems():
    live = Live(("parts",), systems=2, results=[Infeasible((), "")])
    live.current = Progress(bound=(20,), terms=("parts",))
    assert live.bound == {"parts": 20}
    first = Feasible(made(25).machine, {"parts": 25}, True, {"parts": 25}, "deep")
    live.results = [first]
    assert live.bound == {"parts": 20}
    live.current, live.systems = None, 1
    assert live.bound == {"parts": 25}


# ------------------------------------------------------------------ the drawing


@pytest.fixture(scope="module")
def ring():
    return parse_machine(build_ring(rectangle(4, 3), snug=True), "ring")


def body(lines):
    return [line.split("|")[1] for line in lines if line.count("|") == 2]


def test_every_block_of_the_tape_is_drawn_once(ring):
    lines = draw_machine(ring, 80)
    text = "\n".join(body(lines))
    assert text.count("+") == 4
    assert text.count("K") == 1
    assert sum(text.count(sign) for sign in "><^v") == len(ring.tape) - 4


@pytest.mark.parametrize("name", SURFACES)
def test_each_surface_is_drawn_as_one_sees_it(name):
    room = (9, 10, 11)
    plane = plane_of(name, room)
    right, down = view_of(plane)
    start = plane.cell(4, 4)
    around = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
    tape = tuple(step(step(start, right, a), down, b) for a, b in around)
    lines = draw_machine(Machine("", room, Rules(), tape, ()), 80)
    assert body(lines) == ["+>+", "^ v", "+<+"]
    assert lines[0].startswith(f"{name}")
    assert " ".join(lines).count("seen from the room") == 1
    axis = next(i for i in range(3) if VECTOR[down][i])
    rows = [int(line.split("|")[0]) for line in lines if line.count("|") == 2]
    assert rows == [cell[axis] for cell in (tape[0], tape[7], tape[6])]


@pytest.mark.parametrize("width", [1, 20, 33, 80])
def test_the_drawing_keeps_to_the_width(ring, width):
    lines = draw_machine(ring, width)
    assert max(map(len, lines)) <= max(width, 14)
    assert all(line.isascii() for line in lines)
    panels = [line for line in lines if line.count("|") == 2]
    assert sum(line.count("+") for line in panels) == 4


def test_drives_trigger_and_link_are_told_apart():
    parts = (
        Part("button", (5, 4, 0), "-z", unit="trigger"),
        Part("push_ram", (5, 4, -2), "-z", unit="trigger"),
        Part("wire", (4, 4, -5), unit="link"),
        Part("sensor", (1, 1, -3), "+z", unit="drive 0"),
        Part("sensor", (1, 2, -3), "+z", unit="lift 0"),
    )
    tape = ((2, 2, -1), (2, 3, -1), (3, 3, -1), (3, 2, -1))
    lines = draw_machine(Machine("", (9, 9, 3), Rules(), tape, parts), 80)
    assert body(lines) == ["   ~K", " ++  ", " ++  ", "*    "]
    assert lines[1] == "   x 1 5"
    assert [line[0] for line in lines if line[0].isdigit()] == list("4321")


# ------------------------------------------------------------------ the command itself


def on_a_terminal(*args):
    """The command with its own terminal: everything it writes there."""
    child, ours = pty.fork()
    if child == 0:
        os.chdir(ROOT)
        os.environ["TERM"] = "xterm"
        os.environ["COLUMNS"] = "80"
        os.execv(sys.executable, [sys.executable, "-m", "solver", *map(str, args)])
    text = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:
            break
        if not piece:
            break
        text += piece
    _, status = os.waitpid(child, 0)
    os.close(ours)
    assert os.waitstatus_to_exitcode(status) == 0, text
    return text.decode().replace("\r\n", "\n")


def test_on_a_terminal_one_line_is_rewritten(tmp_path):
    text = on_a_terminal("solve", RING, "--out", tmp_path / "out")
    assert "s left" in text and "\x1b" not in text
    shown = "\n".join(screen(text))
    assert "s left" not in shown
    assert "floor, seen from the room" in shown


def test_elsewhere_lines_are_plain_and_quiet_is_quiet(tmp_path):
    done = ringwright("solve", RING, "--out", tmp_path / "a")
    assert done.returncode == 0
    assert "\r" not in done.stderr and "route of" in done.stderr
    assert re.search(r"\|.*\+[>^<v]+\+.*\|", done.stdout)
    done = ringwright("solve", RING, "--out", tmp_path / "b", "--quiet")
    assert done.returncode == 0
    assert done.stderr == "" and "|" not in done.stdout
