"""Random rooms with several surfaces through the whole walk; what comes out is judged anew.

python -m tests.campaign_spaces --seed 1 --count 200 [--budget 30] [--keep DIR] [--log FILE]

Machines are judged as in `campaign_rooms`. "Impossible" is held against plain enumeration of loops
(`oracles/naive_folds.py`) where that ends in time; "undecided" is only counted, by its cause.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from functools import partial
from random import Random

from models.outcome import Feasible, Infeasible, Undecided
from models.scenario import Scenario
from solver.flatten import flatten
from solver.net.systems import systems_over
from solver.route.problem import clashing, route_problem
from tests.campaign_runner import one_by_one, parser, run
from tests.oracles.naive_folds import routes
from tests.rooms import machine_faults, solve_text
from tests.space_rooms import SpaceRoom, random_space_room

MOST_CELLS = 26
"""A free loop is enumerated only where tape may run on so few cells."""


def naive_route_exists(scenario: Scenario) -> bool | None:
    """Whether plain enumeration finds a route; None where there would be too many loops."""
    problem = flatten(scenario)
    (system,) = systems_over(scenario.surfaces)
    wanted = route_problem(problem, system)
    if scenario.loop.shape != "exact" and len(wanted.allowed) > MOST_CELLS:
        return None
    found = routes(wanted, scenario.rules.push_limit, lambda a, b: clashing(problem, system, a, b))
    return next(found, None) is not None


def judge_space(room: SpaceRoom, budget_s: float, seen: Counter[str]) -> list[str]:
    """Solve one room; what is wrong with the result."""
    start = time.monotonic()
    outcome = solve_text(room.text(), budget_s)
    took = time.monotonic() - start
    seen[f"{outcome.verdict}, {room.shape}"] += 1
    if took > 10:
        seen["over 10 s"] += 1
    result = outcome.result
    if isinstance(result, Infeasible):
        naive = naive_route_exists(outcome.scenario)
        if naive is not None:
            seen["impossible, enumerated"] += 1
        faults = ["enumeration finds a route"] if naive else []
        return faults + ([] if result.reasons and result.proof else ["no reason, no proof"])
    if isinstance(result, Undecided) and result.best is None:
        cause = result.details[-1] if result.details else result.why
        seen[f"undecided: {_plain(cause)}"] += 1
    if outcome.found is None:
        return []
    seen["machines"] += 1
    if isinstance(result, Feasible) and result.optimal:
        seen["proven best"] += 1
    return machine_faults(outcome.found.machine, outcome.scenario)


def _plain(text: str) -> str:
    """A cause without its numbers and cells."""
    return "".join("_" if c.isdigit() else c for c in text.split(" at (")[0])


def main() -> int:
    options_parser = parser(__doc__, count=200)
    options_parser.add_argument("--budget", type=float, default=30)
    options = options_parser.parse_args()

    def judge(name: str, seen: Counter[str]) -> list[str]:
        return judge_space(random_space_room(Random(name)), options.budget, seen)

    def keep(name: str, result: object) -> None:
        path = options.keep / f"space-{name.replace('/', '-')}.toml"
        path.write_text(random_space_room(Random(name)).text(str(result)))

    return run(partial(one_by_one, judge), options, what="rooms over several surfaces", keep=keep)


if __name__ == "__main__":
    sys.exit(main())
