"""The simulator and its naive twin, side by side on circuits that nobody would build."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.geometry import FACES, Cell, Face
from models.machine import ALL_CASES
from tests.circuits import (
    KIND_WEIGHTS,
    PULSES,
    RULES,
    Experiment,
    Plot,
    compare,
    load,
    random_experiment,
)
from tests.oracles.naive_simulator import NaiveWorld
from tests.oracles.ring_builder import build_ring, rectangle
from tests.oracles.shuffled_simulator import ShuffledWorld

CIRCUITS = sorted((Path(__file__).parent / "data" / "circuits").glob("*.json"))
COUNT = 1200
SEED = 20


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_circuits_that_once_made_a_difference(path: Path) -> None:
    assert compare(load(path)) == ""


@pytest.mark.parametrize("share", range(3))
def test_random_circuits(share: int) -> None:
    """Thousands more: python -m tests.campaign_circuits."""
    seen: Counter[str] = Counter()
    for number in range(share, COUNT, 3):
        difference = compare(random_experiment(Random(f"{SEED}/{number}")), seen)
        assert not difference, f"circuit {SEED}/{number}: {difference}"
    # Agreement means something only where something happens.
    assert seen["change of wires"] > COUNT // 8
    assert seen["change of rams"] > COUNT // 15
    assert seen["change of tape"] > COUNT // 40
    assert seen["fault: stroke into part"]


CELLS = st.tuples(st.integers(0, 5), st.integers(0, 3), st.integers(0, 3))
FACE: st.SearchStrategy[Face] = st.sampled_from(FACES)


@st.composite
def experiments(draw: st.DrawFn) -> Experiment:
    """A circuit that shrinks: parts are drawn one by one, in a small plot."""
    plot = Plot((6, 4, 4))
    kinds = st.sampled_from([kind for kind, n in KIND_WEIGHTS.items() for _ in range(n)])
    support = st.sampled_from(["block", "insulator", "sensor"])
    for kind, cell, face, number, under in draw(
        st.lists(st.tuples(kinds, CELLS, FACE, st.integers(0, 3), support), max_size=35)
    ):
        plot.put(kind, cell, face, number, under)  # type: ignore[arg-type]
    rules = draw(st.fixed_dictionaries({}, optional=_rules()))
    case = draw(st.sampled_from(ALL_CASES))
    low = st.tuples(*[st.integers(-1, 3)] * 3)
    boxes: list[tuple[Cell, Cell]] = []
    for (x, y, z), (a, b, c) in draw(st.lists(st.tuples(low, CELLS), max_size=3)):
        boxes.append(((x, y, z), (x + a, y + b, z + c)))
    experiment = Experiment(plot.machine(rules, boxes), case.overhead, case.ground, half_ticks=24)
    if wires := plot.cells("wire"):
        pulse = st.tuples(st.sampled_from(wires), st.integers(1, 12), st.sampled_from(PULSES))
        experiment.pulses = draw(st.lists(pulse, min_size=1, max_size=5))
    if buttons := plot.cells("button"):
        press = st.tuples(st.sampled_from(buttons), st.integers(1, 12))
        experiment.presses = draw(st.lists(press, max_size=3))
    return experiment


def _rules() -> dict[str, st.SearchStrategy[int]]:
    return {name: st.sampled_from(values) for name, values in RULES.items()}


@settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(experiments())
def test_circuits_that_shrink(experiment: Experiment) -> None:
    assert compare(experiment) == ""


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
@pytest.mark.parametrize("clockwise", [False, True])
def test_a_whole_ring(case: object, clockwise: bool) -> None:
    """The worked machine, snug in its ground: one press and the rest after it."""
    machine = build_ring(rectangle(4, 3, clockwise=clockwise), snug=True, press=8)
    button = next(tuple(p["at"]) for p in machine["parts"] if p["kind"] == "button")
    experiment = Experiment(machine, case.overhead, case.ground)  # type: ignore[attr-defined]
    experiment.presses = [(button, 1)]
    assert compare(experiment) == ""


def test_where_no_rule_is_broken_the_order_of_the_rams_does_not_matter() -> None:
    """Rams that start one after another, in any order, end where rams do that start together."""
    moved = 0
    for number in range(300):
        rng = Random(f"order/{number}")
        e = random_experiment(rng)
        together = NaiveWorld(e.machine, overhead=e.overhead, ground=e.ground)
        in_turn = ShuffledWorld(e.machine, overhead=e.overhead, ground=e.ground, rng=rng)
        start = together.snapshot()["tape"]
        for world in (together, in_turn):
            for cell, first, length in e.pulses:
                world.set_source(cell, first, first + length)
        for _ in range(e.half_ticks):
            together.step()
            if together.faults or together.resting():
                break
            in_turn.step()
            assert together.snapshot() == in_turn.snapshot(), f"circuit order/{number}"
        moved += together.snapshot()["tape"] != start
    assert moved > 10
