"""Margins of a small machine, by hand and by the naive twin."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from models.machine import ALL_CASES
from solver.faults.margins import PRESS, STROKE, delays, find_margins, sooner
from solver.faults.reports import margins_file
from solver.machine_file import parse_machine, write_machine
from solver.plan.plan import build_plan
from solver.plan.watch import timing
from solver.plan.words import margin_lines, time_lines
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets
from tests.oracles.naive_simulator import NaiveWorld, misplaced, run_presses
from tests.oracles.ring_builder import build_ring, rectangle

RING = parse_machine(build_ring(rectangle(3, 3)), "ring")


@pytest.fixture(scope="module")
def margins():
    return find_margins(RING)


def test_every_timed_part_is_tried():
    tried = {cell for delay in delays(RING) for cell in delay.cells}
    assert tried == {p.at for p in RING.parts if p.kind in ("buffer", "sensor", "inverter")}
    assert {d.name for d in delays(RING) if not d.cells} == {PRESS, STROKE}


def test_whole_ticks_agree_with_the_naive_twin(margins):
    """Buffers are set in ticks: each setting inside the margin works, the first outside fails."""
    for margin in margins.margins:
        (part,) = [p for p in RING.parts if p.at in margin.delay.cells][:1] or [None]
        if part is None or part.kind != "buffer":
            continue
        for delay in range(1, 5):
            off = 2 * delay - margin.delay.half_ticks
            parts = tuple(p._replace(delay=delay) if p == part else p for p in RING.parts)
            entry = json.loads(write_machine(replace(RING, parts=parts)))
            if -margin.shrink <= off <= margin.grow:
                assert run_presses(entry, 1, overhead=True, ground=True).ok
            elif off in (-margin.shrink - 1, margin.grow + 1):
                assert not all(
                    run_presses(entry, 2, overhead=c.overhead, ground=c.ground).ok
                    for c in ALL_CASES
                )
        return


def test_the_press_and_the_stroke_against_the_naive_twin(margins):
    by_name = {margin.delay.name: margin for margin in margins.margins}
    stroke = by_name[STROKE]
    entry = json.loads(write_machine(RING))
    entry["rules"]["stroke_half_ticks"] = 3 + stroke.grow + 1
    assert not all(
        run_presses(entry, 1, overhead=c.overhead, ground=c.ground).ok for c in ALL_CASES
    )


def twice(interval: int, overhead: bool, ground: bool) -> bool:
    world = NaiveWorld(json.loads(write_machine(RING)), overhead=overhead, ground=ground)
    for _ in range(2):
        world.press()
        for _ in range(interval):
            world.step()
    for _ in range(200):
        if world.resting():
            break
        world.step()
    return world.resting() and not world.faults and not misplaced(world, 2)


def test_both_sides_of_the_interval_by_the_naive_twin():
    interval = timing(RING).interval_half_ticks
    assert twice(interval, True, True)
    found = sooner(RING, interval)
    assert found is not None
    assert found.half_ticks == interval - 1
    assert not all(twice(interval - 1, c.overhead, c.ground) for c in ALL_CASES)


def test_the_plan_says_so():
    plan = build_plan(RING)
    lines = " ".join(time_lines(plan))
    assert "Least margin:" in lines
    assert "it goes wrong" in lines
    assert margin_lines(replace(plan.margins, sooner=None, interval_half_ticks=None))


def test_a_machine_without_slack_carries_a_caution(margins):
    plan = build_plan(RING)
    least = margins.least
    tight = replace(margins, margins=(least._replace(shrink=0, grow=1),))
    ample = replace(margins, margins=(least._replace(shrink=1, grow=1),))
    for text in (write_sheets, write_page):
        assert "half a tick quicker a press goes wrong" in text(replace(plan, margins=tight))
        assert "No slack" not in text(replace(plan, margins=ample))


def test_a_machine_without_a_button_has_no_margins():
    plan = build_plan(parse_machine(build_ring(rectangle(3, 3), no_trigger=True), "ring"))
    assert plan.margins is None


def test_the_command_lists_them(tmp_path):
    path = tmp_path / "machine.json"
    path.write_text(write_machine(RING))
    report = margins_file(path, 2, lambda line: None)
    assert len(report.summary()) == len(list(delays(RING))) + 2
    told = json.loads(json.dumps(report.as_json()))
    assert {m["limit"] for m in told["margins"]} == {2}
