"""The route search against another way to solve random abstract rooms: verdict and optimum.

python -m tests.campaign_routes --seed 1 --count 1000 [--large] [--processes 2] [--log FILE]

The other way is enumeration, or with `--large`, in rooms of 8 x 8 to 10 x 10, a mixed integer
program.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from functools import partial

from models.route import RouteFound, RouteNone
from solver.route import RouteSearch
from tests.campaign_runner import one_by_one, parser, run
from tests.oracles.milp_route import MilpRoute
from tests.oracles.naive_route import best_costs
from tests.route_rooms import LARGE, SMALL, random_room

LIMIT_S = 30.0
"""For each call of the program."""


def judge_route(number: int, seen: Counter[str], large: bool = False) -> list[str]:
    """One abstract room: verdict and optimum of the search and of the other way."""
    problem = random_room(number, LARGE if large else SMALL)
    verdict = RouteSearch(problem).solve(time.monotonic() + 60)
    try:
        best = MilpRoute(problem, LIMIT_S).best_costs() if large else best_costs(problem)
    except TimeoutError:
        seen["not decided by the program"] += 1
        return []
    seen["feasible" if best else "infeasible"] += 1
    if isinstance(verdict, RouteFound):
        if not verdict.optimal:
            return ["found, but not proven best"]
        return [] if verdict.route.costs == best else [f"{verdict.route.costs}, least {best}"]
    if isinstance(verdict, RouteNone):
        return [f"said impossible, but {best}"] if best else []
    return ["undecided"]


def judge(name: str, seen: Counter[str], large: bool) -> list[str]:
    """The room of a name."""
    base, number = map(int, name.split("/"))
    return judge_route(100_000 * base + number, seen, large)


def main() -> int:
    made = parser(__doc__, count=1000)
    made.add_argument("--large", action="store_true")
    options = made.parse_args()
    judged = partial(one_by_one, partial(judge, large=options.large))
    return run(judged, options, what="abstract rooms", batch=1 if options.large else 20)


if __name__ == "__main__":
    sys.exit(main())
