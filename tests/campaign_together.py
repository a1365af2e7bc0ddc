"""Two or three random loops in one room; what comes out judged by code that searches nothing.

python -m tests.campaign_together --seed 1 --count 40 [--budget 60] [--one-button] [--log FILE]

Each loop of a joint machine must be right by itself, by the naive twin in four cases, and the joint
machine by the static check, button by button, and by the twin with a press of each. Bounds must
hold. What is called impossible is held against machines that the loops have alone: if any of those
go together the verdict is wrong.
"""

from __future__ import annotations

import json
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from random import Random

from models.machine import ALL_CASES, Machine
from models.scenario import Scenario
from models.together import Apart, Joined, Open
from solver.check import check_machine
from solver.machine_file import write_machine
from solver.pipeline import solve_scenario
from solver.read_scenario import parse_scenario
from solver.simulate import prove
from solver.simulate.several import prove_apart
from solver.together.join import join
from solver.together.search import search_together
from tests.campaign_runner import run_rooms
from tests.circuits import Experiment, compare
from tests.rooms import machine_faults

WIDE, LONG, HIGH = 24, 15, 12
ALONE_SEEDS = 3
"""So many machines of each loop are tried against a proof."""


def random_loops(rng: Random) -> list[Scenario]:
    """Rings or free loops with two wishes, on floor, ceiling or wall; no two wish for one cell."""
    loops: list[Scenario] = []
    wanted = rng.choice((2, 2, 2, 3))
    while len(loops) < wanted:
        scenario = _random_loop(rng, len(loops) + 1)
        if not any(scenario.required() & other.required() for other in loops):
            loops.append(scenario)
    return loops


def _random_loop(rng: Random, number: int) -> Scenario:
    surface = rng.choice(("floor", "floor", "floor", "ceiling", "north"))
    columns, rows = WIDE, HIGH if surface == "north" else LONG
    width, height = rng.randint(3, 9), rng.randint(3, 7)
    left, top = rng.randint(1, columns - width - 1), rng.randint(1, rows - height - 1)
    free = rng.random() < 0.25
    lines = [["."] * columns for _ in range(rows)]
    for row, column in product(range(top, top + height), range(left, left + width)):
        edge = row in (top, top + height - 1) or column in (left, left + width - 1)
        corner = (row, column) in ((top, left), (top + height - 1, left + width - 1))
        if corner if free else edge:
            lines[row][column] = "o"
    drawn = "\n".join("".join(line) for line in lines)
    text = (
        f'title = "loop {number}"\n[room]\nsize = [{WIDE}, {LONG}, {HIGH}]\n'
        f"[surfaces.{surface}]\ndepth = {rng.choice((5, 6))}\nmargin = {rng.choice((2, 4))}\n"
        f'map = """\n{drawn}\n"""\n[loop]\nshape = "{"free" if free else "exact"}"\n'
        f'direction = "{rng.choice(("clockwise", "anticlockwise"))}"\nminimise = ["parts"]\n'
    )
    return parse_scenario(text, Path(f"loop-{number}.toml"))


def judge(name: str, seen: Counter[str], budget_s: float, one_button: bool) -> list[str]:
    """The loops of a name."""
    scenarios = random_loops(Random(name))
    deadline = time.monotonic() + budget_s
    found = search_together(scenarios, deadline, 0, lambda line: None, one_button=one_button)
    match found:
        case Joined():
            seen["feasible"] += 1
            seen["optimal"] += found.optimal
            return list(_against_machine(found, scenarios))
        case Apart():
            seen["impossible"] += 1
            return list(_against_proof(scenarios))
        case Open(why=why):
            seen[f"undecided: {why}"] += 1
            return []


def _against_machine(found: Joined, scenarios: Sequence[Scenario]) -> Iterator[str]:
    machine = found.machine
    for scenario, alone in zip(scenarios, found.alone, strict=True):
        yield from machine_faults(alone, scenario)
    yield from (fault.text for fault in check_machine(machine))
    yield from (fault.text for result in prove(machine, ALL_CASES) for fault in result.faults)
    yield from (fault.text for fault in prove_apart(machine, ALL_CASES))
    if any(found.score[term] < bound for term, bound in found.lower_bound.items()):
        yield f"{found.score} is below the bound {found.lower_bound}"
    made = json.loads(write_machine(machine))
    buttons = [tuple(part["at"]) for part in made["parts"] if part["kind"] == "button"]
    for case in ALL_CASES:
        experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
        experiment.presses = [(at, 1 + 3 * k) for k, at in enumerate(buttons)]
        if told := compare(experiment):
            yield f"{case}: the twin differs: {told}"


def _against_proof(scenarios: Sequence[Scenario]) -> Iterator[str]:
    """Machines that the loops have alone must not go together."""
    choices: list[list[Machine]] = []
    for scenario in scenarios:
        outcomes = [solve_scenario(scenario, budget_s=20, seed=seed) for seed in range(ALONE_SEEDS)]
        choices.append([each.found.machine for each in outcomes if each.found is not None])
    for machines in product(*choices):
        joint = join("against the proof", machines)
        if isinstance(joint, Machine) and not prove_apart(joint, ALL_CASES):
            yield "called impossible, but these machines go together"
            return


def main() -> int:
    return run_rooms(__doc__, judge, count=40, budget_s=60, what="rooms of loops")


if __name__ == "__main__":
    sys.exit(main())
