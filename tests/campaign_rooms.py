"""Random rooms through the whole walk; machines judged by code that shares nothing with the search.

python -m tests.campaign_rooms --seed 1 --count 200 [--low 5 --high 9] [--budget 30] [--keep DIR]
python -m tests.campaign_rooms --routes --seed 1 --count 200

With `--routes`: the abstract route problem instead, verdict and optimum against enumeration.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

from models.outcome import Infeasible
from models.route import RouteFound, RouteNone
from solver.route import RouteSearch
from tests.oracles.naive_route import best_costs
from tests.rooms import Room, machine_faults, random_scenario_room, solve_room
from tests.route_rooms import random_room


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


def judge_route(seed: int, seen: Counter[str]) -> list[str]:
    """One abstract room: verdict and optimum of the search and of enumeration."""
    problem = random_room(seed)
    verdict = RouteSearch(problem).solve(time.monotonic() + 60)
    best = best_costs(problem)
    seen["feasible" if best else "infeasible"] += 1
    if isinstance(verdict, RouteFound):
        return [] if verdict.route.costs == best else [f"{verdict.route.costs}, least {best}"]
    if isinstance(verdict, RouteNone):
        return [f"said impossible, but {best}"] if best else []
    return ["undecided"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--low", type=int, default=5)
    parser.add_argument("--high", type=int, default=9)
    parser.add_argument("--budget", type=float, default=30)
    parser.add_argument("--routes", action="store_true")
    parser.add_argument("--keep", type=Path, help="folder for rooms with a wrong result")
    options = parser.parse_args()
    seen: Counter[str] = Counter()
    wrong = 0
    for number in range(options.count):
        name = f"{options.seed}/{number}"
        room = random_scenario_room(Random(name), options.low, options.high)
        if options.routes:
            faults = judge_route(10_000 * options.seed + number, seen)
        else:
            faults = judge_room(room, options.budget, seen)
        if number % 10 == 9:
            print(f"{number + 1} rooms, {wrong} wrong: {dict(seen)}", file=sys.stderr, flush=True)
        if faults:
            wrong += 1
            print(f"room {name}: {faults[:3]}", flush=True)
            if options.keep and not options.routes:
                path = options.keep / f"{options.seed}-{number}.toml"
                path.write_text(room.text(faults[0]))
    print(f"{wrong} wrong of {options.count}: {dict(seen)}, {time.process_time():.0f} s CPU")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
