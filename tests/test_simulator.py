"""Known answers, found by simulation: the worked machine, each part's delays, each fault."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from vcdvcd import VCDVCD

from models.geometry import Cell, Face
from models.machine import ALL_CASES, Case, Machine
from solver.sheets.waveform import waveforms
from solver.simulate import Simulation, Stroke, distinct, prove_case, run_presses
from tests.circuits import machine_of
from tests.oracles.ring_builder import Booster, Spot, build_ring, polygon, rectangle
from tests.test_naive_simulator import oscillator

PLAIN = Case(overhead=False, ground=False)


def part(kind: str, at: Cell, face: Face | None = None, delay: int | None = None) -> dict[str, Any]:
    given = {"kind": kind, "at": list(at), "face": face, "delay": delay}
    return {key: value for key, value in given.items() if value is not None}


def world(*parts: dict[str, Any], tape: tuple[Cell, ...] = (), case: Case = PLAIN) -> Simulation:
    """A few parts in the open: all cells from -9 to 9 are dug."""
    dug = [{"min": [-9, -9, -9], "max": [9, 9, 9]}]
    entry = {"room": [1, 1, 1], "tape": [list(c) for c in tape], "parts": parts, "dug": dug}
    return Simulation(machine_of(entry), case, record=True)


def wire(at: Cell, support: str = "block") -> list[dict[str, Any]]:
    return [part("wire", at), part(support, (at[0], at[1], at[2] - 1))]


def on(simulation: Simulation, cell: Cell) -> bool:
    return next(simulation.drivers[d].on for _, at, d in simulation.switches() if at == cell)


def on_times(simulation: Simulation, cell: Cell, half_ticks: int) -> list[int]:
    """The half-ticks at whose end the part in the cell is on."""
    times = []
    for _ in range(half_ticks):
        simulation.step()
        if on(simulation, cell):
            times.append(simulation.now)
    return times


def levels(simulation: Simulation) -> dict[Cell, int]:
    return {wire.at: wire.level for wire in simulation.wires}


def strokes(simulation: Simulation) -> dict[Cell, str]:
    return {ram.at: Stroke(ram.state).name for ram in simulation.rams}


def codes(simulation: Simulation) -> list[str]:
    return [fault.code for fault in simulation.faults]


def span(first: int, length: int) -> list[int]:
    return list(range(first, first + length))


# ---- the worked machine (common practice of the trade) ------------------------------------------


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize(("width", "length"), [(3, 3), (4, 4), (5, 3), (13, 3)])
def test_rings_turn_once_round(width: int, length: int, clockwise: bool, case: Case) -> None:
    machine = machine_of(build_ring(rectangle(width, length, clockwise=clockwise)))
    result = prove_case(machine, case)
    assert result.ok, result.faults
    assert result.presses == len(machine.tape)


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_a_ring_snug_in_its_ground_press_by_press(case: Case) -> None:
    machine = machine_of(build_ring(rectangle(4, 3), snug=True))
    reports = run_presses(Simulation(machine, case), len(machine.tape))
    assert [report.faults for report in reports] == [()] * len(machine.tape)
    assert len({report.half_ticks for report in reports}) == 1


def ring(spots: list[Spot], push_limit: int) -> Machine:
    entry = build_ring(spots)
    return machine_of(entry | {"rules": {"push_limit": push_limit}})


def test_edge_of_fourteen_fails_because_of_the_thirteenth_block() -> None:
    edge = rectangle(14, 3)
    (report,) = run_presses(Simulation(ring(edge, 12), PLAIN), 1)
    assert {fault.code for fault in report.faults} == {"misplaced", "too many blocks"}
    for fault in report.faults:
        if fault.code == "too many blocks":
            ram, block = fault.cells
            assert max(abs(a - b) for a, b in zip(ram, block, strict=True)) == 13
    # The same machine in a world whose rams push one block more.
    assert prove_case(ring(edge, 13), PLAIN).ok
    assert not prove_case(ring(rectangle(13, 3), 11), PLAIN).ok


ARMS: list[list[Booster]] = [[((12, 3), "+y", 1), ((6, 0), "+x", 1)],
                             [((3, 12), "+x", 1), ((0, 6), "+y", 1)]]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), [(1, 1), (2, 2), (2, 1), (1, 2)])
def test_arms_of_the_trigger_line_that_meet_need_equal_boosters(one: int, other: int) -> None:
    boosters = ARMS[0][:one] + ARMS[1][:other]
    machine = machine_of(build_ring(rectangle(13, 13), trigger=(1, 1), boosters=boosters))
    assert {prove_case(machine, case).ok for case in ALL_CASES} == {one == other}


def test_without_boosters_the_far_corner_hears_nothing() -> None:
    machine = machine_of(build_ring(rectangle(13, 13), trigger=(1, 1)))
    assert not prove_case(machine, PLAIN).ok


def plus(width: int, arm: int) -> list[Spot]:
    """A plus with arms of that width; in each concave corner a drive stands inside an arm."""
    b, c, d = arm, arm + width - 1, 2 * arm + width - 1
    corners = [(b, 0), (c, 0), (c, b), (d, b), (d, c), (c, c)]
    return polygon([*corners, (c, d), (b, d), (b, c), (0, c), (0, b), (b, b)])


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
@pytest.mark.parametrize("turn", [1, -1])
@pytest.mark.parametrize(("width", "works"), [(5, False), (6, True), (7, True)])
def test_arms_with_concave_drives_are_six_wide(
    width: int, works: bool, turn: int, case: Case
) -> None:
    """The line is pulsed everywhere at once, so that nothing but the drives decides."""
    machine = machine_of(build_ring(plus(width, 4)[::turn], no_trigger=True))
    simulation = Simulation(machine, case)
    line = {(x, y, z - 4) for x, y, z in machine.tape}
    for cell in sorted(line):
        simulation.pulse_wire(cell, 1, 2)
        simulation.pulse_wire(cell, 21, 2)
    assert simulation.run_to_rest()
    assert (not simulation.faults and not simulation.misplaced(1)) is works


# ---- buffers and inverters ----------------------------------------------------------------------


@pytest.mark.parametrize("count", [3, 5, 7, 9])
def test_ring_oscillator_has_period_two_n_ticks(count: int) -> None:
    """Textbook: an odd ring of N inverters of delay d has period 2 N d."""
    simulation = world(*oscillator(count))
    assert codes(simulation) == ["idle oscillates"]
    times = on_times(simulation, (1, 0, 0), 24 * count)
    rises = [b for a, b in pairwise(times) if b > a + 1]
    assert {b - a for a, b in pairwise(rises)} == {2 * 2 * count}


@pytest.mark.parametrize("count", [2, 4, 6])
def test_an_even_ring_of_inverters_rests(count: int) -> None:
    simulation = world(*oscillator(count))
    assert simulation.faults == []
    assert simulation.at_rest()


def buffered(delay: int | None) -> Simulation:
    return world(
        *wire((0, 0, 0)), part("buffer", (1, 0, 0), "+x", delay), part("block", (1, 0, -1))
    )


@pytest.mark.parametrize("delay", [1, 2, 3, 4])
@pytest.mark.parametrize("pulse", [1, 2, 3, 5, 8, 13])
def test_a_buffer_delays_and_lengthens_short_pulses(delay: int, pulse: int) -> None:
    simulation = buffered(delay)
    simulation.pulse_wire((0, 0, 0), 1, pulse)
    assert on_times(simulation, (1, 0, 0), 40) == span(1 + 2 * delay, max(pulse, 2 * delay))


def test_a_buffer_whose_delay_is_not_given_takes_one_tick() -> None:
    simulation = buffered(None)
    simulation.pulse_wire((0, 0, 0), 1, 5)
    assert on_times(simulation, (1, 0, 0), 40) == span(3, 5)


def test_tape_that_comes_between_a_dark_sensor_and_a_wire_gives_no_power() -> None:
    """From memory: strong power passes only while there is any."""
    simulation = world(
        part("sensor", (0, 0, 0), "-x"),
        part("push_ram", (1, -2, 0), "+y"),
        *wire((2, 0, 0)),
        tape=((1, -1, 0),),
    )
    simulation.power_ram((1, -2, 0), True)
    for _ in range(8):
        simulation.step()
        assert levels(simulation) == {(2, 0, 0): 0}
    assert simulation.block_at == [(1, 0, 0)]
    simulation.power_ram((1, -2, 0), False)
    simulation.run_to_rest(20)
    assert levels(simulation) == {(2, 0, 0): 0}


@pytest.mark.parametrize("delay", [1, 2, 3, 4])
@pytest.mark.parametrize("gap", [1, 2, 3, 4, 6, 8, 9])
def test_a_buffer_swallows_short_gaps(delay: int, gap: int) -> None:
    simulation = buffered(delay)
    simulation.pulse_wire((0, 0, 0), 1, 12)
    simulation.pulse_wire((0, 0, 0), 13 + gap, 12)
    times = on_times(simulation, (1, 0, 0), 60)
    first = 1 + 2 * delay
    if gap < 2 * delay:
        assert times == span(first, 24 + gap)
    else:
        assert times == span(first, 12) + span(first + 12 + gap, 12)


def inverted() -> Simulation:
    block, inverter = part("block", (1, 0, 0)), part("inverter", (2, 0, 0), "-x")
    simulation = world(*wire((0, 0, 0)), block, inverter)
    assert on(simulation, (2, 0, 0))
    return simulation


@pytest.mark.parametrize("pulse", [1, 2, 3, 4, 7])
def test_an_inverter_ignores_pulses_of_one_tick(pulse: int) -> None:
    """By the order within a half-tick: 1 tick passes unseen, 1 1/2 ticks do not."""
    simulation = inverted()
    simulation.pulse_wire((0, 0, 0), 1, pulse)
    lit = on_times(simulation, (2, 0, 0), 20)
    dark = [] if pulse <= 2 else span(3, pulse)
    assert lit == [t for t in span(1, 20) if t not in dark]


def test_a_buffer_reads_only_the_cell_behind_it_an_inverter_only_its_mount() -> None:
    beside, ahead = wire((1, 1, 0)), wire((2, 0, 0))
    simulation = world(
        part("buffer", (1, 0, 0), "+x", 1), part("block", (1, 0, -1)), *beside, *ahead
    )
    simulation.pulse_wire((1, 1, 0), 1, 30)
    assert on_times(simulation, (1, 0, 0), 20) == []
    past = world(part("inverter", (0, 0, 1), "-z"), part("insulator", (0, 0, 0)), *wire((-1, 0, 0)))
    past.pulse_wire((-1, 0, 0), 1, 30)
    assert on_times(past, (0, 0, 1), 20) == span(1, 20)


# ---- sensors ------------------------------------------------------------------------------------


def test_a_sensor_waits_a_tick_and_is_on_for_a_tick() -> None:
    simulation = world(*wire((0, 0, 0)), part("sensor", (0, 0, 1), "-z"))
    simulation.pulse_wire((0, 0, 0), 1, 10)
    assert on_times(simulation, (0, 0, 1), 20) == [3, 4, 13, 14]


@pytest.mark.parametrize(("pulse", "seen_again"), [(1, False), (2, False), (3, False), (4, True)])
def test_a_sensor_loses_changes_while_it_waits_or_is_on(pulse: int, seen_again: bool) -> None:
    simulation = world(*wire((0, 0, 0)), part("sensor", (0, 0, 1), "-z"))
    simulation.pulse_wire((0, 0, 0), 1, pulse)
    again = span(3 + pulse, 2) if seen_again else []
    assert on_times(simulation, (0, 0, 1), 20) == [3, 4, *again]


def test_the_output_of_a_sensor_is_opposite_to_its_face() -> None:
    rams = [part("push_ram", (0, 0, 2), "+z"), part("push_ram", (1, 0, 1), "+x")]
    simulation = world(*wire((0, 0, 0)), part("sensor", (0, 0, 1), "-z"), *rams)
    simulation.pulse_wire((0, 0, 0), 1, 10)
    for _ in range(3):
        simulation.step()
    assert strokes(simulation) == {(0, 0, 2): "EXTENDING", (1, 0, 1): "IN"}


def test_a_sensor_sees_a_ram_and_its_head() -> None:
    at_ram, at_head = part("sensor", (1, 1, 0), "-y"), part("sensor", (2, 1, 0), "-y")
    simulation = world(*wire((0, 0, 0)), part("push_ram", (1, 0, 0), "+x"), at_ram, at_head)
    simulation.pulse_wire((0, 0, 0), 1, 20)
    seen = []
    for _ in range(8):
        simulation.step()
        seen.append((on(simulation, (1, 1, 0)), on(simulation, (2, 1, 0))))
    # The stroke begins in 1 and ends in 3; then the sensors are on, and lose that change.
    assert seen == [(False, False)] * 2 + [(True, True)] * 2 + [(False, False)] * 4


# ---- wires --------------------------------------------------------------------------------------


def test_a_wire_reaches_fifteen_cells() -> None:
    simulation = world(*[p for x in range(-8, 9) for p in wire((x, 0, 0))])
    simulation.pulse_wire((-8, 0, 0), 1, 5)
    simulation.step()
    assert [levels(simulation)[(x, 0, 0)] for x in range(-8, 9)] == [*range(15, 0, -1), 0, 0]


@pytest.mark.parametrize(("top", "comes_down"), [("block", True), ("insulator", False)])
def test_a_wire_climbs_an_insulator_but_does_not_come_down(top: str, comes_down: bool) -> None:
    for source, other, expected in (((0, 0, 0), (1, 0, 1), 14),
                                    ((1, 0, 1), (0, 0, 0), 14 * comes_down)):  # fmt: skip
        simulation = world(*wire((0, 0, 0)), *wire((1, 0, 1), top))
        simulation.pulse_wire(source, 1, 5)
        simulation.step()
        assert levels(simulation)[other] == expected


def test_a_tape_block_over_a_wire_cuts_its_step_while_it_rests() -> None:
    tape = ((0, 0, 1),)
    ram = part("push_ram", (0, 1, 1), "-y")
    simulation = world(*wire((0, 0, 0)), *wire((1, 0, 1)), ram, *wire((0, 2, 1)), tape=tape)
    simulation.pulse_wire((0, 0, 0), 1, 30)
    simulation.step()
    assert levels(simulation)[(1, 0, 1)] == 0
    simulation.pulse_wire((0, 2, 1), 1, 30)
    simulation.step()
    assert simulation.block_at == [(0, -1, 1)]
    assert levels(simulation)[(1, 0, 1)] == 14


def test_a_wire_points_where_it_connects() -> None:
    rams = [part("push_ram", (2, 0, 0), "+x"), part("push_ram", (1, 1, 0), "+y")]
    rams.append(part("push_ram", (1, -1, 0), "-y"))
    alone = world(*wire((1, 0, 0)), *rams)
    in_line = world(*wire((0, 0, 0)), *wire((1, 0, 0)), *rams)
    for simulation in (alone, in_line):
        simulation.pulse_wire((1, 0, 0), 1, 9)
        simulation.step()
    assert set(strokes(alone).values()) == {"EXTENDING"}
    moving = {at for at, state in strokes(in_line).items() if state == "EXTENDING"}
    assert moving == {(2, 0, 0)}


def test_a_wire_powers_the_cell_below_and_never_the_one_above() -> None:
    rams = [part("push_ram", (1, 0, -1), "+x"), part("push_ram", (0, 0, 1), "+z")]
    simulation = world(*wire((0, 0, 0)), *rams)
    simulation.pulse_wire((0, 0, 0), 1, 9)
    simulation.step()
    assert strokes(simulation) == {(1, 0, -1): "EXTENDING", (0, 0, 1): "IN"}


def test_strong_power_feeds_wires_through_a_block_and_weak_power_does_not() -> None:
    buffer = [part("buffer", (1, 0, 0), "+x", 1), part("block", (1, 0, -1))]
    for between, level in ((buffer, 15), (wire((1, 0, 0)), 0)):
        simulation = world(*wire((0, 0, 0)), *between, part("block", (2, 0, 0)), *wire((3, 0, 0)))
        simulation.pulse_wire((0, 0, 0), 1, 20)
        for _ in range(4):
            simulation.step()
        assert levels(simulation)[(3, 0, 0)] == level


# ---- rams ---------------------------------------------------------------------------------------


def rammed(kind: str, *tape: Cell, pulse: int, more: tuple[dict[str, Any], ...] = ()) -> Simulation:
    """A ram that looks up, fed by a wire beside it."""
    simulation = world(part(kind, (0, 0, 0), "+z"), *wire((-1, 0, 0)), *more, tape=tape)
    simulation.pulse_wire((-1, 0, 0), 1, pulse)
    return simulation


@pytest.mark.parametrize(("blocks", "moves"), [(1, True), (12, True), (13, False)])
def test_a_ram_moves_twelve_blocks_and_no_thirteenth(blocks: int, moves: bool) -> None:
    column: list[Cell] = [(0, 0, z) for z in range(1, blocks + 1)]
    simulation = rammed("push_ram", *column, pulse=30)
    simulation.step()
    assert (strokes(simulation)[(0, 0, 0)] == "EXTENDING") is moves
    assert [cell[2] for cell in simulation.block_at] == [c[2] + moves for c in column]
    assert bool(simulation.overloads()) is not moves
    assert simulation.faults == []


def test_a_stroke_lasts_one_and_a_half_ticks() -> None:
    across = (part("push_ram", (1, 0, 2), "-x"), *wire((2, 0, 2)))
    simulation = rammed("push_ram", (0, 0, 1), pulse=30, more=across)
    simulation.pulse_wire((2, 0, 2), 2, 30)
    where = []
    for _ in range(4):
        simulation.step()
        where.append((simulation.block_at[0], simulation.is_moving(0)))
    pushed, at_rest = ((0, 0, 2), True), ((0, 0, 2), False)
    assert where == [pushed, pushed, at_rest, ((-1, 0, 2), True)]


def test_a_grip_ram_alternates_on_one_tick_pulses() -> None:
    simulation = rammed("grip_ram", (0, 0, 2), pulse=2)
    heights = []
    for _ in range(4):
        assert simulation.run_to_rest()
        heights.append(simulation.block_at[0][2])
        simulation.pulse_wire((-1, 0, 0), 1, 2)
    assert heights == [1, 2, 1, 2]
    assert simulation.faults == []


@pytest.mark.parametrize("pulse", [1, 2, 3, 4, 9])
def test_what_a_grip_ram_pushed_is_left_on_short_pulses_and_drawn_back_on_longer(
    pulse: int,
) -> None:
    simulation = rammed("grip_ram", (0, 0, 1), (0, 0, 2), pulse=pulse)
    assert simulation.run_to_rest()
    assert [cell[2] for cell in simulation.block_at] == ([2, 3] if pulse <= 2 else [1, 3])


def test_a_block_put_back_rests_at_once_and_those_beyond_finish_their_stroke() -> None:
    simulation = rammed("grip_ram", (0, 0, 1), (0, 0, 2), pulse=1)
    moving = []
    for _ in range(3):
        simulation.step()
        moving.append([simulation.is_moving(0), simulation.is_moving(1)])
    assert moving == [[True, True], [False, True], [False, False]]


def test_a_push_ram_never_draws_back() -> None:
    for pulse in (2, 9):
        simulation = rammed("push_ram", (0, 0, 1), pulse=pulse)
        assert simulation.run_to_rest()
        assert simulation.block_at == [(0, 0, 2)]


def test_a_ram_tries_again_while_it_is_powered() -> None:
    """The way is barred by a head, until the other ram returns in half-tick 9."""
    other = (part("push_ram", (1, 0, 1), "-x"), *wire((2, 0, 1)))
    simulation = world(part("push_ram", (0, 0, 0), "+z"), *wire((-1, 0, 0)), *other)
    simulation.pulse_wire((2, 0, 1), 1, 8)
    simulation.pulse_wire((-1, 0, 0), 3, 30)
    began = []
    for _ in range(12):
        simulation.step()
        began += [simulation.now] if strokes(simulation)[(0, 0, 0)] == "EXTENDING" else []
    assert began == [9, 10]
    assert simulation.faults == []


@pytest.mark.parametrize("overhead", [False, True])
def test_overhead_pickup(overhead: bool) -> None:
    parts = [part("push_ram", (0, 0, 0), "-x"), *wire((1, 0, 1), "insulator")]
    simulation = world(*parts, case=Case(overhead, ground=False))
    simulation.pulse_wire((1, 0, 1), 1, 9)
    simulation.step()
    assert (strokes(simulation)[(0, 0, 0)] == "EXTENDING") is overhead


@pytest.mark.parametrize("ground", [False, True])
def test_ground_passes_power(ground: bool) -> None:
    """A buffer at the edge of the digging faces the ground; a ram there reads it."""
    parts = [*wire((7, 0, 0)), part("buffer", (8, 0, 0), "+x", 1), part("block", (8, 0, -1)),
             part("push_ram", (9, 1, 0), "+y")]  # fmt: skip
    entry = {"room": [1, 1, 1], "tape": [], "parts": parts,
             "dug": [{"min": [-9, -9, -9], "max": [8, 9, 9]},
                     {"min": [9, 1, 0], "max": [9, 9, 0]}]}  # fmt: skip
    simulation = Simulation(machine_of(entry), Case(False, ground))
    simulation.pulse_wire((7, 0, 0), 1, 9)
    for _ in range(3):
        simulation.step()
    assert (strokes(simulation)[(9, 1, 0)] == "EXTENDING") is ground


def kept_of(machine: Machine) -> set[tuple[bool, bool]]:
    worlds = distinct(Simulation(machine, case) for case in ALL_CASES)
    return {(s.case.overhead, s.case.ground) for s in worlds}


def test_worlds_that_cannot_differ_are_simulated_once() -> None:
    """Snug in its ground the ring's circuit is the same in worlds that go the same way."""
    machine = machine_of(build_ring(rectangle(4, 3), snug=True))
    kept = distinct(Simulation(machine, case) for case in ALL_CASES)
    assert len(kept) < len(ALL_CASES)
    for case in ALL_CASES:
        (twin,) = [s.case for s in kept if s.alike(Simulation(machine, case))]
        assert run_presses(Simulation(machine, case), 2) == run_presses(
            Simulation(machine, twin), 2
        )


def test_worlds_that_can_differ_are_both_simulated() -> None:
    """A wire beside the cell above a ram; ground that a buffer faces, or that a part stands on."""
    open_dug = [{"min": [-9, -9, -9], "max": [9, 9, 9]}]
    entry = {"room": [1, 1, 1], "tape": [], "dug": open_dug}
    plain = machine_of(entry | {"parts": [part("push_ram", (0, 0, 0), "-x"), *wire((4, 0, 1))]})
    assert kept_of(plain) == {(False, True)}
    above = [part("push_ram", (0, 0, 0), "-x"), *wire((1, 0, 1), "insulator")]
    assert kept_of(machine_of(entry | {"parts": above})) == {(False, True), (True, True)}
    edge = [*wire((8, 0, 0)), part("buffer", (9, 0, 0), "+x", 1), part("block", (9, 0, -1))]
    edge += [part("push_ram", (10, 1, 0), "+y")]
    assert kept_of(machine_of(entry | {"parts": edge})) >= {(False, True), (False, False)}
    floating = machine_of(entry | {"parts": [part("wire", (0, 0, -9))]})
    assert kept_of(floating) == {(False, True), (False, False)}


def test_tape_passes_power_only_while_it_rests() -> None:
    """A ram reads the wire through a tape block; pushed on, the block powers nothing."""
    simulation = world(*wire((0, 0, 0)), part("push_ram", (2, 0, 0), "+y"),
                       part("push_ram", (1, -1, 0), "+y"), *wire((1, -2, 0)),
                       tape=((1, 0, 0),))  # fmt: skip
    simulation.pulse_wire((0, 0, 0), 1, 30)
    simulation.pulse_wire((1, -2, 0), 6, 30)
    states = []
    for _ in range(9):
        simulation.step()
        states.append(strokes(simulation)[(2, 0, 0)])
    # The block leaves in 6, after rams were powered for that half-tick.
    assert states == ["EXTENDING"] * 2 + ["OUT"] * 4 + ["RETRACTING"] * 2 + ["IN"]


# ---- faults -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["block", "cover", "insulator"])
def test_a_ram_strokes_into_a_part(kind: str) -> None:
    simulation = rammed("push_ram", (0, 0, 1), pulse=9, more=(part(kind, (0, 0, 2)),))
    simulation.run_to_rest()
    (fault,) = simulation.faults
    assert (fault.code, fault.cells, fault.half_tick) == (
        "stroke into part", ((0, 0, 0), (0, 0, 2)), 1,
    )  # fmt: skip


@pytest.mark.parametrize("kind", ["block", "cover", "insulator", "push_ram"])
def test_a_grip_ram_drags_a_part(kind: str) -> None:
    ahead = part(kind, (0, 0, 2), "+z" if kind == "push_ram" else None)
    simulation = rammed("grip_ram", pulse=9, more=(ahead,))
    simulation.run_to_rest()
    assert codes(simulation) == ["drags a part"]


def test_a_ram_strokes_into_the_ground_and_drags_at_it() -> None:
    for far, code in ((1, "stroke into part"), (2, "drags a part")):
        parts = [part("grip_ram", (0, 0, 0), "+z"), *wire((-1, 0, 0))]
        dug = [{"min": [-3, -3, -3], "max": [3, 3, far - 1]}]
        entry = {"room": [0, 0, 0], "tape": [], "parts": parts, "dug": dug}
        simulation = Simulation(machine_of(entry), Case(False, ground=True))
        simulation.pulse_wire((-1, 0, 0), 1, 9)
        simulation.run_to_rest()
        assert codes(simulation) == [code]


def test_two_rams_move_one_block_or_fill_one_cell() -> None:
    other = (part("push_ram", (-1, 0, 1), "+x"), *wire((-2, 0, 1)))
    for tape, code in ((((0, 0, 1),), "moved twice"), ((), "two in one cell")):
        simulation = rammed("push_ram", *tape, pulse=9, more=other)
        simulation.pulse_wire((-2, 0, 1), 1, 9)
        simulation.step()
        assert codes(simulation) == [code]
        assert simulation.faults[0].cells == ((-1, 0, 1), (0, 0, 0))


def test_one_ram_puts_down_what_another_would_draw() -> None:
    """In half-tick 9 both let go: which of the two goes first would decide."""
    drawer = (part("grip_ram", (2, 0, 2), "-x"), *wire((3, 0, 2)))
    for drawn_at, fault in ((9, ["moved twice"]), (8, [])):
        simulation = world(
            part("grip_ram", (0, 0, 0), "+z"), *wire((-1, 0, 0)), *drawer, tape=((0, 0, 1),)
        )
        simulation.pulse_wire((3, 0, 2), 1, drawn_at - 1)
        simulation.pulse_wire((-1, 0, 0), 7, 2)
        assert simulation.run_to_rest()
        assert codes(simulation) == fault


def test_faults_before_anything_moves() -> None:
    for faulty, code in (
        (world(part("wire", (0, 0, 0))), "no support"),
        (world(part("block", (0, 0, 0)), tape=((0, 0, 0),)), "two in one cell"),
        (world(part("inverter", (0, 0, 0), "+z"), part("block", (0, 0, 1))), "bad face"),
        (world(part("inverter", (0, 0, 0), "-z"), part("block", (0, 0, -1)),
               part("push_ram", (1, 0, 0), "+x"), tape=((2, 0, 0),)), "two in one cell"),
    ):  # fmt: skip
        assert codes(faulty) == [code]


def test_a_machine_without_a_button_is_told_so() -> None:
    entry = build_ring(rectangle(3, 3), no_trigger=True)
    (report,) = run_presses(Simulation(machine_of(entry), PLAIN), 1)
    assert report.faults[0].code == "no button"


# ---- pressing, resting, recording ---------------------------------------------------------------


def button(*parts: dict[str, Any], press: int = 3) -> Simulation:
    return world(
        part("button", (0, 0, 1), "-z") | {"press": press}, part("block", (0, 0, 0)), *parts
    )


def test_a_press_lasts_as_long_as_the_button_says_and_pressing_again_does_nothing() -> None:
    simulation = button()
    simulation.press()
    times = []
    for now in span(1, 12):
        simulation.step()
        if now == 4:
            simulation.press()
        times += [now] if on(simulation, (0, 0, 1)) else []
    assert times == span(1, 6)
    assert simulation.at_rest()


def test_a_machine_at_rest_takes_no_step() -> None:
    simulation = button()
    assert simulation.run_to_rest()
    assert simulation.now == 0
    simulation.press()
    assert not simulation.at_rest()
    assert simulation.run_to_rest()
    assert simulation.now == 7


def test_a_ram_that_can_start_is_not_at_rest() -> None:
    """Nothing is due and nothing moves, but the clock need only start."""
    lit = (part("inverter", (1, 0, 0), "-z"), part("block", (1, 0, -1)))
    simulation = world(part("push_ram", (0, 0, 0), "+z"), *lit, tape=((0, 0, 1),))
    assert codes(simulation) == ["two in one cell"]
    assert not simulation.at_rest()
    assert simulation.run_to_rest()
    assert (simulation.now, simulation.block_at) == (3, [(0, 0, 2)])


def test_the_same_fault_is_told_again_for_the_next_press() -> None:
    entry = build_ring(rectangle(14, 3))
    reports = run_presses(Simulation(machine_of(entry), PLAIN), 2, stop_at_fault=False)
    assert all(r.faults for r in reports)


def test_waveforms_read_back_by_an_independent_reader() -> None:
    machine = machine_of(build_ring(rectangle(3, 3)))
    simulation = Simulation(machine, ALL_CASES[0], record=True)
    assert all(report.ok for report in run_presses(simulation, 2))
    dump = VCDVCD(vcd_string=waveforms(simulation))
    expected = _expected_changes(simulation)
    assert len(dump.signals) == len(expected)
    for name, changes in expected.items():
        read = [(time, _number(value)) for time, value in dump[name].tv]
        assert _without_repeats(read) == _without_repeats(changes), name


def _expected_changes(simulation: Simulation) -> dict[str, list[tuple[int, int]]]:
    """Signal -> (half-tick, value), worked out from the events, the start included."""

    def name(scope: str, cell: Cell) -> str:
        return f"{scope}.at_" + "_".join(f"m{-v}" if v < 0 else str(v) for v in cell)

    found: dict[str, dict[int, int]] = {name("wire", w.at): {0: 0} for w in simulation.wires}
    found |= {name("ram", r.at): {0: 0} for r in simulation.rams}
    found |= {name(kind, at): {0: 0} for kind, at, _ in simulation.switches()}
    of_driver = {driver: name(kind, at) for kind, at, driver in simulation.switches()}
    for i, cell in enumerate(simulation.machine.tape):
        axes = dict(zip("xyz", cell, strict=True)) | {"moving": 0}
        found |= {f"tape.block{i}.{axis}": {0: v} for axis, v in axes.items()}
    for time, what, which, value in simulation.events or ():
        if isinstance(value, tuple):
            for axis, number in zip(("x", "y", "z", "moving"), (*value[0], value[1]), strict=True):
                found[f"tape.block{which}.{axis}"][time] = int(number)
        elif what == "wire":
            found[name("wire", simulation.wires[which].at)][time] = value
        elif what == "ram":
            found[name("ram", simulation.rams[which].at)][time] = value
        else:
            found[of_driver[which]][time] = value
    return {signal: sorted(changes.items()) for signal, changes in found.items()}


def _number(bits: str) -> int:
    number = int(bits, 2)
    return number - (1 << 32) if len(bits) == 32 and bits[0] == "1" else number


def _without_repeats(changes: list[tuple[int, int]]) -> list[tuple[int, int]]:
    last = dict(changes)
    kept: list[tuple[int, int]] = []
    for time, value in sorted(last.items()):
        if not kept or kept[-1][1] != value:
            kept.append((time, value))
    return kept


# ---- tape that comes and goes -------------------------------------------------------------------


def test_what_reads_through_tape_counts_right_whenever_it_goes() -> None:
    """A ram reads a wire through a tape block, which another ram takes away and puts back."""
    for lit_when_it_goes in (False, True):
        simulation = world(
            *wire((0, 0, 0), "insulator"), *wire((-1, 0, 0), "insulator"),
            part("push_ram", (1, 1, 0), "+y"), part("grip_ram", (1, 0, -1), "+z"),
            tape=((1, 0, 0),),
        )  # fmt: skip
        ram = next(r for r in simulation.rams if r.at == (1, 1, 0))
        counts = []
        for _ in range(2):
            for away in (True, False):
                if lit_when_it_goes:
                    simulation.pulse_wire((-1, 0, 0), 1, 6)
                simulation.power_ram((1, 0, -1), away)
                for _ in range(12):
                    simulation.step()
                counts.append(ram.count)
        simulation.pulse_wire((-1, 0, 0), 1, 30)
        for _ in range(4):
            simulation.step()
        assert simulation.block_at == [(1, 0, 0)]
        assert counts == [0] * 4
        assert ram.count == 1


def test_a_wire_points_elsewhere_once_tape_no_longer_cuts_its_step() -> None:
    """While tape lies over it the wire is alone and points to all sides; then along x only."""
    aside, push = (0, -1, 0), (0, 1, 1)
    simulation = world(
        *wire((0, 0, 0)), *wire((1, 0, 1)), part("push_ram", aside, "-y"),
        part("push_ram", push, "-y"), tape=((0, 0, 1),),
    )  # fmt: skip
    simulation.pulse_wire((0, 0, 0), 1, 60)
    ram = next(r for r in simulation.rams if r.at == aside)
    counts = []
    for powered in (False, True):
        if powered:
            simulation.power_ram(push, True)
        for _ in range(6):
            simulation.step()
        counts.append(ram.count)
    assert simulation.block_at == [(0, -1, 1)]
    assert counts == [1, 0]


@pytest.mark.parametrize("above", [(), ("insulator",)])
def test_a_level_comes_down_over_tape_only_while_it_rests_there(above: tuple[str, ...]) -> None:
    """Whether tape may come above the lower wire or something stands there that passes nothing."""
    upper, lower = (1, 0, 1), (0, 0, 0)
    simulation = world(
        *wire(lower), part("wire", upper), part("push_ram", (1, -1, 0), "+y"),
        part("block", (2, 0, 0)), part("wire", (2, 0, 1)),
        *(part(kind, (0, 0, 1)) for kind in above), tape=((1, 0, 0),),
    )  # fmt: skip
    simulation.pulse_wire((2, 0, 1), 1, 60)
    simulation.step()
    assert levels(simulation)[upper] == 14
    assert levels(simulation)[lower] == 13
    simulation.power_ram((1, -1, 0), True)
    simulation.step()
    assert levels(simulation)[lower] == 0


def test_a_wire_that_bends_powers_the_blocks_that_it_points_at() -> None:
    """It points up a step along x and along y; its level is too low for the wire up there."""
    for way in (1, -1):
        entry = {
            "room": [1, 1, 1], "tape": [], "rules": {"reach": 1},
            "dug": [{"min": [-9, -9, -9], "max": [9, 9, 9]}],
            "parts": [
                *wire((0, 0, 0)), *wire((0, 1, 0)), *wire((way, 0, 1)),
                part("push_ram", (2 * way, 0, 0), "-z"),
            ],
        }  # fmt: skip
        simulation = Simulation(machine_of(entry), PLAIN)
        simulation.pulse_wire((0, 0, 0), 1, 9)
        simulation.step()
        assert levels(simulation) == {(0, 0, 0): 1, (0, 1, 0): 0, (way, 0, 1): 0}
        assert strokes(simulation) == {(2 * way, 0, 0): "EXTENDING"}


@pytest.mark.parametrize("after", [3, 4, 5])
@pytest.mark.parametrize("comes", ["tape", "head"])
def test_a_sensor_sees_the_end_of_a_stroke_once_it_looks_again(comes: str, after: int) -> None:
    """A block leaves; while the sensor is busy another comes, or a head, and then it is at rest."""
    tape = ((0, 0, 0), (-1, 0, 0)) if comes == "tape" else ((0, 0, 0),)
    behind = (-2, 0, 0) if comes == "tape" else (-1, 0, 0)
    simulation = world(
        part("push_ram", (0, -1, 0), "+y"), part("push_ram", behind, "+x"),
        part("sensor", (0, 0, 1), "-z"), tape=tape,
    )  # fmt: skip
    simulation.power_ram((0, -1, 0), True)
    times = on_times(simulation, (0, 0, 1), 1)
    simulation.power_ram((0, -1, 0), False)
    times += on_times(simulation, (0, 0, 1), after - 1)
    simulation.power_ram(behind, True)
    times += on_times(simulation, (0, 0, 1), 20)
    # Busy up to 4, so what comes in half-tick 4 is lost, but not that it is at rest in 6.
    assert times == {3: [3, 4, 8, 9], 4: [3, 4, 7, 8], 5: [3, 4, 8, 9]}[after]


def test_a_buffer_does_not_stand_upright() -> None:
    simulation = world(part("buffer", (0, 0, 0), "+z", 1), part("block", (0, 0, -1)))
    assert codes(simulation) == ["bad face"]


def test_a_ram_knows_what_it_pushes_only_while_it_pushes() -> None:
    ram, beside = (0, 0, 0), (1, 0, 0)
    simulation = world(part("grip_ram", ram, "+x"), tape=(beside,))
    pushed = []
    for powered in (True, False):
        simulation.power_ram(ram, powered)
        for _ in range(4):
            simulation.step()
            pushed.append(simulation.rams[0].pushed)
    assert pushed == [0, 0, -1, -1, -1, -1, -1, -1]
    # A stroke that is cut short pushes nothing from then on.
    simulation = world(part("grip_ram", ram, "+x"), tape=(beside,))
    for powered, block in ((True, 0), (False, -1)):
        simulation.power_ram(ram, powered)
        simulation.step()
        assert simulation.rams[0].pushed == block


def test_an_inverter_that_is_about_to_turn_is_not_asked_twice() -> None:
    """A second wire joins the first meanwhile. Both off, it comes on a whole delay later."""
    simulation = world(
        *wire((0, 0, 0)), *wire((1, 1, 0)), part("block", (1, 0, 0)),
        part("inverter", (2, 0, 0), "-x"),
    )  # fmt: skip
    simulation.pulse_wire((0, 0, 0), 1, 3)
    simulation.pulse_wire((1, 1, 0), 2, 2)
    assert on_times(simulation, (2, 0, 0), 9) == [1, 2, 6, 7, 8, 9]
