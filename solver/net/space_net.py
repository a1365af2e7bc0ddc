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
from models.route import Route
from models.system import System
from solver.net.cable_search import MOST_RAISES, MOST_SPARE, CableSearch, Roots
from solver.net.cable_trees import FAR, MOST_GOALS, Goal
from solver.net.cables import Feed, Space, Tree, ahead, outputs_of, sensors_of
from solver.net.floor_line import Net, NoLine, button_covers
from solver.net.layout import level_of
from solver.net.lift_lines import UP
from solver.net.reach import HEARING, powered
from solver.net.space_line import behind_lift
from solver.net.space_scene import Scene, diggable, lay_scene
from solver.net.space_trigger import is_quiet, trigger_cells

THINNINGS = 3
"""Times that wires are taken away to make room for cables."""
MAX_TRIGGERS = 8
"""Covers for the button that cables are led from."""
MAX_NETS = 4
"""Nets handed on for one route, until one is accepted."""
SLACK_TICKS = (0, 1, 2, 4, 8)
"""How much later than the farthest feed asks for all may fire, to give cables room."""
PROMOTIONS = 4
"""How often the goal that finds no way is given its cable first."""
MANY_GOALS = 14
"""Cables of their own for so many lifts are not sought: lines that get in each other's way."""
TRIGGER_PARTS = 2
"""The button and the ram behind its cover."""
MAX_FEEDS = 10
"""Feeds tried for one goal, near ones first."""
_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_FAR = 1 << 20


@dataclass(frozen=True)
class _Ways:
    """Where cables may run in a scene, and what they can reach."""

    triggers: Mapping[Cell, Roots]
    """Covers for the button, with the cells behind that change: the ram's and its head's."""
    space: Space
    away: Mapping[Cell, int]
    feeds: Mapping[Cell, tuple[Feed, ...]]
    """How each wire can be fed, if it can."""
    able: Mapping[Cell, frozenset[Cell]]
    """Which wires each of these powers."""


@dataclass(frozen=True)
class Floor:
    """What no machine of a route beats: the term that matters more first."""

    parts: int
    depth: int


class SpaceNetSearch:
    """Finds trigger nets for routes over several surfaces."""

    exhaustive = False

    def __init__(self, problem: Problem, system: System) -> None:
        self.problem, self.system = problem, system
        self.reach = problem.scenario.rules.reach
        self.ground = frozenset(diggable(problem))
        """Every cell that may be dug."""
        around = {add(cell, side) for cell in self.ground for side in _SIDES} - self.ground
        room = problem.scenario.room
        inside = {c for c in around if all(0 <= v < n for v, n in zip(c, room, strict=True))}
        self.rock = frozenset(around - inside - problem.index.keys())
        """Cells beside those that stay ground."""
        self.level = {cell: level_of(problem, cell) for cell in self.ground}
        self.deepest = max(surface.depth for surface in problem.scenario.surfaces.values())
        terms = problem.scenario.loop.minimise
        self.depth_first = "depth" in terms and terms.index("depth") < (*terms, "parts").index(
            "parts"
        )
        self.floors: dict[Route, Floor] = {}
        """What no machine of these nets has less than, for every route looked at."""

    def candidates(self, route: Route) -> Iterator[Net | NoLine]:
        """Nets for a route, fewest parts first; then, if there is none, why.

        First with the line as it is laid, then without the wires that no cable can reach.
        """
        bare: set[Cell] = set()
        found = False
        for _ in range(THINNINGS):
            scene = lay_scene(self.problem, self.system, route, bare)
            if isinstance(scene, NoLine):
                if not bare:
                    yield scene
                    return
                break
            ways = self._ways(scene)
            for net in self._cabled(route, scene, ways):
                found = True
                yield net
            more = _lifts_to_bare(scene, ways) - bare
            if not more:
                break
            bare |= more
        if not found:
            yield NoLine("no cables from a button to all pieces of the line", proven=False)

    def cabled(self, route: Route, scene: Scene) -> Iterator[Net]:
        """Nets of one scene, fewest parts first."""
        return self._cabled(route, scene, self._ways(scene))

    def _cabled(self, route: Route, scene: Scene, ways: _Ways) -> Iterator[Net]:
        goals = self._goals(scene, ways)
        if goals and ways.triggers:
            floor = self._floor(route, scene, ways, len(goals))
            self.floors[route] = min(floor, self.floors.get(route, floor), key=self._rank)
            yield from islice(self._nets(scene, ways, goals, floor), MAX_NETS)

    def _floor(self, route: Route, scene: Scene, ways: _Ways, goals: int) -> Floor:
        """What every net of this scene has at least; the scene before it found no machine."""
        fixed = len(scene.parts) + len(route.cells) + TRIGGER_PARTS
        if goals > MANY_GOALS:
            return Floor(fixed, scene.depth)
        witnesses = self._witnesses(scene, ways)[:MOST_GOALS]
        if self.depth_first:
            depth, sensors = self._least_at_depths(scene, ways, witnesses, FAR)
        else:
            sensors = self._fewest(ways.space, ways, witnesses)
            depth, _ = self._least_at_depths(scene, ways, witnesses, sensors)
        return Floor(fixed + sensors, depth)

    def _rank(self, floor: Floor) -> tuple[int, int]:
        return (floor.depth, floor.parts) if self.depth_first else (floor.parts, floor.depth)

    def _least_at_depths(
        self, scene: Scene, ways: _Ways, witnesses: Sequence[Goal], most: int
    ) -> tuple[int, int]:
        """The least depth at which so few sensors may do, and the fewest there."""
        for depth in range(scene.depth, self.deepest):
            sensors = self._fewest(self._down_to(ways.space, depth), ways, witnesses)
            if sensors <= most and sensors < FAR:
                return depth, sensors
        return max(scene.depth, self.deepest), self._fewest(ways.space, ways, witnesses)

    def _down_to(self, space: Space, depth: int) -> Space:
        """Where cables run that reach no deeper."""
        free, inert = (
            frozenset(c for c in cells if self.level.get(c, 0) <= depth)
            for cells in (space.free, space.inert)
        )
        return Space(free, inert)

    def _fewest(self, space: Space, ways: _Ways, witnesses: Sequence[Goal]) -> int:
        """Sensors that every net needs, by the goals that none can do without."""
        if not witnesses:
            return 0
        return CableSearch(space, witnesses, ways.triggers, MOST_RAISES).fewest()

    def _witnesses(self, scene: Scene, ways: _Ways) -> list[Goal]:
        """Lifts and wires, no two of which one feed can serve, each with all that serve it."""
        found = [
            Goal(feeds, 0)
            for lift in scene.mute
            if (feeds := _near(self._at_lift(scene, ways.space, lift), ways.away))
        ]
        used: set[Cell] = set()
        lead = scene.line.lead
        serving: dict[Cell, list[Cell]] = {}
        for source, wires in ways.able.items():
            for wire in wires:
                serving.setdefault(wire, []).append(source)
        for wire in sorted(serving, key=lambda w: (len(serving[w]), w)):
            sources = serving[wire]
            if used.isdisjoint(sources) and len({lead[source] for source in sources}) == 1:
                used.update(sources)
                found.append(Goal(tuple(f for w in sources for f in ways.feeds[w]), lead[wire]))
        return found

    # ------------------------------------------------------------------ nets

    def _ways(self, scene: Scene, trigger: Cell | None = None) -> _Ways:
        """All triggers together, or one of them alone and its cells kept clear."""
        covers = list(self._triggers(scene)) if trigger is None else [trigger]
        triggers = {cover: trigger_cells(self.problem, cover) for cover in covers}
        ends = frozenset(cell for roots in triggers.values() for cell in roots)
        space = self._space(scene, ends if trigger is not None else ())
        away = reached(space, ends)
        feeds = {
            wire: ways
            for wire in scene.line.lead
            if (ways := _near(self._at_wire(scene, space, wire), away))
        }
        air = scene.air
        able = {w: frozenset(powered(scene.parts, air, w, self.reach)) for w in feeds}
        return _Ways(triggers, space, away, feeds, able)

    def _nets(
        self, scene: Scene, ways: _Ways, goals: Sequence[Goal], floor: Floor
    ) -> Iterator[Net]:
        """Nets with few sensors; the first has the fewest, if its search came to an end."""
        if len(goals) > MANY_GOALS:
            return
        if len(goals) <= MOST_GOALS:
            spaces = [self._down_to(ways.space, floor.depth), ways.space]
            for space in spaces if floor.depth < self.deepest else spaces[1:]:
                search = CableSearch(space, goals, ways.triggers, MOST_SPARE)
                yield from (self._net(scene, *found) for found in search.trees())
        nearest = sorted(ways.triggers, key=lambda c: (self._farness(scene, c), c))
        for trigger in nearest[:MAX_TRIGGERS]:
            net = self._net_from(scene, trigger)
            if net is not None:
                yield net

    def _farness(self, scene: Scene, cover: Cell) -> int:
        return sum(_apart(cover, wire) for wire in (*scene.line.wires(), *scene.mute))

    def _net_from(self, scene: Scene, trigger: Cell) -> Net | None:
        """Cables led one after the other, from one trigger."""
        ways = self._ways(scene, trigger)
        roots, away = frozenset(trigger_cells(self.problem, trigger)), ways.away
        goals = self._goals(scene, ways)
        if goals is None:
            return None
        far = [(min(feed_ticks(f, away) for f in g.feeds) + g.lead, i) for i, g in enumerate(goals)]
        order = [goals[i] for _, i in sorted(far, reverse=True)]
        for later in SLACK_TICKS:
            ticks = max(far)[0] + later
            for _ in range(PROMOTIONS):
                tree = Tree(ways.space, roots, ticks)
                stuck = next((goal for goal in order if not _join(tree, goal, ticks, away)), None)
                if stuck is None:
                    return self._net(scene, trigger, tree.watches)
                if stuck is order[0]:
                    break
                order = [stuck, *(goal for goal in order if goal is not stuck)]
        return None

    def _net(self, scene: Scene, trigger: Cell, watches: Mapping[Cell, Cell]) -> Net:
        inward = self._inward(trigger)
        away = face_name(scale(inward, -1))
        press = self.problem.scenario.rules.press
        button = Part("button", add(trigger, inward), away, None, press, "trigger")
        ram = Part("push_ram", sub(trigger, inward), away, unit="trigger")
        loose = (*scene.line.parts.values(), button, ram, *sensors_of(watches))
        taken = {part.at for part in loose} | set(scene.parts)
        air = scene.air | (outputs_of(watches) & self.ground) | {sub(trigger, scale(inward, 2))}
        return Net(trigger, scene.folds, loose, {}, frozenset(air - taken))

    def _inward(self, cover: Cell) -> Cell:
        return self.problem.normal(self.problem.index[cover])

    # ------------------------------------------------------------------ places

    def _space(self, scene: Scene, roots: Iterable[Cell] = ()) -> Space:
        """Where cables may run; the cells of the trigger are kept clear."""
        parts = scene.parts
        hard = {*scene.hard, *roots}
        over = {add(p.at, UP) for p in parts.values() if "ram" in p.kind}
        over |= {add(cell, UP) for cell in roots}
        empty = self.ground - hard - set(parts)
        deaf = {p.at for p in parts.values() if p.kind in ("sensor", "insulator")}
        return Space(empty, (empty | deaf | (self.rock - _heard(parts))) - over)

    def _triggers(self, scene: Scene) -> Iterator[Cell]:
        """Covers on which a button with a ram behind it disturbs nothing."""
        free = self._space(scene).free
        tape = {add(lift, scale(inward, 2)) for lift, inward in scene.line.lifts.items()}
        for cover in button_covers(self.problem):
            ram, head = trigger_cells(self.problem, cover)
            if cover in tape or ram not in free or head not in free:
                continue
            if is_quiet(ram, scene.parts):
                yield cover

    # ------------------------------------------------------------------ what to reach

    def _goals(self, scene: Scene, ways: _Ways) -> list[Goal] | None:
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

    def _at_wire(self, scene: Scene, space: Space, wire: Cell) -> tuple[Feed, ...]:
        """Ways to feed a wire; one that must point at its lift bears no sensor at its side."""
        points = any(add(wire, side) in scene.line.lifts for side in _SIDES if side[2] == 0)
        return tuple(f for f in space.feeds(wire) if not (points and f.last[2] == wire[2]))

    def _at_lift(self, scene: Scene, space: Space, lift: Cell) -> tuple[Feed, ...]:
        front = add(lift, scene.line.lifts[lift])
        return tuple(feed for feed in space.feeds(lift) if feed.last != front)


def _heard(parts: Mapping[Cell, Part]) -> set[Cell]:
    """Cells that would wake something if power went there: beside what reads it."""
    ears = {p.at for p in parts.values() if p.kind in HEARING}
    ears |= {add(p.at, UP) for p in parts.values() if p.kind in RAMS}
    return {add(cell, side) for cell in ears for side in _SIDES}


def _lifts_to_bare(scene: Scene, ways: _Ways) -> set[Cell]:
    """Lifts whose wires are no use: none is fired, or no cable reaches them."""
    fed = {wire for wires in ways.able.values() for wire in wires}
    line = scene.line
    stranded = {
        lift
        for lift in line.lifts
        if any(at in line.lead and at not in fed for at in behind_lift(line, lift))
    }
    return stranded | set(scene.mute)


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
