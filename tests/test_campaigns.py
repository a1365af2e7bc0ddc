"""A small share of each campaign of tests/CAMPAIGNS.md, and rooms that once went wrong."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest

from solver.pipeline import solve_scenario
from solver.read_scenario import read_scenario
from tests.campaign_counter import judge as judge_both_ways
from tests.campaign_rooms import judge_room
from tests.campaign_routes import judge_route
from tests.campaign_symmetry import judge_symmetry
from tests.oracles.milp_route import MilpRoute
from tests.oracles.naive_route import best_costs
from tests.rooms import Room, machine_faults, random_scenario_room
from tests.route_rooms import random_room

KEPT = sorted((Path(__file__).parent / "data" / "rooms").glob("*.toml"))
RING = Room(("......", "......", "..oo..", "..oo..", "......", "......"), margin=4)


def test_images_of_a_room():
    room = Room((".#o", "..="))
    assert room.mirrored().rows == ("o#.", "=..")
    assert room.mirrored().direction == "anticlockwise"
    assert room.turned().rows == ("..", ".#", "=o")
    images = {room.image(number).rows for number in range(8)}
    assert len(images) == 8
    assert room.turned().turned().turned().turned() == room


def test_a_small_ring_and_its_judges():
    seen: Counter[str] = Counter()
    assert judge_room(RING, 60, seen) == []
    assert seen["machines"] == 1


def test_the_judges_are_awake():
    """A machine held against another room has missed cells."""
    found = solve_scenario(RING.scenario(), budget_s=60).found
    assert found is not None
    other = Room(("o.....", *RING.rows[1:]), margin=4)
    assert any("must pass" in fault for fault in machine_faults(found.machine, other.scenario()))


def test_abstract_rooms_against_enumeration():
    for seed in range(77_000, 77_030):
        assert judge_route(seed, Counter()) == [], seed


def test_larger_abstract_rooms_against_a_mixed_integer_program():
    seen: Counter[str] = Counter()
    for seed in range(4_100_002, 4_100_009):
        assert judge_route(seed, seen, large=True) == [], seed
    assert seen["feasible"] >= 2
    assert seen["infeasible"] >= 2


def test_the_program_and_enumeration_agree():
    for seed in range(78_000, 78_012):
        problem = random_room(seed)
        assert MilpRoute(problem).best_costs() == best_costs(problem), seed


@pytest.mark.parametrize("number", range(2))
def test_rooms(number):
    room = random_scenario_room(Random(f"ci/{number}"), 6, 8)
    assert judge_room(room, 60, Counter()) == []


def test_images_of_a_ring_have_its_optimum():
    assert judge_symmetry(RING, Random(2), 60, Counter()) == []


@pytest.mark.parametrize("path", KEPT, ids=lambda path: path.stem)
def test_rooms_that_once_went_wrong(path):
    scenario = read_scenario(path)
    outcome = solve_scenario(scenario, budget_s=60)
    if outcome.found is not None:
        assert machine_faults(outcome.found.machine, scenario) == []


def test_loops_that_run_both_ways():
    seen: Counter[str] = Counter()
    for name, one_button in (("5/3", False), ("5/2", True)):
        assert judge_both_ways(name, seen, 60, one_button) == [], name
    assert seen == {"machine on a ceiling": 1, "machine on a floor": 1}
