"""Rings of one inverter and some buffers, of the fewest parts: every chain of parts is tried.

A chain begins with a block K and an inverter on its side, goes from each part to one that it feeds,
and ends with one that powers K again. Parts stand on blocks of their own or on blocks of the
chain. Whether a chain that closes is a ring indeed, or shorted somewhere, is for the simulator to
say. So "no ring has fewer parts" holds for single chains within the box, with the inverter on the
side of K and a wire to tap.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Literal, NamedTuple

from models.geometry import FACE_OF, HORIZONTAL, VECTOR, Box, Cell, Face, add, step, sub
from models.machine import ALL_CASES, Machine
from models.parts import Kind, Part
from models.rules import Rules
from solver.simulate import Simulation

K: Cell = (0, 0, 0)
INVERTER = Part("inverter", (1, 0, 0), "-x")
BOX = Box((-4, -5, -1), (5, 0, 1))
"""Where parts may be, K on its rim: beside a wall nothing may be on the other side of it."""
DELAY = 4
_STRONGEST = 40
"""More parts than any ring needs that this is asked for."""

Carrier = Literal["lit", "strong", "weak", "wire", "buffer"]
"""What holds the signal at the end of a chain: an inverter, a block, a wire, a buffer's output."""


class Chain(NamedTuple):
    """A chain as far as it is built."""

    carrier: Carrier
    at: Cell
    face: Face | None
    parts: tuple[Part, ...]
    buffers: int

    def kind_at(self, cell: Cell) -> Kind | None:
        """The part of the chain in a cell."""
        return next((part.kind for part in self.parts if part.at == cell), None)


@cache
def fewest_rings(buffers: int) -> tuple[tuple[Part, ...], ...]:
    """All rings of so many buffers that have the fewest parts, each with a wire in it to tap."""
    start = Chain("lit", INVERTER.at, None, (Part("block", K), INVERTER), 0)
    for most in range(len(start.parts) + 2 * buffers, _STRONGEST):
        closed = {frozenset(c.parts): c.parts for c in _chains(start, buffers, most)}
        found = [parts for parts in closed.values() if any(p.kind == "wire" for p in parts)]
        if rings := tuple(parts for parts in sorted(found) if runs(parts, buffers)):
            return rings
    raise AssertionError("a ring of so many buffers exists")


def runs(parts: tuple[Part, ...], buffers: int) -> bool:
    """Whether the inverter goes on and off for ever, for one tick and all delays each."""
    half = 2 * (1 + DELAY * buffers)
    moved = [part._replace(at=(part.at[0], part.at[1], part.at[2] - 4)) for part in parts]
    dug = (Box((-9, -9, -9), (9, 9, -1)),)
    machine = Machine("ring", (1, 1, 1), Rules(), (), tuple(moved), dug)
    simulation = Simulation(machine, ALL_CASES[0], record=True)
    for _ in range(5 * half):
        simulation.step()
    driver = next(d for kind, _, d in simulation.switches() if kind == "inverter")
    assert simulation.events is not None
    times = [t for t, what, which, _ in simulation.events if (what, which) == ("on", driver) and t]
    gaps = {b - a for a, b in pairwise(times)}
    return gaps == {half} and {fault.code for fault in simulation.faults} == {"idle oscillates"}


def _chains(chain: Chain, buffers: int, most: int) -> Iterator[Chain]:
    """All ways to go on that power K at last, with so many buffers and exactly `most` parts."""
    if chain.buffers == buffers and _powers_k(chain):
        if len(chain.parts) == most:
            yield chain
        return
    for longer in _steps(chain):
        left = most - len(longer.parts)
        more = buffers - longer.buffers
        # A part leads one cell nearer to K at most, a buffer that faces a known block two.
        far = abs(longer.at[0]) + abs(longer.at[1]) - 2 - more
        if left >= max(2 * more, far):
            yield from _chains(longer, buffers, most)


def _powers_k(chain: Chain) -> bool:
    if chain.carrier == "buffer":
        assert chain.face is not None
        return step(chain.at, chain.face) == K
    if chain.carrier != "wire":
        return False
    return step(chain.at, "-z") == K or sub(K, chain.at) in map(VECTOR.get, HORIZONTAL)


def _steps(chain: Chain) -> Iterator[Chain]:
    """Every part that the end of the chain can feed, put there."""
    at, levels = chain.at, [VECTOR[face] for face in HORIZONTAL]
    under = step(at, "-z")
    match chain.carrier:
        case "lit" | "strong":
            for vector in VECTOR.values():
                yield from _put(chain, "wire", add(at, vector))
            yield from _buffers(chain)
            if chain.carrier == "lit":
                yield from _put(chain, "block", step(at, "+z"), "strong")
        case "weak":
            yield from _buffers(chain)
        case "wire":
            for vector in levels:
                for rise in (-1, 0, 1):
                    yield from _put(chain, "wire", add(add(at, vector), (0, 0, rise)))
                yield from _put(chain, "block", add(at, vector), "weak")
            yield from _buffers(chain)
            if under != K:
                yield chain._replace(carrier="weak", at=under)
        case "buffer":
            assert chain.face is not None
            ahead = step(at, chain.face)
            yield from _put(chain, "wire", ahead)
            yield from _put(chain, "buffer", ahead, face=chain.face)
            yield from _put(chain, "block", ahead, "strong")
            if chain.kind_at(ahead) == "block" and ahead != K:
                yield chain._replace(carrier="strong", at=ahead, face=None)


def _buffers(chain: Chain) -> Iterator[Chain]:
    """A buffer beside the end of the chain, which it reads behind it."""
    for face in HORIZONTAL:
        yield from _put(chain, "buffer", step(chain.at, face), face=FACE_OF[VECTOR[face]])


def _put(
    chain: Chain, kind: Kind, at: Cell, carrier: Carrier | None = None, face: Face | None = None
) -> Iterator[Chain]:
    """The chain with one more part, and the block that it stands on."""
    if at not in BOX or chain.kind_at(at) is not None:
        return
    new = [Part(kind, at, face, DELAY if kind == "buffer" else None)]
    if kind in ("wire", "buffer"):
        under = step(at, "-z")
        below = chain.kind_at(under)
        if below not in (None, "block") or (below is None and under not in BOX):
            return
        new += [] if below else [Part("block", under)]
    yield Chain(
        carrier or ("wire" if kind == "wire" else "buffer"),
        at,
        face,
        (*chain.parts, *new),
        chain.buffers + (kind == "buffer"),
    )
