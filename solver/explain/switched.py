"""One formula for every subset of the requirements: each stands under a switch of its own.

The route problem is that of the scenario with everything dropped; each requirement comes back as
clauses that hold while its switch is on. So one solver answers for any subset, and names those
that a refutation used.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace

from pysat.solvers import Solver

from models.problem import Digging, Problem
from models.route import Route, RouteProblem
from models.scenario import Scenario, cell_requirement
from models.system import System
from solver.explain.blockers import Blockers
from solver.explain.guard import post_under
from solver.explain.relax import droppable, relax, variants, verdict_only
from solver.explain.strays import stray_cuts
from solver.flatten import flatten
from solver.route.clashes import clash_cuts
from solver.route.formula import TRUE
from solver.route.problem import clashing, edge_limits, route_problem, this_route
from solver.route.reading import read_route, sides
from solver.route.rules import post_edges, post_fold_edges, post_wanted_cells
from solver.route.stage import Stage
from solver.route.topology import Topology, topology

SOLVER = "glucose4"
"""Another family than the route search uses first; it also starts from small loops."""
DOUBT = "a refusal that is not proven"
"""The switch of clauses that a refutation must not rest on."""
SLICE = 2000
"""Conflicts between two looks at the clock."""


@dataclass(frozen=True, slots=True)
class Refuted:
    """No route keeps all of these."""

    core: frozenset[str]


@dataclass(frozen=True, slots=True)
class Unsettled:
    """Time ran out."""


class SwitchedStage(Stage):
    """A stage that is asked under assumptions, of a solver of its own."""

    def __init__(self, routes: RouteProblem, tables: Topology) -> None:
        super().__init__(routes, tables, routes.allowed, ())
        self.solver.delete()
        self.solver = Solver(name=SOLVER)
        self._given = 0

    def ask(self, assumed: list[int], deadline: float) -> list[int] | bool | None:
        """True: there is a solution; None: time ran out; else the assumptions that clash."""
        for clause in self.model.formula.clauses[self._given :]:
            self.solver.add_clause(list(clause))
        self._given = len(self.model.formula.clauses)
        if time.monotonic() > deadline:
            return None
        if self.model.formula.contradiction:
            return []
        while True:
            self.solver.conf_budget(SLICE)
            answer = self.solver.solve_limited(assumptions=assumed)
            if answer is not None:
                break
            if time.monotonic() > deadline:
                return None
        if not answer:
            return list(self.solver.get_core() or [])
        known = [False] * (self.model.formula.variables + 1)
        for lit in self.solver.get_model() or []:
            if 0 < lit < len(known):
                known[lit] = True
        known[TRUE] = True
        self.assignment = known
        return True

    def at_least(self, literals: list[int], least: int) -> int:
        """A literal that forces at least so many; FALSE where that cannot be."""
        counted = self._count(literals, least, exact=True)
        return counted[least - 1] if least <= len(counted) else -TRUE

    def at_most(self, literals: list[int], most: int) -> int:
        """A literal that forces at most so many."""
        return -self._count(literals, most + 1, exact=True)[most] if most < len(literals) else TRUE

    def counted(self) -> tuple[list[int], int]:
        """Tape literals to count and how many cells each stands for."""
        cells, factor = self._half(self._live())
        return [self.model.tape[cell] for cell in cells], factor


class Switched:
    """All subsets of the requirements, for one system and one direction of travel."""

    def __init__(self, scenario: Scenario, system: System, *, reverse: bool) -> None:
        self.given, self.system = scenario, system
        self.names = droppable(scenario)
        everything = frozenset(self.names)
        base = verdict_only(variants(scenario, everything)[1 if reverse else 0])
        self.direction = base.loop.direction
        self.problem = flatten(base)
        self.routes = route_problem(self.problem, system)
        self.blockers = Blockers(scenario, self.problem, system)
        tables = topology(self.problem.graph)
        self.stage = SwitchedStage(self.routes, tables)
        self.model = self.stage.model
        self.switch = {name: self.model.formula.new() for name in self.names}
        self.switch[DOUBT] = self.model.formula.new()
        self.name = {lit: name for name, lit in self.switch.items()}
        self.required = {
            self.problem.index[cell]: cell_requirement(key, row, column)
            for key, surface in scenario.surfaces.items()
            for row, column in surface.spots("o")
            for cell in (surface.plane.cell(row, column),)
        }
        self._post()

    # ------------------------------------------------------------------ the requirements

    def _post(self) -> None:
        clause, tape = self.model.formula.clause, self.model.tape
        for cell, name in self.required.items():
            clause(-self.switch[name], tape[cell])
        for cell in sorted(self.routes.allowed):
            for block in self.blockers.of_tape(cell):
                clause(*self._off(sorted(block)), -tape[cell])
        for option, literal in self.model.option.items():
            for block in self.blockers.of_drive(option):
                clause(*self._off(sorted(block)), -literal)
        if self.given.loop.shape == "exact":
            for cell in sorted(self.routes.allowed - self.required.keys()):
                clause(-self.switch["loop.shape"], -tape[cell])
        self._post_limits()
        self._post_lengths()
        if self.given.loop.around is not None:
            at = self.problem.index[self.given.loop.around]
            problem = replace(self.routes, around=at)
            post_under(self.model, [self.switch["loop.around"]], problem, post_wanted_cells)

    def _off(self, names: Iterable[str]) -> list[int]:
        return [-self.switch[name] for name in names]

    def _post_limits(self) -> None:
        """The edge limits of the rules as given."""
        kept = relax(self.given, frozenset(self.names) - {"rules.push_limit"})
        narrowed = replace(self.routes, limits=edge_limits(kept.rules, self.system.edge_min))
        switch = [self.switch["rules.push_limit"]]
        post_under(self.model, switch, narrowed, post_edges, post_fold_edges)

    def _post_lengths(self) -> None:
        """Least and greatest length. A loop on a chessboard has as many cells of either colour."""
        loop, clause = self.given.loop, self.model.formula.clause
        literals, factor = self.stage.counted()
        if loop.min_length is not None:
            least = -(-loop.min_length // factor)
            clause(-self.switch["loop.length.min"], self.stage.at_least(literals, least))
        if loop.max_length is not None:
            most = loop.max_length // factor
            clause(-self.switch["loop.length.max"], self.stage.at_most(literals, most))

    # ------------------------------------------------------------------ asking

    def under(self, active: frozenset[str]) -> Problem:
        """The problem in which only these requirements hold, in this direction."""
        scenario = relax(self.given, frozenset(self.names) - active)
        loop = replace(scenario.loop, direction=self.direction, minimise=())
        scenario = replace(scenario, loop=loop)
        return replace(self.problem, scenario=scenario, digging=Digging(scenario))

    def route(self, active: frozenset[str], deadline: float) -> Route | Refuted | Unsettled:
        """A route that keeps these requirements, or those among them that no route keeps."""
        assumed = [self.switch[name] for name in self.names if name in active]
        assumed.append(self.switch[DOUBT])
        wanted = {cell: name for cell, name in self.required.items() if name in active}
        while True:
            answer = self.stage.ask(assumed, deadline)
            if answer is None:
                return Unsettled()
            if not isinstance(answer, bool):
                core = frozenset(self.name[lit] for lit in answer if lit in self.name)
                return Unsettled() if DOUBT in core else Refuted(core)
            route = self._taken(wanted)
            if route is not None:
                return route

    def _taken(self, wanted: dict[int, str]) -> Route | None:
        """The solution as a route; None if it was none and is now cut off."""
        inside = sides(self.model, self.stage.assignment)
        cuts = stray_cuts(self.model, inside, wanted)
        for cut in cuts:
            faces = [(1 if side else -1) * self.model.face[f] for f, side in cut.faces]
            self.model.formula.clause(*faces, *self._off(sorted(cut.names)))
        if cuts:
            return None
        route = read_route(self.model, self.stage.assignment)
        clashes = clash_cuts(
            self.routes, route, lambda a, b: clashing(self.problem, self.system, a, b)
        )
        for clash in clashes:
            self.stage.add_route_cut(clash)
        return None if clashes else route

    def refuse(self, route: Route, names: frozenset[str], *, proven: bool) -> None:
        """A later stage refused this route while these requirements hold, for certain or not."""
        names = names if proven else names | {DOUBT}
        cut = this_route(self.routes.options, route)
        option = self.model.option
        self.model.formula.clause(
            *self._off(sorted(names)),
            *(-option[o] for o in cut.dropped),
            *(option[o] for o in cut.chosen if o in option),
        )

    def require_one(self, cells: frozenset[int], names: frozenset[str]) -> None:
        """One of these cells is tape while the requirements hold."""
        self.model.formula.clause(
            *self._off(sorted(names)), *(self.model.tape[cell] for cell in sorted(cells))
        )
