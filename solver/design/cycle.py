"""The cycle of a drive as clauses: part, shift, feed, each in its window, once.

Each ram may rest either way. What is asked of the power at the three rams:

- the grip ram loses power once, in half-tick p, after the tape is sunk, and that is the part;
- the shift starts at the first half-tick from p + 3 in which its ram has power (before that, the grip
  ram's head or the drawn block is in its way);
- the feed starts at the first half-tick from 3 after the shift in which its ram has power; when the
  shift starts it must be in and without power.
"""

from __future__ import annotations

from dataclasses import dataclass

from solver.design.clauses import FALSE
from solver.design.physics import Physics
from solver.design.task import RAMS


@dataclass(frozen=True)
class Signals:
    """Power of one ram over the times from -1."""

    at: dict[int, int]

    def rises(self, world: Physics, t: int) -> int:
        return world.f.all(-self.at[t - 1], self.at[t])

    def falls(self, world: Physics, t: int) -> int:
        return world.f.all(self.at[t - 1], -self.at[t])


def require_cycle(world: Physics) -> None:
    """Post the whole cycle, with and without overhead pickup."""
    for overhead in (False, True):
        grip, feed, shift = (
            Signals({t: world.ram_reads(ram, t, overhead) for t in world.times}) for ram in RAMS
        )
        _require(world, grip, feed, shift)


def _require(world: Physics, grip: Signals, feed: Signals, shift: Signals) -> None:
    f, task = world.f, world.task
    span = range(task.horizon)
    for signal in (grip, feed, shift):
        _one_stroke(world, signal)
    parted = {-1: FALSE, -2: FALSE, -3: FALSE}
    shifted = {-1: FALSE, -2: FALSE, -3: FALSE}
    fed = {-1: FALSE}
    head_out = {-1: grip.at[-1]}
    f.add(-grip.at[-1], -shift.at[-1])  # both heads would rest in one cell
    for t in span:
        falls = grip.falls(world, t)
        if t < task.first_part:
            f.add(-falls)
        f.imply([falls], head_out[t - 1])
        parted[t] = f.any(parted[t - 1], falls)
        shifted[t] = f.any(shifted[t - 1], f.all(parted[t - 3], shift.at[t]))
        starts = f.all(shifted[t], -shifted[t - 1])
        f.imply([starts], -feed.at[t])
        f.imply([starts], -grip.at[t])
        # The grip ram must not put the drawn block back; nor may the shift go before the grip.
        f.imply([grip.rises(world, t), parted[t - 1]], shifted[t - 1])
        f.imply([shift.rises(world, t)], head_out[t - 1])
        f.imply([feed.rises(world, t)], shifted[t - 1])
        fed[t] = f.any(fed[t - 1], f.all(shifted[t - 3], feed.at[t]))
        head_out[t] = f.any(head_out[t - 1], f.all(grip.at[t], -shift.at[t]))
    f.add(fed[task.last_feed])


def _one_stroke(world: Physics, signal: Signals) -> None:
    """The power goes away once and comes back once (in either order), and ends as it began."""
    f, last = world.f, world.task.horizon - 1
    falls = [signal.falls(world, t) for t in range(last + 1)]
    rises = [signal.rises(world, t) for t in range(last + 1)]
    f.exactly_one([lit for lit in falls if lit != FALSE])
    f.exactly_one([lit for lit in rises if lit != FALSE])
    f.imply([signal.at[-1]], signal.at[last])
    f.imply([signal.at[last]], signal.at[-1])
