"""Impossible scenario -> the nearest ones that have a machine.

Changes come in two kinds. *Limits* (depth, margin, direction, lengths, the button's place, cells
to leave untouched) are given up set by set, cheapest first; a set that leaves a known clash of
limits whole is skipped. For each set the search for routes finds the loop that changes the fewest
*cells*: drops required ones, frees covers, leaves the drawn shape.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations

from models.machine import Machine
from models.outcome import Feasible
from models.problem import Problem
from models.repair import Repair
from models.route import ReachTerm, Route, RouteCut, RouteFound, RouteNone, RouteProblem
from models.scenario import Scenario
from models.system import System
from solver.explain.by_rules import RulesOracle
from solver.explain.changed import (
    ADD,
    AROUND,
    BUTTON,
    DEPTH,
    DIRECTION,
    DROP,
    FREE,
    LENGTH,
    MARGIN,
    SPARE,
    Changed,
    changed_scenario,
)
from solver.explain.direct import search_alone
from solver.explain.oracle import Oracle, systems_of
from solver.explain.relax import FREE_MARGIN, changes_something, droppable, relax, variants
from solver.explain.shrink import shrink
from solver.explain.switched import Refuted
from solver.flatten import flatten
from solver.net.realise import Refused, net_search, realise
from solver.read_scenario import parse_scenario
from solver.route import RouteSearch
from solver.route.elsewhere import Tries
from solver.route.problem import clashing, route_problem

Say = Callable[[str], None]
WANTED = 3
PRICES = {
    "direction": DIRECTION,
    "around": AROUND,
    "min": LENGTH,
    "max": LENGTH,
    "depth": DEPTH,
    "margin": MARGIN,
}
"""The least price of giving up a limit, by the last part of its name."""
TRIES = 6
"""Routes tried for one set of limits before the next set has its turn."""
SHARE_S = 10.0
"""Most seconds for the best route under one set of limits."""
MORE_S = 10.0
"""Least seconds for alternatives once there is a repair."""


NEVER = 1 << 30
"""Heavier than any repair."""


@dataclass
class _Hunt:
    scenario: Scenario
    deadline: float
    seed: int
    say: Say
    start: float = field(default_factory=time.monotonic)
    found: list[Repair] = field(default_factory=list)
    clashes: list[frozenset[str]] = field(default_factory=list)
    cell_costs: dict[frozenset[str], int] = field(default_factory=dict)
    """For sets of limits given up, what the cells cost then at least."""
    floors: dict[bool, int] = field(default_factory=dict)
    """The same with all limits given up, the direction kept (False) or turned."""

    @property
    def bar(self) -> int:
        """The weight that a further repair must stay below to be of use."""
        weights = sorted(repair.weight for repair in self.found)
        if len(weights) >= WANTED:
            return weights[WANTED - 1]
        return weights[0] + max(6, weights[0] // 2) if weights else NEVER

    def cells_below(self, given_up: frozenset[str]) -> int:
        """What the cells must cost less than: giving up a limit must save some of them."""
        costs = [cost for names, cost in self.cell_costs.items() if names < given_up]
        return min([self.bar, *costs])

    def is_new(self, changed: Changed) -> bool:
        """Whether it is not a known repair, or one with something needless on top."""
        texts = {change.text for change in changed.changes}
        return not any({c.text for c in repair.changes} <= texts for repair in self.found)


def repairs(
    scenario: Scenario, deadline: float, seed: int = 0, say: Say = lambda line: None
) -> list[Repair]:
    """The three lightest repairs found by the deadline, the lightest first."""
    hunt = _Hunt(scenario, deadline, seed, say)
    several = len(scenario.surfaces) > 1
    oracle = RulesOracle(scenario, deadline) if several else Oracle(scenario, deadline)
    limits = frozenset(n for n in droppable(scenario) if _kind(scenario, n) == "limit")
    for weight, given_up in _sets(scenario, limits):
        if time.monotonic() > hunt.deadline or weight >= hunt.bar:
            break
        kept = limits - given_up
        if any(clash <= kept for clash in hunt.clashes):
            continue
        answer = oracle.ask(kept, hunt.deadline)
        if isinstance(answer, Refuted):
            core = answer.core
            if several:
                core = shrink(oracle, core, [(name,) for name in sorted(core)]).names
            hunt.clashes.append(core)
            continue
        if not given_up or _may_save(hunt, limits, given_up):
            _repair_cells(hunt, given_up)
    hunt.found.sort(key=lambda r: (r.weight, r.text))
    return hunt.found[:WANTED]


def _kind(scenario: Scenario, name: str) -> str:
    """Whether a requirement is a limit, a cell (paid for one by one), or the shape."""
    if name == "loop.shape":
        return "shape"
    return "limit" if not name.endswith("]") or name in _special(scenario) else "cell"


def _special(scenario: Scenario) -> frozenset[str]:
    """The button's cell and all untouched cells."""
    return frozenset(
        f"surfaces.{key}.map[{row + 1},{column + 1}]"
        for key, surface in scenario.surfaces.items()
        for row, column in surface.spots("@=")
    )


def _sets(scenario: Scenario, limits: frozenset[str]) -> Iterator[tuple[int, frozenset[str]]]:
    """Sets of limits to give up, by their least price. The rules of the world stay."""
    buttons = frozenset(
        f"surfaces.{s.name}.map[{r + 1},{c + 1}]"
        for s in scenario.surfaces.values()
        for r, c in s.spots("@")
    ) | ({"room.button"} & limits)
    groups: list[tuple[int, frozenset[str]]] = []
    if buttons:
        groups.append((BUTTON, buttons))
    untouched = _special(scenario) - buttons
    if untouched:
        groups.append((SPARE, untouched))
    for name in sorted(limits - buttons - untouched):
        price = PRICES.get(name.rsplit(".", 1)[1])
        if price is not None and not name.startswith("rules."):
            groups.append((price, frozenset({name})))
    groups = [(weight, names) for weight, names in groups if changes_something(scenario, names)]
    chosen = [
        (sum(w for w, _ in some), frozenset().union(*(names for _, names in some)))
        for size in range(min(len(groups), 4) + 1)
        for some in combinations(groups, size)
    ]
    yield from sorted(chosen, key=lambda item: (item[0], len(item[1]), sorted(item[1])))


def _may_save(hunt: _Hunt, limits: frozenset[str], given_up: frozenset[str]) -> bool:
    """Whether the cells would cost less if all limits were given up; found out once a direction."""
    turned = "loop.direction" in given_up
    if turned not in hunt.floors:
        everything = frozenset(n for n in limits if not n.startswith("rules."))
        everything = everything if turned else everything - {"loop.direction"}
        *_, loosest = _steps(hunt.scenario, everything)
        loose = _turned(hunt, loosest, everything)
        hunt.floors[turned] = min(
            _least(hunt, loose, system) for system in systems_of(hunt.scenario)
        )
    return hunt.floors[turned] < hunt.cells_below(given_up)


def _repair_cells(hunt: _Hunt, given_up: frozenset[str]) -> None:
    """Under these limits, the routes that change the fewest cells, made into repairs."""
    steps = list(_steps(hunt.scenario, given_up))
    for system in systems_of(hunt.scenario):
        # The widest margin first: if it saves no cells, no narrower one does.
        widest = _turned(hunt, steps[-1], given_up)
        if len(steps) > 1 and _least(hunt, widest, system) >= hunt.cells_below(given_up):
            continue
        for step in steps:
            before = len(hunt.found)
            _with_system(hunt, _turned(hunt, step, given_up), system, given_up)
            if len(hunt.found) > before:
                break


def _turned(hunt: _Hunt, stepped: Scenario, given_up: frozenset[str]) -> Scenario:
    """All else given up too; the direction, if it is given up, turned round."""
    found = variants(stepped, given_up - _stepped(given_up))
    return found[-1] if "loop.direction" in given_up else found[0]


def _least(hunt: _Hunt, loose: Scenario, system: System) -> int:
    """What the cells cost at least under these limits."""
    _, search = _search(hunt, loose, system)
    verdict = search.solve(min(hunt.deadline, time.monotonic() + SHARE_S))
    return NEVER if isinstance(verdict, RouteNone) else verdict.lower_bound[0]


def _stepped(given_up: frozenset[str]) -> frozenset[str]:
    return frozenset(name for name in given_up if name.endswith((".depth", ".margin")))


def _steps(scenario: Scenario, given_up: frozenset[str]) -> Iterator[Scenario]:
    """The scenario with depth as needed and margins a little wider, then wider still."""
    loose = relax(scenario, _stepped(given_up))
    widened = [n for n in given_up if n.endswith(".margin")]
    for extra in range(1, FREE_MARGIN + 1) if widened else (0,):
        surfaces = {
            key: replace(
                surface,
                margin=min(surface.margin, scenario.surfaces[key].margin + extra)
                if f"surfaces.{key}.margin" in given_up
                else surface.margin,
            )
            for key, surface in loose.surfaces.items()
        }
        yield replace(loose, surfaces=surfaces, requirements=scenario.requirements)


def _with_system(hunt: _Hunt, loose: Scenario, system: System, given_up: frozenset[str]) -> None:
    """Routes of one system, from the one that changes the fewest cells on."""
    problem, search = _search(hunt, loose, system)
    tries = Tries(lambda: search, guesses=bool(system.surfaces))
    nets = net_search(problem, system)
    for _ in range(TRIES):
        verdict = search.solve(min(hunt.deadline, time.monotonic() + SHARE_S))
        if not isinstance(verdict, RouteFound):
            return
        cost = verdict.route.costs[0]
        if cost >= hunt.cells_below(given_up):
            return
        machine = realise(problem, system, nets, verdict.route)
        if isinstance(machine, Refused):
            tries.refuse(verdict.route, None, machine.at)
            continue
        if not _kept(hunt, problem, system, machine):
            tries.refuse(verdict.route, None, None)
            continue
        hunt.cell_costs.setdefault(given_up, cost)
        cut = _undone(hunt.scenario, problem, verdict.route)
        if not cut.tape and not cut.bare:
            return
        search.forbid(cut)


def _search(hunt: _Hunt, loose: Scenario, system: System) -> tuple[Problem, RouteSearch]:
    """The search for the route that changes the fewest cells."""
    scenario = _without_cells(loose)
    problem = flatten(replace(scenario, loop=replace(scenario.loop, minimise=())))
    routes = _priced(hunt.scenario, problem, route_problem(problem, system))
    search = RouteSearch(routes, seed=hunt.seed, clash=lambda a, b: clashing(problem, system, a, b))
    return problem, search


def _without_cells(loose: Scenario) -> Scenario:
    """Covers may carry tape and no cell must; what that costs is up to the objective."""
    cells = frozenset(
        f"surfaces.{key}.map[{row + 1},{column + 1}]"
        for key, surface in loose.surfaces.items()
        for row, column in surface.spots("o#")
    )
    return relax(loose, cells | {"loop.shape"})


def _priced(given: Scenario, problem: Problem, routes: RouteProblem) -> RouteProblem:
    """The objective: the weight of all changed cells, then the length."""
    drawn_on = ADD if given.loop.shape == "exact" else 0
    prices = {"o": 0, "#": FREE + drawn_on, "=": SPARE + drawn_on}
    # The hidden cells of edge lines are on no map: nothing changes there.
    cost = [
        0 if home is None else prices.get(given.mark_at(cell) or "", drawn_on)
        for cell, home in zip(problem.graph.cells, problem.homes, strict=True)
    ]
    # The length matters only where a limit to it is given up; it would cost time elsewhere.
    loop = problem.scenario.loop
    lifted = (loop.min_length, loop.max_length) != (given.loop.min_length, given.loop.max_length)
    terms = ("change", "length") if lifted else ("change",)
    price = (DROP, 0)[: len(terms)]
    dropped = (
        ReachTerm(frozenset({problem.index[cell]}), price) for cell in sorted(given.required())
    )
    return replace(
        routes,
        options=tuple(replace(o, costs=tuple(0 for _ in terms)) for o in routes.options),
        terms=terms,
        cell_costs=(tuple(cost), tuple(1 for _ in cost))[: len(terms)],
        fixed_costs=tuple(0 for _ in terms),
        reach_terms=tuple(dropped),
    )


def _undone(given: Scenario, problem: Problem, route: Route) -> RouteCut:
    """Further routes undo at least one of this one's changes."""
    cells = problem.graph.cells
    tape = {cells[i] for i in route.cells if problem.homes[i] is not None}
    changed = {c for c in tape if given.mark_at(c) in ("#", "=")}
    if given.loop.shape == "exact":
        changed |= tape - given.required()
    return RouteCut(
        tape=frozenset(problem.index[c] for c in given.required() - tape),
        bare=frozenset(problem.index[c] for c in changed),
    )


def _kept(hunt: _Hunt, problem: Problem, system: System, machine: Machine) -> bool:
    """Write the changed scenario, read it back, solve and simulate it; keep it if it works."""
    changed = changed_scenario(hunt.scenario, problem.scenario, machine)
    text = changed.text()
    if changed.weight >= hunt.bar or not hunt.is_new(changed):
        return True  # no use, but nothing wrong with the route either
    scenario = parse_scenario(text, hunt.scenario.path.with_name("repair.toml"))
    until = min(hunt.deadline, time.monotonic() + SHARE_S)
    verdict = search_alone(scenario, system, until)
    found = verdict if isinstance(verdict, Feasible) else getattr(verdict, "best", None)
    if found is None:
        return False
    if not hunt.found:
        # The nearest one is what is wanted; alternatives get as much time again, or a little.
        now = time.monotonic()
        hunt.deadline = min(hunt.deadline, now + max(MORE_S, now - hunt.start))
    hunt.found.append(Repair(tuple(changed.changes), text, scenario, found))
    hunt.say(f"a repair of weight {changed.weight}: " + "; ".join(c.text for c in changed.changes))
    return True
