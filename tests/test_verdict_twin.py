"""The verdict on random small rooms equals that of trying every loop, one by one.

CI takes a share; `python -m tests.campaign_verdicts` takes as many as asked for.
"""

from __future__ import annotations

import time
from collections import Counter

import pytest

from models.outcome import Feasible, Infeasible
from solver.explain.direct import search_alone
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from tests.oracles.naive_verdict import has_machine
from tests.small_rooms import room


def disagreement(seed: int, limit_s: float = 30, seen: Counter[str] | None = None) -> str:
    """What is wrong with the verdict on a room; empty if nothing, or in doubt."""
    seen = Counter() if seen is None else seen
    scenario = room(seed)
    for system in systems_of(scenario):
        if system.convex_only:
            continue  # its lines take other ways than the twin knows
        verdict = search_alone(verdict_only(scenario), system, time.monotonic() + limit_s)
        truth = has_machine(scenario, system, time.monotonic() + limit_s)
        said = {Feasible: True, Infeasible: False}.get(type(verdict))
        seen["in doubt" if None in (said, truth) else f"feasible: {said}"] += 1
        if None not in (said, truth) and said != truth:
            return f"room {seed}, {system.name}: said {said}, enumeration {truth}"
    return ""


@pytest.mark.parametrize("seed", range(60))
def test_verdict_equals_enumeration(seed):
    assert not disagreement(seed)
