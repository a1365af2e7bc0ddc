"""Several loops: what is proven of them, one button for all, and the commands for single machines.

Common practice of the trade, no published source; the rules are from memory.
"""

from __future__ import annotations

import json
import random
import time
from dataclasses import replace
from pathlib import Path

import pytest

from models.fault import InputError
from models.machine import ALL_CASES, Machine
from models.outcome import Feasible
from models.together import Apart, Joined
from models.trigger import Added, NotAdded
from solver.faults.diagnosis import diagnose_file
from solver.faults.margins import find_margins
from solver.faults.single import is_sound, judge, single_faults
from solver.machine_file import write_machine
from solver.pipeline import solve_scenario
from solver.plan.plan import build_plan
from solver.read_scenario import parse_scenario, read_scenario
from solver.sheets.text import write_sheets
from solver.simulate import Simulation, prove, prove_case
from solver.simulate.several import prove_alone, prove_apart
from solver.together.musts import must_have, will_have
from solver.together.one_button import with_one_button
from solver.together.search import search_together
from solver.trigger.add import add_trigger
from solver.trigger.prove import prove_hold_off
from solver.trigger.report import trigger_file
from tests.circuits import Experiment, compare
from tests.test_cli_input import ROOT
from tests.test_together import joined, ring

WIDE, HIGH = 30, 13


def quiet(line):
    """Nobody listens."""


def floor(left, top, width, height, direction="clockwise", minimise='["parts"]', size=(WIDE, HIGH)):
    """A drawn ring on a floor."""
    rows = [["."] * size[0] for _ in range(size[1])]
    for row in range(top, top + height):
        for column in range(left, left + width):
            if row in (top, top + height - 1) or column in (left, left + width - 1):
                rows[row][column] = "o"
    drawn = "\n".join("".join(row) for row in rows)
    return parse_scenario(
        f'title = "ring at {left}"\n[room]\nsize = [{size[0]}, {size[1]}, 4]\n[surfaces.floor]\n'
        f'depth = 6\nmargin = 3\nmap = """\n{drawn}\n"""\n[loop]\n'
        f'direction = "{direction}"\nshape = "exact"\nminimise = {minimise}\n',
        Path(f"at-{left}.toml"),
    )


def together(*scenarios, budget_s=300, **more):
    return search_together(scenarios, time.monotonic() + budget_s, 0, quiet, **more)


# ------------------------------------------------------------------ proofs


SHIPPED = ("first-ring", "fountain", "plus", "ceiling-rose", "gallery-wall", "window-frieze")


@pytest.mark.parametrize("name", SHIPPED)
def test_what_every_machine_must_have_is_in_the_machine_found(name):
    scenario = read_scenario(ROOT / "scenarios" / f"{name}.toml")
    found = solve_scenario(scenario, budget_s=300).found
    assert found is not None
    own = {part.at for part in found.machine.parts} | found.machine.dug_cells
    must = must_have(scenario)
    assert must.dug
    assert must.dug <= own
    assert must.tape <= set(found.machine.tape)


@pytest.fixture(scope="module")
def pair():
    """Two rings that turn against each other, as near as their drives allow."""
    scenarios = floor(4, 4, 5, 4), floor(16, 4, 6, 4, "anticlockwise")
    found = together(*scenarios)
    assert isinstance(found, Joined)
    return scenarios, found


def test_the_bound_is_the_sum_and_it_is_met(pair):
    scenarios, found = pair
    alone = [solve_scenario(s, budget_s=300).found for s in scenarios]
    assert all(isinstance(each, Feasible) and each.optimal for each in alone)
    assert found.lower_bound == {"parts": sum(each.score["parts"] for each in alone)}
    assert found.score["parts"] == found.lower_bound["parts"]
    assert found.optimal
    assert found.machine.loops == (14, 16)


def test_the_joint_machine_and_each_loop_by_itself(pair):
    _, found = pair
    assert not prove_apart(found.machine, ALL_CASES)
    for alone in found.alone:
        assert all(result.ok for result in prove(alone, ALL_CASES))
        for overhead in (True, False):
            for ground in (True, False):
                made = json.loads(write_machine(alone))
                experiment = Experiment(made, overhead=overhead, ground=ground)
                button = next(tuple(p["at"]) for p in made["parts"] if p["kind"] == "button")
                experiment.presses = [(button, 1)]
                assert compare(experiment) == ""


def test_rings_are_impossible_only_where_their_drives_meet():
    """Pushed together column by column: once impossible, always impossible.

    Both turn so that their drives stand in the same rows of the gap. Two drives of three cells
    each do not go into five columns.
    """
    verdicts = []
    for gap in (7, 5, 3, 1):
        found = together(floor(4, 4, 5, 4), floor(9 + gap, 4, 5, 4, "anticlockwise"), budget_s=60)
        verdicts.append(type(found))
        if isinstance(found, Apart):
            assert found.reasons
    assert verdicts[0] is Joined
    assert verdicts[-1] is Apart
    first = verdicts.index(Apart)
    assert all(verdict is Apart for verdict in verdicts[first:])
    assert all(verdict is not Apart for verdict in verdicts[:first])


def test_a_proof_names_the_cells_that_both_must_dig():
    """Two rings with one row of covers between: the drives of both need the ground below it."""
    upper, lower = floor(4, 3, 5, 3), floor(4, 7, 5, 3)
    both = must_have(upper).dug & must_have(lower).dug
    assert both
    assert not must_have(upper).tape & must_have(lower).tape
    found = together(upper, lower, budget_s=60)
    assert isinstance(found, Apart)
    assert {r.text for r in found.reasons} == {
        f"loops 1 and 2 must both dig {cell}" for cell in both
    }


def test_the_likely_machine_has_what_any_has():
    scenario = floor(4, 4, 6, 5)
    assert must_have(scenario).dug <= will_have(scenario).dug


def test_depth_is_no_sum():
    found = together(
        floor(4, 4, 5, 4, minimise='["depth"]'), floor(18, 4, 5, 4, minimise='["depth"]')
    )
    assert isinstance(found, Joined)
    assert found.lower_bound["depth"] <= found.score["depth"] <= 6
    assert found.optimal == (found.score["depth"] == found.lower_bound["depth"])


# ------------------------------------------------------------------ one button for all


@pytest.fixture(scope="module")
def one_button():
    scenarios = floor(4, 4, 5, 4), floor(18, 4, 5, 4, "anticlockwise")
    found = together(*scenarios, one_button=True)
    assert isinstance(found, Joined)
    return found.machine


def test_one_button_moves_all_loops(one_button):
    assert sum(part.kind == "button" for part in one_button.parts) == 1
    assert one_button.one_button
    assert all(result.ok for result in prove(one_button, ALL_CASES))
    for case in ALL_CASES:
        simulation = Simulation(one_button, case)
        simulation.run_to_rest()
        for press in (1, 2, 3):
            simulation.press()
            assert simulation.run_to_rest()
            assert not simulation.misplaced(press, press)
            assert not simulation.faults


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_the_twin_sees_the_same_of_one_button(one_button, case):
    made = json.loads(write_machine(one_button))
    button = next(tuple(p["at"]) for p in made["parts"] if p["kind"] == "button")
    experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
    experiment.presses = [(button, 1)]
    assert compare(experiment) == ""


def test_no_sensor_of_a_lead_can_be_left_out(one_button):
    leads = [part for part in one_button.parts if part.unit.startswith("lead")]
    assert len(leads) >= 3
    for part in random.Random(3).sample(leads, 3):
        less = tuple(p for p in one_button.parts if p != part)
        broken = Machine(
            "less", one_button.room, one_button.rules, one_button.tape, less, one_button.dug,
            loops=one_button.loops,
        )  # fmt: skip
        assert not prove_case(broken, ALL_CASES[0]).ok


def test_the_plan_of_one_button_says_so(one_button):
    text = " ".join(write_sheets(build_plan(one_button)).split())
    assert "One button moves all loops" in text
    at = next(part.at for part in one_button.parts if part.kind == "button")
    assert text.count(f"its button is at ({at[0]},{at[1]},{at[2]})") == 2


def test_no_ground_no_lead(pair):
    scenarios, found = pair
    rock = frozenset(
        (x, y, z) for x in range(-9, WIDE + 9) for y in range(-9, HIGH + 9) for z in range(-9, 0)
    )
    shut = [replace(scenario, taken=rock) for scenario in scenarios]
    answers = list(with_one_button(found.machine, shut))
    assert len(answers) == 2
    assert all(isinstance(answer, str) and "no way" in answer for answer in answers)


# ------------------------------------------------------------------ faults


@pytest.fixture(scope="module")
def rings():
    """Two worked rings in worlds without overhead pickup, to halve what is simulated."""
    joint = joined(ring(6), ring(24, clockwise=True))
    rules = joint.rules.model_copy(update={"overhead_pickup": False})
    return replace(joint, rules=rules)


def test_a_joint_machine_is_sound_only_if_each_button_moves_its_own_loop(rings):
    assert is_sound(rings)
    a, b = rings.loops
    swapped = replace(rings, tape=rings.tape[a:] + rings.tape[:a], loops=(b, a))
    assert not is_sound(swapped)


def test_a_button_that_is_missing_is_told(rings):
    buttons = [part for part in rings.parts if part.kind == "button"]
    for button in buttons:
        missing = (f for f in single_faults(rings) if f.planned == button and f.built is None)
        assert judge(rings, next(missing)).stage == "press"


def test_what_only_one_button_alone_shows_is_told(rings):
    """Loops named the wrong way round: pressed all at once nothing is amiss."""
    a, b = rings.loops
    swapped = replace(rings, tape=rings.tape[a:] + rings.tape[:a], loops=(b, a))
    assert prove_case(swapped, ALL_CASES[0]).ok
    assert prove_alone(swapped, ALL_CASES[0])
    assert not prove_alone(rings, ALL_CASES[0])


@pytest.mark.parametrize("loop", [0, 1])
def test_a_lift_that_is_missing_is_found_in_either_loop(rings, loop, tmp_path):
    span = rings.spans[loop]
    cell = rings.tape[span.start + 2]
    path = tmp_path / "machine.json"
    path.write_text(write_machine(rings), encoding="utf-8")
    where = ",".join(map(str, cell))
    found = diagnose_file(path, [f"({where}) did not sink"], ask=None, questions=0)
    near = {c.at for c in found.candidates[:8]}
    assert any(at[:2] == cell[:2] for at in near)
    assert not any(at in _columns(rings, rings.spans[1 - loop]) for at in near)


def _columns(machine, span):
    """The cells behind the tape of a loop of a floor."""
    return {(x, y, z - k) for x, y, z in machine.tape[span.start : span.stop] for k in range(6)}


def test_margins_of_a_joint_machine_are_those_of_its_loops(rings):
    """The loops are alike and apart: what one bears both bear."""
    joint = {m.delay.name: (m.shrink, m.grow) for m in find_margins(rings, limit=2).margins}
    one = replace(ring(6), rules=rings.rules)
    alone = {m.delay.name: (m.shrink, m.grow) for m in find_margins(one, limit=2).margins}
    assert joint["the stroke of the rams"] == alone["the stroke of the rams"]
    assert joint["the button's press"] == alone["the button's press"]


# ------------------------------------------------------------------ before one of several triggers


def test_a_hold_off_before_one_of_two_triggers(tmp_path):
    size = (44, 18)
    scenarios = floor(4, 6, 5, 4, size=size), floor(28, 6, 5, 4, size=size)
    found = together(*scenarios)
    assert isinstance(found, Joined)
    path = tmp_path / "machine.json"
    path.write_text(write_machine(found.machine), encoding="utf-8")
    with pytest.raises(InputError, match="--loop"):
        trigger_file(path, ROOT / "scenarios" / "fountain.toml", "hold-off", tmp_path / "out",
                     budget_s=60, force=False, say=quiet)  # fmt: skip
    added = add_trigger(found.machine, scenarios[1], "hold-off", 400, quiet, loop=1)
    assert isinstance(added, Added)
    assert added.machine.loops == found.machine.loops
    assert not prove_apart(added.machine, ALL_CASES[:1])
    patient = prove_hold_off(added.machine, ALL_CASES[:1], button=1)
    assert patient.ok
    assert not prove_hold_off(added.machine, ALL_CASES[:1], button=0).ok
    clock = add_trigger(found.machine, scenarios[1], "clock", 60, quiet, loop=1)
    assert isinstance(clock, NotAdded)
    assert "others" in clock.why
