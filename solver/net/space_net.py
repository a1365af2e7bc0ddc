"""The trigger net of a loop over several surfaces: lines, folds, and cables from one button.

Every surface keeps its own way of firing lifts, so the line falls into pieces. A cable of sensors
leads from the trigger to each piece, and all pieces fire their lifts in one half-tick: the lifts
of a floor follow their wire by one tick, so its cables are one sensor shorter. A lift that no
wire fires, because a fold stands where its wire would be, gets a cable of its own.

What is found is checked by the simulation like every machine; what is not found is not
impossible.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice

from models.geometry import VECTOR, Cell, add, scale, sub
from models.parts import Part
from models.problem import Problem, face_name
from models.route import Route
from models.system import System
from solver.net.cable_search import MOST_WIRED, Found, best_trees
from solver.net.cable_trees import FAR, MOST_GOALS, Goal
from solver.net.cables import Space, Tree
from solver.net.floor_line import Net, NoLine, button_covers
from solver.net.layout import level_of
from solver.net.lift_lines import UP
from solver.net.net_floor import Floor, fewest, witnesses
from solver.net.net_layout import Laid
from solver.net.net_ways import Ways, at_wire, feed_ticks, fired, hardest, heard, near, reached
from solver.net.reach import powered
from solver.net.space_line import behind_lift
from solver.net.space_scene import Scene, diggable
from solver.net.space_trials import Trials
from solver.net.space_trigger import is_quiet, trigger_cells
from solver.net.wire_ground import WireGround, wire_ground

MOST_SCENES = 3
"""Scenes of one route that cables are sought for, until one is accepted."""
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

        First with the line as it is laid, then with what is changed round its faults, or without
        the wires that no cable can reach.
        """
        trials, led, found = Trials(self.problem, self.system, route), 0, False
        for change, scene in trials.scenes():
            ways = self._ways(scene)
            for net in self._cabled(route, scene, ways):
                found = True
                yield net
            led += route in self.floors
            if led >= MOST_SCENES:
                break
            if more := _lifts_to_bare(scene, ways) - change.bare:
                trials.ask(change.bared(more), soon=True)
            trials.turn_folds(change)
        if not found:
            yield trials.refused or NoLine(
                "no cables from a button to all pieces of the line", proven=False
            )

    def cabled(self, route: Route, scene: Scene) -> Iterator[Net]:
        """Nets of one scene, fewest parts first."""
        return self._cabled(route, scene, self._ways(scene))

    def _cabled(self, route: Route, scene: Scene, ways: Ways) -> Iterator[Net]:
        goals = self._goals(scene, ways)
        if goals and ways.triggers:
            floor = self._floor(route, scene, ways, len(goals))
            self.floors[route] = min(floor, self.floors.get(route, floor), key=self._rank)
            yield from islice(self._nets(scene, ways, goals, floor), MAX_NETS)

    def _floor(self, route: Route, scene: Scene, ways: Ways, goals: int) -> Floor:
        """What every net of this scene has at least; the scene before it found no machine."""
        fixed = len(scene.parts) + len(route.cells) + TRIGGER_PARTS
        if goals > MANY_GOALS:
            return Floor(fixed, scene.depth)
        wanted = witnesses(scene, ways)[:MOST_WIRED]
        if self.depth_first:
            depth, parts, tree = self._least_at_depths(scene, ways, wanted, FAR)
        else:
            parts, _ = fewest(ways.space, scene, ways, wanted)
            depth, _, tree = self._least_at_depths(scene, ways, wanted, parts)
        return Floor(fixed + parts, depth, tree)

    def _rank(self, floor: Floor) -> tuple[int, int]:
        return (floor.depth, floor.parts) if self.depth_first else (floor.parts, floor.depth)

    def _least_at_depths(
        self, scene: Scene, ways: Ways, goals: Sequence[Goal], most: int
    ) -> tuple[int, int, Found | None]:
        """The least depth at which so few parts may do, the fewest there, and such a net."""
        for depth in range(scene.depth, self.deepest):
            space = self._down_to(ways.space, depth)
            parts, tree = fewest(space, scene, ways, goals)
            if parts <= most and parts < FAR:
                return depth, parts, tree
        depth = max(scene.depth, self.deepest)
        return depth, *fewest(ways.space, scene, ways, goals)

    def _down_to(self, space: Space, depth: int) -> Space:
        """Where cables run that reach no deeper."""
        free, inert = (
            frozenset(c for c in cells if self.level.get(c, 0) <= depth)
            for cells in (space.free, space.inert)
        )
        return Space(free, inert)

    # ------------------------------------------------------------------ nets

    def _ways(self, scene: Scene, trigger: Cell | None = None) -> Ways:
        """All triggers together, or one of them alone and its cells kept clear."""
        covers = list(self._triggers(scene)) if trigger is None else [trigger]
        triggers = {cover: trigger_cells(self.problem, cover) for cover in covers}
        ends = frozenset(cell for roots in triggers.values() for cell in roots)
        space = self._space(scene, ends if trigger is not None else ())
        away = reached(space, ends)
        feeds = {
            wire: ways
            for wire in scene.line.lead
            if (ways := near(at_wire(scene, space, wire), away))
        }
        air = scene.air
        levels = {w: powered(scene.parts, air, w, self.reach) for w in scene.line.lead}
        able = {w: frozenset(levels[w]) for w in feeds}
        return Ways(triggers, space, away, feeds, able, self._wire_ground(scene, space, levels))

    def _wire_ground(
        self, scene: Scene, space: Space, levels: Mapping[Cell, Mapping[Cell, int]]
    ) -> WireGround:
        line, surface = scene.line, self.problem.index.keys()
        found = wire_ground(scene.parts, space.free, self.rock, surface, line.lead, line.lifts)
        return replace(found, levels=levels, reach=self.reach)

    def _nets(self, scene: Scene, ways: Ways, goals: Sequence[Goal], floor: Floor) -> Iterator[Net]:
        """Nets with few sensors; the first has the fewest, if its search came to an end."""
        if len(goals) > MANY_GOALS:
            return
        seen: list[Found] = []
        for found in self._trees(ways, goals, floor):
            if found not in seen:
                seen.append(found)
                yield self._net(scene, *found)
        nearest = sorted(ways.triggers, key=lambda c: (self._farness(scene, c), c))
        for trigger in nearest[:MAX_TRIGGERS]:
            net = self._net_from(scene, trigger)
            if net is not None:
                yield net

    def _trees(self, ways: Ways, goals: Sequence[Goal], floor: Floor) -> Iterator[Found]:
        """Trees to all goals at once, no deeper than need be first; some come twice."""
        if floor.tree is not None:
            yield floor.tree
        if len(goals) <= MOST_GOALS:
            spaces = [self._down_to(ways.space, floor.depth), ways.space]
            for space in spaces if floor.depth < self.deepest else spaces[1:]:
                yield from best_trees(space, goals, ways.triggers, ways.ground)

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
                    return self._net(scene, trigger, Laid(tree.watches))
                if stuck is order[0]:
                    break
                order = [stuck, *(goal for goal in order if goal is not stuck)]
        return None

    def _net(self, scene: Scene, trigger: Cell, laid: Laid) -> Net:
        inward = self._inward(trigger)
        away = face_name(scale(inward, -1))
        press = self.problem.scenario.rules.press
        button = Part("button", add(trigger, inward), away, None, press, "trigger")
        ram = Part("push_ram", sub(trigger, inward), away, unit="trigger")
        loose = (*scene.line.parts.values(), button, ram, *laid.parts())
        taken = {part.at for part in loose} | set(scene.parts)
        air = scene.air | (laid.air() & self.ground) | {sub(trigger, scale(inward, 2))}
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
        return Space(empty, (empty | deaf | (self.rock - heard(parts))) - over)

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

    def _goals(self, scene: Scene, ways: Ways) -> list[Goal] | None:
        """Few feeds that together power every wire, and one for each lift without any."""
        feeds, able, away = ways.feeds, ways.able, ways.away
        goals = [fired(scene, ways, lift) for lift in scene.mute]
        missing = set(scene.line.lead)
        while missing:
            wire = hardest(missing, able)
            if wire is None:
                return None
            gain = max(len(able[w] & missing) for w in able if wire in able[w])
            best = [w for w in able if wire in able[w] and len(able[w] & missing) == gain]
            nearest = min(best, key=lambda w: min(feed_ticks(f, away) for f in feeds[w]))
            equal = [w for w in best if able[w] & missing == able[nearest] & missing]
            choice = tuple(f for w in equal for f in feeds[w])
            goals.append(Goal(choice, scene.line.lead[nearest], able[nearest] & missing))
            missing -= able[nearest]
        return goals if all(goal.feeds for goal in goals) else None


def _lifts_to_bare(scene: Scene, ways: Ways) -> set[Cell]:
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


def _apart(a: Cell, b: Cell) -> int:
    return sum(abs(x - y) for x, y in zip(a, b, strict=True))
