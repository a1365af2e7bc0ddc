"""Four mechanisms, the rows of lifts between them and the lines that fire these, put down."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate
from typing import NamedTuple

from models.geometry import FACE_OF, FACES, Cell, Frame, scale, step, sub
from models.machine import Machine
from models.parts import RAMS, Kind, Part
from models.pillar import Pillar
from solver.net.assemble import boxes
from solver.pillar.edge import APART, BEFORE, BEHIND, Edge
from solver.trigger.site import Site

LINE = 3
"""How deep behind the surface the blocks of a row's line lie; its wires stand on them."""


class Goal(NamedTuple):
    """Something to fire: any of these cells, so many ticks after the lifts."""

    cells: tuple[Cell, ...]
    ticks: int
    ram: Cell | None
    """The ram; None for a wire of a line."""
    heading: Cell | None = None
    """The way in which the last sensor puts out, if that matters."""


def frames(pillar: Pillar) -> list[Frame]:
    """The four outer edges in the order in which the tape comes to them; y is up."""
    wide, long, _ = pillar.size
    south, north, east = pillar.front, pillar.front + long - 1, wide - 1
    corners = [(east, south), (east, north), (0, north), (0, south)]
    normals: list[Cell] = [(0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0)]
    if pillar.direction == "clockwise":
        corners, normals = corners[::-1], normals[::-1]
        # Coming from the east face along the south one to the edge in the south-west, and so on.
        normals = [normals[-1], *normals[:-1]]
    found = []
    for k, ((x, y), normal) in enumerate(zip(corners, normals, strict=True)):
        way = normals[(k + 1) % 4]
        found.append(Frame((x, y, pillar.row), way, (0, 0, 1), normal))
    return found


class Layout(Site):
    """All but the trigger and its leads. Raises NoRoomError."""

    def __init__(self, pillar: Pillar, edge: Edge) -> None:
        self.pillar = pillar
        self.frames = frames(pillar)
        tape = [cell for k in range(4) for cell in self.row(k)]
        super().__init__(tape, self._hidden, lambda cell: not self._solid(cell))
        self.steps: dict[Cell, tuple[int, ...]] = {}
        """The steps in which each ram has a pulse."""
        self.lines: list[list[Cell]] = []
        """The wires of each row's line."""
        ends = accumulate(len(self.row(k)) for k in range(4))
        self.covered = tuple(end - 1 for end in ends)
        """Places in the tape from which it goes on beneath covers."""
        for k in range(4):
            self._edge(edge, k)
        for k in range(4):
            self._row(k)

    def row(self, k: int) -> list[Cell]:
        """The tape on the way to outer edge `k`."""
        frame = self.frames[k]
        length = self.pillar.size[0 if frame.x[0] else 1]
        return [frame.cell((-d, 0, 0)) for d in range(length - 1 - BEHIND, BEFORE - 1, -1)]

    def _solid(self, cell: Cell) -> bool:
        wide, long, high = self.pillar.size
        front = self.pillar.front
        return 0 <= cell[0] < wide and front <= cell[1] < front + long and 0 <= cell[2] < high

    def _hidden(self, cell: Cell) -> bool:
        return self._solid(cell) and not self._visible(cell)

    def _visible(self, cell: Cell) -> bool:
        wide, long, _ = self.pillar.size
        return cell[0] in (0, wide - 1) or cell[1] - self.pillar.front in (0, long - 1)

    def _edge(self, edge: Edge, k: int) -> None:
        frame, visible = self.frames[k], set(self.tape)
        for ram in edge.rams:
            at = frame.cell(ram.at)
            kind: Kind = "grip_ram" if ram.grip else "push_ram"
            self.put(Part(kind, at, frame.face(ram.face), unit=f"edge {k + 1}"))
            self.steps[at] = ram.steps
        self.keep({frame.cell(cell) for cell in edge.ways} - visible)

    def _row(self, k: int) -> None:
        """Lifts, and a line for all that have one pulse, in the first step."""
        frame = self.frames[k]
        inward = frame.z
        for cell in self.row(k):
            lift = sub(cell, scale(inward, 2))
            self.keep({sub(cell, inward)})
            if lift not in self.parts:
                self.put(Part("grip_ram", lift, FACE_OF[inward], unit="lift"))
                self.steps[lift] = (0,)
        wires: list[Cell] = []
        for cell in self.row(k):
            block = sub(cell, scale(inward, LINE))
            wire = step(block, "+z")
            fit = all(self.steps[ram] == (0,) for ram in self.hearers(block))
            if fit and self.free(block) and self.free(wire):
                self.put(Part("block", block, unit="line"), Part("wire", wire, unit="line"))
                wires.append(wire)
        self.lines.append(wires)

    def hearers(self, block: Cell) -> list[Cell]:
        """Rams that a powered block would fire, by overhead pickup too."""
        near = [step(block, face) for face in FACES]
        found = []
        for cell in sorted({*near, *(step(cell, "-z") for cell in near)}):
            part = self.parts.get(cell)
            if part is None or part.kind not in RAMS or part.face is None:
                continue
            if step(cell, part.face) != block:
                found.append(cell)
        return found

    def fired_by_lines(self) -> set[Cell]:
        """Rams that the lines of the rows fire."""
        blocks = [p.at for p in self.parts.values() if p.kind == "block" and p.unit == "line"]
        return {step(block, face) for block in blocks for face in FACES}

    def goals_at_first(self) -> list[Goal]:
        """What is to be fired at the first edge: its row's line, and every pulse of no line."""
        fired, ticks = self.fired_by_lines(), self.pillar.rules.press // APART
        found = [Goal(tuple(filter(self.in_wedge, self.lines[0])), 0, None)]
        for ram, steps in self.steps.items():
            for when in steps:
                if (when or ram not in fired) and self.in_wedge(ram):
                    found.append(Goal((ram,), when * ticks, ram))
        return found

    # ------------------------------------------------------------------ one edge for all

    def in_wedge(self, cell: Cell) -> bool:
        """Whether a cell belongs to the first edge: its images at the others are apart from it."""
        wide, long, _ = self.pillar.size
        half = (min(wide, long) - 1) // 2  # a row of cells lies between neighbours
        x, _, z = self.local(cell)
        return self._hidden(cell) and x > -half and z > -half

    def wedge(self) -> list[Cell]:
        """All cells of the first edge."""
        wide, long, high = self.pillar.size
        front = self.pillar.front
        cells = (
            (x, y, z) for x in range(wide) for y in range(front, front + long) for z in range(high)
        )
        return [cell for cell in cells if self.in_wedge(cell)]

    def local(self, cell: Cell) -> Cell:
        """A cell in the frame of the first edge."""
        return self.frames[0].local(cell)

    def moved(self, part: Part, k: int) -> Part:
        """The image at edge `k` of a part at the first one."""
        face = part.face
        if face is not None:
            ahead = sub(self.local(step(part.at, face)), self.local(part.at))
            face = self.frames[k].face(FACE_OF[ahead])
        unit = part.unit.replace("edge 1", f"edge {k + 1}")
        return part._replace(at=self.frames[k].cell(self.local(part.at)), face=face, unit=unit)

    def repeat(self, parts: Iterable[Part], air: Iterable[Cell]) -> None:
        """The same at all other edges. Raises NoRoomError."""
        cells = [self.local(cell) for cell in air]
        for k in (1, 2, 3):
            self.put(*(self.moved(part, k) for part in parts))
            images = {self.frames[k].cell(cell) for cell in cells}
            self.air |= {cell for cell in images if cell not in self.parts}

    def beside(self, ram: Cell) -> list[Cell]:
        """Free cells where a block would fire this ram and no other."""
        part = self.parts[ram]
        assert part.face is not None
        front = step(ram, part.face)
        near = [cell for face in FACES if (cell := step(ram, face)) != front]
        return [c for c in near if self.free(c) and self.hearers(c) == [ram]]

    def trigger(self, cover: Cell) -> Cell:
        """A button on a cover of the front, its ram and its first sensor; the sensor's cell."""
        x, y, z = cover
        press = self.pillar.rules.press
        self.put(
            Part("button", (x, y - 1, z), "+y", press=press, unit="trigger"),
            Part("push_ram", (x, y + 1, z), "+y", unit="trigger"),
        )
        self.keep({(x, y + 2, z)})
        self.put(Part("sensor", (x, y + 3, z), "-y", unit="trigger"))
        return x, y + 3, z

    def machine(self) -> Machine:
        """All of it."""
        wide, long, high = self.pillar.size
        on_tape, front = set(self.tape), self.pillar.front
        covers = (
            Part("cover", (x, y, z), unit="surface")
            for x in range(wide)
            for y in range(front, front + long)
            for z in range(high)
            if self._visible((x, y, z)) and (x, y, z) not in on_tape
        )
        return Machine(
            self.pillar.title,
            self.pillar.room,
            self.pillar.rules,
            self.tape,
            (*sorted(self.parts.values(), key=lambda part: part.at), *covers),
            tuple(boxes(sorted(self.dug()))),
            covered=self.covered,
        )
