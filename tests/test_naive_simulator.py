"""The slow simulator against the rules, part by part, and against the worked floor machine."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from models.geometry import Cell, Face, step
from tests.oracles.naive_simulator import NaiveWorld, misplaced, run_presses
from tests.oracles.ring_builder import build_ring, polygon, rectangle, trigger_wires

WORLDS = [(overhead, ground) for overhead in (False, True) for ground in (False, True)]


def part(kind: str, at: Cell, face: Face | None = None, delay: int | None = None) -> dict[str, Any]:
    entry: dict[str, Any] = {"kind": kind, "at": list(at)}
    if face:
        entry["face"] = face
    if delay:
        entry["delay"] = delay
    return entry


def world(
    *parts: dict[str, Any], tape: tuple[Cell, ...] = (), overhead: bool = False
) -> NaiveWorld:
    machine = {"room": [1, 1, 1], "tape": [list(c) for c in tape], "parts": list(parts), "dug": []}
    return NaiveWorld(machine, overhead=overhead, ground=False)


def on_times(w: NaiveWorld, cell: Cell, half_ticks: int) -> list[int]:
    """The half-ticks at whose end the part in the cell is on."""
    times = []
    for _ in range(half_ticks):
        w.step()
        if w.on[cell]:
            times.append(w.time)
    return times


def run(start: int, count: int) -> list[int]:
    return list(range(start, start + count))


# ---- the worked machine ----------------------------------------------------------------------


@pytest.mark.parametrize(("overhead", "ground"), WORLDS)
@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize(
    ("width", "length", "presses"), [(3, 3, 2), (4, 4, 1), (5, 3, 1), (13, 3, 1)]
)
def test_rings_advance(
    width: int, length: int, presses: int, clockwise: bool, overhead: bool, ground: bool
) -> None:
    machine = build_ring(rectangle(width, length, clockwise=clockwise))
    result = run_presses(machine, presses, overhead=overhead, ground=ground)
    assert result.ok, result.faults


def test_a_ring_goes_all_the_way_round_with_the_ground_close_by() -> None:
    machine = build_ring(rectangle(3, 3), snug=True)
    result = run_presses(machine, 8, overhead=True, ground=True)
    assert result.ok, result.faults
    assert len(set(result.half_ticks)) == 1


def test_edge_of_fourteen_exceeds_the_push_limit() -> None:
    machine = build_ring(rectangle(14, 3))
    result = run_presses(machine, 1, overhead=False, ground=False)
    assert not result.ok
    assert any(why == "push-limit" for _, why in result.waits)
    thirteen = run_presses(build_ring(rectangle(13, 3)), 1, overhead=False, ground=False)
    assert not any(why == "push-limit" for _, why in thirteen.waits)


def scripted(machine: dict[str, Any], overhead: bool, ground: bool) -> NaiveWorld:
    """One press given by forcing every trigger wire at once for ten ticks."""
    w = NaiveWorld(machine, overhead=overhead, ground=ground)
    for wire in trigger_wires(machine):
        w.set_source(wire, 1, 21)
    w.step()
    while not w.resting() and w.time < 200:
        w.step()
    assert w.resting()
    return w


@pytest.mark.parametrize(("overhead", "ground"), WORLDS)
def test_two_by_two_and_a_cross(overhead: bool, ground: bool) -> None:
    a, b, c, d = 0, 4, 10, 14
    half = [(b, a), (c, a), (c, b), (d, b), (d, c), (c, c)]
    cross = polygon([*half, (c, d), (b, d), (b, c), (a, c), (a, b), (b, b)])
    for spots in (rectangle(2, 2), cross):
        w = scripted(build_ring(spots, no_trigger=True, snug=True), overhead, ground)
        assert w.faults + misplaced(w, 1) == []


@pytest.mark.parametrize(("width", "works"), [(5, False), (6, True), (7, True)])
def test_a_concave_drive_needs_a_stretch_six_wide(width: int, works: bool) -> None:
    """Common practice states 6; narrower, the drive couples into the tape behind it."""
    a, b = width - 1, width + 4
    for spots in (
        polygon([(0, 0), (b, 0), (b, a), (a, a), (a, b), (0, b)]),
        polygon([(0, 0), (b, 0), (b, a), (a, a), (a, b), (0, b)])[::-1],
    ):
        w = scripted(build_ring(spots, no_trigger=True), overhead=False, ground=True)
        assert (w.faults + misplaced(w, 1) == []) is works


def test_times_of_the_floor_drive() -> None:
    """Sink 2, part 5, shift 6 1/2, feed 8 ticks after the wires go live (half-tick 1 here)."""
    machine = build_ring(rectangle(5, 5), no_trigger=True)
    w = NaiveWorld(machine, overhead=False, ground=False)
    for wire in trigger_wires(machine):
        w.set_source(wire, 1, 21)
    tape = w.tape_cells
    corner = next(i for i in range(1, len(tape)) if tape[i][1] != tape[i - 1][1]) - 1
    drawn = (corner - 1) % len(tape)
    path, times = [w.blocks[drawn].cell], []
    while w.time < 22:
        w.step()
        if w.blocks[drawn].cell != path[-1]:
            path.append(w.blocks[drawn].cell)
            times.append((w.time - 1) / 2)
    assert times == [2, 5, 6.5, 8]
    assert path[-1] == step(tape[corner], "-z")
    while w.time < 25:  # the wires go dead in half-tick 21; two ticks later all is flush
        w.step()
    assert misplaced(w, 1) == []
    assert all(block.end is None for block in w.blocks)


def test_boosters_keep_a_long_line_alive() -> None:
    """A row of wires carries 15 cells; a buffer in place of one of them starts afresh."""
    spots = rectangle(13, 13)
    dead = build_ring(spots, trigger=(1, 1))
    assert not run_presses(dead, 1, overhead=False, ground=False).ok
    boosters: list[tuple[tuple[int, int], Face, int]] = [((12, 3), "+y", 1), ((3, 12), "+x", 1)]
    alive = build_ring(spots, trigger=(1, 1), boosters=boosters)
    result = run_presses(alive, 1, overhead=False, ground=False)
    assert result.ok, result.faults


# ---- inverters and buffers -------------------------------------------------------------------


def oscillator(count: int) -> list[dict[str, Any]]:
    """A ring of inverters, two rows of units (block, inverter, wire), listed in ring order."""
    parts: list[dict[str, Any]] = []

    def wires(*spots: tuple[int, int]) -> None:
        for x, y in spots:
            parts.extend([part("wire", (x, y, 0)), part("block", (x, y, -1))])

    there = (count + 1) // 2
    for i in range(there):
        parts += [part("block", (3 * i, 0, 0)), part("inverter", (3 * i + 1, 0, 0), "-x")]
        wires((3 * i + 2, 0))
    end = 3 * there
    wires((end, 0), *[(end + 1, y) for y in range(4)], (end, 3))
    for i in range(count - there):
        x = end - 1 - 3 * i
        parts += [part("block", (x, 3, 0)), part("inverter", (x - 1, 3, 0), "+x")]
        wires((x - 2, 3))
    left = end - 3 * (count - there)
    wires(*[(x, 3) for x in range(left - 1, -3, -1)])
    wires((-2, 2), (-2, 1), (-2, 0), (-1, 0))
    return parts


@pytest.mark.parametrize("count", [3, 5, 7])
def test_ring_oscillator_has_period_two_n_ticks(count: int) -> None:
    """Textbook: an odd ring of N inverters of delay d has period 2 N d."""
    w = world(*oscillator(count))
    assert [code for _, code, _ in w.faults] == ["idle-oscillates"]
    probe = (1, 0, 0)
    rises, was = [], w.on[probe]
    for _ in range(20 * count):
        w.step()
        if w.on[probe] and not was:
            rises.append(w.time)
        was = w.on[probe]
    assert {b - a for a, b in pairwise(rises)} == {2 * 2 * count}


@pytest.mark.parametrize(("delay", "pulse"), [(1, 1), (2, 1), (4, 1), (2, 2), (2, 5)])
def test_buffer_delays_and_lengthens(delay: int, pulse: int) -> None:
    w = world(part("block", (0, 0, -1)), part("buffer", (0, 0, 0), "+x", delay),
              part("block", (-1, 0, 0)))  # fmt: skip
    w.set_source((-1, 0, 0), 1, 1 + 2 * pulse)
    assert on_times(w, (0, 0, 0), 30) == run(1 + 2 * delay, 2 * max(pulse, delay))


def test_buffer_swallows_a_short_gap() -> None:
    w = world(part("block", (0, 0, -1)), part("buffer", (0, 0, 0), "+x", 2),
              part("block", (-1, 0, 0)))  # fmt: skip
    w.set_source((-1, 0, 0), 1, 11)
    w.set_source((-1, 0, 0), 13, 23)
    assert on_times(w, (0, 0, 0), 40) == run(5, 22)


@pytest.mark.parametrize(("pulse", "dark"), [(2, []), (4, run(3, 4)), (7, run(3, 7))])
def test_inverter_ignores_pulses_of_one_tick(pulse: int, dark: list[int]) -> None:
    w = world(part("block", (0, 0, 0)), part("inverter", (1, 0, 0), "-x"))
    w.set_source((0, 0, 0), 1, 1 + pulse)
    lit = on_times(w, (1, 0, 0), 20)
    assert [t for t in run(1, 20) if t not in lit] == dark


def test_inverter_on_an_insulator_stays_lit() -> None:
    w = world(part("insulator", (0, 0, 0)), part("inverter", (1, 0, 0), "-x"))
    w.set_source((0, 0, 0), 1, 9)
    assert on_times(w, (1, 0, 0), 12) == run(1, 12)


# ---- wires -----------------------------------------------------------------------------------


def test_a_wire_run_carries_fifteen_cells() -> None:
    row = [p for x in range(17) for p in (part("wire", (x, 0, 0)), part("block", (x, 0, -1)))]
    w = world(*row)
    w.set_source((0, 0, 0), 1, 5)
    w.step()
    assert [w.snapshot()["wires"][(x, 0, 0)] for x in range(17)] == [*range(15, 0, -1), 0, 0]


@pytest.mark.parametrize(("top", "comes_down"), [("block", True), ("insulator", False)])
def test_wires_climb_an_insulator_but_do_not_come_down(top: str, comes_down: bool) -> None:
    steps = [part("wire", (0, 0, 0)), part("block", (0, 0, -1)), part(top, (1, 0, 0)),
             part("wire", (1, 0, 1))]  # fmt: skip
    up, down = world(*steps), world(*steps)
    up.set_source((0, 0, 0), 1, 5)
    down.set_source((1, 0, 1), 1, 5)
    up.step()
    down.step()
    assert up.snapshot()["wires"][(1, 0, 1)] == 14
    assert down.snapshot()["wires"][(0, 0, 0)] == (14 if comes_down else 0)


def test_a_block_over_a_wire_cuts_the_step() -> None:
    steps = [part("wire", (0, 0, 0)), part("block", (0, 0, -1)), part("block", (1, 0, 0)),
             part("wire", (1, 0, 1)), part("block", (0, 0, 1))]  # fmt: skip
    w = world(*steps)
    w.set_source((0, 0, 0), 1, 5)
    w.step()
    assert w.snapshot()["wires"][(1, 0, 1)] == 0


def test_weak_power_does_not_feed_a_wire_but_strong_power_does() -> None:
    parts = [part("wire", (0, 0, 0)), part("block", (0, 0, -1)), part("block", (1, 0, 0)),
             part("wire", (2, 0, 0)), part("block", (2, 0, -1))]  # fmt: skip
    weak, strong = world(*parts), world(*parts)
    weak.set_source((0, 0, 0), 1, 5)
    strong.set_source((1, 0, 0), 1, 5)
    weak.step()
    strong.step()
    assert weak.snapshot()["wires"][(2, 0, 0)] == 0
    assert strong.snapshot()["wires"][(2, 0, 0)] == 15


def test_a_wire_points_only_along_its_axis() -> None:
    rams = [part("push_ram", (1, 1, 0), "+y"), part("push_ram", (2, 0, 0), "+x")]
    row = [p for x in range(2) for p in (part("wire", (x, 0, 0)), part("block", (x, 0, -1)))]
    w = world(*row, *rams)
    w.set_source((0, 0, 0), 1, 20)
    w.step()
    assert [r.state for r in w.rams.values()] == ["in", "extending"]


# ---- sensors ---------------------------------------------------------------------------------


def test_sensor_pulses_once_for_each_change_it_can_see() -> None:
    w = world(part("wire", (0, 0, 0)), part("block", (0, 0, -1)), part("sensor", (0, 0, 1), "-z"))
    w.set_source((0, 0, 0), 1, 11)
    assert on_times(w, (0, 0, 1), 20) == [3, 4, 13, 14]


def test_sensor_loses_a_change_while_it_waits_or_is_on() -> None:
    w = world(part("wire", (0, 0, 0)), part("block", (0, 0, -1)), part("sensor", (0, 0, 1), "-z"))
    w.set_source((0, 0, 0), 1, 3)
    assert on_times(w, (0, 0, 1), 20) == [3, 4]


def test_sensor_sees_tape_leave_and_come_to_rest() -> None:
    """Coming and coming to rest are 1 tick apart, so the second is lost; so is no later change."""
    w = world(part("push_ram", (0, 0, 0), "+x"), part("sensor", (2, 0, 1), "-z"), tape=((1, 0, 0),))
    w.set_source((0, 0, 0), 1, 20)
    assert on_times(w, (2, 0, 1), 15) == [3, 4]


# ---- rams ------------------------------------------------------------------------------------


def test_push_ram_moves_twelve_blocks_and_no_thirteenth() -> None:
    for count, moved in ((12, True), (13, False)):
        row = tuple((x, 0, 0) for x in range(1, count + 1))
        w = world(part("push_ram", (0, 0, 0), "+x"), tape=row)
        w.set_source((0, 0, 0), 1, 9)
        w.step()
        assert (w.rams[(0, 0, 0)].state == "extending") is moved
        assert (((0, 0, 0), "push-limit") in w.waits) is not moved
        assert w.faults == []


def test_grip_ram_alternates_on_one_tick_pulses() -> None:
    w = world(part("grip_ram", (0, 0, 0), "+z"), tape=((0, 0, 2),))
    for k in range(4):
        w.set_source((0, 0, 0), 1 + 10 * k, 3 + 10 * k)
    heights = []
    for k in range(4):
        while w.time < 10 * (k + 1):
            w.step()
        heights.append(w.blocks[0].cell[2])
    assert heights == [1, 2, 1, 2]
    assert w.faults == []


@pytest.mark.parametrize("pulse", [3, 4, 8])
def test_grip_ram_draws_back_what_it_pushed_on_longer_pulses(pulse: int) -> None:
    w = world(part("grip_ram", (0, 0, 0), "+z"), tape=((0, 0, 1),))
    w.set_source((0, 0, 0), 1, 1 + pulse)
    w.step()
    assert w.blocks[0].cell == (0, 0, 2)
    for _ in range(20):
        w.step()
    assert w.blocks[0].cell == (0, 0, 1)


def test_a_block_put_back_rests_at_once_and_the_ones_beyond_go_on() -> None:
    w = world(part("grip_ram", (0, 0, 0), "+z"), tape=((0, 0, 1), (0, 0, 2)))
    w.set_source((0, 0, 0), 1, 3)
    seen = []
    for _ in range(3):
        w.step()
        seen.append([w.blocks[i].end is None for i in (0, 1)])
    assert seen == [[False, False], [False, False], [True, True]]
    assert [b.cell[2] for b in w.blocks] == [2, 3]


def test_a_stroke_lasts_three_half_ticks() -> None:
    w = world(part("push_ram", (0, 0, 0), "+x"), part("push_ram", (2, -1, 0), "+y"),
              tape=((1, 0, 0),))  # fmt: skip
    w.set_source((0, 0, 0), 1, 30)
    w.set_source((2, -1, 0), 2, 30)
    cells = []
    for _ in range(4):
        w.step()
        cells.append(w.blocks[0].cell)
    assert cells == [(2, 0, 0), (2, 0, 0), (2, 0, 0), (2, 1, 0)]


def test_overhead_pickup() -> None:
    parts = [part("block", (1, 0, 1)), part("push_ram", (0, 0, 0), "-x")]
    for overhead in (False, True):
        w = world(*parts, overhead=overhead)
        w.set_source((1, 0, 1), 1, 9)
        w.step()
        assert (w.rams[(0, 0, 0)].state == "extending") is overhead


def test_faults_of_rams() -> None:
    shove = world(part("push_ram", (0, 0, 0), "+x"), part("block", (1, 0, 0)))
    shove.set_source((0, 0, 0), 1, 9)
    drag = world(part("grip_ram", (0, 0, 0), "+x"), part("block", (2, 0, 0)))
    drag.set_source((0, 0, 0), 1, 9)
    twice = world(part("push_ram", (0, 0, 0), "+x"), part("push_ram", (1, -1, 0), "+y"),
                  tape=((1, 0, 0),))  # fmt: skip
    twice.set_source((0, 0, 0), 1, 9)
    twice.set_source((1, -1, 0), 1, 9)
    for w, code in ((shove, "shoves"), (drag, "drags"), (twice, "moved-twice")):
        for _ in range(15):
            w.step()
        assert [c for _, c, _ in w.faults] == [code]


def test_faults_at_the_start() -> None:
    floating = world(part("wire", (0, 0, 0)))
    double = world(part("block", (0, 0, 0)), tape=((0, 0, 0),))
    assert [c for _, c, _ in floating.faults] == ["no-support"]
    assert [c for _, c, _ in double.faults] == ["two-in-one-cell"]
