"""The trigger net of a loop on a wall: the usual lift line, or one found by search, and its cables.

The line and its cables are those of loops over several surfaces (`space_net.py`): lifts that the
line does not fire get cables of their own. Where that makes no machine, lines are searched for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace
from itertools import islice

from models.geometry import VECTOR, Cell, add, scale, step, sub
from models.parts import Part
from models.problem import Problem, face_name
from models.route import Route
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.dry_run import bare_machine, unfired
from solver.net.floor_line import Net, NoLine
from solver.net.layout import place_drives
from solver.net.lift_lines import WALL_DEPTH, LiftLine, double_climbs, wall_line
from solver.net.space_line import SpaceLine
from solver.net.space_net import MAX_NETS, SpaceNetSearch
from solver.net.space_scene import Scene, depth_of_cells, dug_for
from solver.net.woven_line import Ground, Woven, bars_of, faults_of, weave

POLISH, THIN_POLISH = ((0.5, 60),), ((0.5, 60), (2.0, 150))
"""How long a line found by search is made better; a thin wall leaves its cables little room."""
CLASH = NoLine("the usual lift line does not fit the loop", proven=False)
_LEVEL: tuple[Cell, ...] = tuple(v for face, v in VECTOR.items() if face[1] != "z")


class WallNetSearch(SpaceNetSearch):
    """Finds trigger nets for routes on one wall."""

    def __init__(self, problem: Problem, system: System) -> None:
        super().__init__(problem, system)
        self.weaves = False
        """Whether a line is searched for where the usual one does not do."""
        self.drawn = problem.scenario.loop.shape == "exact"
        (self.surface,) = problem.scenario.surfaces.values()

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets for a route, those of the usual line first; then, if there is none, why."""
        found = accepted = False
        refused: NoLine | None = None
        try:
            for net in self._all(route):
                if isinstance(net, NoLine):
                    refused = refused or net
                    continue
                found = accepted = True
                yield net
                accepted = False
        finally:
            # Who asks no further has a machine: then other lines are not worth their time.
            self.weaves = self.weaves and not accepted
            if self.surface.depth < WALL_DEPTH or len(route.corners) > 4 or not self.drawn:
                # Other lines or drives, not offered here, might do with less.
                self.floors.pop(route, None)
        if refused is not None and not found:
            yield refused  # Else `realise` knows best why no net was accepted.

    def _all(self, route: Route) -> Iterator[Net | NoLine]:
        if not self.weaves:
            yield from super().candidates(route) if self._fits(route) else (CLASH,)
            return
        for scene in self._woven(route):
            yield from islice(self.cabled(route, scene), MAX_NETS)
        yield from super().candidates(route)
        # What a machine with a line found by search has at least is not known.
        self.floors.pop(route, None)

    def _fits(self, route: Route) -> bool:
        """Whether the usual line fits the loop: some lines of loops two cells wide do not."""
        tape = [self.problem.graph.cells[i] for i in route.cells]
        return not wall_line(tape, self.problem.normal(route.cells[0]), lenient=True).clashes

    def _woven(self, route: Route) -> Iterator[Scene]:
        """Lifts, drives and lines found by search."""
        units = tuple(place_drives(self.problem, self.system, route))
        ground = self._ground_of(route, units)
        if ground is not None:
            for woven in weave(ground):
                yield self._scene(route, units, ground, woven)

    def _scene(self, route: Route, units: Sequence[Placed], ground: Ground, woven: Woven) -> Scene:
        kinds, dug = woven
        lifts = dict.fromkeys(ground.lifts, ground.inward)
        line = {at: Part(kind, at, unit="line") for at, kind in kinds.items()}
        parts = {**ground.parts, **line}
        wires = {at: 0 for at, kind in kinds.items() if kind == "wire"}
        air = (dug | self._deafened(wires, ground) | ground.air) - set(parts)
        own = {**{at: ground.parts[at] for at in lifts}, **line}
        keep = frozenset(add(at, ground.inward) for at in lifts)
        spun = SpaceLine(own, wires, lifts, air, keep)
        tape = [self.problem.graph.cells[i] for i in route.cells]
        dug = dug_for(self.problem, parts, air, units)
        machine, depth = (
            bare_machine(self.problem, tape, parts, dug),
            depth_of_cells(self.problem, dug),
        )
        mute = unfired(machine, spun)
        return Scene(spun, (), parts, frozenset(ground.air), frozenset(air), mute, depth, machine)

    def _ground_of(self, route: Route, units: tuple[Placed, ...]) -> Ground | None:
        """What a line has to get along with; None where lifts and drives meet already."""
        tape = [self.problem.graph.cells[i] for i in route.cells]
        inward = self.problem.normal(route.cells[0])
        lifts = {sub(cell, scale(inward, 2)): f"lift {k}" for k, cell in enumerate(tape)}
        rams = [Part("grip_ram", at, face_name(inward), unit=name) for at, name in lifts.items()]
        try:
            parts, _ = merge(units, rams)
        except CollisionError:
            return None
        air = frozenset({sub(c, inward) for c in tape} | {c for u in units for c in u.air()})
        near = {c for cell in tape for c in self._around(cell)} & self.ground
        ground = Ground(
            lifts=tuple(lifts),
            inward=inward,
            free=near - {part.at for part in parts} - air,
            diggable=self.ground,
            parts={part.at: part for part in parts},
            air=air,
            bars=bars_of((part for unit in units for part in unit.parts()), self.ground),
            reach=self.reach,
            usual=LiftLine(),
            polish=POLISH if self.surface.depth >= WALL_DEPTH else THIN_POLISH,
            changed=False,
        )
        found = []
        for colour in (0, 1):
            usual = wall_line(tape, inward, lenient=True)
            changed = double_climbs(usual, tape, inward, colour)
            found.append(replace(ground, usual=usual, changed=changed))
        return min(found, key=lambda g: len(faults_of(g)))

    def _around(self, tape: Cell) -> Iterator[Cell]:
        """Cells that a woven line may fill for the sake of one tape cell."""
        plane = self.surface.plane
        for level in range(2, min(WALL_DEPTH, self.surface.depth) + 1):
            behind = step(tape, plane.behind, level)
            for aside in (-1, 0, 1):
                for up in (-1, 0, 1, 2):
                    yield add(add(behind, scale(VECTOR[plane.right], aside)), (0, 0, up))

    def _deafened(self, wires: Mapping[Cell, int], ground: Ground) -> Set[Cell]:
        """Cells to dig: as ground they would pass the line's power on to a drive."""
        beside = {add(wire, side) for wire in wires for side in _LEVEL}
        return beside & ground.bars.deaf & self.ground
