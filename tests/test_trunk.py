"""Trunks: each found carries its pulse, worked out anew by flooding, to all of a line at once."""

from __future__ import annotations

from collections import deque
from random import Random

import pytest

from models.geometry import add, sub
from solver.net.space_net import SpaceNetSearch
from solver.net.trunk import Trunk, ground, grow, shorten
from tests.rooms import machine_faults, random_scenario_room, solve_room, solve_text

SIDES = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0))
REACH = 15


def ring(width, height):
    """A line below a rectangle, in order."""
    top = [(x, 0, 0) for x in range(width)] + [(width - 1, y, 0) for y in range(1, height)]
    back = [(x, height - 1, 0) for x in range(width - 2, -1, -1)]
    return top + back + [(0, y, 0) for y in range(height - 2, 0, -1)]


def flood(roots, wires):
    """The level of every wire that the roots reach: each one less than the best beside it."""
    level, queue = dict.fromkeys(roots, REACH), deque(roots)
    while queue:
        cell = queue.popleft()
        for near in (add(cell, side) for side in SIDES):
            if near in wires and near not in level and level[cell] > 1:
                level[near] = level[cell] - 1
                queue.append(near)
    return level


def arrivals(trunk: Trunk):
    """The tick in which every wire of the trunk first goes live."""
    wires, tick, live = set(trunk.wires), 0, {}
    roots = [trunk.trigger]
    while roots:
        for cell in flood(roots, wires):
            live.setdefault(cell, tick)
        roots = [
            add(*booster)
            for booster in trunk.boosters
            if live.get(sub(*booster)) == tick and add(*booster) not in live
        ]
        tick += 1
    return live


def right(below, trunk: Trunk):
    """Whether the trunk lies where it may, and all feeds come at once and reach the line."""
    placed = [*trunk.wires, *(c for c, _ in trunk.boosters), *(c for c, _ in trunk.feeds)]
    assert len(set(placed)) == len(placed)
    assert set(trunk.wires) | {c for c, _ in trunk.boosters} <= below.free
    assert set(trunk.feeds) <= set(below.feeds)
    live = arrivals(trunk)
    assert set(live) == set(trunk.wires)
    assert len({live[sub(*feed)] for feed in trunk.feeds}) == 1
    reached = flood([add(*feed) for feed in trunk.feeds], set(below.loop))
    return set(reached) == set(below.loop)


@pytest.mark.parametrize("seed", range(6))
def test_a_trunk_fires_the_whole_line_at_once(seed):
    draw = Random(seed)
    width, height = draw.randint(8, 34), draw.randint(5, 24)
    loop = ring(width, height)
    around = {(x, y, 0) for x in range(-4, width + 4) for y in range(-4, height + 4)}
    blocked = {cell for cell in around if draw.random() < 0.1}
    below = ground(loop, SIDES, around - set(loop) - blocked, REACH)
    triggers = draw.sample(sorted(below.free), 4)
    grown = [trunk for cell in triggers if (trunk := grow(below, cell)) is not None]
    assert grown, "a tenth of blocked cells shuts nobody in"
    for trunk in grown:
        assert right(below, trunk)
    if width * height < 150:
        known = min(grown, key=lambda trunk: trunk.size)
        best = shorten(below, triggers, known)
        assert best is not None and best.size <= known.size and right(below, best)


def test_no_trunk_where_the_line_is_out_of_reach():
    loop = ring(30, 30)
    below = ground(loop, SIDES, {(x, y, 0) for x in range(10, 14) for y in range(2, 6)}, REACH)
    assert grow(below, (11, 4, 0)) is None


def stepped_ceiling() -> str:
    """A loop of 68 cells, longer than a run of wires reaches."""
    rows = [["."] * 22 for _ in range(21)]
    corners = [(1, 2), (11, 2), (11, 7), (19, 7), (19, 18), (9, 18), (9, 12), (1, 12)]
    for (x, y), (x2, y2) in zip(corners, [*corners[1:], corners[0]], strict=True):
        while (x, y) != (x2, y2):
            rows[y][x] = "o"
            x, y = x + (x2 > x) - (x2 < x), y + (y2 > y) - (y2 < y)
    drawn = "\n".join(map("".join, rows))
    return f'''
title = "Stepped ceiling"
[room]
size = [22, 21, 4]
[surfaces.ceiling]
depth = 5
margin = 2
map = """
{drawn}
"""
[loop]
direction = "clockwise"
shape = "exact"
minimise = ["parts"]
'''


def test_a_stepped_ceiling_is_fed_over_boosters_or_by_cables(monkeypatch):
    """Cables of sensors are the cheaper net; without them there is a trunk."""
    parts = {}
    for unit in ("link", "booster"):
        outcome = solve_text(stepped_ceiling(), 300)
        machine = outcome.result.machine
        assert {"link", "booster"} & {part.unit for part in machine.parts} == {unit}
        assert machine_faults(machine, outcome.scenario, presses=1) == []
        parts[unit] = outcome.result.score["parts"]
        monkeypatch.setattr(SpaceNetSearch, "candidates", lambda self, route: iter(()))
    assert parts["link"] < parts["booster"]


def test_a_short_link_may_lie_where_a_drive_powers_it():
    """Such a wire need do no harm; a trunk keeps clear of it, a plain link does not have to."""
    plain = random_scenario_room(Random("symmetry 30/835"), 4, 5)
    for room in (plain, plain.image(5)):
        result = solve_room(room, 60).result
        assert result.optimal and result.score["length"] == 6
