"""A small share of the campaign of random walls, and proofs of impossibility against all loops."""

from __future__ import annotations

import time
from collections import Counter
from random import Random

import pytest

from models.route import RouteNone
from solver.flatten import flatten
from solver.net.systems import WORLD
from solver.search import any_route
from tests.campaign_walls import MOST_DRAWN, has_loop, judge_wall
from tests.oracles.naive_wall import NaiveWall
from tests.wall_rooms import random_wall_room

STEP_OF_TWO = ("......", "..ooo.", ".oo.o.", ".o..o.", ".oooo.", "......")


def test_what_the_rules_exclude_is_what_no_drawn_loop_keeps():
    """The proof behind "impossible" on walls, on random rooms, against every loop there is."""
    seen: Counter[bool] = Counter()
    for number in range(60):
        room = random_wall_room(Random(f"rules/{number}"), 9, 7)
        if room.shape == "free" and sum(map(len, room.rows)) > MOST_DRAWN:
            continue
        problem = flatten(room.scenario())
        none = isinstance(any_route(problem, WORLD, 0, time.monotonic() + 60), RouteNone)
        assert none != has_loop(room), room.text()
        seen[none] += 1
    assert min(seen[True], seen[False]) >= 5


def test_the_naive_wall_is_awake():
    square = ("....", ".oo.", ".oo.", "....")
    assert NaiveWall(square, 2, 2, clockwise=True).has_loop(exact=True)
    assert not NaiveWall(square, 1, 2, clockwise=True).has_loop(exact=True)
    assert not NaiveWall(square, 2, 0, clockwise=True).has_loop(exact=True)
    assert not NaiveWall(STEP_OF_TWO, 2, 3, clockwise=True).has_loop(exact=True)


@pytest.mark.parametrize("number", range(2))
def test_random_walls(number):
    room = random_wall_room(Random(f"ci/{number}"), 8, 7)
    assert judge_wall(room, 60, Counter()) == []
