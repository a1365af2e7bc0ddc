"""Several loops in one room: joined, told apart, refused; the joint machine and the naive twin."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from models.fault import InputError
from models.geometry import Box, add
from models.machine import ALL_CASES, Machine
from models.together import Apart
from solver.check import check_machine
from solver.cli import cli
from solver.machine_file import parse_machine, read_machine, write_machine
from solver.pipeline import check_file
from solver.plan.plan import build_plan
from solver.read_scenario import parse_scenario
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets
from solver.simulate import prove
from solver.simulate.several import prove_apart
from solver.together.join import join
from solver.together.report import read_together
from solver.together.reserve import reserve_machine, without
from solver.together.search import search_together
from tests.circuits import Experiment, compare
from tests.oracles.ring_builder import build_ring, rectangle

ROOM = (40, 20, 4)
NESTED = Path(__file__).parent.parent / "scenarios" / "together"


def ring(dx: int, dy: int = 6, *, clockwise: bool = False) -> Machine:
    """The worked ring of 4 x 3, moved; no covers beside its own."""
    made = build_ring(rectangle(4, 3, clockwise=clockwise), snug=True)
    machine = parse_machine(made, "ring")
    by = (dx, dy, 0)
    return replace(
        machine,
        room=ROOM,
        tape=tuple(add(cell, by) for cell in machine.tape),
        parts=tuple(part._replace(at=add(part.at, by)) for part in machine.parts),
        dug=tuple(Box(add(box.low, by), add(box.high, by)) for box in machine.dug),
    )


def joined(first: Machine, second: Machine) -> Machine:
    joint = join("two rings", (first, second))
    assert isinstance(joint, Machine), joint
    return joint


@pytest.fixture(scope="module")
def apart() -> Machine:
    return joined(ring(6), ring(24, clockwise=True))


def test_rings_far_apart_run_each_by_its_own_button(apart: Machine) -> None:
    assert not check_machine(apart)
    assert all(result.ok for result in prove(apart, ALL_CASES[:1]))
    assert not prove_apart(apart, ALL_CASES[:2])


def test_rings_side_by_side_are_caught() -> None:
    """As near as their cells allow: what one does reaches the other."""
    first = ring(6)
    joint = next(
        found
        for dx in range(7, 24)
        if isinstance(found := join("near", (first, ring(dx))), Machine)
    )
    faults = prove_apart(joint, ALL_CASES[:1])
    assert faults


def test_a_button_that_moves_the_other_loop_is_caught(apart: Machine) -> None:
    """The two loops named the wrong way round."""
    a, b = apart.loops
    swapped = replace(apart, tape=apart.tape[a:] + apart.tape[:a], loops=(b, a))
    assert prove_apart(swapped, ALL_CASES[:1])


def test_the_check_of_a_file_judges_each_button_alone(apart: Machine, tmp_path: Path) -> None:
    """All buttons at once do not show which button moves which loop."""
    a, b = apart.loops
    path = tmp_path / "machine.json"
    swapped = replace(apart, tape=apart.tape[a:] + apart.tape[:a], loops=(b, a))
    rules = apart.rules.model_copy(update={"overhead_pickup": False})
    path.write_text(write_machine(replace(swapped, rules=rules)), encoding="utf-8")
    assert any(fault.code == "misplaced" for fault in check_file(path).faults)


def test_machines_that_share_a_cell_are_not_joined() -> None:
    assert "the same cell" in str(join("over", (ring(6), ring(7))))


@pytest.mark.parametrize("after", [1, 14])
def test_the_twin_sees_the_same(apart: Machine, after: int) -> None:
    made = json.loads(write_machine(apart))
    buttons = [tuple(p["at"]) for p in made["parts"] if p["kind"] == "button"]
    experiment = Experiment(made, overhead=True, ground=True)
    experiment.presses = [(buttons[0], 1), (buttons[1], after)]
    assert compare(experiment) == ""


def test_the_file_keeps_the_loops_and_the_first_is_in_the_usual_place(apart: Machine) -> None:
    made = json.loads(write_machine(apart))
    assert len(made["tape"]) == apart.loops[0]
    assert [len(loop) for loop in made["more_loops"]] == list(apart.loops[1:])
    again = parse_machine(made, "file")
    assert (again.tape, again.loops, again.parts) == (apart.tape, apart.loops, apart.parts)
    made["more_loops"] = [7]
    with pytest.raises(InputError, match="more_loops"):
        parse_machine(made, "file")


def test_the_plan_tells_the_loops_apart(apart: Machine) -> None:
    plan = build_plan(apart)
    tapes = sum(count.number for count in plan.counts if count.kind == "tape")
    assert tapes == sum(apart.loops)
    assert plan.corners == 8
    text, page = write_sheets(plan), write_page(plan)
    for words in ("Loop 1: a tape", "Loop 2: a tape", "Each button moves its own loop"):
        assert words in " ".join(text.split())
        assert words in " ".join(page.split())
    assert 'class="loop"' in page


def scenario(rows: list[str], name: str = "room.toml", size: str = "[18, 9, 4]") -> str:
    drawn = "\n".join(rows)
    return (
        f'title = "{name}"\n[room]\nsize = {size}\n[surfaces.floor]\ndepth = 6\nmargin = 3\n'
        f'map = """\n{drawn}\n"""\n[loop]\ndirection = "clockwise"\nshape = "exact"\n'
        'minimise = ["parts"]\n'
    )


EMPTY = "." * 18
LEFT = [EMPTY] * 3 + [".ooooo" + "." * 12] + [".o...o" + "." * 12] * 1 + [".ooooo" + "." * 12]
LEFT += [EMPTY] * 3
RIGHT = [row[::-1] for row in LEFT]


def test_what_one_machine_has_the_others_are_not_given() -> None:
    asked = parse_scenario(scenario(LEFT), Path("left.toml"))
    machine = ring(6)
    reserve = reserve_machine(machine)
    assert set(machine.tape) <= reserve.tape
    assert machine.dug_cells <= reserve.dug
    free = without(asked, reserve)
    assert free is None or all(free.mark_at(cell) in ("=", None) for cell in machine.tape)


def test_two_loops_that_must_share_a_cell_are_proven_impossible() -> None:
    asked = parse_scenario(scenario(LEFT), Path("left.toml"))
    verdict = search_together([asked, asked], time.monotonic() + 10, 0, lambda line: None)
    assert isinstance(verdict, Apart)
    assert "must both pass" in verdict.reasons[0].text


def test_the_command_joins_two_rings(tmp_path: Path) -> None:
    files = []
    for name, rows in (("left", LEFT), ("right", RIGHT)):
        files.append(str(tmp_path / f"{name}.toml"))
        Path(files[-1]).write_text(scenario(rows, name), encoding="utf-8")
    out = tmp_path / "out"
    call = ["together", *files, "--out", str(out), "--json", "--quiet", "--budget", "200"]
    result = CliRunner().invoke(cli, call, standalone_mode=False)
    assert result.return_value == 0, result.output
    told = json.loads(result.stdout)
    assert told["verdict"] == "feasible"
    joint = read_machine(out / "machine.json")
    assert joint.loops == (12, 12)
    assert not prove_apart(joint, ALL_CASES[:1])
    for k in (1, 2):
        alone = read_machine(out / f"machine-{k}.json")
        assert not alone.loops
        assert all(case.ok for case in prove(alone, ALL_CASES))


def test_rooms_must_be_one(tmp_path: Path) -> None:
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    one.write_text(scenario(LEFT), encoding="utf-8")
    other.write_text(scenario(LEFT, size="[18, 9, 5]"), encoding="utf-8")
    with pytest.raises(InputError, match="room"):
        read_together([one, other])


def test_the_nested_rings_are_of_one_room() -> None:
    files = [NESTED / f"nested-{name}.toml" for name in ("outer", "inner")]
    outer, inner = read_together(files)
    assert outer.loop.direction != inner.loop.direction
    assert not outer.required() & inner.required()
