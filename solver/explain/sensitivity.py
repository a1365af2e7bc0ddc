"""Feasible scenario -> what each requirement costs: the gain if it is dropped.

Cells are dropped patch by patch (connected cells of one mark), limits one by one.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from models.limits import Gain, Limits
from models.outcome import Feasible, Infeasible, Undecided, Verdict
from models.scenario import Scenario
from solver.explain.direct import search_alone
from solver.explain.oracle import systems_of
from solver.explain.relax import cell_of, changes_something, droppable, variants
from solver.explain.shrink import Group, ordered_groups
from solver.explain.wording import listed

Say = Callable[[str], None]
BASE_SHARE = 0.4
"""How much of the time the scenario itself may take."""


def limits_of(
    scenario: Scenario, budget_s: float, say: Say = lambda line: None
) -> Limits | Infeasible | Undecided:
    """What limits a scenario; its verdict if that is not feasible."""
    start = time.monotonic()
    deadline = start + budget_s
    base = _best(scenario, frozenset(), start + budget_s * BASE_SHARE)
    found = base if isinstance(base, Feasible) else getattr(base, "best", None)
    if not isinstance(found, Feasible):
        assert isinstance(base, (Infeasible, Undecided))
        return base
    gains: list[Gain] = []
    groups = [g for g in _groups(scenario) if changes_something(scenario, frozenset(g))]
    for i, group in enumerate(groups):
        now = time.monotonic()
        if now > deadline:
            return Limits(found, _sorted(gains, scenario), len(groups) - i)
        say(f"without {_text(scenario, group)}")
        verdict = _best(scenario, frozenset(group), now + (deadline - now) / (len(groups) - i))
        gains.append(_gain(scenario, group, found, verdict))
    return Limits(found, _sorted(gains, scenario))


def _groups(scenario: Scenario) -> list[Group]:
    """The button's cell and its surface go together, patches of cells too."""
    names = frozenset(droppable(scenario))
    return ordered_groups(scenario, names)


def _best(scenario: Scenario, dropped: frozenset[str], deadline: float) -> Verdict:
    """The best machine of all systems and directions."""
    results = [
        search_alone(kept, system, deadline)
        for kept in variants(scenario, dropped)
        for system in systems_of(scenario)
    ]
    found = [r for r in results if isinstance(r, Feasible)]
    found += [r.best for r in results if isinstance(r, Undecided) and r.best is not None]
    settled = not any(isinstance(r, Undecided) for r in results)
    if not found:
        return next((r for r in results if isinstance(r, Undecided)), results[0])
    best = min(found, key=lambda f: tuple(f.score[t] for t in scenario.loop.minimise))
    optimal = settled and best.optimal
    return Feasible(best.machine, best.score, optimal, best.lower_bound, best.system, best.notes)


def _gain(scenario: Scenario, group: Group, base: Feasible, verdict: Verdict) -> Gain:
    better = verdict if isinstance(verdict, Feasible) else base
    terms = scenario.loop.minimise
    if tuple(better.score[t] for t in terms) > tuple(base.score[t] for t in terms):
        better = base  # time ran out before the machine that is known already
    saved = {key: base.score[key] - better.score[key] for key in base.score}
    proven = base.optimal and isinstance(verdict, Feasible) and verdict.optimal
    return Gain(group, _text(scenario, group), saved, proven)


def _sorted(gains: list[Gain], scenario: Scenario) -> tuple[Gain, ...]:
    terms = scenario.loop.minimise
    return tuple(sorted(gains, key=lambda g: tuple(-g.saved[t] for t in terms)))


def _text(scenario: Scenario, group: Group) -> str:
    """The requirement, or a patch of cells and where it is."""
    text = scenario.requirements[group[0]].text
    cells = [cell for name in group if (cell := cell_of(scenario, name)) is not None]
    return f"{text}: {listed(cells)}" if cells else text
