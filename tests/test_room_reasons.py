"""Impossible rooms with several surfaces as data: what is named, and that it is needed.

Comment lines on top of each file say what is expected, as in `test_reasons.py`.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from models.machine import ALL_CASES
from models.outcome import Feasible, Infeasible
from solver.check import check_against
from solver.explain.by_rules import Routed, RulesOracle
from solver.explain.changed import changed_scenario
from solver.explain.direct import search_alone
from solver.explain.relax import relax, verdict_only
from solver.explain.repair import repairs
from solver.explain.rooms import explain_rooms
from solver.explain.switched import Refuted
from solver.net.systems import systems_over
from solver.pipeline import solve_scenario
from solver.read_scenario import parse_scenario, read_scenario
from solver.simulate import prove
from tests.test_reasons import expected, named

FILES = sorted((Path(__file__).parent / "data" / "impossible_rooms").glob("*.toml"))
BUDGET_S = 200.0


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_reason_is_the_one_expected(file: Path) -> None:
    """Named, told, and shrunk: without any one of them there is a route."""
    scenario = read_scenario(file)
    found = solve_scenario(scenario, budget_s=BUDGET_S).result
    assert isinstance(found, Infeasible)
    names = named(found)
    for wanted in expected(file, "names"):
        assert names == frozenset(wanted.split())
    text = "\n".join(reason.text for reason in found.reasons)
    for wanted in expected(file, "says"):
        assert wanted in text
    oracle = RulesOracle(scenario, time.monotonic() + BUDGET_S)
    assert isinstance(oracle.ask(names), Refuted)
    for name in sorted(names):
        assert isinstance(oracle.ask(names - {name}), Routed), name


def test_without_time_what_shows_in_the_drawing_is_told() -> None:
    """No shrinking then, but the lift that has no place."""
    scenario = read_scenario(FILES[[f.stem for f in FILES].index("shallow-wall")])
    bare = Infeasible((), "by hand")
    found = explain_rooms(scenario, bare, time.monotonic(), lambda line: None)
    assert not found.minimal
    assert "a lift needs the cell" in found.reasons[0].text


def test_each_repair_is_solved_and_simulated() -> None:
    """The lightest repairs; what is written reads back, and its machine runs."""
    scenario = read_scenario(FILES[[f.stem for f in FILES].index("too-few-cells")])
    found = repairs(scenario, time.monotonic() + BUDGET_S)
    told = {change.text for repair in found for change in repair.changes}
    assert told >= {"allow 16 cells: max 16", "no tape at (1,3,2)"}
    for repair in found:
        again = parse_scenario(repair.text, Path("repair.toml"))
        assert again.surfaces == repair.scenario.surfaces
        assert not check_against(repair.found.machine, again)
        assert all(not result.faults for result in prove(repair.found.machine, ALL_CASES))


def test_a_cell_that_cannot_be_run_round_is_moved() -> None:
    """To the nearest one inside the loop that is drawn; nothing else changes."""
    scenario = read_scenario(FILES[[f.stem for f in FILES].index("ring-beside")])
    loose = relax(scenario, frozenset({"loop.around"}))
    (system,) = systems_over(scenario.surfaces)
    verdict = search_alone(verdict_only(loose), system, time.monotonic() + BUDGET_S)
    found = verdict if isinstance(verdict, Feasible) else getattr(verdict, "best", None)
    assert found is not None
    changed = changed_scenario(scenario, loose, found.machine)
    assert [change.text for change in changed.changes] == ["run around (4,6,2)"]
    assert changed.scenario.loop.around == (4, 6, 2)
    assert check_against(found.machine, scenario)
    assert not check_against(found.machine, parse_scenario(changed.text(), Path("repair.toml")))
