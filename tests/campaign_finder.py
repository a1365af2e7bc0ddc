"""How well the fault finder does: every single fault of a machine, put to it in turn.

python -m tests.campaign_finder MACHINE.json ... [--sample N] [--seed S]

The builder is played by the simulation in one of the worlds: he tells what the tape looks like
after the first press that goes wrong, then answers at most six questions.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from pathlib import Path
from random import Random

from models.machine import Machine
from models.symptom import Answer, Dictionary, Entry
from solver.faults.diagnose import Finder, Findings
from solver.faults.symptoms import Watcher, build_dictionary
from solver.machine_file import read_machine

QUESTIONS = 6


def ask(finder: Finder, entry: Entry, questions: int = QUESTIONS) -> tuple[Findings, int]:
    """Let the finder ask about a fault; what it learns and how much it asked."""
    dictionary = finder.dictionary
    truth = {o: bool(entry.seen >> i & 1) for i, o in enumerate(dictionary.observables)}
    place = dictionary.faults[entry.fault].at
    told = [Answer(o, seen) for o, seen in truth.items() if o.sight in ("proud", "sunk", "empty")]
    findings = Findings(finder.tape_answers(told))
    for asked in range(questions):
        question = finder.next_question(findings)
        if question is None:
            return findings, asked
        if question.observable is None:
            looked = (question.at, question.at != place)
            findings = Findings(findings.answers, (*findings.inspected, looked))
        else:
            answer = Answer(question.observable, truth[question.observable])
            findings = Findings((*findings.answers, answer), findings.inspected)
    return findings, questions


def measure(machine: Machine, dictionary: Dictionary, entries: list[Entry]) -> Counter[str]:
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
        found["inspections"] += len(findings.inspected)
        found["place first"] += first[0].at == fault.at
        found["place in three"] += place is not None
        found["mistake named there"] += place is not None and fault in place.faults
        found["alike"] += place is None and any(c.alike > 3 for c in first)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("machines", nargs="+", type=Path)
    parser.add_argument("--sample", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for path in options.machines:
        machine = read_machine(path)
        start = time.process_time()
        dictionary = build_dictionary(machine)
        built = time.process_time() - start
        entries = list(dictionary.entries)
        if options.sample and options.sample < len(entries):
            entries = Random(options.seed).sample(entries, options.sample)
        found = measure(machine, dictionary, entries)
        took = time.process_time() - start - built
        print(f"{path}: {len(dictionary.faults)} faults that show, {built:.0f} s to simulate")
        print(f"  {dict(found)}, {took:.0f} s to ask")


if __name__ == "__main__":
    main()
