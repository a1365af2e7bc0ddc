"""One press forth, one back: what one drive cannot do, two mirrored drives a corner can.

First with rams alone, fired by a script: neither set is in the other's way, on a ring of any size.
Then a whole machine, of parts only, with a button for each way.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path
from random import Random

import pytest

from models.counter import Countered, NoCounter
from models.geometry import OPPOSITE, Box, Cell, Frame, step
from models.machine import ALL_CASES, Case, Machine
from models.parts import RAMS, Part
from models.rules import Rules
from solver.characterise.testbed import corner_frames, polygon, rectangle
from solver.check import check_machine
from solver.counter.alternate import parts
from solver.counter.counter import counter_machine
from solver.counter.prove import prove_two_ways
from solver.machine_file import read_machine, write_machine
from solver.net.catalogue import load_designs
from solver.net.lift_lines import deep_line
from solver.net.worked import FLAT_DRIVE, FLOOR_DRIVE
from solver.read_scenario import parse_scenario, read_scenario
from solver.simulate import Simulation, prove
from tests.circuits import Experiment, compare
from tests.test_cli_input import ROOT, refused, ringwright

UP: Cell = (0, 0, 1)
PRESS = 80
"""Half-ticks from press to press."""
LINE_ON = 20
PART, SHIFT, FEED = (10, 18), (13, 17), (10, 16)
"""Half-ticks from, to: the part ram is off, the shift ram is on, the feed ram is off."""


def test_no_drive_has_a_ram_that_moves_a_block_back_along_its_edge():
    """Tape comes along +x: to run backwards, the block on the corner would have to go along -x."""
    drives = [d for d in (*load_designs(), FLOOR_DRIVE, FLAT_DRIVE) if d.role == "drive"]
    assert len(drives) >= 5
    for drive in drives:
        rams = [part for part in drive.parts if part.kind in RAMS]
        moves = {part.face for part in rams}
        moves |= {OPPOSITE[part.face] for part in rams if part.kind == "grip_ram"}
        assert moves == {"+x", "+y", "-y"}, drive.name


class Rams:
    """The rams of a drive at every corner, each with a wire that a script feeds."""

    def __init__(self, frames: list[Frame]) -> None:
        self.parts: list[Part] = []
        self.part, self.shift, self.feed = [], [], []
        for frame in frames:
            self._drive(frame)

    def _put(self, frame: Frame, kind: str, at: Cell, face: str | None = None) -> Cell:
        cell = frame.cell(at)
        self.parts.append(Part(kind, cell, frame.face(face) if face else None))
        return cell

    def _pointing(self, frame: Frame, at: Cell, back: Cell) -> Cell:
        """A wire that points along one axis only, on an insulator; a second one behind it."""
        for x, y, z in (at, back):
            self._put(frame, "insulator", (x, y, z - 1))
            fed = self._put(frame, "wire", (x, y, z))
        return fed

    def _drive(self, frame: Frame) -> None:
        self._put(frame, "grip_ram", (-1, -2, -1), "+y")
        self._put(frame, "push_ram", (0, -2, -1), "+y")
        self._put(frame, "push_ram", (-2, -1, -1), "+x")
        self.shift.append(self._pointing(frame, (-3, -1, -1), (-4, -1, -1)))
        self.feed.append(self._pointing(frame, (0, -3, -1), (0, -4, -1)))
        # The part ram is powered from below; the block behind it keeps the wires apart.
        for at in ((-1, -2, -2), (-1, -3, -3), (-1, -3, -1)):
            self._put(frame, "block", at)
        self.part.append(self._put(frame, "wire", (-1, -3, -2)))

    def idle(self, simulation: Simulation) -> None:
        """The part and feed rams rest extended."""
        for wire in (*self.part, *self.feed):
            simulation.pulse_wire(wire, 1, PRESS + 1)

    def cycle(self, simulation: Simulation) -> None:
        """Part, shift, feed."""
        for wires, (off, on) in ((self.part, PART), (self.feed, FEED)):
            for wire in wires:
                simulation.pulse_wire(wire, 1, off)
                simulation.pulse_wire(wire, 1 + on, PRESS - on + 1)
        for wire in self.shift:
            simulation.pulse_wire(wire, 1 + SHIFT[0], SHIFT[1] - SHIFT[0])


def bed(width: int, length: int) -> tuple[Machine, Rams, Rams, list[Cell]]:
    """A ring with lifts and two sets of rams: (machine, forth, back, where to feed the line)."""
    tape = [(x + 8, y + 8, -1) for x, y in rectangle(width, length)]
    line = deep_line(tape, UP, -1)
    forth = Rams(corner_frames(tape, UP))
    back = Rams(corner_frames(tape[::-1], UP))
    room = (width + 16, length + 16, 4)
    covers = [
        Part("cover", (x, y, -1))
        for x in range(room[0])
        for y in range(room[1])
        if (x, y, -1) not in set(tape)
    ]
    parts = (*line.parts.values(), *forth.parts, *back.parts, *covers)
    assert len({part.at for part in parts}) == len(parts)
    dug = (Box((-4, -4, -8), (room[0] + 4, room[1] + 4, -2)),)
    machine = Machine("there and back", room, Rules(reach=64), tuple(tape), parts, dug)
    return machine, forth, back, line.entries


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_two_mirrored_drives_a_corner_run_both_ways(case):
    machine, forth, back, entries = bed(13, 10)
    simulation = Simulation(machine, case)
    for rams in (forth, back):
        rams.idle(simulation)
    for _ in range(PRESS):
        simulation.step()
    count = 0
    for way in (1, 1, -1, 1, -1, -1, -1):
        active, resting = (forth, back) if way > 0 else (back, forth)
        active.cycle(simulation)
        resting.idle(simulation)
        for wire in entries:
            simulation.pulse_wire(wire, 1, LINE_ON)
        for _ in range(PRESS):
            simulation.step()
        count += way
        assert not simulation.faults
        assert not simulation.misplaced(count)


def test_the_mirrored_drive_is_what_runs_it_back():
    """Without firing it nothing moves on; so the test above does not pass for another reason."""
    machine, forth, back, entries = bed(10, 10)
    simulation = Simulation(machine, ALL_CASES[0])
    for rams in (forth, back):
        rams.idle(simulation)
    for wire in entries:
        simulation.pulse_wire(wire, 1, LINE_ON)
    for _ in range(PRESS):
        simulation.step()
    assert not simulation.misplaced(0)


# ------------------------------------------------------------------ machines with two buttons

FORTH, BACK = 0, 1
SCENARIO = ROOT / "scenarios" / "counter" / "promenade.toml"
SIZES = [(6, 6), (13, 9), (7, 10)]
"""The shortest edges, odd and even ones, and lines longer than one feed reaches."""
L_SHAPE = [(9, 9), (21, 9), (21, 16), (15, 16), (15, 21), (9, 21)]
"""Corners of a loop with a corner that turns the other way."""


def hall(width: int, length: int, depth: int = 12, surface: str = "floor", press: int = 10) -> str:
    """A drawn rectangle with ground all round."""
    a, b, c, d = 9, width + 8, 9, length + 8
    return court([(a, c), (b, c), (b, d), (a, d)], depth, surface, press)


def court(
    corners: Sequence[tuple[int, int]], depth: int = 12, surface: str = "floor", press: int = 10
) -> str:
    """A drawn loop with ground all round."""
    width, length = (max(corner[i] for corner in corners) + 10 for i in (0, 1))
    drawn = set(polygon(corners))
    rows = [
        "".join("o" if (x, y) in drawn else "." for x in range(width)) for y in range(length)[::-1]
    ]
    plan = "\n".join(rows)
    size = [width, 4, length] if surface == "north" else [width, length, 4]
    return (
        f'title = "Hall"\n[room]\nsize = {size}\n'
        f'[surfaces.{surface}]\ndepth = {depth}\nmargin = 2\nmap = """\n{plan}\n"""\n'
        '[loop]\ndirection = "clockwise"\nshape = "exact"\nminimise = ["parts"]\n'
        f"[rules]\npress = {press}\n"
    )


def designed(
    text: str, budget_s: float = 120, seed: int = 0, *, one_button: bool = False
) -> Countered | NoCounter:
    scenario, until = parse_scenario(text, Path("hall.toml")), time.monotonic() + budget_s
    return counter_machine(scenario, until, seed, lambda line: None, one_button=one_button)


@pytest.fixture(scope="module")
def built() -> Countered:
    found = designed(hall(9, 7))
    assert isinstance(found, Countered)
    return found


def runs(machine: Machine, case: Case, presses: Sequence[int]) -> None:
    """Every press ends in the state in which it began: so what holds for one holds for any train
    of presses, each left to come to rest.
    """
    simulation = Simulation(machine, case)
    assert simulation.run_to_rest(200)
    idle, count = simulation.state(), 0
    for button in presses:
        simulation.press(button=button)
        assert simulation.run_to_rest()
        count += 1 if button == FORTH else -1
        assert not simulation.faults
        assert not simulation.misplaced(count)
        assert simulation.state() == idle


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        *((hall(*size), 2 * sum(size) - 4) for size in SIZES),
        (hall(8, 7, 8, "ceiling"), 26),
        (court(L_SHAPE), 48),
        (court(L_SHAPE, 9, "ceiling"), 48),
        (hall(7, 7, press=8), 24),
        (hall(7, 7, press=15), 24),
    ],
    ids=["6x6", "13x9", "7x10", "ceiling", "L", "L-ceiling", "press-8", "press-15"],
)
def test_each_button_moves_the_tape_its_own_way(text, cells):
    found = designed(text, seed=3)
    assert isinstance(found, Countered)
    assert len(found.forth.tape) == cells
    for case in ALL_CASES:
        runs(found.forth, case, (FORTH, BACK, BACK, FORTH, FORTH, FORTH, BACK, BACK, BACK))
        # Seen from the other side the buttons change places.
        runs(found.back, case, (FORTH, BACK, BACK))


def test_it_keeps_to_the_static_rules_and_has_two_buttons(built):
    for machine in (built.forth, built.back):
        assert not check_machine(machine)
        assert [part.kind for part in machine.parts].count("button") == 2
        assert not machine.loops
        assert all(result.ok for result in prove(machine, ALL_CASES))
    assert built.forth.tape == built.back.tape[::-1]
    assert set(built.forth.parts) == set(built.back.parts)


@pytest.mark.parametrize(("case", "button"), list(product(ALL_CASES, (FORTH, BACK))), ids=str)
def test_the_twin_sees_the_same_either_way(built, case, button):
    made = json.loads(write_machine(built.forth))
    at = [tuple(part["at"]) for part in made["parts"] if part["kind"] == "button"][button]
    experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
    experiment.presses = [(at, 1)]
    assert compare(experiment) == ""


def test_no_drive_of_it_can_be_left_out(built):
    """Without the rams of one corner that way fails, and only that way."""
    for way, other in (("forth", BACK), ("back", FORTH)):
        corner = f"drive {way} 1"
        kept = tuple(p for p in built.forth.parts if p.unit != corner or p.kind not in RAMS)
        less = replace(built.forth, parts=kept)
        assert not prove_two_ways(less).ok
        for button, right in ((other, True), (FORTH + BACK - other, False)):
            simulation = Simulation(less, ALL_CASES[0])
            simulation.run_to_rest(200)
            simulation.press(button=button)
            rested = simulation.run_to_rest()
            good = rested and not simulation.misplaced(1 if button == FORTH else -1)
            assert good == right


def test_presses_are_right_from_the_stated_interval_on_and_wrong_before(built):
    proof = built.proof
    machine, rng = built.forth, Random(5)
    for case in ALL_CASES:
        simulation = Simulation(machine, case)
        simulation.run_to_rest(200)
        count = 0
        for _ in range(12):
            button = rng.randrange(2)
            simulation.press(button=button)
            count += 1 if button == FORTH else -1
            for _ in range(proof.interval_half_ticks + rng.choice((0, 0, 1, 5, 40))):
                simulation.step()
            assert not simulation.misplaced(count)
        assert simulation.run_to_rest()
        assert not simulation.faults
        assert not simulation.misplaced(count)
    wrong = 0
    for case, first, second in product(ALL_CASES, range(2), range(2)):
        simulation = Simulation(machine, case)
        simulation.run_to_rest(200)
        simulation.press(button=first)
        for _ in range(proof.interval_half_ticks - 1):
            simulation.step()
        early = bool(simulation.misplaced(1 if first == FORTH else -1))
        simulation.press(button=second)
        rests = simulation.run_to_rest()
        count = (1 if first == FORTH else -1) + (1 if second == FORTH else -1)
        wrong += early or not rests or bool(simulation.faults or simulation.misplaced(count))
    assert wrong


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (hall(9, 7, surface="north"), "single floor or ceiling"),
        (hall(9, 7, depth=4), "4 cells deep"),
        (hall(5, 5), "room for two drives"),
        (hall(15, 7), "no edge of 15 cells"),
        (hall(7, 7, press=5), "5 ticks is over before"),
    ],
)
def test_why_there_is_none_is_told_with_a_remedy(text, words):
    found = designed(text, budget_s=20)
    assert isinstance(found, NoCounter)
    assert words in found.why
    assert found.remedy


def test_a_free_ring_goes_through_its_wishes_and_its_files_are_the_same_machine(tmp_path):
    out = tmp_path / "out"
    done = ringwright("counter", SCENARIO, "--out", out, "--json", "--quiet")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    forth, back = read_machine(out / "machine.json"), read_machine(out / "back.json")
    assert read_scenario(SCENARIO).required() <= set(forth.tape)
    assert told["length"] == len(forth.tape)
    assert prove_two_ways(forth).ok
    assert prove_two_ways(back).ok
    assert "second button" in " ".join((out / "plan.txt").read_text().split())
    refused(ringwright("counter", SCENARIO, "--out", out), "--force")


def test_without_a_machine_the_status_is_undecided(tmp_path):
    path = tmp_path / "low.toml"
    path.write_text(hall(9, 7, depth=4))
    done = ringwright("counter", path, "--out", tmp_path / "out")
    assert done.returncode == 4
    assert "proves nothing" in done.stdout
    assert not (tmp_path / "out").exists()


# ------------------------------------------------------------------ one button, now forth, now back


@pytest.fixture(scope="module")
def swing() -> Countered:
    found = designed(hall(8, 8), seed=1, one_button=True)
    assert isinstance(found, Countered)
    return found


def test_one_button_moves_the_tape_forth_and_back_by_turns(swing):
    machine = swing.forth
    assert swing.back is None
    assert [part.kind for part in machine.parts].count("button") == 1
    assert not check_machine(machine)
    for case in ALL_CASES:
        simulation = Simulation(machine, case)
        assert simulation.run_to_rest(200)
        states = [simulation.state()]
        for number in range(6):
            simulation.press()
            assert simulation.run_to_rest()
            assert not simulation.faults
            assert not simulation.misplaced((number + 1) % 2)
            states.append(simulation.state())
        assert states[0] == states[2] == states[4] == states[6] != states[1]
        assert states[1] == states[3] == states[5]


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_the_twin_sees_it_swing_too(swing, case):
    made = json.loads(write_machine(swing.forth))
    at = next(tuple(part["at"]) for part in made["parts"] if part["kind"] == "button")
    experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
    experiment.presses = [(at, 1), (at, 1 + swing.proof.rest_half_ticks)]
    assert compare(experiment) == ""


def test_a_swing_is_right_from_the_stated_interval_on(swing):
    rng = Random(8)
    for case in ALL_CASES:
        simulation = Simulation(swing.forth, case)
        simulation.run_to_rest(200)
        for number in range(12):
            simulation.press()
            wait = swing.proof.interval_half_ticks + rng.choice((0, 0, 1, 3, 50))
            for _ in range(wait):
                simulation.step()
            assert not simulation.misplaced((number + 1) % 2)
        assert simulation.run_to_rest()
        assert not simulation.faults


def test_every_part_of_the_swings_memory_is_needed(swing):
    """The rams that bar, the inverters, the buffers: without one of them it is no swing."""
    unit = [part for part in swing.forth.parts if part.unit == "trigger"]
    tried = 0
    for part in unit:
        if part.kind in ("push_ram", "inverter", "buffer"):
            tried += 1
            parts = tuple(p for p in swing.forth.parts if p != part)
            assert not prove_two_ways(replace(swing.forth, parts=parts)).ok, part
    assert tried == 8


def test_the_unit_stands_on_what_it_must_and_takes_each_cell_once():
    unit = parts()
    assert len({part.at for part in unit}) == len(unit) == 22
    full = {part.at for part in unit if part.kind == "block"}
    for part in unit:
        if part.kind in ("wire", "buffer"):
            assert step(part.at, "-z") in full
        if part.kind == "inverter":
            assert part.face is not None
            assert step(part.at, part.face) in full


def test_a_swing_is_told_of_in_its_plan(tmp_path):
    out = tmp_path / "out"
    done = ringwright("counter", SCENARIO, "--one-button", "--out", out, "--json", "--quiet")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told["buttons"]) == 1
    text = " ".join((out / "plan.txt").read_text().split())
    assert "THERE AND BACK" in text
    assert f"Never press sooner than {told['interval']:g} ticks" in text
    assert not (out / "back.json").exists()
    for call in (
        ("simulate", out / "machine.json", "--presses", 4),
        ("check", out / "machine.json"),
    ):
        again = ringwright(*call)
        assert again.returncode == 0, again.stdout
    made = json.loads((out / "machine.json").read_text())
    assert made["swings"] is True
    for value, status in ((False, 3), ("yes", 2)):
        (out / "other.json").write_text(json.dumps({**made, "swings": value}))
        done = ringwright("simulate", out / "other.json", "--presses", 2)
        assert done.returncode == status


def test_one_button_is_for_floors():
    found = designed(hall(8, 8, surface="ceiling"), 20, one_button=True)
    assert isinstance(found, NoCounter)
    assert "floors only" in found.why
