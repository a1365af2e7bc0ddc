"""Lifts and their lines: fired from one place, every lift in its half-tick; and whole machines."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.catalogue import Design
from models.geometry import FACES, Face
from models.machine import Case
from solver.characterise.testbed import (
    EAST,
    FLOOR,
    NORTH,
    SOUTH,
    Ground,
    Spot,
    build,
    feed,
    judge,
    mirrored,
    plus,
    rectangle,
)
from solver.net.catalogue import entry, load_entries
from solver.net.lift_lines import FLAT_TRIGGER, WALL_TRIGGER, ClashError
from solver.simulate import Simulation

WALL_LOOPS = [(3, 3), (4, 4), (5, 3), (3, 5), (4, 7), (13, 3), (3, 13), (13, 12), (6, 12)]


def firing_times(ground: Ground, spots: list[Spot], system: str, overhead: bool) -> set[int]:
    """Half-ticks after the pulse at which lifts start, in a machine without drives."""
    nothing: dict[Face, Design] = {
        face: Design("none", "drive", face, (), (), system) for face in FACES
    }
    bench = build(ground, spots, nothing, system)
    simulation = Simulation(bench.machine, Case(overhead, True), record=True)
    simulation.run_to_rest(100)
    start = simulation.now + 1
    feed(simulation, bench, 20)
    simulation.run_to_rest(100)
    strokes: dict[int, list[int]] = {i: [] for i in range(len(simulation.rams))}
    for t, what, which, value in simulation.events or ():
        if what == "ram" and value == 1 and t >= start:
            strokes[which].append(t - start)
    assert all(len(times) == 2 and times[1] == times[0] + 20 for times in strokes.values())
    return {times[0] for times in strokes.values()}


@pytest.mark.parametrize("size", WALL_LOOPS)
@pytest.mark.parametrize("overhead", [False, True])
def test_a_wall_line_has_no_skew(size: tuple[int, int], overhead: bool) -> None:
    """Any width and height, fed at one wire of its lowest edge, on three walls."""
    for ground in (NORTH, EAST, SOUTH):
        for spots in (rectangle(*size), mirrored(rectangle(*size))):
            assert firing_times(ground, spots, "wall", overhead) == {0}


def test_a_wall_line_goes_round_a_plus() -> None:
    """Edges that begin at the bottom and edges that begin half-way up."""
    for spots in (plus(7, 6), plus(9, 5)):
        assert firing_times(NORTH, spots, "wall", True) == {0}


def test_a_wall_line_needs_no_sensors() -> None:
    """The trade: one a cell on horizontal edges, one every second cell up (common practice)."""
    bench = build(NORTH, rectangle(6, 7), wall_drives(), "wall")
    assert not [p for p in bench.machine.parts if p.kind == "sensor" and p.unit == "line"]


def wall_drives() -> dict[Face, Design]:
    """The first design of each turn."""
    found: dict[Face, Design] = {}
    for made in load_entries():
        if made.design.system == "wall":
            found.setdefault(made.design.up, made.design)
    return found


@pytest.mark.parametrize("size", [(3, 3), (4, 3), (3, 4), (13, 3), (3, 12)])
def test_narrow_wall_loops_run(size: tuple[int, int]) -> None:
    """Three cells wide or high; the ground is taken away here."""
    for spots in (rectangle(*size), mirrored(rectangle(*size))):
        bench = build(NORTH, spots, wall_drives(), "wall", snug=False)
        assert judge(bench, orders=(1,)).ok


@pytest.mark.parametrize("size", [(5, 5), (7, 6), (13, 5), (13, 13)])
@pytest.mark.parametrize("drive", ["floor-8", "floor-shallow-11"])
def test_a_flat_floor_takes_three_cells_of_depth(size: tuple[int, int], drive: str) -> None:
    """Lifts, line, drives and corners; corners come 4 ticks late, and may."""
    designs: dict[Face, Design] = {"+z": replace(entry(drive).design, system="flat")}
    for spots in (rectangle(*size), mirrored(rectangle(*size))):
        bench = build(FLOOR, spots, designs, "flat")
        assert min(part.at[2] for part in bench.machine.parts) == -4
        assert judge(bench, orders=(1,)).ok
    assert firing_times(FLOOR, rectangle(*size), "flat", True) == {0, 8}


def test_a_flat_line_says_so_where_the_loop_turns_both_ways() -> None:
    """It has no way across the tape."""
    with pytest.raises(ClashError, match="both ways"):
        build(FLOOR, plus(9, 9), {"+z": entry("floor-8").design}, "flat")


def test_triggers_with_a_real_button() -> None:
    """Behind a wall cover, its wire one of the line's own; under a cover of a flat floor."""
    bench = build(
        NORTH, rectangle(6, 7), wall_drives(), "wall", trigger=((1, 1), WALL_TRIGGER, (1, 0, 0))
    )
    assert judge(bench, orders=(1,)).ok
    flat: dict[Face, Design] = {"+z": entry("floor-8").design}
    bench = build(FLOOR, rectangle(7, 7), flat, "flat", trigger=((3, 3), FLAT_TRIGGER, (1, 0, 0)))
    assert judge(bench, orders=(1,)).ok
