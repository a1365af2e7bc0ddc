"""A minimal core in a builder's words: what the requirements of the core come to, with cells."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from dataclasses import replace

from models.problem import Problem
from models.route import CornerOption, RouteFound, RouteNone, RouteProblem
from models.scenario import Scenario
from models.system import System
from solver.explain.blockers import Blockers
from solver.explain.direct import DirectOracle
from solver.explain.drawn import drawn_facts
from solver.explain.oracle import systems_of
from solver.explain.relax import keep_only, relax, verdict_only
from solver.explain.shrink import Core
from solver.explain.wording import at, listed
from solver.flatten import flatten
from solver.route import RouteSearch
from solver.route.narrow import Narrowed, narrow
from solver.route.problem import clashing, route_problem

MOST = 6
"""So many facts are told."""
LAYER_S = 5.0
"""Most seconds to find out at which stage it fails."""


def facts_of(scenario: Scenario, core: Core, direct: DirectOracle) -> list[str]:
    """Sentences that follow from the core, the telling ones first; `direct` refuted it."""
    found: dict[str, None] = {}
    depths = list(_depths(scenario, core))
    for system in systems_of(scenario)[:1]:  # the others are for special cases
        told = depths or CoreView(scenario, core, system.measure, direct.refusals).sentences()
        for text in told:
            found[text] = None
    return list(found)[:MOST]


def _depths(scenario: Scenario, core: Core) -> Iterator[str]:
    """Where the ground is too thin for lifts, or for whatever a system needs most room for."""
    for name, surface in scenario.surfaces.items():
        if f"surfaces.{name}.depth" not in core.names:
            continue
        systems = [system.measure for system in systems_of(scenario)]
        if all(surface.depth < system.column.depth for system in systems):
            lifts = min(system.column.depth for system in systems)
            yield f"the {name} has depth {surface.depth}, lifts need {lifts}"
            continue
        needs = [
            f"{system.depth}{' (rectangles only)' if system.convex_only else ''}"
            for system in systems
        ]
        yield f"the {name} has depth {surface.depth}; a machine needs {' or '.join(needs)}"


class CoreView:
    """The problem in which only the core holds."""

    def __init__(
        self, scenario: Scenario, core: Core, system: System, refusals: Iterable[str]
    ) -> None:
        self.given, self.core, self.system = scenario, core, system
        self.refusals = [
            text.removeprefix("refused: ") for text in refusals if text.startswith("refused: ")
        ]
        self.kept = verdict_only(relax(scenario, keep_only(scenario, core.names)))
        self.problem: Problem = flatten(self.kept)
        self.routes: RouteProblem = route_problem(self.problem, system)
        self.cells = self.problem.graph.cells
        self.blockers = Blockers(scenario, self._loose(), system)

    def _loose(self) -> Problem:
        everything = frozenset(keep_only(self.given, ()))
        return flatten(verdict_only(relax(self.given, everything)))

    def sentences(self) -> Iterator[str]:
        """All that can be said."""
        for told in (
            [*self._drawn(), *self._lengths(), *self._around()],
            [*self._certificate(), *self._forced_corners()],
            [self._layer()],
        ):
            yield from told
            if told:
                return

    def _drawn(self) -> Iterator[str]:
        if self.given.loop.shape != "exact" or "loop.shape" not in self.core.names:
            return
        for fact in drawn_facts(self.given, self.blockers.problem, self.system):
            if fact.names - {"loop.direction"} <= self.core.names:
                yield fact.text

    def _lengths(self) -> Iterator[str]:
        loop, names = self.given.loop, self.core.names
        low = loop.min_length if "loop.length.min" in names else None
        high = loop.max_length if "loop.length.max" in names else None
        if low is not None and low == high and low % 2 and len(self.given.surfaces) == 1:
            yield f"a loop on one surface has an even number of cells, {low} is odd"
        room = len(self.routes.allowed)
        if low is not None and low > room:
            yield f"at least {low} cells are asked for, tape may run on {room}"
        if high is not None and (least := self._shortest(high)) is not None:
            yield f"at most {high} cells are allowed, the shortest such loop has {least}"

    def _shortest(self, high: int) -> int | None:
        """The least length that the core allows without the limit, if it can be had in time."""
        loop = replace(self.kept.loop, max_length=None, minimise=("length",))
        problem = replace(self.problem, scenario=replace(self.kept, loop=loop))
        search = RouteSearch(route_problem(problem, self.system), clash=self._clash)
        verdict = search.solve(time.monotonic() + LAYER_S)
        if isinstance(verdict, RouteFound) and verdict.optimal and verdict.route.costs[0] > high:
            return verdict.route.costs[0]
        return None

    def _around(self) -> Iterator[str]:
        around = self.given.loop.around
        if around is None or "loop.around" not in self.core.names:
            return
        cell = self.problem.index[around]
        if min(self.problem.graph.ports[cell]) < 0:
            yield f"{at(around)} lies at the rim of its surface; no loop can run around it"
        else:
            yield f"no loop that keeps the rest runs around {at(around)}"

    def _certificate(self) -> Iterator[str]:
        """What counting and cut cells say."""
        proof = narrow(self.routes)
        if isinstance(proof, Narrowed):
            return
        where = [self.cells[cell] for cell in proof.cells]
        match proof.reason:
            case "a required cell allows no tape":
                yield f"no tape can run at {listed(where)}, and it must"
            case "a required cell has fewer than two neighbours":
                yield f"the tape can enter {listed(where)} but not leave it again"
            case "every way between two required cells shares a cell":
                through = f", all ways go through {at(where[2])}" if len(where) > 2 else ""
                yield (
                    f"a loop needs two separate ways between {at(where[0])} and {at(where[1])}"
                    f"{through or '; there is none at all'}"
                )
            case other if where:
                yield f"{other}: {listed(where)}"
            case other:
                yield other

    def _layer(self) -> str:
        """Up to which stage there are routes: loops at all, with drives, with a trigger line."""
        until = time.monotonic() + LAYER_S
        bare = replace(self.routes, options=tuple(_any_turns(self.routes)))
        if isinstance(RouteSearch(bare).solve(until), RouteNone):
            return "no closed loop keeps these requirements, even without a thought for drives"
        routes = RouteSearch(self.routes, clash=self._clash)
        if isinstance(routes.solve(until), RouteNone):
            return (
                "loops that keep these requirements exist, but none leaves its corner drives "
                f"their room: 3 x 3 cells each, clear of other tape{self._rims()}"
            )
        why = "; ".join(self.refusals[:3]) or "no line from the button reaches them"
        return f"routes with drives that keep these requirements exist, but none is fired: {why}"

    def _rims(self) -> str:
        """What the rim has to do with it."""
        tight = [
            f"; {surface.margin} cells may be dug beyond the rim of the {name}"
            for name, surface in self.given.surfaces.items()
            if f"surfaces.{name}.margin" in self.core.names
        ]
        return "".join(tight)

    def _clash(self, a: CornerOption, b: CornerOption) -> bool:
        return clashing(self.problem, self.system, a, b)

    def _forced_corners(self) -> Iterator[str]:
        """Required cells with just two ways, at a right angle, and no drive for that turn."""
        options = {(o.cell, o.in_port, o.out_port) for o in self.routes.options}
        for cell in sorted(self.routes.required & self.routes.allowed):
            row = self.problem.graph.ports[cell]
            open_ = [p for p in range(4) if row[p] in self.routes.allowed]
            if len(open_) != 2 or (open_[0] - open_[1]) % 4 == 2:
                continue
            a, b = open_
            if {(cell, a, b), (cell, b, a)}.isdisjoint(options):
                yield f"the tape must turn at {at(self.cells[cell])}; no drive can be dug in there"


def _any_turns(routes: RouteProblem) -> Iterator[CornerOption]:
    """A drive that takes no room, for every turn."""
    for cell in sorted(routes.allowed - routes.folds):
        for came in range(4):
            for goes in ((came + 1) % 4, (came + 3) % 4):
                yield CornerOption(cell, came, goes, "", (0,) * len(routes.terms))
