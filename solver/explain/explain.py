"""An infeasible verdict -> the same with a minimal reason, confirmed once more."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from models.geometry import sub
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.scenario import Scenario, cell_requirement
from solver.explain.circuit import circuit_opinion
from solver.explain.direct import DirectOracle
from solver.explain.drawn import drawn_facts
from solver.explain.facts import facts_of
from solver.explain.oracle import Kept, Oracle, systems_of
from solver.explain.relax import (
    droppable,
    keep_only,
    relax,
    requirement_text,
    variants,
    verdict_only,
)
from solver.explain.rooms import explain_rooms
from solver.explain.shrink import Core, ordered_groups, shrink
from solver.explain.switched import Refuted
from solver.flatten import flatten
from solver.net.layout import score
from solver.route.large import LARGE

Say = Callable[[str], None]
CIRCUIT_S = 10.0
"""Most seconds for the opinion of an unrelated model."""


def explain(
    scenario: Scenario, verdict: Infeasible, deadline: float, say: Say = lambda line: None
) -> Verdict:
    """Name a minimal set of requirements; what time does not allow is said, not guessed."""
    if len(scenario.surfaces) > 1:
        return explain_rooms(scenario, verdict, deadline, say)
    direct = DirectOracle(scenario, deadline)
    say("no machine; looking for the reason")
    core = _from_drawing(scenario, direct) or _from_dead_end(scenario, direct)
    ways = ["plain Python, cell by cell"] if core else []
    if core is None:
        oracle = Oracle(scenario, deadline)
        first = oracle.ask(frozenset(droppable(scenario)))
        match first:
            case Kept():
                return _contradicted(first)
            case Refuted():
                core = shrink(oracle, first.core, ordered_groups(scenario, first.core))
                ways = ["one formula with a switch for each requirement (Glucose)"]
            case _:
                return verdict
    say(f"{len(core.names)} requirements cannot hold together")
    again = direct.ask(core.names)
    if isinstance(again, Kept):
        return verdict  # the core is wrong; the verdict itself was confirmed before
    ways += [*direct.proofs, *_unrelated(scenario, core, direct)]
    reasons = [Reason(text) for text in facts_of(scenario, core, direct)]
    names = core.names or {"room.size"}  # with nothing else to blame the room itself is too small
    reasons += [_named(scenario, name) for name in scenario.requirements if name in names]
    whole = "; ".join(reason.text for reason in verdict.reasons if not reason.requirement)
    proof = f"{whole}: {verdict.proof}; those named, alone: {'; '.join(dict.fromkeys(ways))}"
    return replace(verdict, reasons=tuple(reasons), proof=proof, minimal=core.minimal)


def _from_drawing(scenario: Scenario, direct: DirectOracle) -> Core | None:
    """A core from a fault that shows in the drawing itself; each element is tried out."""
    if scenario.loop.shape != "exact":
        return None
    names: frozenset[str] = frozenset()
    for system in systems_of(scenario):
        loose = flatten(verdict_only(relax(scenario, keep_only(scenario, ()))))
        facts = drawn_facts(scenario, loose, system.measure)
        if not facts:
            return None
        names |= min(facts, key=lambda f: (len(f.names | names), f.text)).names
    core = shrink(direct, names, [(name,) for name in sorted(names)])
    return core if core.minimal else None


def _from_dead_end(scenario: Scenario, direct: DirectOracle) -> Core | None:
    """In a large room a core from a wish that tape cannot pass; the formula would take minutes."""
    cores = []
    for surface in scenario.surfaces.values():
        if surface.plane.rows * surface.plane.columns < LARGE:
            return None
        for row, column in surface.spots("o"):
            beside = [(row + a, column + b) for a, b in ((0, 1), (1, 0), (0, -1), (-1, 0))]
            spots = [s for s in beside if surface.plane.spot(surface.plane.cell(*s)) is not None]
            barred = [(r, c) for r, c in spots if surface.marks[r][c] not in ".o"]
            if len(spots) - len(barred) < 2:
                blamed = [(row, column), *barred]
                cores.append(frozenset(cell_requirement(surface.name, *s) for s in blamed))
    if not cores:
        return None
    names = min(cores, key=lambda core: (len(core), sorted(core)))
    return shrink(direct, names, [(name,) for name in sorted(names)])


def _contradicted(kept: Kept) -> Undecided:
    """Two searches disagree, and one of them has a machine to show."""
    tape = kept.machine.tape
    turns = sum(
        sub(tape[i - 1], tape[i - 2]) != sub(tape[i], tape[i - 1]) for i in range(len(tape))
    )
    values = score(kept.machine, turns, kept.system.depth)
    best = Feasible(kept.machine, values, False, {}, kept.system.name)
    return Undecided(best, {}, "a search said impossible, but this machine was found")


def _named(scenario: Scenario, name: str) -> Reason:
    return Reason(requirement_text(scenario, name), name, str(scenario.requirements[name].place))


def _unrelated(scenario: Scenario, core: Core, direct: DirectOracle) -> list[str]:
    """What a model that shares no formula says of the core, where it applies."""
    until = min(direct.deadline, time.monotonic() + CIRCUIT_S)
    opinions = [
        circuit_opinion(flatten(verdict_only(kept)), system.measure, until)
        for kept in variants(scenario, keep_only(scenario, core.names))
        for system in systems_of(scenario)
    ]
    return opinions[0] if opinions and all(opinions) else []
