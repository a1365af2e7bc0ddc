"""Whole test machines from designs: rings and pluses on any surface, in both directions.

The trigger line is real; its button is not: the bed feeds the line at its entries. Everything is
dug as snugly as the units allow, so that the ground is as close as it can come.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from models.catalogue import LED_AFTER, Design
from models.geometry import (
    FACE_OF,
    HORIZONTAL,
    Box,
    Cell,
    Face,
    Frame,
    add,
    cross,
    scale,
    step,
    sub,
)
from models.machine import ALL_CASES, Case, Machine, MachineFault
from models.parts import Part
from models.rules import Rules
from solver.net.lift_lines import (
    ClashError,
    LiftLine,
    deep_line,
    flat_line,
    level_line,
    over_line,
    wall_line,
)
from solver.simulate import Simulation

Spot = tuple[int, int]
LINES: dict[str, Callable[[Sequence[Cell], Cell], LiftLine]] = {
    "deep": deep_line,
    "over": over_line,
    "wall": wall_line,
    "led": level_line,
    "led-floor": level_line,
    "flat": flat_line,
}
MARGIN = 6
"""Cells of surface to leave around the loop."""
PRESS = 20
"""From sink to rise, in half-ticks: a common button's time."""


@dataclass(frozen=True)
class Ground:
    """A surface to lay loops on: plan axes and the way to the room, in the world."""

    name: str
    u: Cell
    v: Cell
    inward: Cell


FLOOR = Ground("floor", (1, 0, 0), (0, 1, 0), (0, 0, 1))
CEILING = Ground("ceiling", (1, 0, 0), (0, 1, 0), (0, 0, -1))
NORTH = Ground("north", (1, 0, 0), (0, 0, 1), (0, -1, 0))
EAST = Ground("east", (0, 1, 0), (0, 0, 1), (-1, 0, 0))
SOUTH = Ground("south", (1, 0, 0), (0, 0, 1), (0, 1, 0))


@dataclass(frozen=True)
class Bench:
    """A machine on the bed and where its line is fed."""

    machine: Machine
    entries: tuple[Cell, ...]
    level: bool
    leads: tuple[Cell, ...] = ()
    """Wires that are pulsed in place of the leads to drives that need one."""


def rectangle(width: int, length: int) -> list[Spot]:
    """The rim of a rectangle, turning left."""
    spots = [(x, 0) for x in range(width - 1)]
    spots += [(width - 1, y) for y in range(length - 1)]
    spots += [(x, length - 1) for x in range(width - 1, 0, -1)]
    spots += [(0, y) for y in range(length - 1, 0, -1)]
    return spots


def plus(width: int, arm: int) -> list[Spot]:
    """A plus with arms `width` cells wide and `arm` cells long: four concave corners."""
    a, b, c = arm, arm + width - 1, 2 * arm + width - 1
    corners = [(a, 0), (b, 0), (b, a), (c, a), (c, b), (b, b)]
    corners += [(b, c), (a, c), (a, b), (0, b), (0, a), (a, a)]
    return polygon(corners)


def polygon(corners: Sequence[Spot]) -> list[Spot]:
    """The closed loop through the corners, along straight edges."""
    spots: list[Spot] = []
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        count = max(abs(bx - ax), abs(by - ay))
        spots += [(ax + k * (bx - ax) // count, ay + k * (by - ay) // count) for k in range(count)]
    return spots


def corner_frames(tape: Sequence[Cell], inward: Cell) -> list[Frame]:
    """The local frame of every corner of a loop."""
    frames = []
    for i, cell in enumerate(tape):
        arrives = sub(cell, tape[i - 1])
        leaves = sub(tape[(i + 1) % len(tape)], cell)
        if arrives != leaves:
            frames.append(Frame(cell, arrives, leaves, inward))
    return frames


def up_of(frame: Frame) -> Face:
    """The local direction that is up in the world."""
    faces: tuple[Face, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")
    return next(face for face in faces if frame.face(face) == "+z")


def build(
    ground: Ground,
    spots: Sequence[Spot],
    designs: Mapping[Face, Design],
    system: str,
    *,
    reach: int = 64,
    snug: bool = True,
    trigger: tuple[Spot, Design, Cell] | None = None,
) -> Bench:
    """A machine of one loop. Raises ClashError where two units want one cell.

    `trigger`: behind which cover (counted like the loop's spots), which design, and its local x
    axis in the world; then the machine has a real button.
    """
    size = [max(s[i] for s in spots) - min(s[i] for s in spots) + 1 + 2 * MARGIN for i in (0, 1)]
    low = [min(s[i] for s in spots) for i in (0, 1)]
    room, origin = _room(ground, size)

    def world(i: int, j: int) -> Cell:
        return add(origin, add(scale(ground.u, i), scale(ground.v, j)))

    tape = [world(i - low[0] + MARGIN, j - low[1] + MARGIN) for i, j in spots]
    line = LINES[system](tape, ground.inward)
    leads: list[Cell] = []
    vents: set[Cell] = set()
    parts, air = dict(line.parts), set(line.air)
    for cell in tape:
        air.add(sub(cell, ground.inward))
    for number, frame in enumerate(corner_frames(tape, ground.inward)):
        design = _standing(designs, up_of(frame))
        for part in design.place(frame, f"drive {number}"):
            _merge(parts, part)
        air.update(frame.cell(cell) for cell in design.air)
        if design.led is not None:
            lead = _lead(design, frame)
            leads.append(lead[1].at)
            for part in dict.fromkeys(lead):
                _merge(parts, part)
            # Undug ground would hand the wire's power on.
            vents |= {step(lead[1].at, face) for face in HORIZONTAL}
    if trigger is not None:
        (i, j), design, axis = trigger
        cover = world(i - low[0] + MARGIN, j - low[1] + MARGIN)
        flat = ground.inward[2] != 0
        across = cross(ground.inward, axis) if flat else (0, 0, 1)
        frame = Frame(cover, axis, across, ground.inward)
        for part in design.place(frame, "trigger"):
            _merge(parts, part)
        air.update(frame.cell(cell) for cell in design.air)
    blocked = sorted(cell for cell in air if cell in parts)
    if blocked:
        raise ClashError(f"cells that must stay free are taken: {blocked[:3]}")
    dug = _dug(set(parts) | air | vents, tape, snug)
    covers = [world(i, j) for i in range(size[0]) for j in range(size[1])]
    surface = set(tape)
    for cell in covers:
        if cell not in surface:
            _merge(parts, Part("cover", cell))
    machine = Machine("bench", room, Rules(reach=reach), tuple(tape), tuple(parts.values()), dug)
    return Bench(machine, tuple(line.entries), line.level, tuple(leads))


def _standing(designs: Mapping[Face, Design], up: Face) -> Design:
    """The drive for that way up; a led one stands any way up."""
    return next((d for d in designs.values() if d.led is not None), None) or designs[up]


def _lead(design: Design, frame: Frame) -> tuple[Part, ...]:
    """The last sensor of a lead to a drive, a wire that it watches, and what that stands on."""
    assert design.led is not None, "the drive is led"
    own = {part.at: part for part in design.parts if part.kind == "sensor"}
    first = next(at for at, part in own.items() if part.face and step(at, part.face) == design.led)
    away = frame.face(FACE_OF[sub(design.led, first)])
    last = frame.cell(design.led)
    wire = step(last, away)
    under = step(wire, "-z")
    sensor = Part("sensor", last, away)
    return sensor, Part("wire", wire), sensor if under == last else Part("block", under)


def _merge(parts: dict[Cell, Part], part: Part) -> None:
    old = parts.setdefault(part.at, part)
    if old.kind == "insulator" and part.kind == "sensor":
        # A wire stands on either, and neither passes power.
        parts[part.at] = part
        return
    if (old.kind, old.face, old.delay) != (part.kind, part.face, part.delay):
        raise ClashError(f"{part.kind} and {old.kind} at {part.at}")
    if old is not part and old.kind not in ("block", "insulator", "wire"):
        raise ClashError(f"two units share the {part.kind} at {part.at}")


def _room(ground: Ground, size: Sequence[int]) -> tuple[tuple[int, int, int], Cell]:
    """Room size, and the world cell of the surface's low corner."""
    dims = [0, 0, 0]
    for axis, length in ((ground.u, size[0]), (ground.v, size[1])):
        dims[axis.index(1)] = length
    depth_axis = next(i for i in range(3) if ground.inward[i])
    dims[depth_axis] = 4
    origin = [0, 0, 0]
    origin[depth_axis] = -1 if ground.inward[depth_axis] > 0 else 4
    return (dims[0], dims[1], dims[2]), (origin[0], origin[1], origin[2])


def _dug(cells: set[Cell], tape: Sequence[Cell], snug: bool) -> tuple[Box, ...]:
    if snug:
        return tuple(Box(cell, cell) for cell in sorted(cells))
    low = tuple(min(c[i] for c in cells) - 3 for i in range(3))
    high = tuple(max(c[i] for c in cells) + 3 for i in range(3))
    return (Box(low, high),)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Verdict:
    """The outcome of a bench in all cases asked for."""

    faults: tuple[tuple[Case, int, MachineFault], ...]
    presses: int
    half_ticks: int

    @property
    def ok(self) -> bool:
        """Whether no rule was broken."""
        return not self.faults


def judge(
    bench: Bench,
    cases: Iterable[Case] = ALL_CASES,
    *,
    orders: Iterable[int] = (1, -1),
    press: int = PRESS,
    late: Mapping[Cell, int] | None = None,
    afters: Iterable[int] = LED_AFTER[:1],
) -> Verdict:
    """Press until a state repeats (at most a full turn), in every case and ram order.

    `late`: parts with another delay than usual, and this delay in half-ticks. `afters`: how long
    after the lifts leads to drives come.
    """
    presses = longest = 0
    for case in cases:
        for order, after in product(orders, afters):
            simulation = Simulation(bench.machine, case, order=order)
            for cell, half_ticks in (late or {}).items():
                simulation.retime(cell, half_ticks)
            faults, count, ticks = _turn(simulation, bench, press, after)
            presses, longest = max(presses, count), max(longest, ticks)
            if faults:
                found = tuple((case, order, fault) for fault in faults)
                return Verdict(found, presses, longest)
    return Verdict((), presses, longest)


def _turn(
    simulation: Simulation, bench: Bench, press: int, after: int
) -> tuple[list[MachineFault], int, int]:
    n, longest = len(bench.machine.tape), 0
    if not simulation.run_to_rest(200):
        return [MachineFault("idle oscillates", (), "not at rest before a press")], 0, 0
    states = {simulation.state()}
    for count in range(1, n + 1):
        start = simulation.now
        feed(simulation, bench, press, after)
        rested = simulation.run_to_rest(400)
        longest = max(longest, simulation.now - start)
        faults = list(simulation.faults)
        if not rested:
            faults.append(MachineFault("never rests", (), "no rest after a press"))
        for block, cell, must in simulation.misplaced(count):
            faults.append(MachineFault("misplaced", (cell, must), f"block {block}", simulation.now))
        if faults:
            return faults, count, longest
        state = simulation.state()
        if state in states:
            return [], count, longest
        states.add(state)
    return [], n, longest


def feed(simulation: Simulation, bench: Bench, press: int, after: int = LED_AFTER[0]) -> None:
    """One press: of the button, or on the line a level, or a pulse to sink and one to rise.

    `after`: when leads are on, in half-ticks after the lifts; a sensor adds two to what it sees.
    """
    for wire in bench.leads:
        simulation.pulse_wire(wire, 1 + after - 2 + (2 if bench.level else 0), press)
    if simulation.buttons:
        simulation.press(press)
        return
    for wire in bench.entries:
        if bench.level:
            simulation.pulse_wire(wire, 1, press)
        else:
            simulation.pulse_wire(wire, 1, 2)
            simulation.pulse_wire(wire, 1 + press, 2)


def mirrored(spots: Sequence[Spot]) -> list[Spot]:
    """The same loop, the other way round."""
    return [spots[0], *reversed(spots[1:])]
