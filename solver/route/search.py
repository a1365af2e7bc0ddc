"""The search for the best tape route: test, cut, test again, term after term.

Terms are minimised in order. For each, stages under rising caps are searched from the lower bound
up, galloping, then closed in on from both sides; every "no" lifts the lower bound, every "yes" is
a loop, or gives cuts. Refusals by later stages are clauses like any other, and the search goes on
from where it was.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from models.route import (
    ImpossibilityProof,
    Route,
    RouteCut,
    RouteFound,
    RouteNone,
    RouteProblem,
    RouteUnknown,
    RouteVerdict,
)
from solver.route.check import Clash, kept, route_faults
from solver.route.clashes import clash_cuts
from solver.route.cuts import FaceCut, connectivity_cuts, post_face_cut, post_route_cut
from solver.route.large import LARGE, LargeRoom, suits
from solver.route.narrow import Narrowed, narrow
from solver.route.reading import read_route, sides
from solver.route.rover import Rover, may_rove
from solver.route.rules import route_formula
from solver.route.stage import SOLVER, Answer, Cap, Shape, Stage
from solver.route.topology import topology
from solver.route.walks import cost_bounds, is_flat, term_bounds
from solver.route.zigzag import least_zigzag

Progress = Callable[[Route, tuple[int, ...]], None]
"""Called with each better route and the lower bound so far."""

FIRST_BUDGET = 20_000
"""Conflicts spent on one test before the search looks elsewhere; doubled each time round."""
PLAIN_S = 5.0
"""Seconds spent on any route of a large room, between two attempts to lay one; then more."""
DIRECT = 0.3
"""The share of the time left that a large room is searched from its bound upwards at first."""
SCOUTING = 0.6
"""The share of the time left that good routes of a large room are sought before any proof."""
ROVING = 0.5
"""The share of the time left that a room of several surfaces is roved where a test stalls."""
CAPPED_STAGES = 5
"""How many caps are tried before a stage without one; it finds a route or that there is none."""


class OutOfTimeError(Exception):
    """The deadline came before the answer."""


class TooDearError(Exception):
    """Every route costs more than was asked for."""


@dataclass(slots=True)
class Level:
    """How far one term has got under the values of the terms before it."""

    held: tuple[int, ...]
    lower: int
    stage: Stage | None = None
    stages: int = 0
    """How many stages there have been."""
    gallop: int = 0
    budget: int = FIRST_BUDGET
    eager: bool = False
    """The last test was given up: try for any better route next, not for the bound."""


class RouteSearch:
    """Finds the best route of a problem; routes may be refused and the search goes on."""

    def __init__(
        self,
        problem: RouteProblem,
        *,
        seed: int = 0,
        clash: Clash | None = None,
        below: tuple[int, ...] = (),
        extra: tuple[int, ...] = (),
    ) -> None:
        """`below`: only routes that cost less (the first terms, as far as given) are asked for.

        `extra`: what every route is known to cost beyond the cheapest drive at each of its turns,
        term by term.
        """
        self.problem, self.clash, self.seed, self.below = problem, clash, seed, below
        self.extra = extra
        self.tables = topology(problem.graph)
        self.refused: list[RouteCut] = []
        self.clashing: list[RouteCut] = []
        self.face_cuts: list[FaceCut] = []
        self.best: Route | None = None
        self.proof: ImpossibilityProof | None = None
        self.levels: list[Level] = []
        self.progress: Progress | None = None
        self.scout: LargeRoom | None = None
        self.rover: Rover | None = None
        narrowed = narrow(problem)
        if isinstance(narrowed, Narrowed):
            self.allowed = narrowed.allowed
            small = replace(problem, allowed=self.allowed)
            shared = (small, self.tables, clash, self.refused, self.clashing)
            if suits(problem, self.allowed) and not below:
                self.scout = LargeRoom(*shared)
            if may_rove(problem):
                self.rover = Rover(*shared)
            terms = range(len(problem.terms))
            zigzag = least_zigzag(problem, clash) if is_flat(problem) else 1
            self.walks = [term_bounds(problem, self.allowed, t, zigzag) for t in terms]
            self.zigzag = zigzag
        else:
            self.proof = narrowed

    @cached_property
    def shape(self) -> Shape:
        """Bounds for stages; a route that meets the bound of the walks needs none."""
        return shape_bounds(self.problem, self.allowed, self.zigzag)

    def forbid(self, cut: RouteCut) -> None:
        """Refuse every route that breaks this clause."""
        self.refused.append(cut)
        if self.best is not None and not kept(cut, self.best):
            if self.rover is not None:
                self.rover.last = self.best
            self.best = None
        for stage in self._open_stages():
            stage.add_route_cut(cut)

    def solve(self, deadline: float, on_progress: Progress | None = None) -> RouteVerdict:
        """The best route, proven if time allows; `deadline` is a `time.monotonic()` time.

        Unknown with a lower bound not below `below` says that none is as good as asked for.
        """
        self.progress = on_progress
        if self.proof is not None:
            return RouteNone(self.proof)
        if self.scout is not None:
            verdict = self._large(self.scout, deadline)
            if verdict is not None:
                return verdict
        return self._exact(deadline)

    def _large(self, scout: LargeRoom, deadline: float) -> RouteVerdict | None:
        """A first route; then up from the bound, and where that takes long, windows from above."""
        now = time.monotonic()
        if not scout.found and not self.below:
            try:
                if not self._first(scout, now + SCOUTING * (deadline - now)):
                    self.proof = self._confirmed(deadline)
                    return RouteNone(self.proof)
            except OutOfTimeError:
                return RouteUnknown(self.lower_bound())
            if self.best is not None:
                least = self.lower_bound()
                return RouteFound(self.best, self.best.costs <= least, least)
        verdict = self._exact(now + DIRECT * (deadline - now))
        if isinstance(verdict, RouteNone) or (isinstance(verdict, RouteFound) and verdict.optimal):
            return verdict
        if self.below and verdict.lower_bound[: len(self.below)] >= self.below:
            return verdict
        if self.best is not None:
            scout.found.append(self.best)
        now = time.monotonic()
        best = scout.best(now + SCOUTING * (deadline - now), made=bool(self.below))
        if self.below:
            self.scout = None
            if best is None or best.costs[: len(self.below)] >= self.below:
                return None
        self.best = best
        return None if best is None else RouteFound(best, False, self.lower_bound())

    def _first(self, scout: LargeRoom, deadline: float) -> bool:
        """A first route of a large room, laid or at whatever cost; False: there is none."""
        stage, seconds, more, answer = None, PLAIN_S, True, "open"
        while answer == "open":
            more = more and scout.lay(deadline, self.lower_bound())
            self.best = scout.at_hand()
            if self.best is not None or time.monotonic() > deadline:
                break
            stage = stage or self._stage((), shape=Shape())
            answer = self._plain(stage, min(deadline, time.monotonic() + seconds))
            seconds *= 2
        if stage is not None:
            stage.close()
        scout.found += [self.best] if answer == "yes" and self.best is not None else []
        return answer in ("open", "yes")

    def _plain(self, stage: Stage, deadline: float) -> Answer:
        """Any route, whatever it costs."""
        while (answer := stage.test(None, 1 << 40, deadline)) == "yes":
            if self._take(stage):
                return answer
            if time.monotonic() > deadline:
                return "open"
        return answer

    def _exact(self, deadline: float) -> RouteVerdict:
        """From the bound upwards, until a route is proven best or time is up."""
        try:
            if not self._all_terms(deadline):
                self.proof = self._confirmed(deadline)
                return RouteNone(self.proof)
        except (OutOfTimeError, TooDearError):
            if self.best is None:
                return RouteUnknown(self.lower_bound())
            return RouteFound(self.best, False, self.lower_bound())
        assert self.best is not None
        return RouteFound(self.best, True, self.best.costs)

    def settle_for(self, below: tuple[int, ...]) -> None:
        """A machine is at hand: only routes that cost less are asked for, and proofs."""
        self.below = min(below, self.below) if self.below else below

    def lower_bound(self) -> tuple[int, ...]:
        """No route is lexicographically better than this."""
        bound = [level.lower for level in self.levels]
        return tuple(bound + [self._least(t) for t in range(len(bound), len(self.walks))])

    def _all_terms(self, deadline: float) -> bool:
        """Minimise term after term, going back where a refusal ended what was held; False: none."""
        terms = len(self.problem.terms)
        if not terms:
            return self._any_route(deadline)
        while True:
            t = max(0, len(self.levels) - 1)
            held = tuple(level.lower for level in self.levels[:t])
            if t == len(self.levels):
                self.levels.append(Level(held, self._least(t)))
            if self._minimise(t, self.levels[t], deadline):
                if t + 1 == terms:
                    return True
                held = (*held, self.levels[t].lower)
                self.levels.append(Level(held, self._least(t + 1)))
            elif t == 0:
                return False
            else:
                self._drop_level()
                self.levels[-1].lower += 1

    def _least(self, t: int) -> int:
        """What term `t` is at least."""
        return self.walks[t].least + (self.extra[t] if self.extra else 0)

    def _most(self, t: int, held: tuple[int, ...]) -> int | None:
        """The greatest value of term `t` that is asked for, with these values of those before."""
        if t >= len(self.below) or held != self.below[:t]:
            return None
        return self.below[t] - (t + 1 == len(self.below))

    def _drop_level(self) -> None:
        stage = self.levels.pop().stage
        if stage is not None:
            stage.close()

    def _any_route(self, deadline: float) -> bool:
        """Without an objective: any route at all."""
        if not self.levels:
            self.levels.append(Level((), 0, self._stage(())))
        stage = self.levels[0].stage
        assert stage is not None
        if self.best is None and self._plain(stage, deadline) == "open":
            raise OutOfTimeError
        return self.best is not None

    def _minimise(self, t: int, level: Level, deadline: float) -> bool:
        """Raise `level.lower` to the least value of term `t`; False if there is no route."""
        while True:
            upper = self._upper(t, level)
            most_asked = self._most(t, level.held)
            if upper is None and most_asked is not None:
                if level.lower > most_asked:
                    raise TooDearError
                upper = most_asked + 1
                if len(self.allowed) < LARGE:
                    # One test of that cap, not a climb to it.
                    level.eager, level.stages = True, max(level.stages, CAPPED_STAGES)
            if upper is not None and upper <= level.lower:
                return True
            if time.monotonic() > deadline:
                raise OutOfTimeError
            stage = level.stage or self._next_stage(t, level, upper)
            most = _aim(level, stage, upper)
            answer = stage.test(most, level.budget, deadline)
            if answer == "yes":
                level.eager = False
                if self._take(stage) and not stage.bounded:
                    self._leave_stage(level)
            elif answer == "open":
                self._given_up(level, stage, most)
                self._rove(deadline)
            elif most is None:
                return False
            elif answer == "never" or most >= stage.most:
                level.lower = max(level.lower, stage.sum.next_above(stage.most))
                self._leave_stage(level)
            else:
                level.lower = max(level.lower, stage.sum.next_above(most))
                level.gallop += 1

    def _given_up(self, level: Level, stage: Stage, most: int | None) -> None:
        """A test took too long: spend more next time, and look for better routes first."""
        level.budget *= 2
        if level.eager and self.best is None and most is not None:
            self._leave_stage(level)
        level.eager = not level.eager

    def _rove(self, deadline: float) -> None:
        """Without any route at hand, look for a good one first."""
        if self.rover is not None and self.best is None and not self.below:
            now = time.monotonic()
            self.best = self.rover.best(now + ROVING * (deadline - now))

    def _leave_stage(self, level: Level) -> None:
        if level.stage is not None:
            level.stage.close()
        level.stage, level.gallop, level.eager = None, 0, False

    def _upper(self, t: int, level: Level) -> int | None:
        """The value of term `t` on the best route, if that keeps what is held."""
        if self.best is None or self.best.costs[:t] != level.held:
            return None
        return self.best.costs[t]

    def _next_stage(self, t: int, level: Level, upper: int | None) -> Stage:
        """The next cap: a little above the lower bound, then more, then none at all."""
        caps = [Cap(i, value, self.walks[i]) for i, value in enumerate(level.held)]
        level.stages += 1
        unit = self.walks[t].unit
        most = level.lower + unit * max(1, 1 << level.stages >> 2)
        if upper is not None and (most >= upper or level.stages > CAPPED_STAGES):
            most = upper - 1
        elif level.stages > CAPPED_STAGES:
            level.stage = self._stage(caps)
            return level.stage
        level.stage = self._stage([*caps, Cap(t, most, self.walks[t])], bounded=True)
        return level.stage

    def _stage(
        self,
        caps: list[Cap] | tuple[()],
        *,
        bounded: bool = False,
        shape: Shape | None = None,
        solver: str = SOLVER,
    ) -> Stage:
        stage = Stage(
            self.problem,
            self.tables,
            self.allowed,
            caps,
            bounded=bounded,
            shape=self.shape if shape is None else shape,
            solver=solver,
        )
        for face_cut in self.face_cuts:
            stage.add_face_cut(face_cut)
        for cut in (*self.refused, *self.clashing):
            stage.add_route_cut(cut)
        return stage

    def _open_stages(self) -> list[Stage]:
        return [level.stage for level in self.levels if level.stage is not None]

    def _take(self, stage: Stage) -> bool:
        """A solution: cut it if it is no route (False), else keep it if it is the best."""
        stages = {*self._open_stages(), stage}
        cuts = connectivity_cuts(stage.model, sides(stage.model, stage.assignment))
        if cuts:
            self.face_cuts += cuts
            for open_stage in stages:
                for cut in cuts:
                    open_stage.add_face_cut(cut)
            return False
        route = read_route(stage.model, stage.assignment)
        clashing = clash_cuts(self.problem, route, self.clash)
        if clashing:
            self.clashing += clashing
            for open_stage in stages:
                for refusal in clashing:
                    open_stage.add_route_cut(refusal)
            return False
        faults = route_faults(self.problem, route, self.refused, self.clash)
        assert not faults, faults
        if self.best is None or route.costs < self.best.costs:
            self.best = route
            if self.progress is not None:
                self.progress(route, self.lower_bound())
        return True

    def _confirmed(self, deadline: float) -> ImpossibilityProof:
        """A second solver must come to the same: no route."""
        from solver.route.cpsat import no_route  # OR-Tools, only where it is needed

        model = route_formula(self.problem, self.tables, self.allowed)
        for face_cut in self.face_cuts:
            post_face_cut(model, face_cut)
        for cut in (*self.refused, *self.clashing):
            post_route_cut(model, cut)
        opinion = no_route(model, self.seed, deadline)
        second = "CaDiCaL on clauses, CP-SAT on linear rows"
        if opinion == "open":
            stage = self._stage((), solver="glucose4")
            answer = stage.test(None, 1 << 40, deadline)
            stage.close()
            if answer == "open":
                raise OutOfTimeError
            opinion = "some" if answer == "yes" else "none"
            second = "two SAT solvers, CaDiCaL and Glucose, on the same clauses"
        assert opinion == "none", "two solvers disagree"
        return ImpossibilityProof("search", "no closed loop keeps all requirements", second)


def _aim(level: Level, stage: Stage, upper: int | None) -> int | None:
    """The value to test next: gallop up from the bound, halve once a route is known."""
    if not stage.bounded:
        return None
    top = stage.most if upper is None else min(stage.most, upper - 1)
    values = [v for v in stage.sum.attainable() if level.lower <= v <= top]
    if not values or level.eager:
        return top
    if upper is not None and upper - 1 <= stage.most:
        return values[(len(values) - 1) // 2]
    return values[min(len(values) - 1, (1 << level.gallop) // 2)]


def shape_bounds(problem: RouteProblem, allowed: frozenset[int], zigzag: int = 1) -> Shape:
    """Bounds on corners alone and on cells alone, if any term pays for both."""
    for term, costs in enumerate(problem.cell_costs):
        if max(costs) and any(option.costs[term] for option in problem.options):
            return Shape(
                cost_bounds(problem, allowed, cell=0, corner=1, zigzag=zigzag),
                cost_bounds(problem, allowed, cell=1, corner=0, zigzag=zigzag),
            )
    return Shape()
