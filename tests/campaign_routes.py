"""The route search against enumeration on random abstract rooms: verdict and optimum.

python -m tests.campaign_routes --seed 1 --count 1000 [--processes 2] [--log FILE]
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from functools import partial

from models.route import RouteFound, RouteNone
from solver.route import RouteSearch
from tests.campaign_runner import one_by_one, parser, run
from tests.oracles.naive_route import best_costs
from tests.route_rooms import random_room


def judge_route(number: int, seen: Counter[str]) -> list[str]:
    """One abstract room: verdict and optimum of the search and of enumeration."""
    problem = random_room(number)
    verdict = RouteSearch(problem).solve(time.monotonic() + 60)
    best = best_costs(problem)
    seen["feasible" if best else "infeasible"] += 1
    if isinstance(verdict, RouteFound):
        if not verdict.optimal:
            return ["found, but not proven best"]
        return [] if verdict.route.costs == best else [f"{verdict.route.costs}, least {best}"]
    if isinstance(verdict, RouteNone):
        return [f"said impossible, but {best}"] if best else []
    return ["undecided"]


def judge(name: str, seen: Counter[str]) -> list[str]:
    """The room of a name."""
    base, number = map(int, name.split("/"))
    return judge_route(100_000 * base + number, seen)


def main() -> int:
    options = parser(__doc__, count=1000).parse_args()
    return run(partial(one_by_one, judge), options, what="abstract rooms", batch=20)


if __name__ == "__main__":
    sys.exit(main())
