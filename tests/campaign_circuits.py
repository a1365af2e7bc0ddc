"""A long comparison of the two simulators on random circuits:

python -m tests.campaign_circuits --seed 1 --count 5000 [--processes 2] [--log FILE] [--keep DIR]
"""

from __future__ import annotations

import sys
from collections import Counter
from functools import partial
from pathlib import Path
from random import Random

from tests.campaign_runner import Result, one_by_one, parser, run
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


def judge(name: str, seen: Counter[str]) -> list[str]:
    """One random circuit; what differs first."""
    difference = compare(random_experiment(Random(name)), seen)
    return [difference] if difference else []


def keep(folder: Path, name: str, _: Result) -> None:
    """Write the disagreement down, shrunk."""
    small = shrink(random_experiment(Random(name)))
    small.why = compare(small)
    path = folder / f"{name.replace('/', '-')}.json"
    path.write_text(small.dump())
    print(f"  {path}: {small.why}")


def main() -> int:
    options = parser(__doc__, count=5000).parse_args()
    kept = partial(keep, options.keep)
    return run(partial(one_by_one, judge), options, what="circuits", batch=50, keep=kept)


if __name__ == "__main__":
    sys.exit(main())
