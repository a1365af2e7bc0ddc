"""Reasons of all files, verdicts and reasons of many random rooms.

python -m tests.campaign_verdicts [--seed 1] [--count 1000] [--processes 2] [--log FILE]
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from functools import partial
from pathlib import Path

from models.outcome import Infeasible
from solver.explain.direct import search_alone
from solver.explain.explain import explain
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from tests.campaign_runner import one_by_one, parser, run
from tests.small_rooms import room
from tests.test_reasons import FILES, check_reason, named, needed
from tests.test_verdict_twin import disagreement


def judge(name: str, seen: Counter[str]) -> list[str]:
    """A data file, or the random room of a number."""
    if not name.isdecimal():
        return _file_faults(next(file for file in FILES if file.stem == name))
    told = disagreement(int(name), seen=seen) or _reason_fault(int(name), seen)
    return [told] if told else []


def _file_faults(file: Path) -> list[str]:
    """What is wrong with the reason that a data file gets."""
    try:
        check_reason(file)
    except AssertionError as error:
        return [str(error)]
    return []


def _reason_fault(seed: int, seen: Counter[str]) -> str:
    """What is wrong with the reason given for a room, if it is impossible."""
    scenario = room(seed)
    deadline = time.monotonic() + 60
    results = [search_alone(verdict_only(scenario), s, deadline) for s in systems_of(scenario)]
    if not all(isinstance(r, Infeasible) for r in results):
        return ""
    seen["reasons"] += 1
    verdict = explain(scenario, results[0], deadline)
    if not isinstance(verdict, Infeasible):
        return f"room {seed}: impossible, and yet not"
    if not verdict.minimal:
        return f"room {seed}: the reason is not minimal"
    try:
        if named(verdict) != {"room.size"}:
            needed(scenario, named(verdict))
    except AssertionError as error:
        return f"room {seed}: {error}"
    return ""


def main() -> int:
    options = parser(__doc__, count=1000).parse_args()
    first = 10_000 * (options.seed - 1)
    names = [*(file.stem for file in FILES), *map(str, range(first, first + options.count))]
    judged = partial(one_by_one, judge)
    return run(judged, options, what="files and rooms", batch=4, names=names)


if __name__ == "__main__":
    sys.exit(main())
