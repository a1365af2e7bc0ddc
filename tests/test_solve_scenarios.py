"""Every shipped scenario, from its file to a verdict, held against what is expected of it.

Machines are judged a second time by the naive simulator, which shares no code with the product.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from models.machine import ALL_CASES
from models.outcome import Feasible, Infeasible
from solver.machine_file import parse_machine, write_machine
from solver.pipeline import solve_scenario
from solver.read_scenario import read_scenario
from tests.oracles.naive_simulator import run_presses
from tests.test_cli_input import ringwright

FOLDER = Path(__file__).parent.parent / "scenarios"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))
BUDGET_S = 300.0


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_scenario_gets_its_verdict(name):
    wanted = EXPECTED[name]
    scenario = read_scenario(FOLDER / f"{name}.toml")
    outcome = solve_scenario(scenario, budget_s=BUDGET_S)
    assert outcome.verdict == wanted["verdict"]
    result = outcome.result
    if isinstance(result, Infeasible):
        said = " ".join(reason.text for reason in result.reasons)
        assert result.proof
        assert said
        assert "machine" not in outcome.as_json({})["files"]
        return
    assert isinstance(result, Feasible)
    assert result.optimal or not wanted.get("optimal", True)
    objective = wanted.get("objective", {})
    assert {term: result.score[term] for term in objective} == objective
    text = write_machine(result.machine)
    assert parse_machine(json.loads(text), name).parts == result.machine.parts
    # One case of the four by the naive twin; the other three cost minutes on a large loop.
    case = ALL_CASES[len(result.machine.tape) % 4]
    twin = run_presses(json.loads(text), 2, overhead=case.overhead, ground=case.ground)
    assert twin.ok, twin.faults


def test_the_same_scenario_and_seed_give_the_same_file():
    scenario = read_scenario(FOLDER / "pillars.toml")
    texts = []
    for _ in range(2):
        found = solve_scenario(scenario, budget_s=BUDGET_S, seed=3).found
        assert found is not None
        texts.append(write_machine(found.machine))
    assert texts[0] == texts[1]


@pytest.mark.parametrize(("name", "told"), [("impossible-edge", True), ("impossible-belt", False)])
def test_what_impossible_holds_over_is_told(name, told, tmp_path):
    """On one floor or ceiling the catalogue decides, on walls and in whole rooms the rules."""
    scenario = Path(__file__).parent.parent / "scenarios" / f"{name}.toml"
    done = ringwright("solve", scenario, "--out", tmp_path / "out", "--quiet")
    assert done.returncode == 3
    assert ("over the catalogue" in done.stdout) == told
