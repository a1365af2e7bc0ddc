"""Clocks and hold-offs: the circuits alone, whole machines, the slow twin, and what is refused."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from itertools import pairwise

import pytest

from models.geometry import Box, step
from models.machine import ALL_CASES, Machine
from models.parts import Part
from models.problem import Digging
from models.rules import Rules
from models.trigger import Added, NotAdded
from solver.check import check_machine
from solver.machine_file import write_machine
from solver.pipeline import solve_scenario
from solver.plan.watch import crushing, timing, watch_press
from solver.read_scenario import parse_scenario, read_scenario
from solver.simulate import Simulation
from solver.trigger.add import add_trigger, half_period, judged
from solver.trigger.place import build, places, site_of
from solver.trigger.prove import prove_clock, prove_hold_off
from solver.trigger.rings import fewest_rings, runs
from solver.trigger.units import clock, clocks, hold_off, hold_offs, shut_ticks
from tests.oracles.naive_simulator import NaiveWorld
from tests.test_cli_input import ROOT, refused, ringwright

FOUNTAIN = ROOT / "scenarios" / "fountain.toml"


@pytest.fixture(scope="module")
def scenario():
    return read_scenario(FOUNTAIN)


@pytest.fixture(scope="module")
def machine(scenario):
    found = solve_scenario(scenario, budget_s=300).found
    assert found is not None
    return found.machine


@pytest.fixture(scope="module")
def patient(machine, scenario):
    added = add_trigger(machine, scenario, "hold-off", 300, lambda line: None)
    assert isinstance(added, Added)
    return added


@pytest.fixture(scope="module")
def running(machine, scenario):
    added = add_trigger(machine, scenario, "clock", 300, lambda line: None)
    assert isinstance(added, Added)
    return added


WALL = """
title = "Wall"
[room]
size = [17, 5, 13]
[surfaces.north]
depth = 6
margin = 4
map = \"\"\"
.................
.................
.................
.......ooooo.....
.......o...o.....
.......o...o.....
.......o...o.....
.......ooooo.....
.................
.................
....@............
.................
.................
\"\"\"
[loop]
direction = "clockwise"
shape = "exact"
"""


@pytest.fixture(scope="module")
def wall():
    scenario = parse_scenario(WALL, FOUNTAIN)
    found = solve_scenario(scenario, budget_s=300).found
    assert found is not None
    return found.machine, scenario


# ------------------------------------------------------------------ the circuits alone


def alone(unit, case=ALL_CASES[0]):
    """A unit by itself: its simulation, and when its port changes between off and on."""
    parts = list(unit.parts)
    if unit.entry:
        parts.append(Part("sensor", unit.entry, "-x"))
        wire = step(unit.entry, "-x")
        parts += [Part("wire", wire), Part("block", step(wire, "-z"))]
        parts += [Part("cover", step(wire, "+z")), Part("button", step(wire, "+z", 2), "-z")]
    dug = tuple(Box(cell, cell) for cell in (*unit.air, *(part.at for part in parts)))
    simulation = Simulation(
        Machine("unit", (1, 1, 1), Rules(), (), tuple(parts), dug), case, record=True
    )
    number = next(i for i, wire in enumerate(simulation.wires) if wire.at == unit.port)

    def edges():
        levels = [
            (t, v > 0) for t, what, i, v in simulation.events if (what, i) == ("wire", number)
        ]
        return [a for a, b in zip(levels, [(0, False), *levels], strict=False) if a[1] != b[1]]

    return simulation, edges


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_a_clock_is_on_and_off_for_one_tick_and_all_its_delays(case):
    draw = random.Random(5)
    for buffers in range(1, 6):
        delays = tuple(draw.randint(1, 4) for _ in range(buffers))
        simulation, edges = alone(clock(draw.choice(fewest_rings(buffers)), delays), case)
        for _ in range(12 * (1 + sum(delays))):
            simulation.step()
        assert {f.code for f in simulation.faults} == {"idle oscillates"}
        times = [t for t, _ in edges() if t > 0]
        assert {b - a for a, b in pairwise(times)} == {2 * (1 + sum(delays))}
        assert len(times) >= 4


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
@pytest.mark.parametrize("wide", [0, 1, 2, 4])
def test_whatever_is_pressed_the_port_is_on_for_its_time_or_not_at_all(wide, case):
    """On for all delays and a tick, never less or more, then off for at least as long."""
    draw = random.Random(wide)
    simulation, edges = alone(hold_off(wide), case)
    assert simulation.run_to_rest(400)
    assert not edges()
    for _ in range(60):
        simulation.press(length=draw.randint(1, 30))
        for _ in range(draw.choice([1, 2, 3, 5, 9, 20, 60])):
            simulation.step()
    assert simulation.run_to_rest(2000)
    assert not simulation.faults
    seen = edges()
    assert len(seen) >= 8
    assert [on for _, on in seen] == [True, False] * (len(seen) // 2)
    spans = [b - a for (a, _), (b, _) in pairwise(seen)]
    assert shut_ticks(hold_off(wide)) == 17 + 8 * wide
    assert set(spans[::2]) == {2 * (17 + 8 * wide)}
    assert min(spans[1::2]) >= 2 * (17 + 8 * wide)


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_what_is_pressed_and_released_while_the_gate_is_shut_does_nothing(case):
    simulation, edges = alone(hold_off(1), case)
    simulation.run_to_rest(200)
    for length in (1, 20, 30, 80):
        before = len(edges())
        simulation.press(length=length)
        assert simulation.run_to_rest(1000)
        assert [on for _, on in edges()[before:]] == [True, False]
    before = len(edges())
    simulation.press(length=100)  # held until the gate is open again: its end counts
    assert simulation.run_to_rest(1000)
    assert [on for _, on in edges()[before:]] == [True, False, True, False]


def test_a_flicker_of_the_gate_opens_it_for_its_whole_time():
    """Pulses that come as the gate opens, at every half-tick around that moment."""
    for wait in range(60, 90):
        simulation, edges = alone(hold_off(0), ALL_CASES[0])
        simulation.run_to_rest(200)
        simulation.press(length=2)
        for _ in range(wait):
            simulation.step()
        simulation.press(length=1)
        assert simulation.run_to_rest(1000)
        spans = [b - a for (a, _), (b, _) in pairwise(edges())]
        assert set(spans[::2]) == {34}, wait


def test_rings_of_the_fewest_parts():
    """From below: block, inverter, buffers on blocks, a wire on a block; from above: the search."""
    sizes = [len(fewest_rings(buffers)[0]) for buffers in range(1, 6)]
    assert sizes == [7, 9, 12, 13, 16]
    assert all(size >= 2 + 2 * n + 2 for n, size in enumerate(sizes, start=1))


PLANTED = """
    block 0 0 0;  inverter 1 0 0 -x;  buffer 2 0 0 +x;  block 3 0 0;  buffer 3 -1 0 -y;
    block 3 -2 0;  buffer 2 -2 0 -x;  wire 1 -2 0;  wire 0 -2 0;  wire 0 -1 0
"""


def test_a_ring_drawn_by_hand_runs_and_a_shorted_one_does_not():
    parts = []
    for line in PLANTED.split(";"):
        kind, x, y, z, *face = line.split()
        at = (int(x), int(y), int(z))
        parts.append(Part(kind, at, *face, **({"delay": 4} if kind == "buffer" else {})))
        if kind in ("buffer", "wire"):
            parts.append(Part("block", (at[0], at[1], -1)))
    assert runs(tuple(parts), 3)
    assert len(parts) > len(fewest_rings(3)[0])
    beside_the_inverter = [Part("wire", (1, -1, 0)), Part("block", (1, -1, -1))]
    assert not runs((*parts, *beside_the_inverter), 3)


def test_units_come_in_the_order_of_their_parts():
    costs = [unit.cost for unit in clocks()]
    assert costs == sorted(costs)
    assert len(set(costs)) >= 3
    costs = [unit.cost for unit in hold_offs()]
    assert costs == sorted(costs)


# ------------------------------------------------------------------ whole machines


def test_without_a_hold_off_some_second_press_does_harm(machine):
    assert not prove_hold_off(machine, ALL_CASES[:1]).ok


def test_with_it_any_presses_leave_the_tape_flush(patient):
    n = len(patient.machine.tape)
    draw = random.Random(11)
    for case in ALL_CASES:
        simulation = Simulation(patient.machine, case)
        simulation.run_to_rest()
        advanced = 0
        for _ in range(5):
            presses = draw.randint(2, 7)
            for _ in range(presses):
                simulation.press(length=draw.choice([1, 2, 4, 20, 20, 33]))
                for _ in range(draw.randint(1, 70)):
                    simulation.step()
            assert simulation.run_to_rest()
            assert not simulation.faults
            new = [k for k in range(presses + 1) if not simulation.misplaced(advanced + k)]
            assert len(new) == 1 or n <= presses
            advanced += new[0]


def test_a_clock_that_is_too_fast_is_found_out(machine, scenario):
    site = site_of(machine, Digging(scenario))
    unit = clock(fewest_rings(2)[0], (2, 1))
    new = build(site, next(places(site, unit)))
    proof = judged(new, scenario, unit)
    assert not proof.ok


def test_a_clock_moves_one_cell_a_period(running, machine):
    interval = timing(machine).interval_half_ticks
    machine, proof = running.machine, running.proof
    assert not [part for part in machine.parts if part.kind == "button"]
    period = int(2 * proof.figures["period"])
    assert period == 2 * half_period(machine, running.unit)
    assert period >= interval
    simulation = Simulation(machine, ALL_CASES[3])
    flush = []
    for _ in range(6 * period):
        simulation.step()
        at = [k for k in range(len(machine.tape)) if not simulation.misplaced(k)]
        flush.append(at[0] if at else None)
    told = [k for k in flush if k is not None]
    assert told == sorted(told)
    assert told[-1] - told[0] in (5, 6)
    assert flush[-2 * period :].count(None) <= 2 * (period - 2 * proof.figures["flush"])


def test_the_clock_is_judged_by_its_own_period(running):
    wrong = prove_clock(
        running.machine, ALL_CASES[:1], half_period(running.machine, running.unit) + 1
    )
    assert not wrong.ok


@pytest.mark.parametrize("what", ["patient", "running"])
def test_the_slow_twin_sees_the_same(what, request):
    machine = request.getfixturevalue(what).machine
    case = ALL_CASES[1]
    twin = NaiveWorld(
        json.loads(write_machine(machine)), overhead=case.overhead, ground=case.ground
    )
    simulation = Simulation(machine, case)
    for half_tick in range(90):
        if what == "patient" and half_tick in (2, 25, 60):
            simulation.press()
            twin.press()
        simulation.step()
        twin.step()
        assert [block.cell for block in twin.blocks] == simulation.block_at
        levels = {wire.at: wire.level for wire in simulation.wires}
        assert twin.snapshot()["wires"] == levels
    assert {code for _, code, _ in twin.faults} <= {"idle-oscillates"}


def test_a_hold_off_behind_a_wall(wall):
    machine, scenario = wall
    added = add_trigger(machine, scenario, "hold-off", 300, lambda line: None)
    assert isinstance(added, Added)
    assert not check_machine(added.machine)
    buttons = [part for part in added.machine.parts if part.kind == "button"]
    assert [part.face for part in buttons] == ["+y"]


@pytest.mark.parametrize("what", ["patient", "running"])
def test_no_part_of_a_unit_can_be_left_out(what, machine, request):
    """Those that others stand on are needed anyhow. Without any other the machine fails, or a
    press does something sooner after another.
    """
    added = request.getfixturevalue(what)
    new = [part for part in added.machine.parts if part not in machine.parts]
    half = half_period(added.machine, added.unit)
    tried = 0
    for part in new:
        less = replace(added.machine, parts=tuple(p for p in added.machine.parts if p != part))
        if check_machine(less):
            continue
        tried += 1
        case = ALL_CASES[:1]
        proof = prove_hold_off(less, case) if added.unit.entry else prove_clock(less, case, half)
        sooner = proof.figures.get("ignored", 0) < added.proof.figures.get("ignored", 0)
        assert not proof.ok or sooner, part
    assert tried >= len(new) // 3


# ------------------------------------------------------------------ refused


def test_no_ground_no_unit(machine):
    text = FOUNTAIN.read_text("utf-8").replace("margin = 2", "margin = 0")
    rows = text.split('"""')
    rows[1] = rows[1].replace(".", "=")
    scenario = parse_scenario('"""'.join(rows), FOUNTAIN)
    result = add_trigger(machine, scenario, "clock", 60, lambda line: None)
    assert isinstance(result, NotAdded)
    assert result.tried == 0


def test_a_machine_without_a_button_on_the_floor(running, scenario):
    result = add_trigger(running.machine, scenario, "clock", 60, lambda line: None)
    assert isinstance(result, NotAdded)
    assert "0 buttons" in result.why
    bare = replace(running.machine, parts=())
    assert isinstance(add_trigger(bare, scenario, "hold-off", 60, print), NotAdded)


def test_the_command(tmp_path, machine):
    path = tmp_path / "machine.json"
    path.write_text(write_machine(machine))
    refused(ringwright("trigger", path, FOUNTAIN, "--out", tmp_path / "a"), "--clock or --hold-off")
    refused(ringwright("trigger", path, FOUNTAIN, "--clock", "--out", tmp_path), "exists")
    done = ringwright("trigger", tmp_path, FOUNTAIN, "--clock", "--out", tmp_path / "a", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["added"] == "clock"
    assert told["ticks"]["period"] >= 15
    names = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert names == ["machine.json", "plan.html", "plan.txt"]


def test_the_plan_of_a_machine_that_runs_by_itself_tells_where_it_crushes(running, machine):
    """All that moves in a press of the machine with its button, moves in the running one too."""
    pressed = set(crushing(machine, watch_press(machine)))
    assert pressed
    assert pressed <= set(crushing(running.machine, watch_press(running.machine)))
