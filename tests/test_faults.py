"""Single faults of a small machine: all classified, and found again from what they look like."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from models.fault import InputError
from models.geometry import step
from models.machine import ALL_CASES
from models.parts import Part
from models.single_fault import MISTAKES, SingleFault
from models.symptom import Answer, Findings, Observable
from solver.cli import cli
from solver.faults.diagnose import Finder, touched
from solver.faults.diagnosis import diagnose_file
from solver.faults.single import as_built, fallen, fault_table, is_sound, judge, single_faults
from solver.faults.symptoms import Watcher, build_dictionary, outward
from solver.faults.unchanged import Bystanders
from solver.faults.words import describe
from solver.machine_file import parse_machine, write_machine
from tests.campaign_finder import measure
from tests.oracles.naive_simulator import run_presses
from tests.oracles.ring_builder import build_ring, rectangle

RING = parse_machine(build_ring(rectangle(3, 3)), "ring")
FAULTS = [f for f in single_faults(RING) if f.planned is None or f.planned.kind != "cover"]
SHARE = FAULTS[::12]
"""An even share of all; the whole ring is a campaign."""


def part_of(kind: str, unit_end: int = 0) -> Part:
    return [p for p in RING.parts if p.kind == kind][unit_end]


def test_the_plan_itself_is_sound():
    assert is_sound(RING)


def test_every_mistake_occurs_and_differs_from_the_plan():
    every = list(single_faults(RING))
    assert {f.mistake for f in every} == set(MISTAKES)
    assert len(set(every)) == len(every)
    for fault in every:
        built = as_built(RING, fault)
        assert set(built.parts) != set(RING.parts)
        assert len({p.at for p in built.parts} | set(RING.tape)) == len(built.parts) + 8


def test_all_are_told_or_proven_harmless_and_the_naive_twin_agrees():
    table = fault_table(RING, only=SHARE)
    assert len(table.judged) == len(SHARE)
    for judged in table.judged[::8]:
        entry = json.loads(write_machine(as_built(RING, judged.fault)))
        if judged.stage == "harmless":
            for case in ALL_CASES:
                assert run_presses(entry, 2, overhead=case.overhead, ground=case.ground).ok
        elif judged.case:
            case, presses = judged.case, max(judged.press, 1)
            assert not run_presses(
                entry, presses, overhead=case.overhead, ground=case.ground, limit_half_ticks=600
            ).ok


def test_what_is_called_a_bystander_makes_no_difference():
    """Left unsimulated by `Bystanders`; here each is simulated after all, in each world."""
    bystanders, watcher = Bystanders(RING), Watcher(RING)
    as_planned = {case: watcher.watch(RING, case) for case in ALL_CASES}
    left_out = 0
    for fault in list(single_faults(RING))[::3]:
        built = as_built(RING, fault)
        for case in set(ALL_CASES) - set(bystanders.worlds(fault, built)):
            left_out += 1
            assert fallen(built, case).parts == built.parts
            assert watcher.watch(built, case) == as_planned[case]
    assert left_out > 200


def test_a_block_matters_in_the_worlds_where_the_ground_would_not_do_as_well():
    """A cover under nothing: with ground behind it may go, without it too. A wire's block not."""
    bystanders = Bystanders(RING)
    wire = part_of("wire")
    block = next(p for p in RING.parts if p.at == step(wire.at, "-z"))
    fault = SingleFault("missing", block, None)
    assert bystanders.worlds(fault, as_built(RING, fault)) == list(ALL_CASES)
    cover = next(p for p in RING.parts if p.at[:2] == (0, 0) and p.kind == "cover")
    fault = SingleFault("wrong kind", cover, Part("insulator", cover.at))
    assert bystanders.worlds(fault, as_built(RING, fault)) == []


@pytest.mark.parametrize("kind", ["grip_ram", "push_ram", "inverter", "sensor", "buffer", "wire"])
def test_a_missing_part_is_told(kind):
    judged = judge(RING, SingleFault("missing", part_of(kind), None))
    assert judged.stage != "harmless"


def test_a_cover_far_away_may_be_missing():
    cover = next(p for p in RING.parts if p.kind == "cover" and p.at[:2] == (0, 0))
    assert judge(RING, SingleFault("missing", cover, None)).stage == "harmless"


def test_what_stands_on_nothing_falls():
    wire = part_of("wire")
    block = next(p for p in RING.parts if p.at == step(wire.at, "-z"))
    built = as_built(RING, SingleFault("missing", block, None))
    assert wire in built.parts
    assert wire not in fallen(built, ALL_CASES[0]).parts
    assert len(fallen(RING, ALL_CASES[0]).parts) == len(RING.parts)


# --- the fault finder


@pytest.fixture(scope="module")
def dictionary():
    return build_dictionary(RING, every=FAULTS[::6])


def test_at_least_95_percent_are_among_the_first_three(dictionary):
    put = [(dictionary.faults[e.fault], e.seen) for e in dictionary.entries[::3]]
    found = measure(RING, dictionary, put)
    assert found["put"] > 25
    assert found["place in three"] >= 0.95 * found["put"]


def test_a_sunk_lift_is_seen_as_sunk():
    """A lift whose block stays down after the press: it never got its second pulse."""
    tape = RING.tape[1]
    lift = next(p for p in RING.parts if p.at == step(tape, "-z", 2))
    watcher = Watcher(RING)
    built = as_built(RING, SingleFault("wrong kind", lift, Part("block", lift.at)))
    seen, wrong = watcher.watch(built, ALL_CASES[0])
    sights = {o for i, o in enumerate(watcher.observables) if seen >> i & 1}
    assert wrong
    assert Observable("stroked", lift.at) not in sights
    assert outward(RING, tape) == "+z"


def test_the_plan_looks_healthy():
    watcher = Watcher(RING)
    assert watcher.looks_healthy(watcher.healthy)
    for case in ALL_CASES:
        assert watcher.watch(RING, case) == (watcher.healthy, False)


def test_a_wrong_answer_does_not_rule_the_truth_out(dictionary):
    finder = Finder(dictionary)
    entry = max(dictionary.entries, key=lambda e: (e.seen ^ dictionary.healthy).bit_count())
    place = dictionary.faults[entry.fault].at
    answers = [Answer(o, bool(entry.seen >> i & 1)) for i, o in enumerate(dictionary.observables)]
    answers[5] = Answer(answers[5].observable, not answers[5].seen)
    assert place in [c.at for c in finder.rank(Findings(tuple(answers)))[:3]]


def test_a_look_at_the_place_settles_it(dictionary):
    finder = Finder(dictionary)
    first, second = finder.rank(Findings())[:2]
    assert finder.rank(Findings(inspected=((first.at, False),)))[0].at == first.at
    assert finder.rank(Findings(inspected=((first.at, True),)))[0].at == second.at


def test_a_part_put_elsewhere_is_found_in_either_cell(dictionary):
    finder = Finder(dictionary)
    fault = next(f for f in dictionary.faults if f.mistake == "shifted")
    assert touched(fault) == {fault.planned.at, fault.built.at}
    elsewhere = Findings(inspected=((fault.built.at, False),))
    everyone = {c.at: c.share for c in finder.rank(Findings())}
    assert {c.at: c.share for c in finder.rank(elsewhere)}[fault.at] > everyone[fault.at]


def test_who_watched_the_press_saw_every_other_cell_open(dictionary):
    finder = Finder(dictionary)
    told = [Answer(Observable("sank", RING.tape[2]), False)]
    watched = finder.tape_answers(told, watched=True)
    assert {a.observable.at: a.seen for a in watched if a.observable.sight == "sank"} == {
        cell: cell != RING.tape[2] for cell in RING.tape
    }
    assert [a for a in finder.tape_answers(told, False) if a.observable.sight == "sank"] == told


def test_the_last_question_is_chosen_by_the_places_named(dictionary):
    """Whatever is answered, no other question leaves more of the likelihood in three places."""
    finder = Finder(dictionary)
    start = Findings(finder.tape_answers([], watched=False))

    def named_after(question):
        kept = 0.0
        weights = finder._weights(start)
        for seen in (True, False):
            answer = Answer(question.observable, seen)
            share = sum(
                weight
                for entry, weight in weights.items()
                if bool(entry.seen >> dictionary.observables.index(question.observable) & 1) == seen
            )
            first = finder.rank(Findings((*start.answers, answer)))[:3]
            kept += share * sum(candidate.share for candidate in first)
        return kept

    last, early = finder.next_question(start, 1), finder.next_question(start, 6)
    assert last.observable and early.observable
    assert named_after(last) >= 0.98 * named_after(early)


def test_every_fault_has_words():
    for fault in FAULTS:
        assert describe(fault)


# --- files and the command line


@pytest.fixture
def file(tmp_path, monkeypatch, dictionary):
    path = tmp_path / "machine.json"
    path.write_text(write_machine(RING))
    monkeypatch.setattr("solver.faults.kept.build_dictionary", lambda plan, say: dictionary)
    return path


def test_symptoms_are_kept_only_when_asked(file, monkeypatch):
    first = diagnose_file(file, ["never rests"], ask=None, questions=0)
    assert [p.name for p in file.parent.iterdir()] == ["machine.json"]
    diagnose_file(file, [], ask=None, questions=0, keep=True)
    beside = file.with_suffix(".symptoms.json")
    assert beside.exists()
    monkeypatch.setattr("solver.faults.kept.build_dictionary", None)
    again = diagnose_file(file, ["never rests"], ask=None, questions=0)
    assert again.candidates == first.candidates
    beside.write_text(beside.read_text().replace('"version": 2', '"version": 1'))
    with pytest.raises(TypeError):
        diagnose_file(file, [], ask=None, questions=0)


def test_questions_and_answers(file):
    result = CliRunner().invoke(
        cli,
        ["diagnose", str(file), "--ask", "--questions", "4", "--json"],
        input="y\nmaybe\nn\n?\n\n",
    )
    assert result.exception is None
    told = json.loads(result.stdout)
    assert told["asked"] == 3
    assert told["candidates"][0]["faults"][0]["words"]
    assert told["next"]["question"].endswith("?")


@pytest.mark.parametrize("replies", [("yes", "no"), ("unsure", "unsure"), ("no", "unsure")])
def test_a_question_is_answered_in_the_next_call_as_well_as_in_this_one(file, replies):
    """Who has no terminal gives the words that the JSON names for each answer."""
    left = list(replies)
    at_once = diagnose_file(
        file, ["never rests"], ask=lambda _: left.pop(0) if left else "stop", questions=6
    )
    given: list[str] = []
    for reply in replies:
        call = ["diagnose", str(file), "--no-ask", "--json", "--seen", "never rests"]
        told = CliRunner().invoke(cli, [*call, *(f"--answer={words}" for words in given)])
        asked = json.loads(told.stdout)
        assert asked["asked"] == len(given)
        given.append(asked["next"]["answers"][reply])
    by_calls = diagnose_file(file, ["never rests"], ask=None, questions=6, answers=given)
    assert by_calls.candidates == at_once.candidates
    assert by_calls.question == at_once.question


def test_what_is_not_known_is_not_asked_again(file):
    asked: list[str] = []

    def never_sure(question: str):
        asked.append(question)
        return "unsure"

    start = diagnose_file(file, [], ask=None, questions=6)
    told = diagnose_file(file, [], ask=never_sure, questions=8)
    assert len(set(asked)) == 8
    assert [c.share for c in told.candidates] == [c.share for c in start.candidates]


def test_what_is_said_both_ways_counts_for_nothing_and_is_told(file):
    cell = ",".join(map(str, RING.tape[2]))
    both = [f"({cell}) sank", f"({cell}) did not sink"]
    told = diagnose_file(file, both, ask=None, questions=6, partly=True)
    assert "neither counts" in told.summary()[0]
    plain = diagnose_file(file, [], ask=None, questions=6, partly=True)
    assert [c.share for c in told.candidates] == [c.share for c in plain.candidates]


def test_a_cell_that_is_said_to_be_two_things_is_told_and_what_does_not_fit_is_named(file):
    cell = ",".join(map(str, RING.tape[2]))
    told = diagnose_file(file, [f"({cell}) proud, ({cell}) sunk"], ask=None, questions=6)
    assert "cannot be proud and sunk at once" in told.notes[0]
    assert all(c.unexplained for c in told.candidates[:3])
    assert any("this would not be so" in line for line in told.summary())


def test_a_hole_counts_whether_it_is_called_sunk_or_empty(dictionary):
    """Who stands in the room sees a hole; whether a block lies in it he may not."""
    finder = Finder(dictionary)

    def share_of(entry, answers):
        place = dictionary.faults[entry.fault].at
        return {c.at: c.share for c in finder.rank(Findings(tuple(answers)))}[place]

    number = {o: i for i, o in enumerate(dictionary.observables)}
    entry, cell = next(
        (e, c)
        for e in dictionary.entries
        for c in RING.tape
        if e.seen >> number[Observable("sunk", c)] & 1
    )
    holes = {Observable("sunk", cell), Observable("empty", cell)}
    right = [
        Answer(o, bool(entry.seen >> i & 1))
        for o, i in number.items()
        if o.sight in ("sunk", "proud", "empty")
    ]
    mixed = [Answer(a.observable, a.seen != (a.observable in holes)) for a in right]
    flush = [Answer(a.observable, a.seen and a.observable not in holes) for a in right]
    assert share_of(entry, right) > share_of(entry, mixed) > share_of(entry, flush)


def test_all_sank_speaks_of_every_cell(file):
    assert (
        diagnose_file(file, ["all sank"], ask=None, questions=0).candidates
        != diagnose_file(file, [], ask=None, questions=0).candidates
    )


def test_all_flush_speaks_of_every_cell(file):
    cell = f"({','.join(map(str, RING.tape[0]))})"
    for partly in (False, True):
        told = diagnose_file(file, ["all flush"], ask=None, questions=0, partly=partly)
        one = diagnose_file(file, [f"{cell} flush"], ask=None, questions=0)
        assert told.candidates == one.candidates
        assert told.question == one.question


def test_unknown_things_are_refused(file):
    with pytest.raises(InputError, match="no such thing"):
        diagnose_file(file, ["(0,0,0) proud"], ask=None, questions=0)


def test_a_machine_that_does_not_work_is_refused(file):
    broken = as_built(RING, SingleFault("missing", part_of("grip_ram"), None))
    file.write_text(write_machine(broken))
    with pytest.raises(InputError, match="does not work as it is"):
        diagnose_file(file, [], ask=None, questions=0)
