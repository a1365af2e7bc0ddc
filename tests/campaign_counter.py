"""Loops that run both ways in random rooms; what comes out judged by code that searches nothing.

python -m tests.campaign_counter --seed 1 --count 40 [--budget 40] [--one-button] [--log FILE]

Each machine must keep the static rules and its scenario, pass every wish, run as it is told to by a
walk of presses at random from the stated interval on, in four cases, and be the same to the naive
twin, press by press.
"""

from __future__ import annotations

import json
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from random import Random

from models.counter import Countered, NoCounter
from models.machine import ALL_CASES
from models.scenario import Scenario
from solver.check import check_against, check_machine
from solver.counter.counter import counter_machine
from solver.machine_file import write_machine
from solver.read_scenario import parse_scenario
from solver.simulate import Simulation
from tests.campaign_runner import run_rooms
from tests.circuits import Experiment, compare

BLOCKED = 0.03
PRESSES = 8


def random_room(rng: Random, surfaces: tuple[str, ...]) -> Scenario:
    """A free loop through one to four wishes."""
    surface = rng.choice(surfaces)
    width, length = rng.randint(12, 22), rng.randint(12, 22)
    spots = [(row, column) for row in range(length) for column in range(width)]
    rng.shuffle(spots)
    blocked = int(BLOCKED * len(spots))
    marks = dict.fromkeys(spots[:blocked], "#")
    marks.update(dict.fromkeys(spots[blocked : blocked + rng.randint(1, 4)], "o"))
    drawn = "\n".join(
        "".join(marks.get((row, column), ".") for column in range(width)) for row in range(length)
    )
    text = (
        f'title = "both ways"\n[room]\nsize = [{width}, {length}, 5]\n[surfaces.{surface}]\n'
        f'depth = {rng.randint(6, 11)}\nmargin = {rng.randint(1, 4)}\nmap = """\n{drawn}\n"""\n'
        f'[loop]\nshape = "free"\ndirection = "{rng.choice(("clockwise", "anticlockwise"))}"\n'
    )
    return parse_scenario(text, Path("both-ways.toml"))


def judge(name: str, seen: Counter[str], budget_s: float, one_button: bool) -> list[str]:
    """The room of a name."""
    rng = Random(name)
    scenario = random_room(rng, ("floor",) if one_button else ("floor", "ceiling"))
    until = time.monotonic() + budget_s
    found = counter_machine(scenario, until, 0, lambda line: None, one_button=one_button)
    match found:
        case NoCounter(proven=proven):
            seen["no room for two drives a corner" if proven else "none found"] += 1
            return []
        case Countered():
            seen[f"machine on a {next(iter(scenario.surfaces))}"] += 1
            return list(_against(found, scenario, rng))


def _against(found: Countered, scenario: Scenario, rng: Random) -> Iterator[str]:
    machine = found.forth
    yield from (fault.text for fault in check_machine(machine))
    yield from (fault.text for fault in check_against(machine, scenario))
    if not scenario.required() <= set(machine.tape):
        yield "the tape misses a wish"
    buttons = [part.at for part in machine.parts if part.kind == "button"]
    made = json.loads(write_machine(machine))
    for case in ALL_CASES:
        simulation, count, now = Simulation(machine, case), 0, 1
        simulation.run_to_rest(200)
        experiment = Experiment(made, overhead=case.overhead, ground=case.ground)
        experiment.presses = []
        for number in range(PRESSES):
            button = rng.randrange(len(buttons))
            simulation.press(button=button)
            if number < 2:
                experiment.presses.append((buttons[button], now))
            back = button if len(buttons) > 1 else number % 2
            count += -1 if back else 1
            wait = found.proof.interval_half_ticks + rng.choice((0, 0, 1, 7, 60))
            now += wait
            for _ in range(wait):
                simulation.step()
            if simulation.misplaced(count):
                yield f"{case}: not flush after press {number + 1}"
                break
        yield from (f"{case}: {fault.text}" for fault in simulation.faults)
        if told := compare(experiment):
            yield f"{case}: the twin differs: {told}"


def main() -> int:
    return run_rooms(__doc__, judge, count=40, budget_s=40, what="rooms both ways")


if __name__ == "__main__":
    sys.exit(main())
