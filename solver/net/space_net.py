"""The trigger net of a loop over several surfaces: lines, folds, and cables from one button.

Every surface keeps its own way of firing lifts, so the line falls into pieces. A cable of sensors
leads from the trigger to each piece, and all pieces fire their lifts in one half-tick: the lifts
of a floor follow their wire by one tick, so its cables are one sensor shorter. A lift that no
wire fires, because a fold stands where its wire would be, gets a cable of its own.

What is found is checked by the simulation like every machine; what is not found is not
impossible.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import islice

from models.geometry import VECTOR, Cell, add, scale, sub
from models.parts import Part
from models.problem import Problem, face_name
from models.route import CornerOption, Route, RouteCut
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.cables import Feed, Space, Tree, ahead
from solver.net.floor_line import Net, NoLine, button_covers
from solver.net.fold_sites import place_folds
from solver.net.layout import place_drives
from solver.net.lift_lines import DOWN, UP, ClashError
from solver.net.space_line import SpaceLine, space_line, thinned, unfired, yielding
from solver.net.wall_net import powered

MAX_TRIGGERS = 8
"""Covers for the button that cables are led from."""
MAX_NETS = 4
"""Nets handed on for one route, until one is accepted."""
SLACK_TICKS = (0, 1, 2, 3, 4, 6, 8, 10)
"""How much later than the farthest feed asks for all may fire, to give cables room."""
MAX_FEEDS = 10
"""Feeds tried for one goal, near ones first."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_FAR = 1 << 20


@dataclass(frozen=True)
class Goal:
    """Something to fire: any of these feeds will do."""

    feeds: tuple[Feed, ...]
    lead: int
    """Ticks before the lifts at which it must be reached."""


@dataclass(frozen=True)
class _Scene:
    """Everything that stands before the first cable is led."""

    line: SpaceLine
    folds: tuple[Placed, ...]
    parts: Mapping[Cell, Part]
    hard: frozenset[Cell]
    """Cells that must stay free of everything."""
    air: frozenset[Cell]
    """Cells to dig beside the parts."""
    mute: tuple[Cell, ...]
    """Lifts that no wire fires."""


class SpaceNetSearch:
    """Finds trigger nets for routes over several surfaces."""

    exhaustive = False

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system
        self.reach = problem.scenario.rules.reach
        self.ground = frozenset(self._ground())
        """Every cell that may be dug."""

    def _ground(self) -> Iterator[Cell]:
        scenario = self.problem.scenario
        far = 1 + max(max(s.depth, s.margin) for s in scenario.surfaces.values())
        spans = [range(-far - 1, size + far + 1) for size in scenario.room]
        for x in spans[0]:
            for y in spans[1]:
                for z in spans[2]:
                    if self.problem.digging.allows((x, y, z)):
                        yield (x, y, z)

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets for a route, fewest parts first; then, if there is none, why."""
        scene = self._scene(route)
        if isinstance(scene, NoLine):
            yield scene
            return
        found = list(islice(self._nets(scene), MAX_NETS))
        if not found and scene.mute:
            thinner = self._scene(route, scene.mute)
            found = [] if isinstance(thinner, NoLine) else list(islice(self._nets(thinner), 2))
        yield from sorted(found, key=lambda net: len(net.loose))
        if not found:
            yield NoLine("no cables from a button to all pieces of the line", proven=False)

    # ------------------------------------------------------------------ what stands already

    def _scene(self, route: Route, mute: Iterable[Cell] = ()) -> _Scene | NoLine:
        """Lines, folds and drives; or why they do not go together.

        `mute` lifts are to be fired by cables, whatever wires lie behind them.
        """
        problem = self.problem
        tape = [problem.graph.cells[i] for i in route.cells]
        drives = place_drives(problem, self.system, route)
        try:
            line = space_line(problem, self.system, tape)
            folds = place_folds(problem, tape, line, drives)
            line = thinned(yielding(line, [*drives, *folds]), mute)
            parts, _ = merge((*drives, *folds), line.parts.values())
        except ClashError as clash:
            return NoLine(f"the lines do not fit the loop: {clash}", proven=False)
        except CollisionError as collision:
            cut = around_drives(route, (collision.first, collision.second))
            return NoLine(str(collision), proven=False, cut=cut)
        where = {part.at: part for part in parts}
        hard = line.keep | {c for unit in (*drives, *folds) for c in unit.air()}
        missing = self._missing(tape, where, hard, line.air)
        if missing is not None:
            return NoLine(missing, proven=False)
        air = self._breath(where, hard | line.air)
        left = unfired(problem, tape, where, line, air)
        return _Scene(line, tuple(folds), where, frozenset(hard), air, left)

    def _missing(
        self, tape: Sequence[Cell], parts: Mapping[Cell, Part], hard: Set[Cell], air: Set[Cell]
    ) -> str | None:
        """A cell that is needed and cannot be had."""
        for cell in sorted({*parts, *hard, *air} - set(tape)):
            if not self.problem.digging.allows(cell):
                return f"the cell {cell} is needed and may not be dug"
            if cell in parts and (cell in hard or cell in air):
                return f"the cell {cell} of {parts[cell].unit} must stay free"
        return None

    def _breath(self, parts: Mapping[Cell, Part], air: Set[Cell]) -> frozenset[Cell]:
        """What to dig beside the parts: all round wires, and where sensors put out."""
        found = set(air)
        for part in parts.values():
            if part.kind == "wire":
                found |= {add(part.at, side) for side in _SIDES}
            elif part.kind == "sensor" and part.face is not None:
                found.add(sub(part.at, VECTOR[part.face]))
        return frozenset(c for c in found if c in self.ground and c not in parts)

    # ------------------------------------------------------------------ nets

    def _nets(self, scene: _Scene) -> Iterator[Net]:
        """Nets from the covers that lie best."""
        wires = [*scene.line.wires(), *scene.mute]
        covers = list(self._triggers(scene))
        covers.sort(key=lambda c: (sum(_apart(c, wire) for wire in wires), c))
        for trigger in covers[:MAX_TRIGGERS]:
            net = self._net_from(scene, trigger)
            if net is not None:
                yield net

    def _net_from(self, scene: _Scene, trigger: Cell) -> Net | None:
        inward = self._inward(trigger)
        roots = frozenset((sub(trigger, inward), sub(trigger, scale(inward, 2))))
        space = self._space(scene, roots)
        away = reached(space, roots)
        goals = self._goals(scene, space, away)
        if goals is None:
            return None
        far = [(min(feed_ticks(f, away) for f in g.feeds) + g.lead, i) for i, g in enumerate(goals)]
        order = [goals[i] for _, i in sorted(far, reverse=True)]
        for later in SLACK_TICKS:
            ticks = max(far)[0] + later
            tree = Tree(space, roots, ticks)
            if all(_join(tree, goal, ticks, away) for goal in order):
                return self._net(scene, trigger, tree)
        return None

    def _net(self, scene: _Scene, trigger: Cell, tree: Tree) -> Net:
        inward = self._inward(trigger)
        away = face_name(scale(inward, -1))
        press = self.problem.scenario.rules.press
        button = Part("button", add(trigger, inward), away, None, press, "trigger")
        ram = Part("push_ram", sub(trigger, inward), away, unit="trigger")
        loose = (*scene.line.parts.values(), button, ram, *tree.sensors())
        taken = {part.at for part in loose} | set(scene.parts)
        air = scene.air | tree.outputs() | {sub(trigger, scale(inward, 2))}
        return Net(trigger, scene.folds, loose, {}, frozenset(air - taken))

    def _inward(self, cover: Cell) -> Cell:
        return self.problem.normal(self.problem.index[cover])

    # ------------------------------------------------------------------ places

    def _space(self, scene: _Scene, roots: Iterable[Cell] = ()) -> Space:
        """Where cables may run; the cells of the trigger are kept clear."""
        parts = scene.parts
        hard = {*scene.hard, *roots}
        over = {add(p.at, UP) for p in parts.values() if "ram" in p.kind}
        over |= {add(cell, UP) for cell in roots}
        empty = self.ground - hard - set(parts)
        deaf = {p.at for p in parts.values() if p.kind in ("sensor", "insulator")}
        return Space(empty, (empty | deaf) - over)

    def _triggers(self, scene: _Scene) -> Iterator[Cell]:
        """Covers on which a button with a ram behind it disturbs nothing."""
        free = self._space(scene).free
        tape = {add(lift, scale(inward, 2)) for lift, inward in scene.line.lifts.items()}
        for cover in button_covers(self.problem):
            inward = self._inward(cover)
            ram, head = sub(cover, inward), sub(cover, scale(inward, 2))
            if cover in tape or ram not in free or head not in free:
                continue
            near = [scene.parts.get(add(c, s)) for c in (ram, add(ram, UP)) for s in _SIDES]
            near.append(scene.parts.get(add(ram, DOWN)))
            if all(p is None or p.kind in ("sensor", "insulator") for p in near):
                yield cover

    # ------------------------------------------------------------------ what to reach

    def _goals(self, scene: _Scene, space: Space, away: Mapping[Cell, int]) -> list[Goal] | None:
        """Few feeds that together power every wire, and one for each lift without any."""
        goals = [Goal(self._at_lift(scene, space, lift, away), 0) for lift in scene.mute]
        feeds = {wire: self._at_wire(scene, space, wire, away) for wire in scene.line.lead}
        able = {
            wire: frozenset(powered(scene.parts, set(scene.air), wire, self.reach))
            for wire, ways in feeds.items()
            if ways
        }
        missing = set(scene.line.lead)
        while missing:
            wire = _hardest(missing, able)
            if wire is None:
                return None
            gain = max(len(able[w] & missing) for w in able if wire in able[w])
            best = [w for w in able if wire in able[w] and len(able[w] & missing) == gain]
            nearest = min(best, key=lambda w: min(feed_ticks(f, away) for f in feeds[w]))
            equal = [w for w in best if able[w] & missing == able[nearest] & missing]
            ways = tuple(f for w in equal for f in feeds[w])
            goals.append(Goal(ways, scene.line.lead[nearest]))
            missing -= able[nearest]
        return goals if all(goal.feeds for goal in goals) else None

    def _at_wire(
        self, scene: _Scene, space: Space, wire: Cell, away: Mapping[Cell, int]
    ) -> tuple[Feed, ...]:
        """Ways to feed a wire; one that must point at its lift bears no sensor at its side."""
        points = any(add(wire, side) in scene.line.lifts for side in _SIDES if side[2] == 0)
        return tuple(
            feed
            for feed in space.feeds(wire)
            if feed_ticks(feed, away) < _FAR and not (points and feed.last[2] == wire[2])
        )

    def _at_lift(
        self, scene: _Scene, space: Space, lift: Cell, away: Mapping[Cell, int]
    ) -> tuple[Feed, ...]:
        front = add(lift, scene.line.lifts[lift])
        return tuple(
            feed
            for feed in space.feeds(lift)
            if feed.last != front and feed_ticks(feed, away) < _FAR
        )


def around_drives(route: Route, units: Iterable[str]) -> RouteCut | None:
    """Refuses the corners of these drives between the same neighbours, wherever else tape runs.

    More than the one route is refused on the strength of one collision; none is called
    impossible for that.
    """
    met = [int(unit.split()[1]) for unit in units if unit.startswith("drive ")]
    count = len(route.corners)
    if not met or count < 5:
        return None
    corners: set[CornerOption] = set()
    cells: set[int] = set()
    for k in met:
        corners |= {route.corners[(k + d) % count] for d in (-1, 0, 1)}
        first = route.cells.index(route.corners[k - 1].cell)
        last = route.cells.index(route.corners[(k + 1) % count].cell)
        length = (last - first) % len(route.cells)
        cells |= {route.cells[(first + i) % len(route.cells)] for i in range(length)}
    return RouteCut(bare=frozenset(cells), dropped=frozenset(corners))


def _join(tree: Tree, goal: Goal, ticks: int, away: Mapping[Cell, int]) -> bool:
    """Lead a cable to one of the feeds; it must not run through the feed's own last cell."""
    tree.ticks = ticks - goal.lead
    space = tree.space
    for feed in sorted(goal.feeds, key=lambda f: (feed_ticks(f, away), f))[:MAX_FEEDS]:
        if feed.last in tree.time:
            continue
        tree.space = Space(space.free - {feed.last}, space.inert)
        joined = tree.join([feed])
        tree.space = space
        if joined:
            return True
    return False


def _hardest(missing: Set[Cell], able: Mapping[Cell, frozenset[Cell]]) -> Cell | None:
    """The wire that the fewest feeds reach; None if some wire is reached by none."""
    count = dict.fromkeys(missing, 0)
    for reach in able.values():
        for wire in reach & missing:
            count[wire] += 1
    wire = min(sorted(missing), key=lambda w: count[w])
    return wire if count[wire] else None


def reached(space: Space, roots: frozenset[Cell]) -> dict[Cell, int]:
    """How many sensors a cable from the roots needs to have one in a cell."""
    away = dict.fromkeys(roots, 0)
    queue = deque(roots)
    while queue:
        at = queue.popleft()
        for side in _SIDES:
            there = add(at, side)
            if there not in away and there in space.free and ahead(at, there) in space.inert:
                away[there] = away[at] + 1
                queue.append(there)
    return away


def feed_ticks(feed: Feed, away: Mapping[Cell, int]) -> int:
    """The least sensors of a cable to a feed."""
    return away.get(feed.watched, _FAR) + 1


def _apart(a: Cell, b: Cell) -> int:
    return sum(abs(x - y) for x, y in zip(a, b, strict=True))
