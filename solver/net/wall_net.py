"""The trigger net of a loop on a wall: its lift line, where it is fed, the cables to the button.

All lifts of a loop fire in one half-tick: the line is fed at as many wires as the reach asks
for, and the cables that lead there from the trigger are all of one length. The trigger is a push
ram behind a cover; sensors watch the ram or the cell that its head enters.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import reduce
from itertools import chain, islice, pairwise
from operator import or_

from models.geometry import VECTOR, Cell, Face, add, scale, step, sub
from models.parts import CONDUCTIVE, RAMS, Part
from models.problem import Problem, face_name
from models.route import Route, RouteCut
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.cables import Feed, Space, Tree, distances
from solver.net.floor_line import Net, NoLine, button_covers
from solver.net.layout import place_drives
from solver.net.lift_lines import DOWN, UP, ClashError, LiftLine, double_climbs, wall_line
from solver.net.woven_line import Bars, Ground, bars_of, faults_of, weave

LINE_DEPTH = 4
"""Cells behind the surface that a lift line reaches; cables go deeper only if they must."""
HEARING = frozenset({*RAMS, "wire", "inverter", "buffer"})
"""Kinds that ground with power in it would wake."""
POLISH, THIN_POLISH = ((0.5, 60),), ((0.5, 60), (2.0, 150))
"""How long a line found by search is made better; a thin wall leaves its cables little room."""
MOST_FEEDS = 12
"""Places at which a line is fed at most."""
MAX_COVERS = 300
"""Sets of feeding places that are weighed."""
MAX_TRIES = 240
"""Pairs of a trigger and feeding places for which cables are led, if there is one such place."""
LEAST_TRIES = 24
"""The same where a line must be fed at many places, and each try takes long."""
ENOUGH = 12
"""Nets after which the best of them is taken."""
MAX_NETS = 6
"""Nets handed on for one route, until one is accepted."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_LEVEL: tuple[Cell, ...] = tuple(v for face, v in VECTOR.items() if face[1] != "z")


@dataclass(frozen=True)
class _Scene:
    """Everything that stands before the first cable is led."""

    line: LiftLine
    parts: Mapping[Cell, Part]
    units: tuple[Placed, ...]
    hard: Set[Cell]
    """Cells that must stay free of everything."""
    inward: Cell


class WallNetSearch:
    """Finds trigger nets for routes on one wall."""

    exhaustive = False

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system
        self.weaves = False
        """Whether a line is searched for where the usual one does not do."""
        self.reach = problem.scenario.rules.reach
        (self.surface,) = problem.scenario.surfaces.values()
        self.ground = frozenset(self._ground())
        """Every cell that may be dug."""
        around = {add(cell, side) for cell in self.ground for side in _SIDES} - self.ground
        self.rock = frozenset(c for c in around if self.surface.plane.level(c) >= 1)
        """Cells beside those that stay ground, and conduct."""

    def _ground(self) -> Iterator[Cell]:
        plane, margin = self.surface.plane, self.surface.margin
        for row in range(-margin, plane.rows + margin):
            for column in range(-margin, plane.columns + margin):
                for level in range(1, self.surface.depth + 1):
                    cell = step(plane.cell(row, column), plane.behind, level)
                    if self.problem.digging.allows(cell):
                        yield cell

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets for a route, fewest parts first; then, if there is none, why."""
        usual = self._usual(route)
        scenes = self._woven(route) if self.weaves else iter(())
        refused = NoLine("no cables from a button to the lift line were found", proven=False)
        if isinstance(usual, NoLine):
            refused = replace(usual, proven=False)
        else:
            scenes = chain((usual,), scenes)
        found = accepted = False
        try:
            for scene in scenes:
                for net in self._cabled(scene):
                    found = accepted = True
                    yield net
                    accepted = False
        finally:
            # Who asks no further has a machine: then other lines are not worth their time.
            self.weaves = self.weaves and not accepted
        if not found:
            yield refused  # Else `realise` knows best why no net was accepted.

    def _cabled(self, scene: _Scene) -> Iterator[Net]:
        """Nets of one line, no deeper than they must be."""
        for depth in sorted({min(LINE_DEPTH, self.surface.depth), self.surface.depth}):
            found = False
            for net in islice(self._nets(scene, depth), MAX_NETS):
                found = True
                yield net
            if found:
                return

    # ------------------------------------------------------------------ what stands already

    def _woven(self, route: Route) -> Iterator[_Scene]:
        """Lifts, drives and lines found by search."""
        units = tuple(place_drives(self.problem, self.system, route))
        ground = self._ground_of(route, units)
        if ground is None:
            return
        for kinds, dug in weave(ground):
            line = LiftLine({at: ground.parts[at] for at in ground.lifts}, air=dug)
            for at, kind in kinds.items():
                line.put(kind, at)
            line.air |= self._deafened(line, ground.bars)
            yield _Scene(line, {**ground.parts, **line.parts}, units, ground.air, ground.inward)

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
            polish=POLISH if self.surface.depth >= LINE_DEPTH else THIN_POLISH,
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
        for level in range(2, min(LINE_DEPTH, self.surface.depth) + 1):
            behind = step(tape, plane.behind, level)
            for aside in (-1, 0, 1):
                for up in (-1, 0, 1, 2):
                    yield add(add(behind, scale(VECTOR[plane.right], aside)), (0, 0, up))

    def _deafened(self, line: LiftLine, bars: Bars) -> set[Cell]:
        """Cells to dig: as ground they would pass the line's power on to a drive."""
        beside = {add(wire, side) for wire in line.wires() for side in _LEVEL}
        return (beside & bars.deaf & self.ground) - set(line.parts)

    def _usual(self, route: Route) -> _Scene | NoLine:
        """Lifts, drives and the line that fits most loops."""
        problem = self.problem
        tape = [problem.graph.cells[i] for i in route.cells]
        inward = problem.normal(route.cells[0])
        try:
            line = wall_line(tape, inward)
        except ClashError as clash:
            cut = None if clash.cell is None else self._cut(route, clash.cell, ())
            return NoLine(f"the lift line does not fit the loop: {clash}", cut=cut)
        units = place_drives(problem, self.system, route)
        behind = {sub(cell, inward) for cell in tape}
        lifts = {sub(c, scale(inward, 2)): f"lift {k}" for k, c in enumerate(tape)}
        own = {at: p._replace(unit=lifts.get(at, "line")) for at, p in line.parts.items()}
        for part in (part for unit in units for part in unit.parts()):
            if part.kind == "sensor" and part.at in own and own[part.at].kind == "insulator":
                del own[part.at]  # A wire stands on a sensor as well.
        line = replace(line, parts=own)
        try:
            parts, _ = merge(units, own.values())
        except CollisionError as collision:
            text = f"the lift line and a drive meet: {collision}"
            units_met = (collision.first, collision.second)
            return NoLine(text, cut=self._cut(route, collision.cell, units_met))
        hard = behind | {cell for unit in units for cell in unit.air()}
        for cell in (*own, *behind, *line.air):
            if not problem.digging.allows(cell):
                text = f"the lift line needs the cell {cell}, which may not be dug"
                return NoLine(text, cut=self._cut(route, cell, ()))
        for part in parts:
            if part.at in behind or part.at in line.air:
                text = f"the lift line needs the cell {part.at} of {part.unit} free"
                return NoLine(text, cut=self._cut(route, part.at, (part.unit,)))
        return _Scene(line, {p.at: p for p in parts}, tuple(units), frozenset(hard), inward)

    def _cut(self, route: Route, cell: Cell, units: tuple[str, ...]) -> RouteCut:
        """Every route with these units, and with the edges whose line can reach the cell.

        An edge's line follows from its length and its two corners.
        """
        cells, corners = self.problem.graph.cells, route.corners
        dropped = {corners[int(name.split()[1])] for name in units if name.startswith("drive")}
        bare: set[int] = set()
        turns = {corner.cell: corner for corner in corners}
        starts = [k for k, i in enumerate(route.cells) if i in turns]
        for start, end in pairwise([*starts, starts[0] + len(route.cells)]):
            edge = [route.cells[k % len(route.cells)] for k in range(start, end + 1)]
            if any(self._in_reach(cells[i], cell) for i in edge):
                dropped |= {turns[edge[0]], turns[edge[-1]]}
                bare |= set(edge[1:-1])
        return RouteCut(bare=frozenset(bare), dropped=frozenset(dropped))

    def _in_reach(self, tape: Cell, cell: Cell) -> bool:
        """Whether the line behind a tape cell may take a cell: one aside, two above or below."""
        behind = step(cell, self.surface.plane.behind, -self.surface.plane.level(cell))
        return _apart((*tape[:2], 0), (*behind[:2], 0)) <= 1 and abs(tape[2] - behind[2]) <= 2

    # ------------------------------------------------------------------ nets

    def _nets(self, scene: _Scene, depth: int) -> Iterator[Net]:
        """Nets whose cables lie no deeper than this, fewest parts first."""
        space = self._space(scene, depth)
        feeds = {w: f for w in scene.line.wires() if (f := _feeds(scene, space, w))}
        covers = list(islice(_covers(scene, feeds, self.reach), MAX_COVERS))
        triggers = list(self._triggers(scene, depth))
        roots = frozenset(c for t in triggers for c in _roots(t, scene.inward))
        away = {
            wire: distances(space, feeds[wire], roots, {})[0]
            for wire in {wire for cover in covers for wire in cover}
        }
        weighed = []
        for trigger in triggers:
            ends = _roots(trigger, scene.inward)
            for cover in covers:
                lengths = [min(away[w].get(c, 1 << 20) for c in ends) for w in cover]
                if max(lengths) < 1 << 20:
                    weighed.append((max(lengths) + sum(lengths), max(lengths), trigger, cover))
        weighed.sort()
        nets: list[tuple[int, int, Net]] = []
        fewest = len(weighed[0][3]) if weighed else 1
        for _, ticks, trigger, cover in weighed[: max(LEAST_TRIES, MAX_TRIES // fewest**2)]:
            net = self._wired(scene, depth, trigger, [feeds[w] for w in cover], ticks)
            if net is not None:
                nets.append((len(net.loose), len(nets), net))
            if len(nets) >= ENOUGH:
                break
        yield from (net for _, _, net in sorted(nets, key=lambda n: n[:2]))

    def _wired(
        self, scene: _Scene, depth: int, trigger: Cell, feeds: list[list[Feed]], ticks: int
    ) -> Net | None:
        roots = _roots(trigger, scene.inward)
        space = self._space(scene, depth, trigger)
        for later in (0, 1, 2, 4):
            tree = Tree(space, roots, ticks + later)
            order = sorted(feeds, key=lambda f: -min(_apart(f[0].wire, c) for c in roots))
            if all(tree.join(ways) for ways in order):
                return self._net(scene, trigger, tree)
        return None

    def _net(self, scene: _Scene, trigger: Cell, tree: Tree) -> Net:
        away: Face = face_name(scale(scene.inward, -1))
        press = self.problem.scenario.rules.press
        button = Part("button", add(trigger, scene.inward), away, None, press, "trigger")
        ram = Part("push_ram", sub(trigger, scene.inward), away, unit="trigger")
        loose = (*scene.line.parts.values(), button, ram, *tree.sensors())
        taken = {part.at for part in loose} | set(scene.parts)
        woken = tree.outputs() & self.ground & self._heard(scene, trigger)
        air = scene.line.air | woken | {sub(trigger, scale(scene.inward, 2))}
        air |= {sub(cell, scene.inward) for cell in self._tape_of(scene)}
        return Net(trigger, (), loose, {}, frozenset(air - taken))

    def _tape_of(self, scene: _Scene) -> list[Cell]:
        two = scale(scene.inward, 2)
        return [add(p.at, two) for p in scene.line.parts.values() if p.kind == "grip_ram"]

    # ------------------------------------------------------------------ places

    def _space(self, scene: _Scene, depth: int, trigger: Cell | None = None) -> Space:
        """Where cables may run. With a trigger given, its cells are kept clear."""
        parts, plane = scene.parts, self.surface.plane
        hard, over = set(scene.hard), {add(p.at, UP) for p in parts.values() if "ram" in p.kind}
        if trigger is not None:
            ram, head = sub(trigger, scene.inward), sub(trigger, scale(scene.inward, 2))
            hard |= {ram, head}
            over.add(add(ram, UP))
        empty = self.ground - hard - set(parts)
        deaf = {p.at for p in parts.values() if p.kind in ("sensor", "insulator")}
        heard = self._heard(scene, trigger)
        return Space(
            frozenset(cell for cell in empty if plane.level(cell) <= depth),
            (empty | deaf | (self.rock - heard)) - over,
        )

    def _heard(self, scene: _Scene, trigger: Cell | None) -> set[Cell]:
        """Cells that must be dug if power goes there: as ground they would wake something."""
        ears = {c for p in scene.parts.values() if p.kind in HEARING for c in _ears(p)}
        if trigger is not None:
            ears.update(_ears(Part("push_ram", sub(trigger, scene.inward))))
        return {add(cell, side) for cell in ears for side in _SIDES}

    def _triggers(self, scene: _Scene, depth: int) -> Iterator[Cell]:
        """Covers on which a button with a ram behind it disturbs nothing."""
        space = self._space(scene, depth)
        tape = set(self._tape_of(scene))
        for cover in button_covers(self.problem):
            ram, head = sub(cover, scene.inward), sub(cover, scale(scene.inward, 2))
            if cover in tape or ram not in space.free or head not in space.free:
                continue
            near = [scene.parts.get(add(c, s)) for c in (ram, add(ram, UP)) for s in _SIDES]
            below = scene.parts.get(add(ram, DOWN))
            if any(p is not None and p.kind not in ("sensor", "insulator") for p in (*near, below)):
                continue
            yield cover


def _ears(part: Part) -> tuple[Cell, ...]:
    """Where a part may read power from its neighbours; a ram also one cell above itself."""
    return (part.at, add(part.at, UP)) if part.kind in RAMS else (part.at,)


def _roots(trigger: Cell, inward: Cell) -> frozenset[Cell]:
    """The cells of a trigger that sensors may watch: its ram, and where the head goes."""
    return frozenset((sub(trigger, inward), sub(trigger, scale(inward, 2))))


def _apart(a: Cell, b: Cell) -> int:
    return sum(abs(x - y) for x, y in zip(a, b, strict=True))


# ---------------------------------------------------------------------- feeding places


def _feeds(scene: _Scene, space: Space, wire: Cell) -> list[Feed]:
    """Ways to feed a wire; one that may have to point at a lift bears no sensor at its side."""
    feeds = space.feeds(wire)
    beside = [scene.parts.get(add(wire, side)) for side in _LEVEL]
    if not any(part is not None and part.kind == "grip_ram" for part in beside):
        return feeds
    return [feed for feed in feeds if feed.last[2] != wire[2]]


def _covers(
    scene: _Scene, feeds: Mapping[Cell, list[Feed]], reach: int
) -> Iterator[tuple[Cell, ...]]:
    """Sets of wires, as few as can be, from which power reaches the whole line."""
    wires = scene.line.wires()
    bit = {wire: 1 << i for i, wire in enumerate(wires)}
    reached = {
        wire: sum(bit[w] for w in powered(scene.parts, scene.line.air, wire, reach))
        for wire in feeds
    }
    whole = (1 << len(wires)) - 1
    if reduce(or_, reached.values(), 0) != whole:
        return
    for size in range(1, MOST_FEEDS + 1):
        found = False
        for cover in _exact_covers(reached, whole, size, ()):
            found = True
            yield cover
        if found:
            return


def _exact_covers(
    reached: Mapping[Cell, int], missing: int, size: int, chosen: tuple[Cell, ...]
) -> Iterator[tuple[Cell, ...]]:
    """All ways to reach what is missing with `size` more wires; the hardest wire first."""
    if not missing:
        yield chosen
        return
    if size == 0 or max(bin(r & missing).count("1") for r in reached.values()) * size < bin(
        missing
    ).count("1"):
        return
    bits = [1 << i for i in range(missing.bit_length()) if missing >> i & 1]
    rare = min(bits, key=lambda b: sum(1 for r in reached.values() if r & b))
    for wire, r in reached.items():
        if r & rare:
            yield from _exact_covers(reached, missing & ~r, size - 1, (*chosen, wire))


def powered(
    parts: Mapping[Cell, Part], air: set[Cell], source: Cell, reach: int
) -> dict[Cell, int]:
    """The level of every wire that power from one wire reaches, ground or no ground."""

    def conducts(cell: Cell) -> bool:
        part = parts.get(cell)
        return part.kind in CONDUCTIVE if part is not None else cell not in air

    def is_wire(cell: Cell) -> bool:
        part = parts.get(cell)
        return part is not None and part.kind == "wire"

    level = {source: reach}
    queue = deque([source])
    while queue:
        at = queue.popleft()
        if level[at] == 1:
            continue
        for side in _LEVEL:
            beside = add(at, side)
            near = [beside] if is_wire(beside) else []
            if is_wire(add(beside, UP)) and not conducts(add(at, UP)):
                near.append(add(beside, UP))
            under = parts.get(add(at, DOWN))
            if is_wire(add(beside, DOWN)) and not conducts(beside):
                near += [add(beside, DOWN)] if under and under.kind in CONDUCTIVE else []
            for other in near:
                if other not in level:
                    level[other] = level[at] - 1
                    queue.append(other)
    return level
