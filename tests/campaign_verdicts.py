"""Reasons of all files, verdicts and reasons of many random rooms.

Run `python -m tests.campaign_verdicts 1000`.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from models.outcome import Infeasible
from solver.explain.direct import search_alone
from solver.explain.explain import explain
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from tests.small_rooms import room
from tests.test_reasons import FILES, check_reason, named, needed
from tests.test_verdict_twin import disagreement


def main(count: int, start: int = 0) -> int:
    """How many rooms went wrong."""
    wrong = sum(map(_file_fault, FILES))
    for seed in range(start, start + count):
        told = disagreement(seed) or _reason_fault(seed)
        if told:
            wrong += 1
            print(told, flush=True)
    print(f"{len(FILES)} files and {count} rooms, {wrong} wrong")
    return wrong


def _file_fault(file: Path) -> bool:
    """Whether a data file does not get its expected reason."""
    try:
        check_reason(file)
    except AssertionError as error:
        print(f"{file.stem}: {error}", flush=True)
        return True
    return False


def _reason_fault(seed: int) -> str:
    """What is wrong with the reason given for a room, if it is impossible."""
    scenario = room(seed)
    deadline = time.monotonic() + 60
    results = [search_alone(verdict_only(scenario), s, deadline) for s in systems_of(scenario)]
    if not all(isinstance(r, Infeasible) for r in results):
        return ""
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


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])) > 0)
