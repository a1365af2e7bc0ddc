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
from models.parts import RAMS, Part
from models.problem import Problem, face_name
from models.route import CornerOption, Route, RouteCut
from models.system import System
from solver.net.assemble import CollisionError, Placed, merge
from solver.net.cable_trees import (
    FAR,
    MOST_GOALS,
    MOST_TICKS,
    CableTable,
    EffortSpentError,
    Goal,
    TreeSearch,
)
from solver.net.cables import Feed, Space, Tree, ahead, outputs_of, sensors_of
from solver.net.floor_line import Net, NoLine, button_covers
from solver.net.fold_sites import place_folds
from solver.net.layout import place_drives
from solver.net.lift_lines import UP, ClashError
from solver.net.space_line import SpaceLine, behind_lift, space_line, thinned, unfired, yielding
from solver.net.wall_net import powered

THINNINGS = 3
"""Times that wires are taken away to make room for cables."""
MAX_TRIGGERS = 8
"""Covers for the button that cables are led from."""
MAX_NETS = 4
"""Nets handed on for one route, until one is accepted."""
SLACK_TICKS = (0, 1, 2, 3, 4, 6, 8, 10)
"""How much later than the farthest feed asks for all may fire, to give cables room."""
MOST_SPARE = 6
"""Sensors more than the least that a tree may have before other ways are tried."""
EFFORT, EFFORT_A_TREE = 40_000, 2_000
"""Steps of the search for trees, for a route and for one tree."""
MAX_FEEDS = 10
"""Feeds tried for one goal, near ones first."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_FAR = 1 << 20
_MUTE = frozenset({*RAMS, "sensor", "insulator"})
"""What may stand beside the trigger's ram: it powers nothing, or only straight ahead."""


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


@dataclass(frozen=True)
class _Ways:
    """Where cables may run in a scene, and what they can reach."""

    triggers: Mapping[Cell, tuple[Cell, Cell]]
    """Covers for the button, with the cells behind that change: the ram's and its head's."""
    space: Space
    away: Mapping[Cell, int]
    feeds: Mapping[Cell, tuple[Feed, ...]]
    """How each wire can be fed, if it can."""
    able: Mapping[Cell, frozenset[Cell]]
    """Which wires each of these powers."""


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
        """Nets for a route, fewest parts first; then, if there is none, why.

        First with the line as it is laid, then without the wires that no cable can reach.
        """
        bare: set[Cell] = set()
        found = False
        for _ in range(THINNINGS):
            scene = self._scene(route, bare)
            if isinstance(scene, NoLine):
                if not bare:
                    yield scene
                    return
                break
            ways = self._ways(scene)
            for net in islice(self._nets(scene, ways), MAX_NETS):
                found = True
                yield net
            more = _lifts_to_bare(scene, ways) - bare
            if not more:
                break
            bare |= more
        if not found:
            yield NoLine("no cables from a button to all pieces of the line", proven=False)

    # ------------------------------------------------------------------ what stands already

    def _scene(self, route: Route, bare: Iterable[Cell]) -> _Scene | NoLine:
        """Lines, folds and drives; or why they do not go together.

        Lifts named `bare` get no wires: they are to be fired by cables.
        """
        problem = self.problem
        tape = [problem.graph.cells[i] for i in route.cells]
        drives = place_drives(problem, self.system, route)
        try:
            line = space_line(problem, self.system, tape)
            folds = place_folds(problem, tape, line, drives)
            line = yielding(line, [*drives, *folds], problem.digging.allows)
            line = thinned(line, bare)
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

    def _ways(self, scene: _Scene, trigger: Cell | None = None) -> _Ways:
        """All triggers together, or one of them alone and its cells kept clear."""
        covers = list(self._triggers(scene)) if trigger is None else [trigger]
        triggers = {cover: self._roots(cover) for cover in covers}
        ends = frozenset(cell for roots in triggers.values() for cell in roots)
        space = self._space(scene, ends if trigger is not None else ())
        away = reached(space, ends)
        feeds = {
            wire: ways
            for wire in scene.line.lead
            if (ways := _near(self._at_wire(scene, space, wire), away))
        }
        air = set(scene.air)
        able = {w: frozenset(powered(scene.parts, air, w, self.reach)) for w in feeds}
        return _Ways(triggers, space, away, feeds, able)

    def _nets(self, scene: _Scene, ways: _Ways) -> Iterator[Net]:
        """Nets with few sensors; the first has the fewest, if its search came to an end."""
        goals = self._goals(scene, ways)
        if not ways.triggers or goals is None:
            return
        if len(goals) <= MOST_GOALS:
            ends = (cell for roots in ways.triggers.values() for cell in roots)
            yield from self._exact_nets(scene, CableTable(ways.space, goals, ends), ways.triggers)
        nearest = sorted(ways.triggers, key=lambda c: (self._farness(scene, c), c))
        for trigger in nearest[:MAX_TRIGGERS]:
            net = self._net_from(scene, trigger)
            if net is not None:
                yield net

    def _exact_nets(
        self, scene: _Scene, table: CableTable, triggers: Mapping[Cell, Sequence[Cell]]
    ) -> Iterator[Net]:
        """Nets from the table of all cables, fewest sensors first."""
        plans = sorted(self._plans(table, triggers))
        effort, tried = EFFORT, set()
        for sensors in range(plans[0][0], plans[0][0] + MOST_SPARE) if plans else ():
            for least, ticks, trigger in plans:
                if least > sensors or trigger in tried or effort <= 0:
                    continue
                roots = triggers[trigger]
                over = {add(cell, UP) for cell in roots}
                search = TreeSearch(table, frozenset(roots), over, min(effort, EFFORT_A_TREE))
                spent = search.effort
                try:
                    tree = search.run(ticks, roots, sensors)
                except EffortSpentError:
                    tree = None
                effort -= spent - search.effort
                if tree is not None:
                    tried.add(trigger)
                    yield self._net(scene, trigger, tree)

    def _plans(
        self, table: CableTable, triggers: Mapping[Cell, Sequence[Cell]]
    ) -> Iterator[tuple[int, int, Cell]]:
        """For every trigger and every time the least sensors, as long as it may matter."""
        best = FAR
        for ticks in range(1, MOST_TICKS):
            table.extend()
            for trigger, roots in triggers.items():
                least = table.from_roots(table.full, ticks, roots)
                if least < best + MOST_SPARE:
                    yield least, ticks, trigger
                    best = min(best, least)
            if ticks > best + MOST_SPARE:
                return

    def _farness(self, scene: _Scene, cover: Cell) -> int:
        return sum(_apart(cover, wire) for wire in (*scene.line.wires(), *scene.mute))

    def _roots(self, cover: Cell) -> tuple[Cell, Cell]:
        """The cells of a trigger that change: its ram, and where the head goes."""
        inward = self._inward(cover)
        return sub(cover, inward), sub(cover, scale(inward, 2))

    def _net_from(self, scene: _Scene, trigger: Cell) -> Net | None:
        """Cables led one after the other, from one trigger."""
        ways = self._ways(scene, trigger)
        roots, away = frozenset(self._roots(trigger)), ways.away
        goals = self._goals(scene, ways)
        if goals is None:
            return None
        far = [(min(feed_ticks(f, away) for f in g.feeds) + g.lead, i) for i, g in enumerate(goals)]
        order = [goals[i] for _, i in sorted(far, reverse=True)]
        for later in SLACK_TICKS:
            ticks = max(far)[0] + later
            tree = Tree(ways.space, roots, ticks)
            if all(_join(tree, goal, ticks, away) for goal in order):
                return self._net(scene, trigger, tree.watches)
        return None

    def _net(self, scene: _Scene, trigger: Cell, watches: Mapping[Cell, Cell]) -> Net:
        inward = self._inward(trigger)
        away = face_name(scale(inward, -1))
        press = self.problem.scenario.rules.press
        button = Part("button", add(trigger, inward), away, None, press, "trigger")
        ram = Part("push_ram", sub(trigger, inward), away, unit="trigger")
        loose = (*scene.line.parts.values(), button, ram, *sensors_of(watches))
        taken = {part.at for part in loose} | set(scene.parts)
        air = scene.air | outputs_of(watches) | {sub(trigger, scale(inward, 2))}
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
            if all(p is None or p.kind in _MUTE for p in near):
                yield cover

    # ------------------------------------------------------------------ what to reach

    def _goals(self, scene: _Scene, ways: _Ways) -> list[Goal] | None:
        """Few feeds that together power every wire, and one for each lift without any."""
        feeds, able, away = ways.feeds, ways.able, ways.away
        goals = [
            Goal(_near(self._at_lift(scene, ways.space, lift), away), 0) for lift in scene.mute
        ]
        missing = set(scene.line.lead)
        while missing:
            wire = _hardest(missing, able)
            if wire is None:
                return None
            gain = max(len(able[w] & missing) for w in able if wire in able[w])
            best = [w for w in able if wire in able[w] and len(able[w] & missing) == gain]
            nearest = min(best, key=lambda w: min(feed_ticks(f, away) for f in feeds[w]))
            equal = [w for w in best if able[w] & missing == able[nearest] & missing]
            choice = tuple(f for w in equal for f in feeds[w])
            goals.append(Goal(choice, scene.line.lead[nearest]))
            missing -= able[nearest]
        return goals if all(goal.feeds for goal in goals) else None

    def _at_wire(self, scene: _Scene, space: Space, wire: Cell) -> tuple[Feed, ...]:
        """Ways to feed a wire; one that must point at its lift bears no sensor at its side."""
        points = any(add(wire, side) in scene.line.lifts for side in _SIDES if side[2] == 0)
        return tuple(f for f in space.feeds(wire) if not (points and f.last[2] == wire[2]))

    def _at_lift(self, scene: _Scene, space: Space, lift: Cell) -> tuple[Feed, ...]:
        front = add(lift, scene.line.lifts[lift])
        return tuple(feed for feed in space.feeds(lift) if feed.last != front)


def _lifts_to_bare(scene: _Scene, ways: _Ways) -> set[Cell]:
    """Lifts whose wires are no use: none is fired, or no cable reaches them."""
    fed = {wire for wires in ways.able.values() for wire in wires}
    line = scene.line
    stranded = {
        lift
        for lift in line.lifts
        if any(at in line.lead and at not in fed for at in behind_lift(line, lift))
    }
    return stranded | set(scene.mute)


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


def _near(feeds: Iterable[Feed], away: Mapping[Cell, int]) -> tuple[Feed, ...]:
    """Those that a cable can be led to."""
    return tuple(feed for feed in feeds if feed_ticks(feed, away) < _FAR)


def feed_ticks(feed: Feed, away: Mapping[Cell, int]) -> int:
    """The least sensors of a cable to a feed."""
    return away.get(feed.watched, _FAR) + 1


def _apart(a: Cell, b: Cell) -> int:
    return sum(abs(x - y) for x, y in zip(a, b, strict=True))
