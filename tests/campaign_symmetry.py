"""Random rooms and their mirrored and turned images: same verdict, same optimum.

python -m tests.campaign_symmetry --seed 1 --count 40 [--low 5 --high 8] [--budget 30] [--keep DIR]

An obstacle more must never improve the optimum, and one less never worsen it.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

from solver.pipeline import Outcome
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
        elif objective(plain) != objective(other):
            faults.append(f"optimum {objective(plain)}, image {image} {objective(other)}")
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


def _improves(worse: Outcome, better: Outcome) -> bool:
    """Whether the room with more obstacles came out better."""
    if worse.verdict == "feasible" and better.verdict == "infeasible":
        return True
    a, b = objective(worse), objective(better)
    return a is not None and b is not None and a < b


def _told(outcome: Outcome) -> str:
    return f"{outcome.verdict} {objective(outcome) or ''}".strip()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--low", type=int, default=5)
    parser.add_argument("--high", type=int, default=8)
    parser.add_argument("--budget", type=float, default=30)
    parser.add_argument("--keep", type=Path, help="folder for rooms with a wrong result")
    options = parser.parse_args()
    seen: Counter[str] = Counter()
    wrong = 0
    for number in range(options.count):
        name = f"{options.seed}/{number}"
        room = random_scenario_room(Random(f"symmetry {name}"), options.low, options.high)
        faults = judge_symmetry(room, Random(name), options.budget, seen)
        if number % 10 == 9:
            print(f"{number + 1} rooms, {wrong} wrong: {dict(seen)}", file=sys.stderr, flush=True)
        if faults:
            wrong += 1
            print(f"room {name}: {faults}", flush=True)
            if options.keep:
                path = options.keep / f"symmetry-{options.seed}-{number}.toml"
                path.write_text(room.text("; ".join(faults)))
    print(f"{wrong} wrong of {options.count}: {dict(seen)}, {time.process_time():.0f} s CPU")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
