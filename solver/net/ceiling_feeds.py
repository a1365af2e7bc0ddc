"""The trigger net of a ceiling whose loop is longer than one wire run reaches.

On a ceiling no booster may stand in the line itself: over a ram's head the block of the cell
before would be read one tick before the booster's own, and the lift between would be fired
twice. So the whole line fires in one half-tick, from several feeds: a *trunk* of wires leads
from the trigger to buffers, and each buffer faces a cell of the line. The trunk keeps away from
the line by one cell. Where it is longer than a wire carries, boosters stand in it, as many on the
way to each feed. Or cables of sensors lead to the feeds, as over several surfaces. The cheaper net
is tried first. Few parts are aimed at, not proven.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice

from models.geometry import Cell, add, scale, sub
from models.parts import Part
from models.problem import Problem, face_name
from models.route import Route
from models.system import System
from solver.net import coupling
from solver.net.arms import TwoArms
from solver.net.assemble import Placed
from solver.net.boosters import Allowance
from solver.net.floor_line import Line, LineSearch, Net, NoLine, Places, sides_of, upright
from solver.net.layout import level_of
from solver.net.space_net import SpaceNetSearch
from solver.net.trunk import Ground, Trunk, ground, grow, shorten
from solver.route.problem import corner_frame

AROUND = 3
"""How far beyond the loop's own rectangle a trunk may run, where the button is not given."""
TRIGGERS = 40
"""From about so many triggers trunks are grown."""
TRUNKS = 6
"""How many are tried; what they let power into is seen in simulation."""


class FeedSearch(LineSearch):
    """One run of wires where it reaches, else a trunk with feeds, or cables of sensors."""

    def __init__(self, problem: Problem, system: System) -> None:
        super().__init__(problem, system)
        self.cables = SpaceNetSearch(problem, replace(system, name=system.table))

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """The best line without boosters; else the best trunk found."""
        lines = self.find(route)
        if isinstance(lines, NoLine):
            if lines.proven:
                yield lines
                return
            lines = []
        plain = [line for line in lines if not line.boosters]
        yield from (self.net_of(route, line) for line in plain)
        if plain:
            # No trunk costs less: it would be a link too, with a buffer at its end.
            return
        self.exhaustive = False
        loop = [self.problem.graph.cells[i] for i in route.cells]
        normal = self.problem.normal(route.cells[0])
        triggers, wires = self._calm(route, self.places(route, set(loop), normal))
        sides = sides_of(self.problem, loop[0], normal)
        below = ground(loop, sides, wires, self.reach)
        nets = [self._trunk_net(route, normal, trunk) for trunk in _trunks(below, triggers)]
        nets += [net for net in self.cables.candidates(route) if isinstance(net, Net)]
        if not nets:
            yield NoLine("neither a trunk nor cables reach the whole line at once", proven=False)
        yield from sorted(nets, key=self._worth)

    def _worth(self, net: Net) -> tuple[int, int]:
        """The depth and the parts of a net, the term that matters more first."""
        places = [*net.air, *(part.at for part in net.loose if part.kind != "button")]
        depth = max(self.system.depth, *(level_of(self.problem, cell) for cell in places))
        parts = len(net.loose) + sum(len(unit.parts()) for unit in net.units)
        return (depth, parts) if self.cables.depth_first else (parts, depth)

    def find(self, route: Route) -> list[Line] | NoLine:
        """As on a floor; of the shortest links first those that no drive powers."""
        loop = {self.problem.graph.cells[i] for i in route.cells}
        places = self.places(route, loop, self.problem.normal(route.cells[0]))
        lines = self.lines(route, places)
        if isinstance(lines, NoLine):
            return lines
        sure = self.exhaustive
        calm = self.lines(route, self._calm(route, places))
        self.exhaustive = sure
        if isinstance(calm, NoLine) or len(calm[0].link) > len(lines[0].link):
            return lines
        return [*calm, *(line for line in lines if line not in calm)]

    def _calm(self, route: Route, places: Places) -> Places:
        """Places of triggers and wires without those where a drive may fire the line again.

        A ceiling's pulse is over while its drives work. Not every such place does harm, but for a
        trunk, of which nothing is claimed, they are too many to try.
        """
        triggers, wires = places
        normal = self.problem.normal(route.cells[0])
        fed: set[Cell] = set()
        for corner in route.corners:
            frame = corner_frame(self.problem, corner.cell, corner.in_port, corner.out_port)
            fed.update(map(frame.cell, coupling.strong(self.system.drive(corner.variant))))
        calm = {
            cell
            for cell in wires
            if self._at(cell, normal) not in fed and self._stand(cell, normal) not in fed
        }
        return [cell for cell in triggers if cell in calm], calm

    def _fed(self, arms: TwoArms, path: tuple[Cell, ...], allowance: Allowance) -> Line | None:
        """A line that would need boosters is no use here: none are placed."""
        if self._least_ticks(arms.loop, path):
            return None
        return super()._fed(arms, path, allowance)

    def _trunk_net(self, route: Route, normal: Cell, trunk: Trunk) -> Net:
        system, loose = self.system, []
        for cell in trunk.wires:
            if cell != trunk.trigger:
                loose.append(Part("wire", self._at(cell, normal), unit="trunk"))
                loose.append(Part("block", self._stand(cell, normal), unit="trunk"))
        for unit, buffers in (("booster", trunk.boosters), ("feed", trunk.feeds)):
            for cell, direction in buffers:
                at, face = self._at(cell, normal), face_name(direction)
                loose.append(Part("buffer", at, face, 1, unit=unit))
                loose.append(Part("block", self._stand(cell, normal), unit=unit))
        lifts = self.lifts(route)
        button = Placed(system.trigger, upright(self.problem, trunk.trigger), "trigger")
        return Net(trunk.trigger, (*lifts, button), tuple(loose))

    def _at(self, cell: Cell, normal: Cell) -> Cell:
        return add(cell, scale(normal, self.system.line_level))

    def _stand(self, cell: Cell, normal: Cell) -> Cell:
        return add(cell, scale(normal, self.system.stand_level))


def _trunks(below: Ground, triggers: Sequence[Cell]) -> list[Trunk]:
    """Trunks to try, the cheapest first."""
    low = [min(cell[i] for cell in below.loop) for i in range(3)]
    high = [max(cell[i] for cell in below.loop) for i in range(3)]
    nearest = sorted(
        triggers,
        key=lambda cell: sum(abs(2 * v - a - b) for a, v, b in zip(low, cell, high, strict=True)),
    )
    # Half of them near the middle, the others from everywhere: the middle may be shut in.
    spread = nearest[TRIGGERS // 2 :: max(1, 2 * len(nearest) // TRIGGERS)]
    tried = [*nearest[: TRIGGERS // 2], *spread]
    grown = [t for cell in tried if (t := grow(below, cell)) is not None]
    grown.sort(key=lambda trunk: trunk.size)
    known = grown[0] if grown else None
    near = below
    if len(triggers) > 1:
        near = replace(below, free=frozenset(c for c in below.free if _near(c, low, high)))
        near = replace(near, feeds=tuple(f for f in near.feeds if sub(*f) in near.free))
    best = shorten(near, nearest, known)
    found = [*([best] if best is not None else []), *islice(grown, TRUNKS)]
    return [trunk for i, trunk in enumerate(found) if trunk not in found[:i]]


def _near(cell: Cell, low: Sequence[int], high: Sequence[int]) -> bool:
    return all(a - AROUND <= v <= b + AROUND for a, v, b in zip(low, cell, high, strict=True))
