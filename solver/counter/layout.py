"""Parts of a loop that runs both ways, as they are put down.

Two drives stand at each corner, one the mirror image of the other, and one line fires all lifts.
No drive watches a lift, as both ways would fire it: a lead brings it the pulse of its own button.
Such drives are made of sensors and a block, so they stand on floors and ceilings alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import Literal

from models.catalogue import LED_AFTER
from models.geometry import FACES, OPPOSITE, VECTOR, Cell, Frame, step
from models.machine import Machine
from models.parts import RAMS, Part
from models.problem import Digging
from models.rules import Rules
from models.scenario import Scenario
from models.surface import SurfaceName
from solver.characterise.testbed import corner_frames
from solver.design.task import HEADS
from solver.design.task import RAMS as DRIVE_RAMS
from solver.net.assemble import boxes
from solver.net.catalogue import Entry, load_entries
from solver.net.lift_lines import level_line
from solver.trigger.site import NoRoomError, Site

SURFACES: tuple[SurfaceName, ...] = ("floor", "ceiling")
LEAST_DEPTH = 5
"""Cells behind the surface that lifts, their line and leads need at least."""
STEM_FROM = 3
"""Cells behind the surface at which the row of sensors under a trigger begins."""
STEM_TO = 6
"""Where it ends if the ground is deep enough: below the line of the floor."""
ROOM = 60
"""Free cells that a lead can come from, or it is walled in."""
Way = Literal["forth", "back"]
WAYS: tuple[Way, ...] = ("forth", "back")


@dataclass(frozen=True)
class Corner:
    """Where a drive stands, and for which way."""

    frame: Frame
    way: Way
    unit: str


@dataclass(frozen=True)
class Goal:
    """Where a lead ends: the first sensor of a drive watches its last one."""

    way: Way
    cell: Cell
    late: tuple[int, ...]
    """Ticks by which the lead may come later than the earliest drive."""


def led_drives(surface: SurfaceName, rules: Rules) -> list[Entry]:
    """The drives that a lead fires there and that feed before the tape rises again."""
    systems = ("led", f"led-{surface}")
    found = [entry for entry in load_entries() if entry.design.system in systems]
    return [entry for entry in found if _lateness(entry, rules)]


def _lateness(entry: Entry, rules: Rules) -> tuple[int, ...]:
    """By how many ticks the lead to a drive may be late. The timing is that of no lateness."""
    late = ((after - LED_AFTER[0]) // 2 for after in LED_AFTER)
    return tuple(k for k in late if entry.timing["feed"] + 2 * k < rules.feed_until)


class Layout(Site):
    """Parts, and the cells that must stay free."""

    def __init__(self, scenario: Scenario, digging: Digging, tape: Sequence[Cell]) -> None:
        """Lifts, their line and the rams of all drives. Raises NoRoomError."""
        (surface,) = scenario.surfaces.values()
        self.scenario, self.surface = scenario, surface
        self.behind = surface.plane.behind
        super().__init__(tape, digging.allows, lambda cell: surface.plane.level(cell) < 0)
        line = level_line(tape, VECTOR[OPPOSITE[self.behind]])
        self.line_delay = int(line.level)
        """Ticks from the line's wires to its lifts: below a level stands a sensor for each."""
        self.line = [step(cell, self.behind, 4) for cell in tape]
        self.keep(step(cell, self.behind) for cell in tape)
        self.put(*line.parts.values())
        self.corners = [
            *self._corners(self.tape, "forth"),
            *self._corners(self.tape[::-1], "back"),
        ]
        self.drives = led_drives(surface.name, scenario.rules)

    def _corners(self, tape: Sequence[Cell], way: Way) -> Iterator[Corner]:
        """The rams of a drive at every corner; they stand where they must."""
        for number, frame in enumerate(corner_frames(tape, VECTOR[OPPOSITE[self.behind]])):
            corner = Corner(frame, way, f"drive {way} {number + 1}")
            self.put(*(part.placed(frame, corner.unit) for part in DRIVE_RAMS))
            self.keep(frame.cell(cell) for cell in HEADS)
            yield corner

    def wired(self, corner: Corner, rng: Random) -> Iterator[Goal]:
        """The wirings that a drive can have, in any order; each is put down while it is tried."""
        before = self.state()
        for entry in rng.sample(self.drives, len(self.drives)):
            design = entry.design
            try:
                placed = design.place(corner.frame, corner.unit)
                self.put(*(part for part in placed if part.kind not in RAMS))
                self.keep(corner.frame.cell(cell) for cell in design.air)
            except NoRoomError:
                self.go_back(before)
                continue
            assert design.led is not None, "the drive is led"
            end = corner.frame.cell(design.led)
            yield Goal(corner.way, end, _lateness(entry, self.scenario.rules))
            self.go_back(before)

    def roomy(self, ends: Iterable[Cell]) -> bool:
        """Whether no lead's end is walled in: so many cells that a lead may take join it."""
        field = self.field()
        watched = field.watched()

        def open_from(cell: Cell) -> bool:
            waiting, known = [cell], {cell}
            while waiting and len(known) < ROOM:
                here = waiting.pop()
                near = {step(here, face) for face in FACES} - known - watched
                new = [other for other in near if field.fits(other)]
                known.update(new)
                waiting += new
            return len(known) >= ROOM

        return all(field.fits(cell) and open_from(cell) for cell in ends)

    def trigger(self, cover: Cell, way: Way, rng: Random) -> Cell:
        """A button on a cover, its ram and the row of sensors behind it; the row's last cell."""
        inward, unit = OPPOSITE[self.behind], f"trigger {way}"
        press, ram = self.scenario.rules.press, step(cover, self.behind)
        self.put(Part("button", step(cover, inward), self.behind, press=press, unit=unit))
        self.put(Part("push_ram", ram, self.behind, unit=unit))
        self.keep({step(ram, self.behind)})
        return self.stem(step(ram, self.behind), self.bottom(rng), unit)

    def bottom(self, rng: Random) -> int:
        """How deep the rows of sensors behind triggers go, in cells behind the surface."""
        deep = self.surface.depth - 1
        return STEM_TO if deep > STEM_TO else rng.randint(STEM_FROM, deep)

    def stem(self, watched: Cell, bottom: int, unit: str) -> Cell:
        """A row of sensors behind what the first of them watches; the row's last cell."""
        first = self.surface.plane.level(watched) + 1
        row = [step(watched, self.behind, k) for k in range(1, bottom - first + 2)]
        if not row:
            raise NoRoomError(f"there is no room for a row of sensors behind {watched}")
        self.put(*(Part("sensor", cell, OPPOSITE[self.behind], unit=unit) for cell in row))
        return row[-1]

    def machine(self, way: Way) -> Machine:
        """All of it, seen from one way's button; no more dug than parts and what they hear need."""
        dug = {cell for cell in self.dug() if self.surface.plane.level(cell) > 0}
        on_tape = set(self.tape)
        covers = [
            Part("cover", c, unit="surface")
            for c in self.surface.cells(".o#=@")
            if c not in on_tape
        ]
        first = f"trigger {way}"
        parts = sorted(
            self.parts.values(), key=lambda p: (p.kind != "button", p.unit != first, p.unit)
        )
        return Machine(
            self.scenario.title,
            self.scenario.room,
            self.scenario.rules,
            self.tape if way == "forth" else self.tape[::-1],
            (*parts, *covers),
            tuple(boxes(sorted(dug))),
            swings=sum(part.kind == "button" for part in parts) == 1,
        )
