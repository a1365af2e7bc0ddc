"""Lays out a floor ring that runs both ways, part by part, with a button for each way.

python -m tests.oracles.two_way_ring scenarios/machines/there-and-back.json

Two drives a corner, one the mirror image of the other, and one line for all lifts. From a row of
sensors below each button's ram leads of one length go to the drives of that way, and one that is
two sensors shorter to the line, so that drives and lifts keep the times of the trade's drive.
Leads are laid the shortest way and lengthened by bends at random. Both edges must be odd: else the
drives lie at distances of both parities. The lift line is a ring of wires fed in one place, so
there may be 28 cells of tape at most.
"""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from random import Random

from models.geometry import (
    FACE_OF,
    FACES,
    HORIZONTAL,
    OPPOSITE,
    VECTOR,
    Box,
    Cell,
    Face,
    add,
    step,
    sub,
)
from models.machine import Machine
from models.parts import RAMS, Part
from models.rules import Rules
from solver.characterise.testbed import corner_frames, rectangle
from solver.machine_file import write_machine
from solver.net.assemble import boxes
from solver.net.lift_lines import deep_line
from solver.net.worked import FLOOR_DRIVE
from solver.trigger.lead import Field

UP: Cell = (0, 0, 1)
RIM = 10
"""Cells of floor round the ring."""
DEEPEST = -14
PRESS = 15
STEM = (-4, -5, -6, -7)
"""The row of sensors below a trigger; leads begin beside the last."""
TRIES, BENDS = 6, 400
MOVED: dict[Cell, Part | None] = {
    (-1, -1, -3): None,
    (-1, -2, -4): None,
    (-1, -2, -3): Part("buffer", (-1, -4, -3), "+y", 2),
}
"""The trade's drive without the sensor that watches a lift, its buffer on the other side of the
block that it powers: where a wire for it could stand, the lift line would climb onto it.
"""


def distance(a: Cell, b: Cell) -> int:
    """Steps from one cell to the other."""
    return sum(map(abs, sub(a, b)))


class TwoWayRing:
    """Parts as they are put down, and the cells that must stay free."""

    def __init__(self, width: int, length: int, seed: int) -> None:
        self.rng = Random(seed)
        self.tape = [(x + RIM, y + RIM, -1) for x, y in rectangle(width, length)]
        self.room = (width + 2 * RIM, length + 2 * RIM, 4)
        self.ground = Box((-4, -4, DEEPEST), (self.room[0] + 4, self.room[1] + 4, -2))
        self.parts: dict[Cell, Part] = {}
        self.air = {step(cell, "-z") for cell in self.tape}
        self.starts: list[Cell] = []
        self.watched: frozenset[Cell] = frozenset()
        self._put(*deep_line(self.tape, UP, -1).parts.values())
        self.line = [step(cell, "-z", 4) for cell in self.tape]
        ways = (self._drives(self.tape, "A"), self._drives(self.tape[::-1], "B"))
        middle = (RIM + width // 2, RIM + length // 2)
        for way, dx in (("A", -2), ("B", 2)):
            self._trigger((middle[0] + dx, middle[1]), way)
        self._covers()
        for start, goals, way in zip(self.starts, ways, "AB", strict=True):
            self._leads(start, goals, way)

    def _put(self, *parts: Part) -> None:
        for part in parts:
            assert part.at not in self.parts, f"two parts at {part.at}"
            self.parts[part.at] = part

    def _drives(self, tape: Sequence[Cell], way: str) -> list[tuple[Cell, Cell]]:
        """A drive at every corner; each one's buffer, and the direction it is fed in."""
        goals = []
        for number, frame in enumerate(corner_frames(tape, UP)):
            for part in FLOOR_DRIVE.parts:
                new = MOVED.get(part.at, part)
                if new is None:
                    continue
                face = frame.face(new.face) if new.face else None
                unit = f"drive {way}{number}"
                self._put(new._replace(at=frame.cell(new.at), face=face, unit=unit))
                if new.kind == "buffer":
                    goals.append((frame.cell(new.at), frame.y))
                    self._put(Part("block", step(frame.cell(new.at), "-z"), unit=unit))
            self.air |= {frame.cell(cell) for cell in FLOOR_DRIVE.air}
        return goals

    def _trigger(self, spot: tuple[int, int], way: str) -> None:
        x, y = spot
        self._put(Part("button", (x, y, 0), "-z", press=PRESS, unit=f"trigger {way}"))
        self._put(Part("push_ram", (x, y, -2), "-z", unit=f"trigger {way}"))
        self.air.add((x, y, -3))
        self._put(*(Part("sensor", (x, y, z), "+z", unit=f"stem {way}") for z in STEM))
        self.starts.append((x, y, STEM[-1]))

    def _covers(self) -> None:
        spots = ((x, y, -1) for x in range(self.room[0]) for y in range(self.room[1]))
        self._put(*(Part("cover", cell) for cell in spots if cell not in set(self.tape)))

    # ------------------------------------------------------------ leads

    def _leads(self, start: Cell, goals: Sequence[tuple[Cell, Cell]], way: str) -> None:
        """Longer and longer, until all fit."""
        least = max(distance(cell, start) for cell, _ in goals)
        for length in range(least - 1, least + 20):
            if any((distance(cell, start) - length - 1) % 2 for cell, _ in goals):
                continue
            entries = [c for c in self.line if (distance(c, start) - length + 1) % 2 == 0]
            for _ in range(TRIES):
                before = dict(self.parts), set(self.air)
                wanted: list[tuple[Cell, Cell | None, int]]
                wanted = [(cell, heading, length) for cell, heading in goals]
                wanted.insert(self.rng.randrange(5), (self.rng.choice(entries), None, length - 2))
                if all(self._lead(start, *goal, f"lead {way}") for goal in wanted):
                    return
                self.parts, self.air = before
        raise AssertionError(f"no leads were found for the way {way}")

    def _lead(self, start: Cell, goal: Cell, heading: Cell | None, length: int, unit: str) -> bool:
        """Sensors from beside `start` that put out into `goal`, heading that way if it matters."""
        for _ in range(TRIES):
            way = self._shortest(start, goal, heading)
            if way is None or len(way) > length or (length - len(way)) % 2:
                return False
            way = self._bent(start, goal, way, length)
            if len(way) == length:
                break
        else:
            return False
        for before, cell in zip([start, *way], way, strict=False):
            self._put(Part("sensor", cell, FACE_OF[sub(before, cell)], unit=unit))
        for before, cell in zip([start, *way], way, strict=False):
            out = add(cell, sub(cell, before))
            if out not in self.parts:
                self.air.add(out)
        return True

    @property
    def field(self) -> Field:
        """What stands in the way of a lead now."""
        kept = frozenset(self.air) | frozenset(self.tape)
        return Field(self.parts, kept, self.ground.__contains__, lambda cell: cell[2] >= 0)

    def _open(self, field: Field, start: Cell, cell: Cell, *, first: bool = False) -> bool:
        """Whether a lead may pass: leads of one trigger leave room for the others to begin."""
        if not field.fits(cell) or cell in self.watched:
            return False
        return all(
            distance(cell, other) > (1 if other == start else 2) or (first and other == start)
            for other in self.starts
        )

    def _shortest(self, start: Cell, goal: Cell, heading: Cell | None) -> list[Cell] | None:
        field, faces = self.field, list(FACES)
        self.watched = field.watched()
        came: dict[tuple[Cell, Face], tuple[Cell, Face] | None] = {}
        waiting: deque[tuple[Cell, Face]] = deque()
        self.rng.shuffle(faces)
        for face in faces:
            if self._open(field, start, step(start, face), first=True):
                came[step(start, face), face] = None
                waiting.append((step(start, face), face))
        while waiting:
            here: tuple[Cell, Face] | None = waiting.popleft()
            assert here is not None
            cell, face = here
            if step(cell, face) == goal and heading in (None, VECTOR[face]):
                way = []
                while here is not None:
                    way.append(here[0])
                    here = came[here]
                return way[::-1]
            for turn in faces:
                after = (step(cell, turn), turn)
                bends = turn != face
                if turn == OPPOSITE[face] or after in came:
                    continue
                if bends and not field.harmless(step(cell, face)):
                    continue
                if self._open(field, start, after[0]):
                    came[after] = here
                    waiting.append(after)
        return None

    def _bent(self, start: Cell, goal: Cell, way: list[Cell], length: int) -> list[Cell]:
        """The same lead with bends in it, two cells longer each."""
        field = self.field
        for _ in range(BENDS):
            if len(way) == length:
                break
            at, aside = self.rng.randrange(len(way) - 1), self.rng.choice(FACES)
            new = [step(way[at], aside), step(way[at + 1], aside)]
            if all(self._open(field, start, cell) for cell in new):
                longer = [*way[: at + 1], *new, *way[at + 1 :]]
                way = longer if _runs(field, [start, *longer, goal]) else way
        return way

    # ------------------------------------------------------------ the machine

    def machine(self) -> Machine:
        """All of it, no more dug than its parts, their heads and what hears them need."""
        cells = set(self.air)
        for part in self.parts.values():
            cells.add(part.at)
            if part.kind in RAMS and part.face:
                cells.add(step(part.at, part.face))
            if part.kind == "sensor" and part.face:
                cells.add(step(part.at, part.face, -1))
            if part.kind in ("wire", "inverter"):
                cells |= {step(part.at, face) for face in HORIZONTAL}
                cells |= {step(part.at, "+z")} if part.kind == "inverter" else set()
        dug = boxes(sorted(cell for cell in cells if cell[2] < -1))
        parts = sorted(self.parts.values(), key=lambda part: (part.kind != "button", part.unit))
        rules = Rules(press=PRESS)
        return Machine(
            "There and back", self.room, rules, tuple(self.tape), tuple(parts), tuple(dug)
        )


def _runs(field: Field, cells: Sequence[Cell]) -> bool:
    """Whether sensors in all but the first and last cell pass a pulse on, and nobody else hears."""
    if len(set(cells)) < len(cells):
        return False
    for before, cell, after in zip(cells, cells[1:], cells[2:], strict=False):
        came, goes = sub(cell, before), sub(after, cell)
        if came == goes:
            continue
        out = add(cell, came)
        if after == cells[-1] or out == cells[-1] or not field.harmless(out):
            return False
    return True


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(write_machine(TwoWayRing(9, 7, 2).machine()), encoding="utf-8")
