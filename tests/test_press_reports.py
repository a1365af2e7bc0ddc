"""What is reported of presses and full turns: codes, cells, counts, times, and the idle state."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.machine import ALL_CASES, Case
from models.parts import Part
from solver.simulate import Simulation, Stroke, prove, prove_case, run_presses
from tests.campaign_verilog import INVERTER, WIRE, Link, Network, idle_outputs, named
from tests.campaign_verilog import machine_of as machine_of_links
from tests.circuits import machine_of
from tests.oracles.ring_builder import build_ring, rectangle
from tests.test_simulator import part, wire, world

PLAIN = Case(overhead=False, ground=False)
RING = machine_of(build_ring(rectangle(3, 3)))
APART = ("apart/180", "apart/605")
"""Networks that settle all together, but never one part after the other."""
LOOP = [
    *(p for cell in ((0, 0, 0), (0, 1, 0), (0, 2, 0), (1, 2, 0)) for p in wire(cell)),
    part("sensor", (1, 0, 0), "-x"),
    part("sensor", (1, 1, 0), "-y"),
    part("block", (-2, 0, 0)),
    part("button", (-1, 0, 0), "-x"),
]
"""A sensor watches a wire, another one watches it and feeds the wire: once begun, for ever."""


def test_presses_are_numbered_and_timed():
    simulation = Simulation(RING, PLAIN)
    reports = run_presses(simulation, 3)
    assert [report.press for report in reports] == [1, 2, 3]
    assert all(report.ok and report.faults == () for report in reports)
    assert sum(report.half_ticks for report in reports) == simulation.now
    assert len({report.half_ticks for report in reports}) == 1


def test_a_machine_that_never_rests():
    (report,) = run_presses(world(*LOOP), 3)
    assert [(f.code, f.cells) for f in report.faults] == [("never rests", ())]
    assert report.half_ticks == report.faults[0].half_tick > 1000
    result = prove_case(world(*LOOP).machine, PLAIN)
    assert result.ok, "a tape of no cells has made its turn before it begins"


def test_a_machine_that_does_not_wait_for_its_press():
    """An inverter whose output comes round to the block that it hangs on: no idle state."""
    flicker = [
        part("block", (0, 0, 0)),
        part("inverter", (1, 0, 0), "-x"),
        *(p for x, y in ((2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)) for p in wire((x, y, 0))),
    ]
    (report,) = run_presses(world(*flicker), 1)
    codes = {fault.code for fault in report.faults}
    assert codes >= {"idle oscillates", "no button"}
    result = prove_case(replace(RING, parts=(*RING.parts, *far_away(flicker))), PLAIN)
    assert (result.presses, result.simulated) == (0, 0)
    assert (result.half_ticks, result.faults[0].code) == (0, "idle oscillates")


def far_away(parts):
    moved = [p | {"at": [p["at"][0] + 30, p["at"][1], p["at"][2] - 3]} for p in parts]
    return [Part(p["kind"], tuple(p["at"]), p.get("face")) for p in moved]


def test_no_button_is_told_once_a_press_and_stops_the_rest():
    silent = replace(RING, parts=tuple(p for p in RING.parts if p.kind != "button"))
    reports = run_presses(Simulation(silent, PLAIN), 3)
    assert len(reports) == 1
    assert reports[0].faults[0].code == "no button"
    reports = run_presses(Simulation(silent, PLAIN), 3, stop_at_fault=False)
    assert [r.press for r in reports] == [1, 2, 3]
    assert all(f.code in ("no button", "misplaced") for r in reports for f in r.faults)


def test_blocks_that_are_not_where_they_belong():
    silent = replace(RING, parts=tuple(p for p in RING.parts if p.kind != "button"))
    (report,) = run_presses(Simulation(silent, PLAIN), 1)
    placed = [f for f in report.faults if f.code == "misplaced"]
    following = (*RING.tape[1:], RING.tape[0])
    assert [f.cells for f in placed] == list(zip(RING.tape, following, strict=True))
    assert {f.half_tick for f in placed} == {0}


@pytest.mark.parametrize("edge", [13, 14])
def test_a_block_too_many_is_named_with_its_ram(edge):
    ring = machine_of(build_ring(rectangle(edge, 3)))
    (report,) = run_presses(Simulation(ring, PLAIN), 1)
    overloads = [f for f in report.faults if f.code == "too many blocks"]
    assert bool(overloads) is (edge == 14)
    for fault in overloads:
        ram, last = fault.cells
        assert next(p for p in ring.parts if p.at == ram).kind == "push_ram"
        assert sum(abs(a - b) for a, b in zip(ram, last, strict=True)) == 13
        assert 0 < fault.half_tick <= report.half_ticks


def test_a_full_turn_counts_what_was_run_and_what_repeats():
    results = prove(RING, ALL_CASES)
    assert [result.case for result in results] == list(ALL_CASES)
    for result in results:
        assert result.ok
        assert (result.presses, result.simulated) == (len(RING.tape), 1)
        assert result.half_ticks == run_presses(Simulation(RING, result.case), 1)[0].half_ticks


def test_a_turn_that_goes_wrong_says_in_which_press():
    still = replace(RING, parts=tuple(p for p in RING.parts if p.kind != "push_ram"))
    result = prove_case(still, PLAIN)
    assert not result.ok
    assert (result.presses, result.simulated) == (0, 1)
    assert result.half_ticks > 0
    assert "misplaced" in {fault.code for fault in result.faults}


def test_the_idle_state_is_recorded_first():
    simulation = Simulation(RING, PLAIN, record=True)
    assert {event[0] for event in simulation.events} == {0}
    out = {("ram", i, 2) for i, ram in enumerate(simulation.rams) if ram.state == Stroke.OUT}
    drivers = simulation.drivers
    lit = {("on", d, 1) for _, _, d in simulation.switches() if drivers[d].on}
    live = {("wire", i, w.level) for i, w in enumerate(simulation.wires) if w.level}
    assert len(out) == 8, "the grip ram and the feed ram of each drive rest extended"
    assert lit and live
    assert {event[1:] for event in simulation.events} == out | lit | live
    assert Simulation(RING, PLAIN).events is None


@pytest.mark.parametrize("length", [1, 7, 40])
def test_a_press_lasts_as_long_as_asked(length):
    simulation = Simulation(RING, PLAIN)
    assert simulation.run_to_rest()
    simulation.press(length)
    button = simulation.buttons[0]
    held = 0
    for _ in range(60):
        simulation.step()
        held += simulation.drivers[button.driver].on
    assert held == length != button.length


def test_a_state_tells_a_machine_at_rest_from_one_that_is_not():
    simulation = Simulation(RING, PLAIN)
    simulation.run_to_rest()
    idle, seen = simulation.state(), set()
    simulation.press()
    while not simulation.at_rest():
        simulation.step()
        seen.add(simulation.state())
    assert simulation.state() == idle, "the tape has moved on, and blocks are alike"
    assert len(seen - {idle}) > 5


def test_a_situation_is_all_that_decides_the_future():
    """In a second press the situations of the first one come again."""
    one, two = Simulation(RING, ALL_CASES[0]), Simulation(RING, ALL_CASES[0])
    two.press()
    two.run_to_rest()
    seen = set()
    for simulation in (one, two):
        simulation.press()
    while not one.at_rest():
        one.step()
        two.step()
        assert one.situation() == two.situation()
        seen.add(one.situation())
    assert len(seen) == one.now, "every half-tick of a press is another situation"
    three = Simulation(RING, ALL_CASES[0])
    three.press()
    three.step()
    three.press(button=0, length=4)
    other = Simulation(RING, ALL_CASES[0])
    other.press(length=4)
    other.step()
    assert three.state() == other.state()
    assert three.situation() != other.situation(), "the button goes off at another time"


@pytest.mark.parametrize("others", [0, 1, 3])
def test_two_rams_clash_however_many_start_with_them(others):
    a, b = (0, 0, 0), (1, -1, 0)
    free = [(0, 5, 2 * n) for n in range(others)]
    rams = [part("push_ram", a, "+x"), part("push_ram", b, "+y")]
    rams += [part("push_ram", cell, "+x") for cell in free]
    simulation = world(*rams, tape=((1, 0, 0),))
    for cell in (a, b, *free):
        simulation.power_ram(cell, True)
    simulation.step()
    assert [(f.code, f.cells) for f in simulation.faults] == [("moved twice", (a, b))]


def test_what_can_be_looked_at():
    simulation = Simulation(RING, PLAIN)
    assert simulation.part_at == {p.at: p for p in RING.parts}
    assert simulation.tape == {cell: i for i, cell in enumerate(RING.tape)}
    assert simulation.block_at == list(RING.tape)
    assert {r.at for r in simulation.rams} == {p.at for p in RING.parts if "ram" in p.kind}
    assert [s.at for s in simulation.sensors] == [p.at for p in RING.parts if p.kind == "sensor"]
    assert [w.at for w in simulation.wires] == [p.at for p in RING.parts if p.kind == "wire"]
    switches = {"inverter", "buffer", "sensor", "button"}
    assert {(kind, at) for kind, at, _ in simulation.switches()} == {
        (p.kind, p.at) for p in RING.parts if p.kind in switches
    }
    assert not any(map(simulation.is_moving, range(len(RING.tape))))
    simulation.press()
    for _ in range(60):
        simulation.step()
        if any(map(simulation.is_moving, range(len(RING.tape)))):
            break
    assert any(map(simulation.is_moving, range(len(RING.tape))))
    assert simulation.misplaced(0)
    simulation.fault("a code", ((1, 2, 3),), "told from outside")
    assert [(f.code, f.half_tick) for f in simulation.faults] == [("a code", simulation.now)]


def test_delays_can_be_changed_to_see_what_is_borne():
    """A sensor's and a buffer's pulse come as much later."""
    cells = [(0, 0, 0), (1, 0, 0), (3, 0, 0)]
    parts = [p for cell in cells for p in wire(cell)]
    parts += [part("buffer", (2, 0, 0), "+x", 1), part("block", (2, 0, -1))]
    parts += [part("sensor", (4, 0, 0), "-x")]
    seen = {}
    for buffer, sensor in ((2, 2), (5, 2), (2, 7)):
        simulation = world(*parts)
        simulation.retime((2, 0, 0), buffer)
        simulation.retime((4, 0, 0), sensor)
        simulation.pulse_wire((0, 0, 0), 1, 9)
        for _ in range(30):
            simulation.step()
        drivers = {at: d for _, at, d in simulation.switches()}
        ons = {e[2]: e[0] for e in reversed(simulation.events) if e[1] == "on" and e[3] == 1}
        seen[buffer, sensor] = [ons[drivers[cell]] for cell in ((2, 0, 0), (4, 0, 0))]
    assert seen == {(2, 2): [3, 5], (5, 2): [6, 8], (2, 7): [3, 10]}


def test_every_move_of_the_tape_is_recorded_and_its_end():
    simulation = Simulation(RING, PLAIN, record=True)
    simulation.run_to_rest()
    simulation.press()
    simulation.run_to_rest()
    last = {which: value for _, what, which, value in simulation.events if what == "tape"}
    assert last == {block: (cell, False) for block, cell in enumerate(simulation.block_at)}
    assert {what for _, what, _, _ in simulation.events} == {"tape", "ram", "wire", "on"}


@pytest.mark.parametrize("lit_meanwhile", [False, True])
def test_tape_that_went_and_came_back_passes_power_as_before(lit_meanwhile):
    """A buffer faces a tape block that feeds a wire; a grip ram takes the block away and back."""
    parts = [*wire((-1, 0, 0)), part("buffer", (0, 0, 0), "+x", 1), part("block", (0, 0, -1))]
    parts += [*wire((1, 1, 0), "insulator"), part("grip_ram", (1, 0, -1), "+z")]
    simulation = world(*parts, tape=((1, 0, 0),))
    fed = next(w for w in simulation.wires if w.at == (1, 1, 0))
    levels = []

    def wait(half_ticks):
        for _ in range(half_ticks):
            simulation.step()
        levels.append(fed.level)

    for away in (True, False, True, False):
        simulation.power_ram((1, 0, -1), away)
        if away and lit_meanwhile:
            simulation.pulse_wire((-1, 0, 0), 1, 4)
        wait(12)
    simulation.pulse_wire((-1, 0, 0), 1, 30)
    wait(12)
    simulation.power_ram((1, 0, -1), True)
    wait(6)
    simulation.power_ram((1, 0, -1), False)
    wait(6)
    assert levels == [0, 0, 0, 0, 15, 0, 15]


def test_idle_states_are_those_of_the_network_of_links():
    """The last one settles part by part only, from the start, not from where all together got."""
    ring = (Link(3, 2, 1), Link(0, 1, INVERTER), Link(1, 3, INVERTER), Link(2, 0, WIRE))
    for network in (*(named(f"idle/{number}") for number in range(25)), Network(2, ring, ())):
        machine, cells = machine_of_links(network)
        simulation = Simulation(machine, PLAIN)
        drivers = {at: d for _, at, d in simulation.switches()}
        outputs = [simulation.drivers[drivers[cell]].on for cell in cells]
        assert outputs == idle_outputs(network)
    assert outputs == [True, False, True]


def test_an_oscillating_machine_is_told_twice_as_idle_and_as_not_at_rest():
    """The parts that do not follow their input are named, and no others."""
    flicker = [
        part("block", (0, 0, 0)),
        part("inverter", (1, 0, 0), "-x"),
        *(p for x, y in ((2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)) for p in wire((x, y, 0))),
        *wire((5, 5, 0)),
        part("buffer", (6, 5, 0), "+x", 1),
        part("block", (6, 5, -1)),
    ]
    (report,) = run_presses(world(*flicker), 1)
    told = [fault for fault in report.faults if fault.code == "idle oscillates"]
    assert [fault.cells for fault in told] == [((1, 0, 0),), ()]
    result = prove_case(replace(RING, parts=(*RING.parts, *far_away(flicker))), PLAIN)
    assert [f.code for f in result.faults].count("idle oscillates") == 2


def test_a_full_turn_ends_where_a_state_repeats_and_not_before(monkeypatch):
    """States are made up: all different, then such that the third press ends as the second."""
    longest = run_presses(Simulation(RING, PLAIN), 1)[0].half_ticks
    for states, simulated in ((range(99), len(RING.tape)), ([0, 1, 2, 2], 3)):
        made_up = iter(states)
        monkeypatch.setattr(Simulation, "state", lambda _, given=made_up: next(given))
        result = prove_case(RING, PLAIN)
        assert (result.presses, result.simulated) == (len(RING.tape), simulated)
        assert len([*made_up]) == len(states) - 1 - simulated, "one before, one after each press"
        assert result.half_ticks == longest
    nothing = replace(RING, tape=())
    monkeypatch.undo()
    assert prove_case(nothing, PLAIN).half_ticks == 0


def test_rest_at_the_last_half_tick_that_is_allowed_is_rest():
    count = Simulation(RING, PLAIN)
    assert count.case == PLAIN
    count.press()
    assert count.run_to_rest() is True
    for limit, rests in ((count.now, True), (count.now - 1, False)):
        simulation = Simulation(RING, PLAIN)
        simulation.press()
        assert simulation.pressed_for() > 0
        assert simulation.run_to_rest(limit) is rests


def test_a_press_forgets_what_the_one_before_it_could_not_push():
    simulation = Simulation(machine_of(build_ring(rectangle(14, 3))), PLAIN)
    simulation.press()
    simulation.run_to_rest()
    assert simulation.overloads()
    simulation.press()
    assert not simulation.overloads()


def test_each_loop_has_its_own_count_of_presses():
    """Two loops of unlike lengths without any parts: nothing has moved."""
    small = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]
    large = [[5, 0, 0], [6, 0, 0], [7, 0, 0], [7, 1, 0], [6, 1, 0], [5, 1, 0]]
    entry = {"room": [1, 1, 1], "tape": small, "more_loops": [large], "parts": [], "dug": []}
    simulation = Simulation(machine_of(entry), PLAIN)
    assert (
        simulation.misplaced(0) == simulation.misplaced(4, 6) == simulation.misplaced(0, 12) == []
    )
    assert [block for block, _, _ in simulation.misplaced(0, 1)] == [4, 5, 6, 7, 8, 9]
    assert [block for block, _, _ in simulation.misplaced(1, 0)] == [0, 1, 2, 3]
    assert simulation.misplaced(0, 1)[5] == (9, (5, 1, 0), (5, 0, 0))
    assert len(simulation.misplaced(1)) == 10


def test_a_block_in_transit_is_misplaced_wherever_it_goes():
    simulation = Simulation(RING, PLAIN)
    simulation.press()
    arriving, n = 0, len(RING.tape)
    while not simulation.at_rest():
        simulation.step()
        wrong = {block for block, _, _ in simulation.misplaced(1)}
        for block, cell in enumerate(simulation.block_at):
            there = cell == RING.tape[(block + 1) % n]
            assert (block in wrong) == (not there or simulation.is_moving(block))
            arriving += there and simulation.is_moving(block)
    assert arriving


def test_the_record_says_all_that_changes_and_when():
    """Rams, wires and tape as the record has them are at every half-tick as they are."""
    simulation = Simulation(RING, PLAIN, record=True)
    rams, wires = dict.fromkeys(range(len(simulation.rams)), 0), {}
    tape = {block: (cell, False) for block, cell in enumerate(simulation.block_at)}
    boards = {"ram": rams, "wire": wires, "tape": tape}
    seen = 0
    simulation.press()
    while not simulation.at_rest():
        for now, what, which, value in simulation.events[seen:]:
            assert now == simulation.now
            if what in boards:
                boards[what][which] = value
        seen = len(simulation.events)
        assert rams == {i: int(ram.state) for i, ram in enumerate(simulation.rams)}
        lit = {i: wire.level for i, wire in enumerate(simulation.wires) if wire.level}
        assert {i: level for i, level in wires.items() if level} == lit
        assert tape == {
            block: (cell, simulation.is_moving(block))
            for block, cell in enumerate(simulation.block_at)
        }
        simulation.step()


def test_parts_settle_together_before_they_settle_in_turn():
    """Found by trying networks: what settles together is not asked to settle in turn."""
    for network in map(named, APART):
        machine, cells = machine_of_links(network)
        simulation = Simulation(machine, PLAIN)
        drivers = {at: d for _, at, d in simulation.switches()}
        outputs = [simulation.drivers[drivers[cell]].on for cell in cells]
        assert outputs == idle_outputs(network)
