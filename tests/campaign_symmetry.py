"""Random rooms and their mirrored and turned images: same verdict, same optimum.

python -m tests.campaign_symmetry --seed 1 --count 40 [--low 5 --high 8] [--budget 30]
    [--processes 2] [--log FILE] [--keep DIR]

An obstacle more must never improve the optimum, and one less never worsen it.
"""

from __future__ import annotations

import sys
from collections import Counter
from functools import partial
from random import Random

from solver.pipeline import Outcome
from tests.campaign_runner import Result, one_by_one, parser, run
from tests.rooms import Room, objective, random_scenario_room, solve_room


def judge_symmetry(room: Room, rng: Random, budget_s: float, seen: Counter[str]) -> list[str]:
    """One image, one obstacle more, one less, each against the room itself."""
    plain = solve_room(room, budget_s)
    seen[plain.verdict] += 1
    image = rng.randrange(1, 8)
    other = solve_room(room.image(image), budget_s)
    faults = []
    if "undecided" not in (plain.verdict, other.verdict):
        if plain.verdict != other.verdict:
            faults.append(f"{plain.verdict}, image {image} {other.verdict}")
        elif _differ(plain, other) or _differ(other, plain):
            faults.append(f"{_told(plain)}, image {image} {_told(other)}")
        else:
            seen["optimum compared"] += objective(plain) == objective(other) is not None
    else:
        seen["not compared"] += plain.verdict != other.verdict
    for change, (mark, old) in {"obstacle more": ("#", "."), "obstacle less": (".", "#")}.items():
        changed = room.marked(mark, old, rng)
        if changed is None:
            continue
        seen[change] += 1
        after = solve_room(changed, budget_s)
        worse, better = (after, plain) if change == "obstacle more" else (plain, after)
        if _improves(worse, better):
            faults.append(f"{change}: {_told(plain)} became {_told(after)}")
    return faults


def _differ(proven: Outcome, other: Outcome) -> bool:
    """Whether the second found better than the optimum of the first, or proved something else."""
    optimum, best = objective(proven), proven.found and other.found
    if optimum is None or not best:
        return False
    value = tuple(best.score[term] for term in other.scenario.loop.minimise)
    return value < optimum or objective(other) not in (None, optimum)


def _improves(worse: Outcome, better: Outcome) -> bool:
    """Whether the room with more obstacles came out better."""
    if worse.verdict == "feasible" and better.verdict == "infeasible":
        return True
    a, b = objective(worse), objective(better)
    return a is not None and b is not None and a < b


def _told(outcome: Outcome) -> str:
    return f"{outcome.verdict} {objective(outcome) or ''}".strip()


def room_of(name: str, low: int, high: int) -> Room:
    """The room of a name."""
    return random_scenario_room(Random(f"symmetry {name}"), low, high)


def judge(name: str, seen: Counter[str], low: int, high: int, budget_s: float) -> list[str]:
    """The room of a name against its image and its changes."""
    return judge_symmetry(room_of(name, low, high), Random(name), budget_s, seen)


def main() -> int:
    made = parser(__doc__, count=40)
    made.add_argument("--low", type=int, default=5)
    made.add_argument("--high", type=int, default=8)
    made.add_argument("--budget", type=float, default=30)
    options = made.parse_args()
    size = {"low": options.low, "high": options.high}

    def keep(name: str, result: Result) -> None:
        path = options.keep / f"symmetry-{name.replace('/', '-')}.toml"
        path.write_text(room_of(name, **size).text("; ".join(result.wrong)))

    judged = partial(one_by_one, partial(judge, budget_s=options.budget, **size))
    return run(judged, options, what="rooms with an image and changes", keep=keep)


if __name__ == "__main__":
    sys.exit(main())
