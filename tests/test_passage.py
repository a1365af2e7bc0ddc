"""Mechanisms of rams alone: the fold that is known, and what outer edges allow.

The fold is the trade's (common practice, no source: two push rams at a fold). What is said of
outer edges is in no source that we know; here the simulator, which shares nothing with the
search, has the last word on every mechanism.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.geometry import FACES, step
from models.passage import Mechanism
from solver.passage import fewest_rams, mechanism, pulse_trains
from solver.passage.strokes import Strokes
from tests.outer_edges import inner_edge, moves_on, outer_edge

OVER = ((-2, 0, 0), (-1, 0, 0), (0, 0, 0), (0, 0, -1), (0, 0, -2))


def straight_over(top: int, side: int, deep: int = 5):
    """Tape straight over an edge that is covered: its last cell on top, its first on the side."""
    path = ((-top - 1, 0, 0), (-top, 0, 0), (0, 0, -side), (0, 0, -side - 1))
    enters, leaves = ((-top - 1, 0, -1), "+x"), ((-1, 0, -side - 1), "-z")
    return outer_edge(path, enters, leaves, deep)


def test_finds_a_fold_at_an_inner_edge():
    found = fewest_rams(inner_edge(3), steps=4)
    assert isinstance(found, Mechanism) and found.fewest
    # Five cells of tape with a lift each, one more at the edge line, and the fold ram.
    assert len(found.rams) <= 7
    assert moves_on(inner_edge(3), found)


def test_no_ram_ever_moves_a_block_on_the_edge():
    """Whatever the number of steps: all cells in line with it are in sight."""
    passage = outer_edge(OVER, ((-2, 0, -1), "+x"), ((-1, 0, -2), "-z"), 4)
    edge = (0, 0, 0)
    in_line = {step(edge, face, k) for face in FACES for k in range(1, 20)}
    assert not in_line & passage.hidden
    assert mechanism(passage, steps=6) == "no mechanism"


def test_a_tape_changes_surface_beneath_the_edge_with_its_lifts_alone():
    """Both rows sink into the same line, so a straight edge runs on from one to the other."""
    path = ((-1, -1, 0), (0, 0, -1), (0, 1, -1))
    passage = outer_edge(path, ((-1, -1, -1), "+y"), ((-1, 1, -1), "+y"), 4)
    found = fewest_rams(passage, steps=3)
    assert isinstance(found, Mechanism)
    assert len(found.rams) == len(path)
    assert moves_on(passage, found)


def test_three_covers_are_too_few_for_a_tape_straight_over_an_edge():
    assert mechanism(straight_over(2, 2), steps=7) == "no mechanism"


@pytest.mark.slow
def test_four_covers_are_enough():
    passage = straight_over(2, 3)
    found = mechanism(passage, steps=7, most=9)
    assert isinstance(found, Mechanism)
    assert moves_on(passage, found)


def test_a_mechanism_with_a_stroke_left_out_does_not_pass():
    """The simulator's verdict is worth something: spoilt mechanisms fail."""
    path = ((-1, -1, 0), (0, 0, -1), (0, 1, -1))
    passage = outer_edge(path, ((-1, -1, -1), "+y"), ((-1, 1, -1), "+y"), 4)
    found = mechanism(passage, steps=3, most=3)
    assert isinstance(found, Mechanism)
    for index in range(len(found.rams)):
        fewer = found.rams[:index] + found.rams[index + 1 :]
        assert not moves_on(passage, replace(found, rams=fewer))


def test_as_many_steps_as_asked():
    strokes = Strokes(straight_over(1, 1, 2), 2)
    assert len(strokes.entering) == 2


def test_pulses_alone_lead_tape_over_an_edge():
    """All rams rest in, and each pulse comes twice, as from a button that is pressed and let go."""
    passage = straight_over(3, 2)
    found = next(pulse_trains(passage, 5, 5))
    assert found.fewest
    assert not any(any(ram.extended) for ram in found.rams)
    for ram in found.rams:
        assert ram.pulses[:5] == ram.pulses[5:]
    assert moves_on(passage, found)
