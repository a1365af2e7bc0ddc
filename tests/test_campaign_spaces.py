"""A small share of `campaign_spaces`: rooms with several surfaces, judged anew."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from models.machine import Machine
from solver.pipeline import solve_scenario
from tests.campaign_spaces import judge_space, naive_route_exists
from tests.rooms import machine_faults
from tests.space_rooms import random_space_room


@pytest.mark.parametrize(
    ("name", "outcome"),
    [
        ("1/14", "machines"),
        ("2/6", "proven best"),
        ("1/16", "impossible, enumerated"),
        ("2/7", "impossible, enumerated"),
    ],
)
def test_rooms(name: str, outcome: str) -> None:
    seen: Counter[str] = Counter()
    assert judge_space(random_space_room(Random(name)), 120, seen) == []
    assert seen[outcome] == 1, seen


def test_the_judges_are_awake() -> None:
    """Enumeration finds the route of a room that has a machine; a part less is noticed."""
    room = random_space_room(Random("2/9"))
    found = solve_scenario(room.scenario(), budget_s=120).found
    assert found is not None
    machine = found.machine
    sensors = [part for part in machine.parts if part.kind == "sensor"]
    parts = tuple(part for part in machine.parts if part != sensors[0])
    broken = Machine(machine.title, machine.room, machine.rules, machine.tape, parts, machine.dug)
    assert machine_faults(broken, room.scenario(), 1)
    assert naive_route_exists(room.scenario()) is not False
