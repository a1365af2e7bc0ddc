"""The cycle of a drive as clauses: its three rams simulated half-tick by half-tick.

Once with the tape sunk (one block to part, shift and feed) and once with the tape up (nothing to
move), each with and without overhead pickup. Where the outcome would hang on the order in
which rams start within a half-tick, the wiring is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from models.geometry import FACES, OPPOSITE, step
from solver.design.clauses import FALSE, TRUE, Clauses
from solver.design.physics import Physics
from solver.design.task import RAMS

STROKE = 3


@dataclass
class Ram:
    """Power of one ram over time, and when its head is out."""

    power: dict[int, int]
    out: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.out[-1] = self.power[-1]
        for t in (-4, -3, -2):
            self.out[t] = self.out[-1]

    def retracts(self, f: Clauses, t: int) -> int:
        """It is out and loses its power."""
        return f.all(self.out[t - 1], -self.power[t]) if t >= 0 else FALSE

    def wants(self, f: Clauses, t: int) -> int:
        """It is in, has power, and is not on its way back."""
        returning = f.any(*(self.retracts(f, t - k) for k in range(1, STROKE)))
        return f.all(-self.out[t - 1], self.power[t], -returning)

    def go(self, f: Clauses, t: int, free: int) -> int:
        """Fix the state at t: it extends if it wants to and the way is free."""
        extends = f.all(self.wants(f, t), free)
        stays = f.all(self.out[t - 1], self.power[t])
        self.out[t] = f.any(extends, stays)
        return extends


class Cycle:
    """One run of the three rams after the lifts have fired in half-tick 0."""

    def __init__(self, world: Physics, power: list[dict[int, int]], sunk: bool) -> None:
        self.f, self.task, self.sunk = world.f, world.task, sunk
        self.grip, self.feed, self.shift = (Ram(p) for p in power)
        self.parted = dict.fromkeys(range(-4, 0), FALSE)
        self.shifted = dict.fromkeys(range(-4, 0), FALSE)
        self.fed = dict.fromkeys(range(-4, 0), FALSE)
        self.f.add(-self.grip.out[-1], -self.shift.out[-1])  # two heads in one cell
        for t in range(self.task.horizon):
            self._step(t)
        self._end()

    def _step(self, t: int) -> None:
        f, grip, feed, shift = self.f, self.grip, self.feed, self.shift
        parts = FALSE
        if self.sunk and t >= self.task.first_part:
            # The first return after the sink draws the block; later ones must find nothing there.
            parts = f.all(grip.retracts(f, t), -self.parted[t - 1])
            f.add(-grip.retracts(f, t), -self.fed[t - 1])
        self.parted[t] = f.any(self.parted[t - 1], parts)
        drawn_rests = f.all(self.parted[t - STROKE], -self.shifted[t - 1])
        drawn_moves = f.all(self.parted[t], -self.parted[t - STROKE])
        beside_rests = f.all(self.shifted[t - STROKE], -self.fed[t - 1])
        beside_moves = f.all(self.shifted[t - 1], -self.shifted[t - STROKE])
        f.add(-grip.wants(f, t), -drawn_rests)  # it would put the block back
        grip_head = f.all(grip.out[t - 1], grip.power[t])
        shift_head = f.all(shift.out[t - 1], shift.power[t])
        feed_head = f.all(feed.out[t - 1], feed.power[t])
        # Two rams that want one free cell: the outcome would hang on their order.
        f.add(-grip.wants(f, t), -shift.wants(f, t), grip_head, shift_head, drawn_moves)
        f.add(-drawn_rests, -shift.wants(f, t), -feed.wants(f, t))
        f.add(-shift.wants(f, t), -drawn_rests, -beside_moves)
        goes = shift.go(
            f,
            t,
            f.all(-grip_head, -drawn_moves, -f.all(drawn_rests, feed_head)),
        )
        grip.go(f, t, f.all(-shift_head, -drawn_moves, -drawn_rests))
        pushes = feed.go(f, t, -beside_moves)
        self.shifted[t] = f.any(self.shifted[t - 1], f.all(goes, drawn_rests))
        self.fed[t] = f.any(self.fed[t - 1], f.all(pushes, beside_rests))

    def hold_alike(self, world: Physics) -> None:
        """A ram that is watched moves as in every other run, so that its watchers see the same."""
        for ram, part in zip((self.grip, self.feed, self.shift), RAMS, strict=True):
            watched = self.f.any(
                *(world.is_(step(part.at, face), "sensor", OPPOSITE[face]) for face in FACES)
            )
            for t in world.times:
                same = world.ram_out(part.at, t)
                self.f.imply([watched, same], ram.out[t])
                self.f.imply([watched, ram.out[t]], same)

    def _end(self) -> None:
        """The block is fed in time, and every ram is back where it rests."""
        if self.sunk:
            self.f.add(self.fed[self.task.last_feed])
        last = self.task.horizon - 1
        for ram in (self.grip, self.feed, self.shift):
            for t in (last - 2, last - 1, last):
                self.f.imply([ram.out[-1]], ram.out[t])
                self.f.imply([ram.out[t]], ram.out[-1])
            self.f.imply([ram.power[last]], ram.power[-1])
            self.f.imply([ram.power[-1]], ram.power[last])


def require_cycle(world: Physics) -> None:
    """Post all runs."""
    for overhead in (False, True):
        power = [{t: world.ram_reads(ram, t, overhead) for t in world.times} for ram in RAMS]
        for sunk in (True, False):
            cycle = Cycle(world, power, sunk)
            if world.task.watch_rams:
                cycle.hold_alike(world)


__all__ = ["TRUE", "Cycle", "require_cycle"]
