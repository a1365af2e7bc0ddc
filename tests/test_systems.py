"""Ceilings and shallow floors, from a drawn ring to a machine that two simulators accept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from models.outcome import Feasible, Infeasible
from solver.characterise.testbed import polygon, rectangle
from solver.machine_file import write_machine
from solver.net.systems import DEEP_EARLY, DEEP_MIXED, OVER_MIXED
from solver.pipeline import solve_scenario
from solver.read_scenario import parse_scenario
from tests.oracles.naive_simulator import run_presses

RIM = 4
SEVERAL = (DEEP_EARLY, DEEP_MIXED, OVER_MIXED)


def ring(surface, width, height, *, depth, direction="clockwise", minimise='["parts"]', rules=""):
    """A scenario with an exact ring in the middle of one surface."""
    return drawn(surface, rectangle(width, height), depth, direction, minimise, rules)


def drawn(surface, spots, depth, direction="clockwise", minimise='["parts"]', rules=""):
    """A scenario with an exact loop of these spots, columns and rows, in the middle."""
    across, down = (1 + max(spot[i] for spot in spots) + 2 * RIM for i in (0, 1))
    rows = [["."] * across for _ in range(down)]
    for x, y in spots:
        rows[RIM + y][RIM + x] = "o"
    picture = "\n".join("".join(row) for row in rows)
    text = (
        f'title = "ring"\n[room]\nsize = [{across}, {down}, 4]\n[surfaces.{surface}]\n'
        f'depth = {depth}\nmap = """\n{picture}\n"""\n[loop]\ndirection = "{direction}"\n'
        f'shape = "exact"\nminimise = {minimise}\n{rules}'
    )
    return parse_scenario(text, Path("ring.toml"))


def solved(scenario):
    result = solve_scenario(scenario, budget_s=300).result
    assert isinstance(result, Feasible)
    content = json.loads(write_machine(result.machine))
    for overhead, ground in ((True, True), (False, False)):
        twin = run_presses(content, 1, overhead=overhead, ground=ground)
        assert twin.ok, twin.faults
    return result


@pytest.mark.parametrize(
    ("width", "height", "direction"),
    [(3, 3, "clockwise"), (2, 5, "anticlockwise"), (6, 4, "anticlockwise"), (9, 8, "clockwise")],
)
def test_ceiling_rings_of_any_size(width, height, direction):
    found = solved(ring("ceiling", width, height, depth=4, direction=direction))
    assert found.score["depth"] == 4


def test_a_ceiling_cell_needs_four_parts_and_a_floor_cell_five():
    """Common practice of the trade, no source: ours are no worse."""
    rings = {name: solved(ring(name, 4, 3, depth=5)) for name in ("floor", "ceiling")}
    drives = 4 * 11
    assert rings["floor"].score["parts"] == 5 * 10 + drives + 5
    assert rings["ceiling"].score["parts"] == 4 * 10 + drives + 4


def test_a_shallow_floor_carries_a_rectangle_three_deep():
    found = solved(ring("floor", 8, 7, depth=3, direction="anticlockwise"))
    assert found.score["depth"] == 3
    assert found.system == "flat"


def test_where_both_systems_fit_the_objective_decides():
    few = solved(ring("floor", 9, 9, depth=5))
    assert few.system == "flat"
    assert few.optimal
    small = solved(ring("floor", 5, 4, depth=5, minimise='["parts", "depth"]'))
    assert small.system == "deep"


def test_two_deep_is_too_little_for_any_floor():
    result = solve_scenario(ring("floor", 8, 7, depth=2), budget_s=300).result
    assert isinstance(result, Infeasible)


def drives_of(found):
    """The names of the drives that a machine has, by the parts of their units."""
    known = {drive.name: drive for system in SEVERAL for drive in system.drives}
    units = {}
    for part in found.machine.parts:
        if part.unit.startswith("drive"):
            units.setdefault(part.unit, []).append((part.kind, part.delay))
    return {
        name
        for made in units.values()
        for name, drive in known.items()
        if sorted(made, key=str) == sorted(((p.kind, p.delay) for p in drive.parts), key=str)
    }


def test_a_ceiling_takes_another_drive_where_the_first_does_not_fit():
    """Edges of four cells before and after an inner corner."""
    ell = polygon([(0, 0), (7, 0), (7, 4), (4, 4), (4, 7), (0, 7)])
    found = solved(drawn("ceiling", ell, 4))
    assert found.system == "over-mixed"
    assert "ceiling-early-8" in drives_of(found)


@pytest.mark.parametrize(
    ("surface", "depth", "drive"),
    [("floor", 5, "floor-early-11"), ("ceiling", 4, "ceiling-early-8")],
)
def test_a_press_of_eight_ticks_takes_drives_that_feed_early(surface, depth, drive):
    found = solved(ring(surface, 4, 3, depth=depth, rules="[rules]\npress = 8\n"))
    assert drives_of(found) == {drive}
    assert all(part.press == 8 for part in found.machine.parts if part.kind == "button")
