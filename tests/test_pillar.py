"""A tape round the outside of a pillar, over its four edges.

No source is known for such a machine. Held against: the naive simulator, which shares nothing with
the one that the search uses; and, by a script that fires the rams, belts of every size that the
push limit allows (an edge of at most 13 cells: common practice, no source).
"""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from models.geometry import Box, Cell
from models.machine import ALL_CASES, Case, Machine
from models.parts import Part
from models.pillar import NoBelt, Pillar
from models.rules import Rules
from solver.check import check_machine
from solver.machine_file import read_machine, write_machine
from solver.pillar.build import belt_machine
from solver.pillar.edge import APART, Edge, over_the_edge
from solver.pillar.layout import Layout
from solver.pillar.read import read_pillar
from solver.simulate import Simulation, prove
from solver.trigger.site import NoRoomError
from tests.oracles.naive_simulator import run_presses
from tests.test_cli_input import ROOT, ringwright

ARCADE = ROOT / "scenarios/pillar/arcade.toml"
STEP = 4
"""Half-ticks of a step, in the script."""


@pytest.fixture(scope="module")
def edge() -> Edge:
    return next(over_the_edge())


@pytest.fixture(scope="module")
def belted(tmp_path_factory) -> Machine:
    folder = tmp_path_factory.mktemp("arcade")
    done = ringwright("pillar", ARCADE, "--out", folder / "out", "--budget", 300)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "out" not in done.stderr or "wrote" in done.stderr
    return read_machine(folder / "out/machine.json")


def pillar(wide: int, long: int, direction: str = "clockwise", **rules: int) -> Pillar:
    return Pillar("Pillar", Path("p"), (wide, long, 13), 6, direction, Rules(**rules))


def scripted(layout: Layout) -> Machine:
    """Rams alone, all of the inside dug."""
    on_tape, (wide, long, high) = set(layout.tape), layout.pillar.size
    front = layout.pillar.front
    solid = [
        (x, y, z) for x in range(wide) for y in range(front, front + long) for z in range(high)
    ]
    covers = [
        Part("cover", c)
        for c in solid
        if c not in on_tape and (c[0] in (0, wide - 1) or c[1] in (front, front + long - 1))
    ]
    rams = [layout.parts[at] for at in layout.steps]
    hole = Box((1, front + 1, 0), (wide - 2, front + long - 2, high - 1))
    return Machine(
        "",
        layout.pillar.room,
        Rules(),
        layout.tape,
        (*rams, *covers),
        (hole,),
        covered=layout.covered,
    )


def faults_of(layout: Layout, case: Case, left_out: Cell | None = None) -> list[str]:
    """What goes wrong in one press, every ram fired by the script, in both trains."""
    simulation = Simulation(scripted(layout), case)
    simulation.run_to_rest(50)
    begins: dict[int, list[Cell]] = {}
    for ram, steps in layout.steps.items():
        for step in steps if ram != left_out else ():
            for train in (0, APART):
                begins.setdefault(STEP * (step + train), []).append(ram)
    for half_tick in range(STEP * 2 * APART + STEP):
        for ram in begins.get(half_tick - 2, []):
            simulation.power_ram(ram, False)
        for ram in begins.get(half_tick, []):
            simulation.power_ram(ram, True)
        simulation.step()
    simulation.run_to_rest(50)
    wrong = [str(cell) for _, cell, _ in simulation.misplaced(1)]
    return wrong + [fault.text for fault in simulation.faults]


@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
def test_the_rams_lead_a_belt_round_pillars_of_every_size(edge, direction):
    sizes = [(11, 11), (12, 15), (17, 13), (18, 18)]
    for wide, long in sizes:
        layout = Layout(pillar(wide, long, direction), edge)
        assert len(layout.tape) == 2 * (wide + long) - 20
        for case in ALL_CASES:
            assert faults_of(layout, case) == [], (wide, long, case)


def test_a_row_of_14_is_not_moved(edge):
    """As an edge of 13 cells at most is (common practice, no source)."""
    assert faults_of(Layout(pillar(18, 12), edge), ALL_CASES[0]) == []
    assert faults_of(Layout(pillar(19, 12), edge), ALL_CASES[0])
    told = belt_machine(pillar(19, 12), time.monotonic() + 5, 0, print)
    assert isinstance(told, NoBelt) and "rows of 13 at most" in told.why and "18" in told.remedy


def test_no_ram_of_an_edge_can_be_left_out(edge):
    layout = Layout(pillar(12, 12), edge)
    for ram in [at for at, part in layout.parts.items() if part.unit == "edge 2"]:
        assert faults_of(layout, ALL_CASES[0], left_out=ram)


def test_a_pillar_too_narrow_for_its_edges(edge):
    with pytest.raises(NoRoomError):
        Layout(pillar(7, 7), edge)
    told = belt_machine(pillar(7, 7), time.monotonic() + 30, 0, print)
    assert isinstance(told, NoBelt) and told.tried == 0


def test_a_press_that_is_too_short():
    told = belt_machine(pillar(15, 15, press=9), time.monotonic() + 5, 0, print)
    assert isinstance(told, NoBelt) and "10 ticks" in told.remedy


def test_the_shipped_pillar_has_a_machine(belted):
    """From the file to the file, and by both simulators."""
    assert belted.covered and len(belted.tape) == 40
    assert check_machine(belted) == []
    results = prove(belted, ALL_CASES)
    assert all(result.ok for result in results)
    told = json.loads(write_machine(belted))
    for case in ALL_CASES:
        assert run_presses(told, 2, overhead=case.overhead, ground=case.ground).ok


def test_covered_places_go_through_the_file(belted):
    again = json.loads(write_machine(belted))
    assert tuple(again["covered"]) == belted.covered
    del again["covered"]
    assert belted.covered != ()


def test_without_them_the_static_check_sees_gaps(belted):
    from dataclasses import replace

    faults = check_machine(replace(belted, covered=()))
    assert [fault.code for fault in faults] == ["tape gap"] * 4


def test_a_machine_with_a_part_missing_is_told(belted):
    from dataclasses import replace

    sensors = [part for part in belted.parts if part.kind == "sensor"]
    spoilt = replace(belted, parts=tuple(p for p in belted.parts if p is not sensors[0]))
    assert not all(result.ok for result in prove(spoilt, ALL_CASES))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "pillar"),
        ("[pillar]\nsize = [15, 15]\n", "three numbers"),
        ("[pillar]\nsize = [15, 15, 2]\n", "3 to 48"),
        ("[pillar]\nsize = [15, 15, 18]\nrow = 18\n", "0 to 17"),
        ('[pillar]\nsize = [15, 15, 18]\ndirection = "left"\n', "clockwise"),
        ("[pillar]\nsize = [15, 15, 18]\nwidth = 3\n", "unknown key"),
        ("[pillar]\nsize = [15, 15, 18]\n[rules]\npress = 0\n", "rules.press"),
        ("pillar = 3\n", "table"),
    ],
)
def test_wrong_files_are_told(text, says, tmp_path):
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    done = ringwright("pillar", path, "--out", tmp_path / "out")
    assert done.returncode == 2 and says in done.stderr, done.stderr
    assert not (tmp_path / "out").exists()


def test_reads_what_is_not_said_as_usual(tmp_path):
    path = tmp_path / "plain.toml"
    path.write_text("[pillar]\nsize = [15, 16, 18]\n", encoding="utf-8")
    asked = read_pillar(path)
    assert (asked.title, asked.row, asked.direction) == ("plain", 9, "clockwise")
    assert asked.room == (15, 4, 18)


def test_no_leads_in_time_names_the_longer_press(tmp_path):
    path = tmp_path / "plain.toml"
    path.write_text("[pillar]\nsize = [12, 12, 9]\n", encoding="utf-8")
    done = ringwright("pillar", path, "--out", tmp_path / "out", "--budget", 12)
    assert done.returncode == 4 and "press = 15" in done.stdout, done.stdout + done.stderr
    assert not (tmp_path / "out").exists()
