"""One press forth, one back: what one drive cannot do, two mirrored drives a corner can.

First with rams alone, fired by a script: neither set is in the other's way, on a ring of any size.
Then a whole machine, of parts only, with a button for each way.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product

import pytest

from models.geometry import OPPOSITE, Box, Cell, Frame
from models.machine import ALL_CASES, Machine
from models.parts import RAMS, Part
from models.rules import Rules
from solver.characterise.testbed import corner_frames, rectangle
from solver.check import check_machine
from solver.machine_file import read_machine, write_machine
from solver.net.catalogue import load_designs
from solver.net.lift_lines import deep_line
from solver.net.worked import FLAT_DRIVE, FLOOR_DRIVE
from solver.simulate import Simulation, prove
from tests.circuits import Experiment, compare
from tests.oracles.two_way_ring import TwoWayRing
from tests.test_cli_input import ROOT

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


# ------------------------------------------------------------------ the machine with two buttons

BUILT = ROOT / "scenarios" / "machines" / "there-and-back.json"
FORTH, BACK = 0, 1


@pytest.fixture(scope="module")
def built():
    return read_machine(BUILT)


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_each_button_moves_the_tape_its_own_way(built, case):
    """Every press ends in the state in which it began: so what holds for one holds for any train
    of presses, each left to come to rest.
    """
    simulation = Simulation(built, case)
    assert simulation.run_to_rest(200)
    idle, count = simulation.state(), 0
    for button in (FORTH, BACK, BACK, FORTH, FORTH, FORTH, BACK, BACK, BACK):
        simulation.press(button=button)
        assert simulation.run_to_rest()
        count += 1 if button == FORTH else -1
        assert not simulation.faults
        assert not simulation.misplaced(count)
        assert simulation.state() == idle


def test_it_keeps_to_the_static_rules_and_has_two_buttons(built):
    assert not check_machine(built)
    assert [part.kind for part in built.parts].count("button") == 2
    assert not built.loops
    assert all(result.ok for result in prove(built, ALL_CASES))


@pytest.mark.parametrize(("case", "button"), list(product(ALL_CASES, (FORTH, BACK))), ids=str)
def test_the_twin_sees_the_same_either_way(built, case, button):
    made = json.loads(write_machine(built))
    at = [tuple(part["at"]) for part in made["parts"] if part["kind"] == "button"][button]
    experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
    experiment.presses = [(at, 1)]
    assert compare(experiment) == ""


def test_no_drive_of_it_can_be_left_out(built):
    """Without the rams of one corner that way fails, and only that way."""
    for way, other in (("A", BACK), ("B", FORTH)):
        corner = f"drive {way}0"
        kept = tuple(p for p in built.parts if p.unit != corner or p.kind not in RAMS)
        less = replace(built, parts=kept)
        for button, right in ((other, True), (FORTH + BACK - other, False)):
            simulation = Simulation(less, ALL_CASES[0])
            simulation.run_to_rest(200)
            simulation.press(button=button)
            rested = simulation.run_to_rest()
            good = rested and not simulation.misplaced(1 if button == FORTH else -1)
            assert good == right


def test_it_is_laid_out_again_part_by_part():
    assert write_machine(TwoWayRing(9, 7, 2).machine()) == BUILT.read_text(encoding="utf-8")
