"""Leads of one length: sensors in a row, each watching the one before it, a tick each.

A lead takes the shortest way and is lengthened by bends, each of two cells, where there is room.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from random import Random

from models.geometry import FACE_OF, FACES, OPPOSITE, VECTOR, Cell, Face, add, step, sub
from models.parts import Part
from solver.trigger.lead import Field
from solver.trigger.site import Site

ROOTS = 4
"""Places on other leads from which a lead is tried."""
BENDS = 400
"""Places for a bend that are tried."""
MOST_STATES = 60_000


class NoLeadsError(Exception):
    """No leads of one length were found."""


def distance(a: Cell, b: Cell) -> int:
    """Steps from one cell to the other."""
    return sum(map(abs, sub(a, b)))


class Leads:
    """Leads of one way, drawn one after the other. Each begins at the trigger or at another one."""

    def __init__(self, site: Site, starts: Sequence[Cell], start: Cell, rng: Random) -> None:
        self.site, self.starts, self.start, self.rng = site, starts, start, rng
        self.field: Field = site.field()
        self.watched = self.field.watched()
        self.steps: dict[Cell, int] = {start: 0}
        """Ticks from the trigger to each cell that a lead may begin beside."""
        self.end: Cell | None = None
        """Where the last sensor of a lead must stand: it may be watched there."""

    def lay(
        self, goal: Cell, heading: Cell | None, length: int, unit: str, *, stop: bool = False
    ) -> bool:
        """Sensors that put out into `goal`, so many ticks from the trigger; False: not found.

        `stop`: the last one stands in `goal`, where it is watched, and puts out to nobody.
        """
        self.field = self.site.field()
        self.watched = self.field.watched()
        for root in self._roots(goal, length):
            rest = length - self.steps[root]
            way = self.shortest(goal, heading, root, stop=stop)
            if way is None or len(way) > rest or (rest - len(way)) % 2:
                continue
            way = self._bent(root, None if stop else goal, way, rest)
            if len(way) == rest:
                self._put(root, way, unit)
                return True
        return False

    def _roots(self, goal: Cell, length: int) -> list[Cell]:
        """Where the lead may begin, the nearest places first, the trigger itself last."""
        rests = {
            c: length - k for c, k in self.steps.items() if distance(c, goal) - 1 <= length - k
        }
        near = sorted((c for c in rests if c != self.start), key=lambda c: (rests[c], c))
        few = near[: 2 * ROOTS]
        self.rng.shuffle(few)
        return [*few[:ROOTS], self.start]

    def _put(self, root: Cell, way: Sequence[Cell], unit: str) -> None:
        backs = list(zip([root, *way], way, strict=False))
        self.site.put(
            *(Part("sensor", cell, FACE_OF[sub(before, cell)], unit=unit) for before, cell in backs)
        )
        outs = {add(cell, sub(cell, before)) for before, cell in backs}
        self.site.air |= {cell for cell in outs if cell not in self.site.parts}
        # From the last one a branch would be heard where the lead ends.
        for k, cell in enumerate(way[:-1]):
            self.steps[cell] = self.steps[root] + k + 1

    def _open(self, cell: Cell, *, first: bool = False) -> bool:
        """Whether a lead may pass: leads of one trigger leave room for the others to begin."""
        if not self.field.fits(cell) or (cell in self.watched and cell != self.end):
            return False
        return all(
            distance(cell, other) > (1 if other == self.start else 2)
            or (first and other == self.start)
            for other in self.starts
        )

    def shortest(
        self, goal: Cell, heading: Cell | None, root: Cell, *, stop: bool = False
    ) -> list[Cell] | None:
        """The cells of the shortest lead, the heading of its last sensor given; None: no way."""
        faces = list(FACES)
        self.rng.shuffle(faces)
        self.end = goal if stop else (None if heading is None else sub(goal, heading))
        came: dict[tuple[Cell, Face], tuple[Cell, Face] | None] = {}
        waiting: list[tuple[int, int, int, tuple[Cell, Face]]] = []

        def enter(state: tuple[Cell, Face], before: tuple[Cell, Face] | None, steps: int) -> None:
            came[state] = before
            far = steps + distance(state[0], goal)
            heappush(waiting, (far, -steps, len(came), state))

        for face in faces:
            if self._open(step(root, face), first=root == self.start):
                enter((step(root, face), face), None, 1)
        while waiting and len(came) < MOST_STATES:
            _, negative, _, state = heappop(waiting)
            cell, face = state
            out = step(cell, face)
            ends = cell == goal and self.field.harmless(out) if stop else out == goal
            if ends and heading in (None, VECTOR[face]):
                way: list[Cell] = []
                here: tuple[Cell, Face] | None = state
                while here is not None:
                    way.append(here[0])
                    here = came[here]
                return way[::-1] if len(set(way)) == len(way) else None
            for turn in faces:
                after = (step(cell, turn), turn)
                if turn == OPPOSITE[face] or after in came:
                    continue
                if turn != face and not self.field.harmless(out):
                    continue
                if self._open(after[0]):
                    enter(after, state, 1 - negative)
        return None

    def _bent(self, root: Cell, goal: Cell | None, way: list[Cell], length: int) -> list[Cell]:
        """The same lead with bends in it. Without a goal it puts out to nobody."""
        for _ in range(BENDS):
            if len(way) == length:
                break
            if len(way) < 2:
                return way
            at, aside = self.rng.randrange(len(way) - 1), self.rng.choice(FACES)
            new = [step(way[at], aside), step(way[at + 1], aside)]
            if all(self._open(cell) for cell in new):
                longer = [*way[: at + 1], *new, *way[at + 1 :]]
                out = add(longer[-1], sub(longer[-1], longer[-2]))
                if goal is not None or self.field.harmless(out):
                    way = longer if self._runs([root, *longer, goal or out]) else way
        return way

    def _runs(self, cells: Sequence[Cell]) -> bool:
        """Whether sensors in all but the first and last pass a pulse on, and nobody else hears."""
        if len(set(cells)) < len(cells):
            return False
        for before, cell, after in zip(cells, cells[1:], cells[2:], strict=False):
            came, goes = sub(cell, before), sub(after, cell)
            if came == goes:
                continue
            out = add(cell, came)
            if after == cells[-1] or out == cells[-1] or not self.field.harmless(out):
                return False
        return True
