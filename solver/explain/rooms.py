"""Why a room with several surfaces has no machine: what shows in a drawing, and what clashes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from models.geometry import add, scale
from models.outcome import Infeasible, Reason
from models.problem import Problem
from models.route import EdgeLimits, EdgeSpan
from models.scenario import Scenario, cell_requirement
from models.surface import SurfaceName
from solver.explain.by_rules import Routed, RulesOracle
from solver.explain.direct import DirectOracle
from solver.explain.facts import CoreView
from solver.explain.oracle import Kept
from solver.explain.relax import droppable, requirement_text
from solver.explain.shrink import Core, ordered_groups, shrink
from solver.flatten import flatten
from solver.net.systems import WORLD
from solver.net.worked import FLAT_COLUMN
from solver.route.problem import edge_limits

End = tuple[int, str]
SHARE = 0.6
"""How much of the time left goes into shrinking; the rest into showing what is needed."""
LIFT_DEPTH = FLAT_COLUMN.depth
"""Cells behind the tape that every lift takes, whatever fires it."""


def explain_rooms(
    scenario: Scenario, verdict: Infeasible, deadline: float, say: Callable[[str], None]
) -> Infeasible:
    """The fewest requirements that no loop keeps, and what shows in the drawing; else that alone.

    They are shrunk by the rules alone, which is quick. A machine without each of them, where there
    is time to find it, shows that it is needed.
    """
    problem = flatten(scenario)
    loop = drawn_loop(problem) if scenario.loop.shape == "exact" else None
    lifts = _lift_reasons(problem)
    edges = _edge_reasons(problem, loop) if loop is not None else []
    core = _shrunk(scenario, deadline, say)
    if core is None:
        return replace(verdict, reasons=(*lifts, *edges, *verdict.reasons))
    needed = _each_needed(scenario, core, deadline)
    facts = [reason for reason in lifts if reason.requirement in core.names]
    if core.names >= {"loop.shape", "rules.push_limit"}:
        facts += [replace(reason, requirement="") for reason in edges]
    facts = facts or [Reason(text) for text in CoreView(scenario, core, WORLD, ()).sentences()]
    names = core.names or {"room.size"}
    told = {fact.requirement for fact in facts}
    named = [
        Reason(requirement_text(scenario, name), name, str(scenario.requirements[name].place))
        for name in scenario.requirements
        if name in names - told
    ]
    proof = f"{verdict.proof}; those named, alone: by the rules for lifts and rams"
    return replace(verdict, reasons=(*facts, *named), proof=proof, minimal=needed)


def _shrunk(scenario: Scenario, deadline: float, say: Callable[[str], None]) -> Core | None:
    """Requirements that no route keeps, as few as can be; None if a route keeps all of them.

    That all together cannot be kept is the verdict: it is not proven again where that takes long.
    """
    say("no machine; looking for the reason")
    oracle = RulesOracle(scenario, time.monotonic() + SHARE * (deadline - time.monotonic()))
    every = frozenset(droppable(scenario))
    if isinstance(oracle.ask(every), Routed):
        return None
    core = shrink(oracle, every, ordered_groups(scenario, every))
    say(f"{len(core.names)} requirements cannot hold together")
    return core


def _each_needed(scenario: Scenario, core: Core, deadline: float) -> bool:
    """Whether a machine was found without each of them."""
    direct = DirectOracle(scenario, deadline)
    return all(isinstance(direct.ask(core.names - {n}), Kept) for n in sorted(core.names))


def _lift_reasons(problem: Problem) -> tuple[Reason, ...]:
    """For each surface, the first cell to pass behind which no lift has its place."""
    reasons: dict[SurfaceName, Reason] = {}
    for cell in sorted(problem.scenario.required()):
        index = problem.index[cell]
        name, away = problem.homes[index], scale(problem.normal(index), -1)
        assert name is not None
        missing = [
            at
            for at in (add(cell, scale(away, level)) for level in range(1, LIFT_DEPTH + 1))
            if not problem.digging.allows(at)
        ]
        if missing and name not in reasons:
            what = f"behind {cell} a lift needs the cell {missing[0]}, which may not be dug"
            requirement = f"surfaces.{name}.depth"
            place = problem.scenario.place_of(requirement)
            reasons[name] = Reason(what, requirement, str(place or ""))
    return tuple(reasons.values())


def drawn_loop(problem: Problem) -> list[int] | None:
    """The cells of an exact drawing in order, hidden ones too; None if the order is open."""
    graph = problem.graph
    drawn = {problem.index[cell] for cell in problem.scenario.required()}
    for i, home in enumerate(problem.homes):
        if home is None and drawn.issuperset(set(graph.ports[i]) - {-1}):
            drawn.add(i)
    near = {i: [j for j in graph.ports[i] if j in drawn] for i in drawn}
    if any(len(others) != 2 for others in near.values()):
        return None
    loop = [min(drawn)]
    loop.append(near[loop[0]][0])
    while loop[-1] != loop[0]:
        (onward,) = (j for j in near[loop[-1]] if j != loop[-2])
        loop.append(onward)
    return loop[:-1] if len(loop) - 1 == len(drawn) else None


def _edge_reasons(problem: Problem, loop: list[int]) -> tuple[Reason, ...]:
    limits = edge_limits(problem.scenario.rules)
    ends = _ends(problem, loop)
    reasons = []
    for (i, first), (j, last) in zip(ends, ends[1:] + ends[:1], strict=True):
        count = (j - i - 1) % len(loop) + 2
        spans = (_span(limits, first, last), _span(limits, last, first))
        if all(not span.least <= count <= span.most for span in spans):
            most = max(span.most for span in spans)
            where = problem.graph.cells[loop[i]], problem.graph.cells[loop[j]]
            what = f"an edge of {count} cells between a {first} and a {last}, {where[0]} to "
            what += f"{where[1]}; it may have {most} at most"
            reasons.append(_placed(problem, loop[(i + 1) % len(loop)], what))
    return tuple(reasons)


def _ends(problem: Problem, loop: list[int]) -> list[End]:
    """Corners and folds, in order."""
    graph, found = problem.graph, []
    for k, cell in enumerate(loop):
        before, after = loop[k - 1], loop[(k + 1) % len(loop)]
        came, goes = graph.ports[cell].index(before), graph.ports[cell].index(after)
        if problem.homes[cell] is None:
            found.append((k, "fold"))
        elif (goes - came) % 4 != 2:
            found.append((k, "drive"))
    return found


def _span(limits: EdgeLimits, first: str, last: str) -> EdgeSpan:
    return {
        ("drive", "drive"): limits.drive_drive,
        ("drive", "fold"): limits.drive_fold,
        ("fold", "drive"): limits.fold_drive,
        ("fold", "fold"): limits.fold_fold,
    }[first, last]


def _placed(problem: Problem, cell: int, what: str) -> Reason:
    """The reason, with the map position of its first visible cell."""
    at = problem.graph.cells[cell]
    for name, surface in problem.scenario.surfaces.items():
        spot = surface.plane.spot(at)
        if spot is not None:
            requirement = cell_requirement(name, *spot)
            return Reason(what, requirement, str(problem.scenario.place_of(requirement) or ""))
    return Reason(what)
