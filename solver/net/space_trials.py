"""Which scenes are tried for a route: the usual one first, then ways round what breaks in it.

A scene is tried without cables (`dry_run.py`). Where that fails, the faults and the power that
units put into the line tell what to change: a line gives way, a fold has its sensors on the other
side, a lift gets a cable of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass, field
from heapq import heappop, heappush

from models.geometry import VECTOR, Cell
from models.problem import Problem
from models.route import Route
from models.system import System
from solver.net.dry_run import faults_of_scene
from solver.net.floor_line import NoLine
from solver.net.reach import output_of
from solver.net.space_line import behind_lift
from solver.net.space_scene import USUAL, Change, Scene, lay_scene

MOST_TRIALS = 24
"""Scenes that are laid out for one route."""
NEAR = 4
"""How far from a fault, cells counted along the axes, what may have caused it stands."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())


@dataclass
class Trials:
    """The scenes of one route, those with the fewest changes first."""

    problem: Problem
    system: System
    route: Route
    refused: NoLine | None = None
    """Why the usual scene is none, if so."""
    _queue: list[tuple[int, int, Change]] = field(default_factory=list)
    _seen: set[Change] = field(default_factory=set)

    def scenes(self) -> Iterator[tuple[Change, Scene]]:
        """Scenes that work but for their cables."""
        self.ask(USUAL)
        for count in range(MOST_TRIALS):
            if not self._queue:
                return
            _, _, change = heappop(self._queue)
            scene = lay_scene(self.problem, self.system, self.route, change)
            if isinstance(scene, NoLine):
                if count == 0:
                    self.refused = scene
                self.turn_folds(change)
                continue
            faults = faults_of_scene(scene.machine, scene.line, scene.mute)
            if not faults:
                yield change, scene
                continue
            if count == 0:
                self.refused = NoLine(faults[0].text, proven=False)
            self._change(change, scene, {cell for fault in faults for cell in fault.cells})

    def ask(self, change: Change, *, soon: bool = False) -> None:
        """Have another scene tried; soon if it mends what is known to be all that is wrong."""
        if change not in self._seen:
            self._seen.add(change)
            heappush(self._queue, (0 if soon else change.size(), len(self._seen), change))

    def turn_folds(self, change: Change) -> None:
        """Have it tried with each fold the other way round."""
        count = sum(self.problem.homes[i] is None for i in self.route.cells)
        for fold in range(count):
            self.ask(change.turned(fold))

    def _change(self, change: Change, scene: Scene, spots: Set[Cell]) -> None:
        woken = woken_line(scene)
        if woken:
            self.ask(change.less(woken))
            for cell in woken:
                self.ask(change.less({cell}))
        self.turn_folds(change)
        lifts = [lift for lift in scene.line.lifts if lift not in scene.mute]
        close = [lift for lift in lifts if _apart(lift, spots) <= NEAR]
        for lift in close:
            if any(at in scene.line.lead for at in behind_lift(scene.line, lift)):
                self.ask(change.bared({lift}))
        if close:
            self.ask(change.bared(close))


def woken_line(scene: Scene) -> frozenset[Cell]:
    """What units put power into of the line: its wires, and blocks beside something that hears."""
    found = set()
    for part in scene.parts.values():
        if part.unit == "line":
            continue
        out = output_of(part)
        if out is not None and out in scene.line.parts and scene.parts[out].unit == "line":
            found.add(out)
    return frozenset(at for at in found if scene.parts[at].kind in ("wire", "block"))


def _apart(cell: Cell, spots: Iterable[Cell]) -> int:
    return min(
        (sum(abs(a - b) for a, b in zip(cell, spot, strict=True)) for spot in spots), default=0
    )
