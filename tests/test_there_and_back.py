"""One press forth, one back: what one drive cannot do, two mirrored drives a corner can.

Only the rams are there; what would fire them is a script. So this shows that the mechanism works
and that neither set of rams is in the other's way, not that a line can be built which fires them.
"""

from __future__ import annotations

import pytest

from models.geometry import OPPOSITE, Box, Cell, Frame
from models.machine import ALL_CASES, Machine
from models.parts import RAMS, Part
from models.rules import Rules
from solver.characterise.testbed import corner_frames, rectangle
from solver.net.catalogue import load_designs
from solver.net.lift_lines import deep_line
from solver.net.worked import FLAT_DRIVE, FLOOR_DRIVE
from solver.simulate import Simulation

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
