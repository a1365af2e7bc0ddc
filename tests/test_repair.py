"""Repairs: each is a scenario that reads, solves and runs; limits: what each requirement costs."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from models.limits import Limits
from models.machine import ALL_CASES
from models.outcome import Feasible
from solver.explain.advice import REPAIR_NAMES, repair_scenario
from solver.explain.direct import search_alone
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from solver.explain.repair import repairs
from solver.explain.sensitivity import limits_of
from solver.machine_file import read_machine
from solver.read_scenario import parse_scenario, read_scenario
from solver.scenario_file.write import scenario_text
from solver.simulate import prove
from tests.test_cli_input import ringwright

ROOT = Path(__file__).parent.parent
IMPOSSIBLE = ROOT / "tests" / "data" / "impossible"
FILES = [
    *(f for f in sorted((ROOT / "scenarios").glob("*.toml")) if f.name != "expected.toml"),
    *sorted(IMPOSSIBLE.glob("*.toml")),
]
BUDGET_S = 40

EXPECTED = {
    "depth-1": ["deeper"],
    "dead-end-corner": ["no tape at (0,6,-1)"],
    "length-too-few-row": ["allow 14 cells: max 14", "no tape at"],
    "margin-none-free": ["further beyond the rim", "no tape at"],
    "button-in-the-way": ["move the button", "no tape at"],
}
"""Words of the lightest repairs; where several weigh the same, one of them is enough."""


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_a_scenario_reads_back_as_it_was_written(file):
    scenario = read_scenario(file)
    again = parse_scenario(scenario_text(scenario, "a comment"), file)
    assert (again.title, again.room, again.surfaces, again.loop, again.rules) == (
        scenario.title,
        scenario.room,
        scenario.surfaces,
        scenario.loop,
        scenario.rules,
    )


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_each_repair_is_solved_and_simulated(name):
    found = repairs(read_scenario(IMPOSSIBLE / f"{name}.toml"), time.monotonic() + BUDGET_S)
    assert found
    assert [r.weight for r in found] == sorted(r.weight for r in found)
    said = "; ".join(change.text for repair in found for change in repair.changes)
    assert any(words in said for words in EXPECTED[name]), said
    for repair in found:
        assert all(result.ok for result in prove(repair.found.machine, ALL_CASES))
        scenario = parse_scenario(repair.text, Path("repair.toml"))
        until = time.monotonic() + BUDGET_S
        assert any(
            isinstance(search_alone(verdict_only(scenario), system, until), Feasible)
            for system in systems_of(scenario)
        )


def test_a_feasible_scenario_needs_no_repair():
    report = repair_scenario(read_scenario(ROOT / "scenarios" / "first-ring.toml"), budget_s=60)
    assert report.ok and not report.needed


def test_the_command_writes_scenarios_and_machines(tmp_path):
    out = tmp_path / "out"
    done = ringwright(
        "repair", str(IMPOSSIBLE / "depth-4.toml"), "--out", str(out), "--json", "--budget", "30"
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["repairs"]
    assert {p.name for p in out.iterdir()} <= set(REPAIR_NAMES)
    assert read_machine(out / "repair-1.json").tape
    assert read_scenario(out / "repair-1.toml").surfaces["floor"].depth >= 5


def test_limits_tell_what_a_required_cell_costs():
    text = """
[room]
size = [9, 8, 4]
[surfaces.floor]
depth = 5
margin = 4
map = \"\"\"
.........
.........
..o......
.........
.........
.......o.
.........
.........
\"\"\"
[loop]
direction = "clockwise"
shape = "free"
minimise = ["length"]
"""
    result = limits_of(parse_scenario(text, Path("limits.toml")), 20)
    assert isinstance(result, Limits)
    cells = [g for g in result.gains if g.names[0].startswith("surfaces.floor.map")]
    assert len(cells) == 2
    assert all(gain.saved["length"] > 0 for gain in cells)
    assert [g.saved["length"] for g in result.gains] == sorted(
        (g.saved["length"] for g in result.gains), reverse=True
    )
    assert isinstance(result.found, Feasible)
