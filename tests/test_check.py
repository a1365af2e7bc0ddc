"""The static check, rule by rule, on a machine of a few parts that need not run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from models.geometry import Box, Cell
from models.machine import Machine
from models.parts import Part
from models.rules import Rules
from models.surface import SURFACES
from solver.check import check_against, check_machine
from solver.read_scenario import parse_scenario
from tests.room_drawings import drawing, loop

TAPE: tuple[Cell, ...] = ((1, 1, -1), (2, 1, -1), (2, 2, -1), (1, 2, -1))
PIT = Box((0, 0, -5), (3, 3, -2))
PARTS = (
    Part("cover", (0, 0, -1)),
    Part("button", (0, 0, 0), "-z"),
    Part("block", (1, 1, -4)),
    Part("wire", (1, 1, -3)),
    Part("buffer", (2, 1, -3), "+x", 1),
    Part("insulator", (2, 1, -4)),
    Part("inverter", (1, 2, -4), "-y"),
    Part("sensor", (2, 2, -4), "+z"),
    Part("wire", (2, 2, -3)),
)
MACHINE = Machine("small", (4, 4, 3), Rules(), TAPE, PARTS, (PIT,))
MAP = "....\n.oo.\n.oo.\n@..."


def codes(machine: Machine) -> list[tuple[str, tuple[Cell, ...]]]:
    return [(fault.code, fault.cells) for fault in check_machine(machine)]


def with_part(part: Part, **others: object) -> Machine:
    kept = [p for p in PARTS if p.at != part.at]
    return replace(MACHINE, parts=(*kept, part), **others)


def test_nothing_is_wrong_with_it():
    assert check_machine(MACHINE) == []


@pytest.mark.parametrize("missing", [0, 2, 5, 7])
def test_what_stands_or_hangs_needs_a_full_block(missing):
    """The cover under the button, the blocks under wire and buffer, the sensor under a wire."""
    mount = PARTS[missing].at
    parts = PARTS[:missing] + PARTS[missing + 1 :]
    faults = check_machine(replace(MACHINE, parts=parts))
    standing = {0: [(0, 0, 0)], 2: [(1, 1, -3), (1, 2, -4)], 5: [(2, 1, -3)], 7: [(2, 2, -3)]}
    assert {f.code for f in faults} == {"no support"}
    assert {f.cells for f in faults} == {(at, mount) for at in standing[missing]}
    assert all("nothing" in f.text and f.remedy for f in faults)


@pytest.mark.parametrize("kind", ["push_ram", "grip_ram", "button", "buffer", "inverter", "wire"])
def test_not_everything_is_a_full_block(kind):
    face = {"buffer": "+x", "inverter": "-z", "wire": None}.get(kind, "-z")
    machine = with_part(Part(kind, (2, 2, -4), face, 1))
    faults = [f for f in check_machine(machine) if f.cells == ((2, 2, -3), (2, 2, -4))]
    assert [f.code for f in faults] == ["no support"]
    assert kind in faults[0].text


@pytest.mark.parametrize("kind", ["inverter", "button"])
def test_what_hangs_nowhere_needs_nothing(kind):
    """Without a face there is no mount to look at; readers refuse such a part."""
    cell = (3, 3, 0) if kind == "button" else (3, 3, -3)
    assert codes(with_part(Part(kind, cell))) == []


def test_nothing_stands_on_tape():
    machine = replace(MACHINE, room=(4, 4, 3), parts=(*PARTS, Part("wire", (1, 1, 0))))
    faults = check_machine(machine)
    assert ("no support", ((1, 1, 0), (1, 1, -1))) in [(f.code, f.cells) for f in faults]
    assert any("the tape" in f.text for f in faults)


def test_tape_of_three_or_none():
    for n in (0, 1, 3):
        assert codes(replace(MACHINE, tape=TAPE[:n])) == [("tape too short", TAPE[:n])]


def test_a_gap_in_the_tape():
    far = (*TAPE[:3], (0, 2, -1))
    assert codes(replace(MACHINE, tape=far)) == [
        ("tape gap", (far[2], far[3])),
        ("tape gap", (far[3], far[0])),
    ]
    aslant = (TAPE[0], TAPE[2], TAPE[1], TAPE[3])
    assert codes(replace(MACHINE, tape=aslant)) == [
        ("tape gap", (TAPE[0], TAPE[2])),
        ("tape gap", (TAPE[1], TAPE[3])),
    ]


def test_a_tape_that_crosses_itself():
    twice = (*TAPE, *TAPE)
    assert codes(replace(MACHINE, tape=twice)) == [("tape crosses itself", ())]


def test_a_button_out_of_the_room():
    button = Part("button", (0, 0, -2), "+z")
    parts = (*(p for p in PARTS if p.kind != "button"), button)
    assert codes(replace(MACHINE, parts=parts)) == [("button out of reach", ((0, 0, -2),))]


def test_parts_and_tape_in_the_room():
    assert codes(with_part(Part("block", (1, 1, 0)))) == [("part in the room", ((1, 1, 0),))]
    lifted = tuple((x, y, 0) for x, y, _ in TAPE)
    assert codes(replace(MACHINE, tape=lifted)) == [("tape in the room", (c,)) for c in lifted]


def test_what_is_not_dug():
    assert codes(replace(MACHINE, dug=(Box((0, 0, -5), (3, 3, -4)),))) == [
        ("not dug", (part.at,)) for part in PARTS if part.at[2] == -3
    ]
    assert codes(with_part(Part("cover", (9, 9, -9)))) == []


# --- against a scenario


def scenario(marks: str = MAP, loop: str = "", depth: int = 4, walls: str = ""):
    return parse_scenario(
        f'[room]\nsize = [4, 4, 3]\n[surfaces.floor]\ndepth = {depth}\nmap = """\n{marks}\n"""\n'
        f'{walls}[loop]\ndirection = "anticlockwise"\nshape = "free"\n{loop}\n',
        Path("room.toml"),
    )


def against(asked, machine: Machine = MACHINE) -> list[tuple[str, tuple[Cell, ...]]]:
    return [(fault.code, fault.cells) for fault in check_against(machine, asked)]


def test_it_is_what_is_asked_for():
    assert against(scenario()) == []
    assert against(scenario(loop="length = { min = 4, max = 4 }")) == []


def test_cells_that_must_be_passed():
    assert against(scenario("o...\n.oo.\n.oo.\n@..o")) == [
        ("cell missed", ((0, 3, -1),)),
        ("cell missed", ((3, 0, -1),)),
    ]


@pytest.mark.parametrize("mark", "#=")
def test_cells_that_carry_no_tape(mark):
    found = against(scenario(f"....\n.o{mark}.\n.oo.\n@..."))
    assert ("forbidden cell", ((2, 2, -1),)) in found
    assert [code for code, _ in found if code != "digging"] == ["forbidden cell"]


def test_no_tape_where_the_button_stands_or_beyond_the_surface():
    assert ("forbidden cell", ((2, 2, -1),)) in against(scenario("....\n.o@.\n.oo.\n...."))
    beyond = replace(MACHINE, tape=tuple((x + 2, y, z) for x, y, z in TAPE), dug=())
    found = against(scenario("....\n....\n....\n...."), beyond)
    assert found == [("forbidden cell", ((4, 1, -1),)), ("forbidden cell", ((4, 2, -1),))]


def test_the_exact_shape():
    exact = scenario().loop
    asked = replace(scenario(), loop=replace(exact, shape="exact"))
    assert against(asked) == []
    looser = scenario("....\n.o..\n.oo.\n@...")
    asked = replace(looser, loop=replace(exact, shape="exact"))
    assert against(asked) == [("not the exact shape", ())]


@pytest.mark.parametrize(
    ("loop", "right"),
    [
        ("length = { min = 4 }", True),
        ("length = { min = 5 }", False),
        ("length = { max = 4 }", True),
        ("", True),
    ],
)
def test_lengths(loop, right):
    assert against(scenario(loop=loop)) == ([] if right else [("length", ())])


def test_a_tape_longer_than_asked_for():
    asked = scenario("....\n....\n....\n@...", "length = { max = 4 }")
    longer = ((1, 1, -1), (2, 1, -1), (3, 1, -1), (3, 2, -1), (2, 2, -1), (1, 2, -1))
    assert against(asked, replace(MACHINE, tape=longer)) == [("length", ())]
    assert against(scenario("....\n....\n....\n@..."), replace(MACHINE, tape=TAPE[:3])) == [
        ("length", ())
    ]


def test_what_may_not_be_dug():
    deep = {("digging", ((x, y, -5),)) for x in range(4) for y in range(4)}
    found = against(scenario(depth=3))
    assert set(found) == deep
    assert len(found) == 16
    wide = replace(MACHINE, dug=(Box((-1, 0, -2), (0, 0, -2)), Box((3, 3, -2), (3, 5, -2))))
    assert against(scenario(), wide) == [
        ("digging", ((-1, 0, -2),)),
        ("digging", ((3, 4, -2),)),
        ("digging", ((3, 5, -2),)),
    ]


NORTH = '[surfaces.north]\ndepth = 4\nmap = """\n....\n....\n....\n"""\n'


def around_the_edge(*cells: Cell) -> list[tuple[str, tuple[Cell, ...]]]:
    """What is said of a tape over floor and north wall."""
    asked = scenario("....\n....\n....\n@...", 'around = ["floor", 2, 3]', walls=NORTH)
    return against(asked, replace(MACHINE, tape=cells, dug=()))


ROUND_THE_EDGE: tuple[Cell, ...] = (
    (1, 2, -1), (2, 2, -1), (3, 2, -1), (3, 3, -1), (3, 4, -1),
    (3, 4, 0), (2, 4, 0), (1, 4, 0), (1, 4, -1), (1, 3, -1),
)  # fmt: skip
"""Anticlockwise over floor and north wall, round the floor's cell 2, 3."""


def test_a_tape_may_pass_from_one_surface_to_another():
    """Through the hidden cells of the edge line, and only round the corner."""
    assert around_the_edge(*ROUND_THE_EDGE) == []
    along = ((1, 3, -1), (1, 4, -1), (2, 4, -1), (2, 3, -1))
    assert around_the_edge(*along) == [
        ("forbidden cell", ((1, 4, -1),)),
        ("forbidden cell", ((2, 4, -1),)),
    ]
    through = ((1, 3, -1), (1, 4, -1), (1, 5, -1), (2, 5, -1), (2, 4, -1), (2, 3, -1))
    assert {cells for _, cells in around_the_edge(*through)} == {(c,) for c in through[1:5]}


def test_the_cell_to_run_around_is_inside_and_a_rim_is_not():
    """Around it the other way, beside it, and beside it the other way: then all is inside."""
    assert around_the_edge(*ROUND_THE_EDGE[::-1]) == [("not around", ((2, 3, -1),))]
    beside: tuple[Cell, ...] = ((0, 1, -1), (1, 1, -1), (1, 2, -1), (0, 2, -1))
    assert around_the_edge(*beside) == [("not around", ((2, 3, -1),))]
    assert around_the_edge(*beside[::-1]) == [("not around", ())]


def test_the_side_of_a_loop_on_one_floor():
    """All but the inside is outside, drawn or free."""
    assert against(scenario(), replace(MACHINE, tape=TAPE[::-1])) == [("not around", ())]


@pytest.mark.parametrize(("names", "rims"), [(SURFACES, 0), (SURFACES[2:], 2), (SURFACES[1:], 1)])
def test_a_belt_round_four_walls(names, rims):
    """In a closed box and in a shaft either side will do; without a floor only what is above."""
    size = (4, 4, 4)
    belt = loop([(-1, 4, 2), (4, 4, 2), (4, -1, 2), (-1, -1, 2)])
    for around, fine in (('["north", 1, 0]', rims != 1), ('["north", 1, 3]', True)):
        found = set()
        for direction in ("clockwise", "anticlockwise"):
            asked = drawing(size, belt, names, around=around, direction=direction)
            found.add(tuple(against(asked, replace(MACHINE, room=size, tape=tuple(belt), dug=()))))
        assert (() in found) is fine
        assert len(found) == 2
