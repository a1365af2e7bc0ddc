"""Folds between a floor and a wall, both ways, and how long an edge may be between which ends.

The trade's rule of thumb is 13 cells (common practice, no published source); the numbers here are
derived from the push limit and hold exactly.
"""

from __future__ import annotations

import pytest

from solver.net.folds import LONGEST
from tests.fold_bed import belt, belt_runs, loop, runs


def ring(across: int, floor: int, wall: int) -> tuple[list[tuple[int, int, int]], int]:
    """Four drives and two folds; `floor` and `wall` count the cells of the edges at a fold."""
    north = 3 + floor - 1
    top = wall - 2
    points = [(6 + across - 1, 3), (6, 3)], [(6, top), (6 + across - 1, top)]
    return loop(*points, north), north


@pytest.mark.parametrize(("across", "floor", "wall"), [(6, 8, 7), (7, 7, 6), (5, 12, 12)])
@pytest.mark.parametrize("backwards", [False, True])
def test_a_ring_over_floor_and_wall(across: int, floor: int, wall: int, backwards: bool) -> None:
    """Up the one fold, down the other; all cases, both orders."""
    tape, north = ring(across, floor, wall)
    if backwards:
        tape = [tape[0], *reversed(tape[1:])]
    assert runs(tape, north)


@pytest.mark.parametrize(("floor", "wall"), [(13, 7), (8, 13)])
def test_an_edge_into_a_fold_is_no_longer_than_twelve(floor: int, wall: int) -> None:
    """One edge of each pair runs from a drive into a fold."""
    assert LONGEST["drive", "fold"] == 12
    tape, north = ring(6, floor, wall)
    assert not runs(tape, north)


@pytest.mark.parametrize(("cells", "fine"), [(14, True), (15, False)])
def test_an_edge_out_of_a_fold_may_have_fourteen(cells: int, fine: bool) -> None:
    """Up the wall to a drive; down again in two steps, the last short enough."""
    assert LONGEST["fold", "drive"] == 14
    north, top = 12, cells - 2
    floor = [(18, 4), (6, 4)]
    wall = [(6, top), (12, top), (12, 6), (18, 6)]
    assert runs(loop(floor, wall, north), north) is fine


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(
    ("width", "length", "fine"), [(3, 7, True), (11, 11, True), (12, 5, False)]
)
def test_a_belt_round_four_walls(width: int, length: int, fine: bool, backwards: bool) -> None:
    """Only folds; from fold to fold there may be 13 cells, both edge-line cells counted."""
    assert LONGEST["fold", "fold"] == 13
    tape = belt(width, length, 3)
    if backwards:
        tape = [tape[0], *reversed(tape[1:])]
    assert belt_runs(tape, (width, length, 8)) is fine
