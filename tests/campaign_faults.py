"""Fault injection: every single fault of each shipped machine, told or proven harmless.

python -m tests.campaign_faults [NAME ...] [--share 1] [--processes 2] [--log FILE]

Prints a table, a row a machine. A fault is told by the static check, by the idle state or by a
press of a full turn in one of the worlds. It is harmless where every press of a full turn is right
in every world in spite of it. With `--share N` every Nth fault is taken; a machine is cut into
pieces, so that the log saves what is done of a large one.
"""

from __future__ import annotations

import json
import sys
from collections import Counter, defaultdict
from functools import cache, partial
from itertools import islice
from pathlib import Path

from models.machine import ALL_CASES, Machine
from models.single_fault import Judged, SingleFault
from solver.check import check_machine
from solver.faults.single import as_built, judge, single_faults
from solver.faults.unchanged import Bystanders
from solver.faults.words import STAGE_TITLE, STAGES, describe
from solver.machine_file import write_machine
from tests.campaign_runner import Result, one_by_one, parser, read_log, run
from tests.oracles.naive_simulator import run_presses
from tests.shipped import SCENARIOS, shipped_machine

PIECE = 200
"""Faults judged between two lines of the log."""
TWIN_ONE_IN = 250
"""So many of the faults go to the naive twin too."""


@cache
def _shipped(name: str, folder: Path) -> tuple[Machine, tuple[SingleFault, ...], Bystanders]:
    machine = shipped_machine(name, folder)
    return machine, tuple(single_faults(machine)), Bystanders(machine)


def judge_piece(name: str, seen: Counter[str], folder: Path, share: int) -> list[str]:
    """The faults of one piece, such as "first-ring/3"."""
    scenario, piece = name.split("/")
    machine, faults, bystanders = _shipped(scenario, folder)
    start = PIECE * int(piece)
    wrong = []
    for number, fault in enumerate(faults[start : start + PIECE], start):
        if number % share:
            continue
        judged = judge(machine, fault, bystanders)
        seen[judged.stage] += 1
        kind = fault.planned.kind if fault.planned else "block"
        if judged.stage == "harmless":
            seen[f"harmless: {kind} {fault.mistake}"] += 1
        if number % TWIN_ONE_IN == 0 and (said := _twin_objects(machine, judged)):
            wrong.append(f"{describe(fault)}: {said}")
    return wrong


def _twin_objects(machine: Machine, judged: Judged) -> str:
    """What the naive twin says against a judgement, within two presses."""
    built = as_built(machine, judged.fault)
    if judged.stage == "static":
        return "" if check_machine(built) else "the static check says nothing"
    entry = json.loads(write_machine(built))
    cases = ALL_CASES if judged.case is None else (judged.case,)
    for case in cases:
        ok = run_presses(
            entry, 2, overhead=case.overhead, ground=case.ground, limit_half_ticks=600
        ).ok
        if judged.stage == "harmless" and not ok:
            return f"said harmless, but not by the twin ({case})"
        if judged.stage != "harmless" and ok and judged.press <= 2:
            return f"{judged.code} in press {judged.press}, but not by the twin ({case})"
    return ""


def pieces(names: list[str], folder: Path) -> list[str]:
    """Everything there is to do."""
    count = {name: len(_shipped(name, folder)[1]) for name in names}
    return [f"{name}/{k}" for name in names for k in range(-(-count[name] // PIECE))]


def table(results: list[Result]) -> list[str]:
    """A row a machine."""
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for result in results:
        counts[result.case.split("/")[0]].update(result.seen)
    lines = [
        "| machine | faults | " + " | ".join(STAGE_TITLE[s] for s in STAGES) + " | harmless are |",
        "|" + "---|" * (len(STAGES) + 3),
    ]
    for name, found in counts.items():
        told = " | ".join(str(found[stage]) for stage in STAGES)
        kinds = sorted(
            ((n, what.removeprefix("harmless: ")) for what, n in found.items() if ":" in what),
            reverse=True,
        )
        most = ", ".join(f"{what} {n}" for n, what in islice(kinds, 4))
        total = sum(found[stage] for stage in STAGES)
        lines.append(f"| {name} | {total} | {told} | {most} |")
    return lines


def main() -> int:
    made = parser(__doc__, count=0)
    made.add_argument("names", nargs="*", help="shipped scenarios; all by default")
    made.add_argument("--machines", type=Path, default=Path("out/machines"))
    made.add_argument("--share", type=int, default=1)
    options = made.parse_args()
    options.log = options.log or Path("out/campaigns/faults.jsonl")
    names = pieces(options.names or list(SCENARIOS), options.machines)
    judged = partial(judge_piece, folder=options.machines, share=options.share)
    status = run(partial(one_by_one, judged), options, what="pieces of machines", names=names)
    done = read_log(options.log)
    print("\n".join(table([done[name] for name in names])))
    return status


if __name__ == "__main__":
    sys.exit(main())
