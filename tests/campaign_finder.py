"""How well the fault finder does: the single faults of each shipped machine, put to it in turn.

python -m tests.campaign_finder [NAME ...] [--sample 400] [--log FILE] [--machines out/machines]

The builder is played by the simulation in one of the worlds. He watches the first press that goes
wrong: he tells which cells of the tape never opened, and which stand proud, lie sunk or are empty
afterwards. Then he answers at most six questions. All single faults of the machine are rivals; a
sample of them is put.
"""

from __future__ import annotations

import sys
from collections import Counter
from functools import partial
from pathlib import Path
from random import Random

from models.machine import Machine
from models.symptom import AFTER, Answer, Dictionary, Entry
from solver.faults.diagnose import Finder, Findings, touched
from solver.faults.symptoms import Watcher, build_dictionary
from solver.faults.words import describe
from tests.campaign_runner import one_by_one, parser, run
from tests.shipped import SCENARIOS, shipped_machine

QUESTIONS = 6
WANTED = 0.95


def ask(finder: Finder, entry: Entry, questions: int = QUESTIONS) -> tuple[Findings, int]:
    """Let the finder ask about a fault; what it learns and how much it asked."""
    dictionary = finder.dictionary
    truth = {o: bool(entry.seen >> i & 1) for i, o in enumerate(dictionary.observables)}
    wrong = touched(dictionary.faults[entry.fault])
    told = [Answer(o, seen) for o, seen in truth.items() if o.sight in {*AFTER, "sank"}]
    findings = Findings(finder.tape_answers(told, watched=True))
    for asked in range(questions):
        question = finder.next_question(findings, questions - asked)
        if question is None:
            return findings, asked
        if question.observable is None:
            looked = (question.at, question.at not in wrong)
            findings = Findings(findings.answers, (*findings.inspected, looked))
        else:
            answer = Answer(question.observable, truth[question.observable])
            findings = Findings((*findings.answers, answer), findings.inspected)
    return findings, questions


def measure(
    machine: Machine, dictionary: Dictionary, entries: list[Entry], say: bool = False
) -> Counter[str]:
    """How often the place, and the mistake in it, was among the first three."""
    finder, watcher = Finder(dictionary), Watcher(machine)
    found: Counter[str] = Counter()
    for entry in entries:
        fault = dictionary.faults[entry.fault]
        if watcher.looks_healthy(entry.seen):
            found["nothing to see"] += 1
            continue
        findings, asked = ask(finder, entry)
        first = finder.rank(findings)[:3]
        place = next((c for c in first if c.at == fault.at), None)
        found["asked"] += asked
        found["put"] += 1
        found["visits"] += len(findings.inspected)
        found["place first"] += first[0].at == fault.at
        found["place in three"] += place is not None
        found["mistake named there"] += place is not None and fault in place.faults
        found["not in three, but alike"] += place is None and any(c.alike > 3 for c in first)
        if say and place is None:
            print(f"not in three: {describe(fault)}", flush=True)
    return found


def judge(name: str, seen: Counter[str], folder: Path, sample: int, seed: int) -> list[str]:
    """One shipped machine; wrong if the place is among three in less than 95 % of all cases."""
    machine = shipped_machine(name, folder)
    dictionary = build_dictionary(machine)
    entries = list(dictionary.entries)
    if sample and sample < len(entries):
        entries = Random(seed).sample(entries, sample)
    found = measure(machine, dictionary, entries, say=True)
    seen.update({f"{name}: {what}": count for what, count in found.items()})
    share = found["place in three"] / found["put"]
    print(
        f"| {name} | {found['put']} of {len(dictionary.entries)} | {found['place first']} "
        f"| {found['place in three']} ({share:.1%}) | {found['not in three, but alike']} "
        f"| {found['nothing to see']} | {found['asked'] / found['put']:.1f} "
        f"| {found['visits'] / found['put']:.1f} |",
        flush=True,
    )
    return [] if share >= WANTED else [f"only {share:.1%}"]


def main() -> int:
    made = parser(__doc__, count=0)
    made.add_argument("names", nargs="*", help="shipped scenarios; all by default")
    made.add_argument("--machines", type=Path, default=Path("out/machines"))
    made.add_argument("--sample", type=int, default=400)
    options = made.parse_args()
    judged = partial(judge, folder=options.machines, sample=options.sample, seed=options.seed)
    names = options.names or list(SCENARIOS)
    return run(partial(one_by_one, judged), options, what="machines", names=names)


if __name__ == "__main__":
    sys.exit(main())
