"""What builders say: sentences to findings, and findings back to words."""

from __future__ import annotations

import pytest

from models.fault import InputError
from models.symptom import WHOLE, Answer, Findings, Observable
from solver.faults.seen import EVERY, read_seen, seen_words, settle, unsure_words, visit_words

A, B, C = (3, 4, -1), (3, 5, -1), (-1, 2, 7)


def answers(text: str) -> list[Answer]:
    return list(read_seen(text).answers)


def yes(sight, cell=WHOLE) -> Answer:
    return Answer(Observable(sight, cell), True)


def no(sight, cell=WHOLE) -> Answer:
    return Answer(Observable(sight, cell), False)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("(3,4,-1) did not sink", [no("sank", A)]),
        ("all sank", [yes("sank", EVERY)]),
        ("After one press they are all flush", [no("proud", EVERY)]),
        ("(3,4,-1) and (3,5,-1) proud", [yes("proud", A), yes("proud", B)]),
        ("3, 4, -1 flush", [no("proud", A), no("sunk", A), no("empty", A)]),
        ("Never  rests", [no("rests")]),
        ("It never comes to rest.", [no("rests")]),
        ("[3, 4, -1] is sunk; [-1,2,7] is empty", [yes("sunk", A), yes("empty", C)]),
        (
            "after one press cells (3,4,-1) and (3,5,-1) stand proud, (-1,2,7) is empty",
            [yes("proud", A), yes("proud", B), yes("empty", C), yes("first press")],
        ),
        ("proud: (3,4,-1), (3,5,-1)", [yes("proud", B), yes("proud", A)]),
        ("after 3 presses (3,4,-1) is proud", [yes("proud", A)]),
        (
            "after the first press (3,4,-1) is flush",
            [no("proud", A), no("sunk", A), no("empty", A)],
        ),
        ("(3,4,-1) not sunk", [no("sunk", A)]),
        ("(3,4,-1) did not move on", [yes("stayed", A)]),
        ("the ram at (3,4,-1) did not stroke", [no("stroked", A)]),
        ("(3,4,-1) out before, (3,5,-1) in", [yes("out before", A), no("out after", B)]),
        ("(3,4,-1) proud, never rests", [yes("proud", A), no("rests")]),
    ],
)
def test_what_is_meant(text, meant):
    assert answers(text) == meant


def test_who_went_and_looked():
    assert read_seen("(3,4,-1) as planned").inspected == ((A, True),)
    assert read_seen("(3,4,-1) is not as planned").inspected == ((A, False),)


def test_what_nobody_knows():
    assert read_seen("(3,4,-1) unsure sunk") == Findings(unsure=frozenset({Observable("sunk", A)}))
    assert read_seen("unsure never rests").unsure == {Observable("rests", WHOLE)}
    assert read_seen("(3,4,-1) unsure as planned").unvisited == {A}


@pytest.mark.parametrize(
    "nonsense",
    [
        "",
        "proud",
        "(1,2) proud",
        "(1,2,3)",
        "(1,2,3) blue",
        "(1,2,3) never rests",
        "(1,2,3) proud (4,5,6)",
        "unsure",
        "after one press",
        "(1,2,3) proud\x00",
        "(1,2,3) " * 10_000,
    ],
)
def test_nonsense_is_refused(nonsense):
    with pytest.raises(InputError, match="not understood"):
        read_seen(nonsense)


def test_every_answer_has_words_that_mean_it():
    sights = ("proud", "sunk", "empty", "sank", "stayed", "out before", "lit before")
    sights += ("stroked", "went on", "out after", "lit after")
    whole = [Observable("first press", WHOLE), Observable("rests", WHOLE)]
    for observable in [*(Observable(sight, A) for sight in sights), *whole]:
        for seen in (True, False):
            assert answers(seen_words(observable, seen)) == [Answer(observable, seen)]
        assert read_seen(unsure_words(observable)).unsure == {observable}
    words = visit_words(A)
    assert read_seen(words["yes"]).inspected == ((A, True),)
    assert read_seen(words["no"]).inspected == ((A, False),)
    assert read_seen(words["unsure"]).unvisited == {A}


def test_said_both_ways():
    told = read_seen("(3,4,-1) sunk") + read_seen("(3,4,-1) not sunk, (3,5,-1) proud")
    settled, notes = settle(told)
    assert list(settled.answers) == [yes("proud", B)]
    assert Observable("sunk", A) in settled.unsure
    assert len(notes) == 1


def test_said_twice_counts_once():
    told = read_seen("(3,4,-1) sunk") + read_seen("(3,4,-1) sunk")
    assert settle(told) == (read_seen("(3,4,-1) sunk"), [])
