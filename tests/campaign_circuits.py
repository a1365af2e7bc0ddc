"""A long comparison of the two simulators on random circuits:

python -m tests.campaign_circuits --seed 1 --count 5000 [--keep DIR]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path
from random import Random

from tests.circuits import Experiment, compare, random_experiment


def shrink(experiment: Experiment) -> Experiment:
    """The same disagreement with fewer parts, blocks, pulses, presses and half-ticks."""
    again = True
    while again:
        again = False
        for smaller in _smaller(experiment):
            if _disagrees(smaller):
                experiment, again = smaller, True
                break
    return experiment


def _disagrees(experiment: Experiment) -> bool:
    wires = {tuple(p["at"]) for p in experiment.machine["parts"] if p["kind"] == "wire"}
    buttons = {tuple(p["at"]) for p in experiment.machine["parts"] if p["kind"] == "button"}
    if not {c for c, _, _ in experiment.pulses} <= wires:
        return False
    if not {c for c, _ in experiment.presses} <= buttons:
        return False
    return bool(compare(experiment))


def _smaller(e: Experiment) -> list[Experiment]:
    found = []
    for key in ("parts", "tape", "dug"):
        for i in range(len(e.machine[key])):
            machine = e.machine | {key: e.machine[key][:i] + e.machine[key][i + 1 :]}
            found.append(Experiment(**(vars(e) | {"machine": machine})))
    for key in ("pulses", "presses"):
        items = getattr(e, key)
        found += [
            Experiment(**(vars(e) | {key: items[:i] + items[i + 1 :]})) for i in range(len(items))
        ]
    for name in e.machine["rules"]:
        rules = {k: v for k, v in e.machine["rules"].items() if k != name}
        found.append(Experiment(**(vars(e) | {"machine": e.machine | {"rules": rules}})))
    found += [
        Experiment(**(vars(e) | {key: False})) for key in ("overhead", "ground") if vars(e)[key]
    ]
    if e.half_ticks > 1:
        found.append(Experiment(**(vars(e) | {"half_ticks": e.half_ticks - 1})))
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--keep", type=Path, help="folder for shrunk disagreements")
    options = parser.parse_args()
    seen: Counter[str] = Counter()
    wrong = 0
    for number in range(options.count):
        experiment = random_experiment(Random(f"{options.seed}/{number}"))
        difference = compare(experiment, seen)
        if difference:
            wrong += 1
            print(f"circuit {options.seed}/{number}: {difference}")
            if options.keep and wrong <= 10:
                small = shrink(experiment)
                small.why = compare(small)
                path = options.keep / f"{options.seed}-{number}.json"
                path.write_text(small.dump())
                print(f"  {path}: {small.why}")
    for what, count in sorted(seen.items()):
        print(f"{count:8} {what}")
    print(f"{wrong} disagreements in {options.count} circuits")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
