"""The command line and what people type: exit statuses, messages, and nothing half done."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BAD = ROOT / "tests" / "data" / "bad"


def ringwright(*args: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    environment.pop("RINGWRIGHT_DEBUG", None)
    return subprocess.run(
        [sys.executable, "-m", "solver", *map(str, args)],
        cwd=cwd, env=environment, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip


def refused(done: subprocess.CompletedProcess[str], *words: str) -> None:
    assert done.returncode == 2, done
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr


def test_a_new_scenario_reads_and_draws(tmp_path):
    assert ringwright("new", "room.toml", cwd=tmp_path).returncode == 0
    done = ringwright("draw", "room.toml", cwd=tmp_path)
    assert done.returncode == 0
    assert "4 ...oo......" in done.stdout.splitlines()
    assert " 12345678901" in done.stdout


def test_new_keeps_what_is_there(tmp_path):
    (tmp_path / "room.toml").write_text("mine")
    refused(ringwright("new", "room.toml", cwd=tmp_path), "room.toml", "exists", "--force")
    assert (tmp_path / "room.toml").read_text() == "mine"
    assert ringwright("new", "room.toml", "--force", cwd=tmp_path).returncode == 0


def test_pictures_of_a_scenario(tmp_path):
    ringwright("new", "room.toml", cwd=tmp_path)
    done = ringwright("draw", "room.toml", "--out", "room.png", cwd=tmp_path)
    assert done.returncode == 0
    assert '"o" = "#' in done.stdout
    refused(ringwright("draw", "room.toml", "--out", "room.png", cwd=tmp_path), "exists")


def test_all_faults_of_scenario_and_directory_at_once(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "machine.json").write_text("old")
    bad = BAD / "many-at-once.toml"
    done = ringwright("solve", bad, "--out", out)
    refused(done, f"{bad}:15:3: ", "machine.json", "--force", "unknown mark")
    assert len(done.stderr.splitlines()) == 6
    assert [p.name for p in out.iterdir()] == ["machine.json"]
    assert (out / "machine.json").read_text() == "old"


def test_a_bad_scenario_makes_no_directory(tmp_path):
    refused(ringwright("solve", BAD / "no-surface.toml", "--out", tmp_path / "a" / "b"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["solve", "draw"])
@pytest.mark.parametrize("name", ["nowhere.toml", ".", "binary.toml"])
def test_files_that_are_no_scenario(tmp_path, command, name):
    args = ["--out", tmp_path / "out"] if command == "solve" else []
    refused(ringwright(command, BAD / name, *args))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["solve"],
        ["solve", "a.toml"],
        ["slove", "a.toml"],
        ["solve", "a.toml", "--out", "x", "--budget", "0"],
        ["solve", "a.toml", "--out", "x", "--budget", "nan"],
        ["solve", "a.toml", "--out", "x", "--budget", "-1"],
        ["solve", "a.toml", "--out", "x", "--budget", "soon"],
        ["solve", "a.toml", "--out", "x", "--seed", "-1"],
        ["solve", "a.toml", "--out", "x", "--seed", "1.5"],
        ["solve", "a.toml", "--out", "x", "--sed", "1"],
        ["simulate", "m.json", "--presses", "0"],
        ["simulate", "m.json", "--presses", "99999999999999999999"],
        ["draw", "a.toml", "--out", "/proc/none/a.png"],
        ["completion", "tcsh"],
    ],
    ids=" ".join,
)
def test_wrong_calls(tmp_path, args):
    refused(ringwright(*args, cwd=tmp_path))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["solve", "simulate", "check", "new", "draw", "completion"])
def test_each_command_has_help_with_an_example(command):
    done = ringwright(command, "--help")
    assert done.returncode == 0
    assert "Example" in done.stdout
    assert f"  ringwright {command} " in done.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts(shell):
    done = ringwright("completion", shell)
    assert done.returncode == 0
    assert "_RINGWRIGHT_COMPLETE" in done.stdout


def test_help_loads_nothing_heavy():
    code = (
        "import sys, json\n"
        "sys.argv = ['ringwright', '--help']\n"
        "import solver.cli\n"
        "try: solver.cli.main()\n"
        "except SystemExit: pass\n"
        "print(json.dumps(sorted(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    loaded = set(json.loads(done.stderr))
    heavy = {"ortools", "pydantic", "PIL", "networkx", "numpy", "pandas", "models.scenario"}
    assert not heavy & loaded


def test_our_own_faults_show_no_traceback(tmp_path):
    code = (
        "import sys, solver.files, solver.cli\n"
        "def broken(*args): raise RuntimeError('boom')\n"
        "solver.files.write_new = broken\n"
        "sys.argv = ['ringwright', 'new', 'x.toml']\n"
        "solver.cli.main()\n"
    )
    run = [sys.executable, "-c", code]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(run, cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == 1
    assert "boom" in done.stderr and "Traceback" not in done.stderr
    code = code.replace("RuntimeError('boom')", "KeyboardInterrupt")
    run = [sys.executable, "-c", code]
    done = subprocess.run(run, cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == 130
    assert "Traceback" not in done.stderr


def test_scripts_beside_ours_are_not_taken_for_our_packages(tmp_path):
    """python-sat puts a `models.py` into the folder of the console scripts."""
    (tmp_path / "models.py").write_text("raise SystemExit('the wrong models')")
    script = tmp_path / "ringwright"
    script.write_text("from solver.cli import main\nmain()\n")
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = [sys.executable, str(script), "draw", str(ROOT / "scenarios" / "first-ring.toml")]
    done = subprocess.run(run, cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done
    assert done.stdout.startswith("First ring")


def test_a_closed_pipe_is_no_news(tmp_path):
    ringwright("new", "room.toml", cwd=tmp_path)
    command = f"{sys.executable} -m solver draw room.toml | head -n 1"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["bash", "-c", command], cwd=tmp_path, env=environment, capture_output=True, text=True
    )
    assert done.stdout == "My room\n"
    assert done.stderr == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_an_output_that_is_full_is_no_fault_of_ours():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "solver", "draw", "scenarios/first-ring.toml"],
            cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert "the output cannot be written" in done.stderr
    assert "own fault" not in done.stderr


def test_a_reader_that_leaves_early_is_no_fault_of_ours():
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "solver", "draw", "scenarios/first-ring.toml"],
        cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
    )  # fmt: skip
    os.close(writer)
    assert done.returncode == 2
    assert "the output cannot be written" in done.stderr
