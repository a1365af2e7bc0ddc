"""When a drive does what, in half-ticks after the lifts of its corner fire: read off a simulation.

With these a trigger net can keep its order. Let corner B follow corner A on the loop, and let B's
lifts fire d half-ticks after A's. Then B must have parted before A feeds (B.part + d < A.feed), B's
grip ram must not come back to a block that A has already fed (B.returns + d < A.feed + 3), every
lift of the edge between must have sunk its block 5 half-ticks before A feeds, and none may raise it
before A.feed + 3.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

from models.catalogue import Design
from models.geometry import Cell, Face
from models.machine import ALL_CASES
from solver.characterise.testbed import Ground, Spot, build, corner_frames, feed, up_of
from solver.design.task import GRIP, HEADS
from solver.simulate import Simulation, Stroke

DRAWN, BESIDE = HEADS


@dataclass(frozen=True)
class Timing:
    """Half-ticks from the corner's lifts on; the latest of all cases, the earliest for `part`."""

    part: int
    """The grip ram begins to draw the block aside."""
    shift: int
    feed: int
    returns: int
    """The grip ram's last return."""
    quiet: int
    """Nothing of the drive changes any more."""

    def as_dict(self) -> dict[str, int]:
        """For the data file."""
        return asdict(self)


def timing_of(
    design: Design, others: Mapping[Face, Design], ground: Ground, spots: Sequence[Spot]
) -> Timing:
    """Measured in the first press of a ring, over all cases."""
    found = []
    bench = build(ground, spots, {**others, design.up: design}, design.system)
    frames = corner_frames(bench.machine.tape, ground.inward)
    frame = next(frame for frame in frames if up_of(frame) == design.up)
    mine = {frame.cell(part.at) for part in design.parts}
    for case in ALL_CASES:
        simulation = Simulation(bench.machine, case, record=True)
        simulation.run_to_rest(200)
        pressed = simulation.now + 1
        feed(simulation, bench, 60)  # a long press, so that nothing of the rise mixes in
        while simulation.now < pressed + 55:
            simulation.step()
        found.append(_read(simulation, frame.cell, mine, pressed))
    first = min(timing.part for timing in found)
    return Timing(
        first,
        max(timing.shift for timing in found),
        max(timing.feed for timing in found),
        max(timing.returns for timing in found),
        max(timing.quiet for timing in found),
    )


def _read(
    simulation: Simulation, cell: Callable[[Cell], Cell], mine: set[Cell], pressed: int
) -> Timing:
    lift, grip = cell((-1, 0, -2)), cell(GRIP)
    start = part = shift = fed = returns = quiet = 0
    at = {driver: where for _, where, driver in simulation.switches()}
    for t, what, which, value in simulation.events or ():
        if t < pressed:
            continue
        if isinstance(value, tuple):
            where, moving = value
            if moving and where == cell(DRAWN):
                part = t
            elif moving and where == cell(BESIDE):
                shift = t
            elif moving and where == cell((0, 0, -1)) and shift:
                fed = fed or t
            continue
        if what == "ram":
            where = simulation.rams[which].at
            if where == lift and not start:
                start = t
            if where == grip and value == Stroke.RETRACTING:
                returns = t
        else:
            where = simulation.wires[which].at if what == "wire" else at[which]
        if where in mine:
            quiet = t
    return Timing(part - start, shift - start, fed - start, returns - start, quiet - start)
