"""The build plan: complete, buildable step by step, true to the simulation, readable back."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from models.geometry import VECTOR, Box, add, step
from models.machine import ALL_CASES, Case, Machine
from models.parts import FULL, RAMS, Part
from models.rules import Rules
from models.surface import BEHIND
from solver.machine_file import parse_machine
from solver.pipeline import solve_scenario
from solver.plan.layers import Homes
from solver.plan.plan import build_plan
from solver.plan.words import caution_lines, rows, runs, ticks
from solver.read_scenario import parse_scenario
from solver.sheets.text import write_sheets
from solver.simulate import Simulation, Stroke, run_presses
from tests.oracles.ring_builder import build_ring, rectangle
from tests.sheet_reader import read_layers

SCENARIOS = Path(__file__).parent.parent / "scenarios"
SHAPES = {
    "3x3": rectangle(3, 3),
    "3x3 clockwise": rectangle(3, 3, clockwise=True),
    "13x3": rectangle(13, 3),
    "5x4": rectangle(5, 4),
}


def ring(name, **options):
    return parse_machine(build_ring(SHAPES[name], snug=True, **options), name)


@pytest.fixture(scope="module", params=sorted(SHAPES))
def plan(request):
    return build_plan(ring(request.param))


def on_every_surface():
    """Not a machine that works: something on each surface, to see that all are drawn."""
    parts = [Part("button", (2, 2, 0), "-z", None, 15, "trigger")]
    tape = []
    room = (5, 6, 7)
    for _name, behind in BEHIND.items():
        axis = next(i for i in range(3) if VECTOR[behind][i])
        low = [2, 2, 2]
        low[axis] = room[axis] if behind[0] == "+" else -1
        cell = tuple(low)
        parts.append(Part("cover", cell, unit="surface"))
        parts.append(Part("grip_ram", step(cell, behind, 2), "+x", unit="lift 0"))
        parts.append(Part("buffer", step(cell, behind, 3), "-y", 4, None, "line"))
    tape = [(0, 0, -1), (1, 0, -1), (1, 1, -1), (0, 1, -1)]
    dug = tuple(Box(part.at, part.at) for part in parts if part.kind in ("grip_ram", "buffer"))
    return Machine("six", room, Rules(), tuple(tape), tuple(parts), dug)


def test_the_layers_hold_every_part_once(plan):
    machine = plan.machine
    parts = [piece.part() for piece in plan.pieces if piece.kind != "tape"]
    assert sorted(parts) == sorted(machine.parts)
    assert {piece.at for piece in plan.pieces if piece.kind == "tape"} == set(machine.tape)
    assert sum(count.number for count in plan.counts) == len(plan.pieces)
    for count in plan.counts:
        assert 64 * count.stacks[0] + count.stacks[1] == count.number


@pytest.mark.parametrize("machine", [ring("13x3"), on_every_surface()], ids=["ring", "six"])
def test_layers_read_back_give_the_machine(machine):
    pieces, bare = read_layers(write_sheets(build_plan(machine)))
    parts = {
        part.at: (part.kind, part.face, part.delay if part.kind == "buffer" else part.press)
        for part in machine.parts
    }
    tape = {cell for cell, found in pieces.items() if found[0] == "tape"}
    assert {cell: found for cell, found in pieces.items() if cell not in tape} == parts
    assert tape == set(machine.tape)
    for index, cell in enumerate(machine.tape):
        following = machine.tape[(index + 1) % len(machine.tape)]
        assert step(cell, pieces[cell][1]) == following
    empty = {cell for cell, what in bare.items() if what == "dug" and not machine.in_room(cell)}
    assert empty == machine.dug_cells - set(parts)
    assert all(cell not in machine.dug_cells for cell, what in bare.items() if what == "ground")


def test_surfaces_are_seen_from_the_room():
    plan = build_plan(on_every_surface())
    assert set(plan.surfaces) == set(BEHIND)
    for layer in plan.layers:
        right, down = VECTOR[layer.right], VECTOR[layer.down]
        away = (
            right[1] * down[2] - right[2] * down[1],
            right[2] * down[0] - right[0] * down[2],
            right[0] * down[1] - right[1] * down[0],
        )
        assert away == VECTOR[BEHIND[layer.surface]], layer.surface


def test_a_button_belongs_to_the_surface_it_hangs_on():
    machine = on_every_surface()
    assert Homes(machine)[(2, 2, 0)] == ("floor", -1)
    assert Homes(machine)[(2, 2, -4)] == ("floor", 3)
    assert Homes(machine)[(2, 9, 2)] == ("north", 3)


def test_every_prefix_of_the_order_can_be_placed(plan):
    machine = plan.machine
    dug_or_open = machine.dug_cells | set(machine.tape)
    dug_or_open |= {part.at for part in machine.parts if part.kind == "cover"}
    placed = {}
    for build_step in plan.steps:
        for piece in build_step.pieces:
            assert piece.at not in placed
            assert machine.in_room(piece.at) or piece.at in dug_or_open
            mount = None
            if piece.kind in ("wire", "buffer"):
                mount = add(piece.at, (0, 0, -1))
            elif piece.kind in ("inverter", "button"):
                mount = step(piece.at, piece.face)
            assert mount is None or placed[mount] in FULL
            if piece.at not in build_step.sealed:
                assert reachable(machine, dug_or_open - set(placed), piece.at), piece
            placed[piece.at] = piece.kind
    assert set(placed) == {piece.at for piece in plan.pieces}


def reachable(machine, free, goal):
    """Whether a way of free cells leads from the goal to the room."""
    seen, queue = {goal}, [goal]
    while queue:
        cell = queue.pop()
        if machine.in_room(cell):
            return True
        for vector in VECTOR.values():
            beside = add(cell, vector)
            if beside not in seen and (beside in free or machine.in_room(beside)):
                seen.add(beside)
                queue.append(beside)
    return False


@pytest.mark.parametrize("room", ["first-ring", "pillars", "ceiling", "wall"])
def test_solved_machines_can_be_built_in_the_order_given(room):
    path = SCENARIOS / ("pillars.toml" if room == "pillars" else "first-ring.toml")
    if room == "wall":
        path = Path(__file__).parent / "data" / "wall-ring.toml"
    asked = path.read_text("utf-8")
    if room == "ceiling":
        asked = asked.replace("surfaces.floor", "surfaces.ceiling")
    found = solve_scenario(parse_scenario(asked, path), budget_s=60).found
    plan = build_plan(found.machine)
    test_every_prefix_of_the_order_can_be_placed(plan)
    test_the_stages_come_in_order_and_the_trigger_last(plan)
    test_the_shortest_interval_is_safe_in_every_case(plan)
    test_every_tape_cell_opens_and_closes_again(plan)


def test_the_stages_come_in_order_and_the_trigger_last(plan):
    stages = [build_step.stage for build_step in plan.steps]
    assert [s for i, s in enumerate(stages) if i == 0 or stages[i - 1] != s] == [
        "dig",
        "behind",
        "tape",
        "covers",
        "trigger",
    ]
    assert plan.steps[-1].pieces[-1].kind == "button"
    assert [s.number for s in plan.steps] == list(range(1, len(plan.steps) + 1))


def test_rams_come_before_their_power(plan):
    """Where nothing stands in the way: a ram that is powered at rest is not so when placed."""
    machine, placed = plan.machine, []
    early = {p.at for s in plan.steps if s.group == "early" for p in s.pieces}
    assert not early, "these rings have room all round"
    for build_step in plan.steps:
        for piece in build_step.pieces:
            if piece.kind == "tape":
                continue
            placed.append(piece.part())
            if piece.kind in RAMS:
                built = replace(machine, tape=(), parts=tuple(placed))
                simulation = Simulation(built, Case(False, True))
                ram = next(r for r in simulation.rams if r.at == piece.at)
                assert ram.count == 0 and ram.state == Stroke.IN, piece


def test_digging_covers_every_part_behind_a_surface(plan):
    cells = Counter(cell for s in plan.steps for box in s.boxes for cell in all_cells(box))
    assert set(cells) == plan.machine.dug_cells
    assert plan.dug_volume == len(cells)


def all_cells(box):
    (a, b, c), (d, e, f) = box
    return [(x, y, z) for x in range(a, d + 1) for y in range(b, e + 1) for z in range(c, f + 1)]


def test_times_are_those_of_the_slowest_case(plan):
    reports = [run_presses(Simulation(plan.machine, case), 1)[0] for case in ALL_CASES]
    assert plan.timing.rest_half_ticks == max(report.half_ticks for report in reports)
    assert plan.timing.flush_half_ticks <= plan.timing.rest_half_ticks
    assert plan.timing.press_ticks == 10


def test_the_shortest_interval_is_safe_in_every_case(plan):
    interval = plan.timing.interval_half_ticks
    for case in ALL_CASES:
        simulation = Simulation(plan.machine, case)
        simulation.run_to_rest(200)
        for _ in range(5):
            simulation.press()
            for _ in range(interval):
                simulation.step()
        assert simulation.run_to_rest()
        assert not simulation.faults and not simulation.misplaced(5)


def test_every_tape_cell_opens_and_closes_again(plan):
    """Against a plain look at every half-tick."""
    machine = plan.machine
    seen = {cell: set() for cell in machine.tape}
    simulation = Simulation(machine, ALL_CASES[0])
    simulation.run_to_rest(200)
    start = simulation.now
    simulation.press()
    while simulation.now < start + plan.trace.half_ticks:
        simulation.step()
        for cell in machine.tape:
            block = simulation.tape.get(cell)
            if block is None or simulation.is_moving(block):
                seen[cell].add(simulation.now - start)
    for opening in plan.openings:
        spans = {t for a, b in opening.spans for t in range(a, b)}
        for cell in opening.cells:
            assert seen.pop(cell) <= spans
    assert all(not times for times in seen.values())


def test_stage_tests_come_from_the_half_built_machine(plan):
    tests = [s.test for s in plan.steps if s.test]
    assert [t.how for t in tests if t.how != "look"] == ["pulse", "press"]
    pulse = next(t for t in tests if t.how == "pulse")
    lifts = {p.unit for p in plan.pieces if p.unit.startswith("lift")}
    units = {mover.unit for mover in pulse.movers}
    assert lifts <= units or not lifts
    press = tests[-1]
    assert press.moved_blocks == len(plan.machine.tape)
    assert press.movers == plan.movers
    assert not press.still
    for test in tests:
        assert {p.kind for p in test.extended} <= RAMS


def test_the_plan_says_what_can_hurt(plan):
    text = write_sheets(plan)
    head = text[: text.index("KEY FIGURES")]
    for word in ("Keep off", "crushed", "Local codes", "licensed", "open from tick"):
        assert word in head
    assert text.isascii()
    assert max(map(len, text.splitlines())) < 130


@pytest.mark.parametrize("name", ["ceiling", "north"])
def test_other_surfaces_get_their_own_words(name):
    plan = build_plan(replace(on_every_surface(), tape=()))
    only = " ".join(caution_lines(replace(plan, surfaces=(name,))))
    assert f"Keep off the {name} side" in only and "falls in" not in only
    assert "falls in" in " ".join(caution_lines(plan))


def test_a_machine_without_a_button_still_gets_a_plan():
    entry = build_ring(SHAPES["3x3"], no_trigger=True)
    plan = build_plan(parse_machine(entry, "x"))
    assert plan.timing is None and not plan.openings
    assert "could not be pressed" in write_sheets(plan)


def test_an_empty_machine_gets_a_plan():
    plan = build_plan(Machine("", (3, 3, 3), Rules(), (), ()))
    assert not plan.steps and not plan.layers
    assert "Untitled" in write_sheets(plan)


def test_odd_titles_stay_on_one_plain_line():
    machine = replace(ring("3x3"), title="a\nb \N{SNOWMAN}")
    assert write_sheets(build_plan(machine)).splitlines()[0] == "BUILD PLAN: a b \\u2603"


def test_rows_and_runs_and_ticks():
    line = [(0, 0, 0), (1, 0, 0), (2, 0, 0), (2, 1, 0)]
    assert runs(line) == ["(0,0,0) to (2,0,0)", "(2,1,0)"]
    assert rows([*line, (0, 5, 0)]) == ["(0,0,0) to (2,0,0)", "(0,5,0)", "(2,1,0)"]
    assert [ticks(n) for n in (0, 1, 2, 15)] == ["0", "0.5", "1", "7.5"]


def test_the_same_machine_gives_the_same_text():
    first, second = (write_sheets(build_plan(ring("5x4"))) for _ in range(2))
    assert first == second
    assert json.dumps(first)
