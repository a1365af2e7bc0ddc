"""Impossible scenarios as data: the reason named, its words, and that a turned room has the same.

Comment lines on top of each file say what is expected. `#! names:` is the whole set; where a
scenario has several minimal sets there is no such line, and the set found is tried out instead.
`#! says:` is part of what is said. `#! campaign:` leaves a file to
`python -m tests.campaign_verdicts 0`, which tries all files.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from models.outcome import Infeasible
from solver.explain.direct import DirectOracle, search_alone
from solver.explain.explain import explain
from solver.explain.oracle import Kept, systems_of
from solver.explain.relax import verdict_only
from solver.explain.switched import Refuted
from solver.pipeline import solve_scenario
from solver.read_scenario import read_scenario
from tests.turned import TURNS, turned_names, turned_scenario

FOLDER = Path(__file__).parent / "data" / "impossible"
FILES = sorted(FOLDER.glob("*.toml"))
BUDGET_S = 120


def expected(file: Path, what: str) -> list[str]:
    """The expectations of one kind, line by line."""
    head = f"#! {what}: "
    lines = file.read_text(encoding="utf-8").splitlines()
    return [line.removeprefix(head) for line in lines if line.startswith(head)]


def reason(scenario):
    """The infeasible verdict with its reason."""
    deadline = time.monotonic() + BUDGET_S
    results = [search_alone(verdict_only(scenario), s, deadline) for s in systems_of(scenario)]
    assert all(isinstance(r, Infeasible) for r in results)
    found = explain(scenario, results[0], deadline)
    assert isinstance(found, Infeasible)
    return found


def named(verdict) -> frozenset[str]:
    return frozenset(r.requirement for r in verdict.reasons if r.requirement)


def needed(scenario, names: frozenset[str]) -> None:
    """No machine keeps these, and without any one of them there is one."""
    oracle = DirectOracle(scenario, time.monotonic() + BUDGET_S)
    assert isinstance(oracle.ask(names), Refuted)
    for name in sorted(names):
        assert isinstance(oracle.ask(names - {name}), Kept), name


def test_there_are_enough_of_them():
    assert len(FILES) >= 40
    assert len(QUICK) >= 40
    assert sum(bool(expected(f, "names")) for f in FILES) >= 30


QUICK = [f for f in FILES if not expected(f, "campaign")]


@pytest.mark.parametrize("file", QUICK, ids=lambda f: f.stem)
def test_the_reason(file):
    check_reason(file)


def check_reason(file: Path) -> None:
    scenario = read_scenario(file)
    verdict = reason(scenario)
    assert verdict.minimal
    names = named(verdict)
    if lines := expected(file, "names"):
        assert names == frozenset(" ".join(lines).split())
    elif names != {"room.size"}:
        needed(scenario, names)
    told = "\n".join(r.text for r in verdict.reasons)
    for words in expected(file, "says"):
        assert words in told
    places = [r.place for r in verdict.reasons if r.requirement]
    assert all(place.startswith(str(file)) for place in places)
    assert "confirmed by" in verdict.proof


@pytest.mark.parametrize("name", ["dead-end", "rams-move-one", "edge-7-weak-rams"])
def test_each_name_is_needed(name):
    file = FOLDER / f"{name}.toml"
    needed(read_scenario(file), frozenset(" ".join(expected(file, "names")).split()))


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("name", ["dead-end-corner", "edge-7-weak-rams", "margin-none"])
def test_a_turned_or_mirrored_room_has_the_same_reason(name, turn):
    """Only rooms with one minimal set, or one that the drawing itself shows."""
    file = FOLDER / f"{name}.toml"
    scenario = read_scenario(file)
    names = frozenset(" ".join(expected(file, "names")).split())
    assert named(reason(turned_scenario(scenario, turn))) == turned_names(scenario, names, turn)


def test_the_pipeline_hands_the_reason_on():
    scenario = read_scenario(FOLDER / "depth-2.toml")
    outcome = solve_scenario(scenario, budget_s=BUDGET_S)
    told = outcome.as_json({})
    assert told["verdict"] == "infeasible"
    assert [r["requirement"] for r in told["reasons"]][-1] == "surfaces.floor.depth"


def test_a_carpet_of_25_cells_is_refused_by_counting():
    """A loop through every cell of m x n needs m n even (Itai et al. 1982, memory)."""
    outcome = solve_scenario(read_scenario(FOLDER / "carpet-5x5.toml"), budget_s=BUDGET_S)
    assert isinstance(outcome.result, Infeasible)
    assert "13 required cells, no two side by side, have only 12" in outcome.result.proof
