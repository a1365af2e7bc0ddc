"""Timing as difference constraints, held against a textbook and against simulated drives."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.geometry import add, sub
from models.machine import Case
from models.parts import Part
from models.problem import face_name
from models.rules import Rules
from solver.characterise.bench import Kit, build
from solver.characterise.measure import path_chain
from solver.characterise.testbed import CEILING, FLOOR, rectangle
from solver.design.timing import timing_of
from solver.net.catalogue import load_entries
from solver.net.floor_line import firing_times
from solver.net.systems import SYSTEMS
from solver.net.timing import InStep, OutOfStep, drives_in_step, solve_differences
from solver.simulate import Simulation

# Cormen, Leiserson, Rivest, Stein: Introduction to Algorithms, 3rd ed., 24.4, the worked example.
TEXTBOOK = [
    (2, 1, 0), (5, 1, -1), (5, 2, 1), (1, 3, 5), (1, 4, 4), (3, 4, -1), (3, 5, -3), (4, 5, -3),
]  # fmt: skip


def test_the_textbook_example_has_its_published_shortest_path_weights():
    answer = solve_differences(TEXTBOOK)
    assert isinstance(answer, InStep)
    assert [answer.times[i] for i in (1, 2, 3, 4, 5)] == [-5, -3, 0, -1, -4]


def test_clashing_constraints_are_named_by_a_negative_cycle():
    answer = solve_differences([("a", "b", 2), ("b", "c", -4), ("c", "a", 1), ("a", "d", 7)])
    assert isinstance(answer, OutOfStep)
    assert set(answer.cycle) == {"a", "b", "c"}


def test_the_allowed_skew_is_what_the_simulated_drives_leave():
    """The trade says: neighbouring drives may differ by less than three ticks (common practice)."""
    designs = {entry.design.name: entry.design for entry in load_entries()}
    room = rectangle(6, 5)
    found = {
        "deep": timing_of(designs["floor-8"], {}, FLOOR, room),
        "over": timing_of(designs["ceiling-8"], {}, CEILING, room),
        "trade": timing_of(designs["floor-worked"], {}, FLOOR, room),
    }
    for name, timing in found.items():
        assert SYSTEMS[name].skew < timing.feed - timing.part
    assert found["trade"].feed - found["trade"].part == 6, "three ticks, in half-ticks"


def test_drives_round_a_loop_keep_the_window_or_name_the_pair():
    assert isinstance(drives_in_step([0, 2, 4, 2], (-5, 5)), InStep)
    answer = drives_in_step([0, 2, 8, 2], (-5, 5))
    assert isinstance(answer, OutOfStep)
    assert {1, 2} <= set(answer.cycle) or {2, 3} <= set(answer.cycle)


def test_firing_times_count_the_boosters_on_the_way():
    loop = [(x, 0, 0) for x in range(10)] + [(x, 1, 0) for x in range(9, -1, -1)]
    boosters = {(4, 0, 0): ((1, 0, 0), 1), (4, 1, 0): ((1, 0, 0), 1)}
    times = firing_times(loop, [(-1, 0, 0)], boosters)
    assert times[0, 0, 0] == times[3, 1, 0] == 0
    assert times[9, 0, 0] == times[5, 1, 0] == 1


@pytest.mark.parametrize("press", [9, 10, 11])
def test_boosters_on_an_edge_work_as_far_as_the_window_says(press: int):
    """Up to two boosters between two drives, with the travel and against it, simulated."""
    early, late = SYSTEMS["deep"].window(Rules(press=press))
    for boosters in ((6,), (6, 9)):
        ticks = 2 * len(boosters)
        assert _edge_moves(boosters, 1, press) == (ticks <= late)
        assert _edge_moves(boosters, -1, press) == (-ticks >= early)


def _edge_moves(boosters: tuple[int, ...], way: int, press: int) -> bool:
    """Whether a chain of three edges moves on; the line below it is fed at one end."""
    system = SYSTEMS["deep"]
    kit = Kit(system.column, system.drives)
    chain = path_chain(kit, "LL", (4, 11, 5))
    cells = [add(cell, (0, 0, system.line_level)) for cell in chain.cells]
    machine = build(kit, [chain])
    parts = {part.at: part for part in machine.parts}
    for i in boosters:
        facing = face_name(sub(cells[i + way], cells[i]))
        parts[cells[i]] = Part("buffer", cells[i], facing, 1)
    simulation = Simulation(replace(machine, parts=tuple(parts.values())), Case(True, True))
    assert simulation.run_to_rest(60)
    for start in (10, 10 + 2 * press):
        simulation.pulse_wire(cells[0 if way == 1 else -1], start, 2)
    assert simulation.run_to_rest(400)
    return frozenset(simulation.tape) == chain.expected()
