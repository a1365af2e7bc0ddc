"""Random rooms through the whole walk; machines judged by code that shares nothing with the search.

python -m tests.campaign_rooms --seed 1 --count 200 [--low 5 --high 9] [--budget 30]
    [--processes 2] [--log FILE] [--keep DIR]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from functools import partial
from random import Random

from models.outcome import Infeasible
from tests.campaign_runner import Result, one_by_one, parser, run
from tests.rooms import Room, machine_faults, random_scenario_room, solve_room


def judge_room(room: Room, budget_s: float, seen: Counter[str]) -> list[str]:
    """Solve one room; what is wrong with the result."""
    outcome = solve_room(room, budget_s)
    seen[outcome.verdict] += 1
    if isinstance(outcome.result, Infeasible):
        return [] if outcome.result.reasons and outcome.result.proof else ["no reason, no proof"]
    if outcome.found is None:
        return []
    seen["machines"] += 1
    return machine_faults(outcome.found.machine, outcome.scenario)


def judge(name: str, seen: Counter[str], low: int, high: int, budget_s: float) -> list[str]:
    """The room of a name."""
    return judge_room(random_scenario_room(Random(name), low, high), budget_s, seen)


def main() -> int:
    options = _parser().parse_args()
    size = {"low": options.low, "high": options.high}

    def keep(name: str, result: Result) -> None:
        room = random_scenario_room(Random(name), **size)
        path = options.keep / f"{name.replace('/', '-')}.toml"
        path.write_text(room.text(result.wrong[0]))

    judged = partial(one_by_one, partial(judge, budget_s=options.budget, **size))
    return run(judged, options, what="rooms", keep=keep)


def _parser() -> argparse.ArgumentParser:
    made = parser(__doc__, count=200)
    made.add_argument("--low", type=int, default=5)
    made.add_argument("--high", type=int, default=9)
    made.add_argument("--budget", type=float, default=30)
    return made


if __name__ == "__main__":
    sys.exit(main())
