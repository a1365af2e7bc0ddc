"""`ringwright faults` and `ringwright diagnose`, from a machine file to what is said."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from models.fault import Fault, InputError
from models.machine import Machine
from models.margin import Margins
from models.single_fault import FaultTable, SingleFault
from models.symptom import AFTER, Answer, Dictionary, Entry, Observable
from solver.faults.diagnose import Candidate, Finder, Findings, Question
from solver.faults.margins import find_margins
from solver.faults.single import fault_table, is_sound, single_faults
from solver.faults.symptoms import WHOLE, Watcher, build_dictionary
from solver.faults.words import (
    candidate_lines,
    describe,
    question_words,
    read_seen,
    table_lines,
)
from solver.files import read_file, write_new
from solver.machine_file import read_one_loop, write_machine
from solver.plan.words import margin_lines, margin_table

Say = Callable[[str], None]
Ask = Callable[[str], bool | None]
SHOWN = 3
ALL_SANK = Observable("sank", WHOLE)
KEPT_VERSION = 2
MAX_KEPT = 100_000_000


@dataclass(frozen=True)
class FaultReport:
    """The table of one machine."""

    table: FaultTable

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        return table_lines(self.table)

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "faults": [
                {
                    **_fault_json(j.fault),
                    "outcome": "harmless" if j.stage == "harmless" else "detected",
                    "stage": j.stage,
                    "code": j.code,
                    "text": j.text,
                    "case": str(j.case) if j.case else None,
                    "press": j.press or None,
                }
                for j in self.table.judged
            ]
        }


def faults_file(path: Path, say: Say) -> FaultReport:
    """Every single fault of the machine in a file."""
    return FaultReport(fault_table(_sound_machine(path), say))


@dataclass(frozen=True)
class MarginReport:
    """How far the times of one machine may be off."""

    margins: Margins

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        return margin_table(self.margins) + margin_lines(self.margins)

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints; times in half-ticks."""
        return asdict(self.margins) | {
            "margins": [
                {**m.delay._asdict(), "shrink": m.shrink, "grow": m.grow, "limit": m.limit}
                for m in self.margins.margins
            ]
        }


def margins_file(path: Path, limit: int, say: Say) -> MarginReport:
    """The margins of the machine in a file."""
    return MarginReport(find_margins(_sound_machine(path), limit=limit, say=say))


def _sound_machine(path: Path) -> Machine:
    machine = read_one_loop(path)
    if is_sound(machine):
        return machine
    remedy = "Give the machine as planned; `ringwright check` says what is wrong with this one."
    raise InputError([Fault(str(path), 0, 0, "this machine does not work as it is", "", remedy)])


def _fault_json(fault: SingleFault) -> dict[str, object]:
    planned, built = fault.planned, fault.built
    return {
        "mistake": fault.mistake,
        "at": list(fault.at),
        "kind": planned.kind if planned else None,
        "unit": planned.unit if planned else "",
        "built": None if built is None else {k: v for k, v in built._asdict().items() if v},
        "words": describe(fault),
    }


# ------------------------------------------------------------------ the fault finder


@dataclass(frozen=True)
class Diagnosis:
    """What explains what was seen, and what to look at next."""

    machine: Machine
    candidates: tuple[Candidate, ...]
    question: Question | None
    asked: int

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        lines = ["Single faults that explain it best, by place:"]
        lines += candidate_lines(self.candidates, SHOWN)
        if self.question:
            lines.append(f"To look at next: {self._ask(self.question)}")
        return lines

    def _ask(self, question: Question) -> str:
        return question_words(question, {part.at: part for part in self.machine.parts})

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        asking = self.question
        return {
            "candidates": [
                {
                    "at": list(c.at),
                    "share": round(c.share, 6),
                    "alike": c.alike,
                    "faults": [_fault_json(fault) for fault in c.faults],
                }
                for c in self.candidates[:10]
            ],
            "next": None
            if asking is None
            else {
                "at": list(asking.at),
                "sight": asking.observable.sight if asking.observable else "as planned",
                "question": self._ask(asking),
                "gain_bits": round(asking.gain, 3),
            },
            "asked": self.asked,
        }


def diagnose_file(
    path: Path,
    seen: Iterable[str],
    *,
    ask: Ask | None,
    questions: int,
    partly: bool = False,
    keep: bool = False,
    say: Say = lambda line: None,
) -> Diagnosis:
    """Rank the single faults of the machine in a file; `ask` gives None where the user stops."""
    said = [answer for text in seen for answer in read_seen(text)]
    told = [answer for answer in said if answer.observable != ALL_SANK]
    machine = _sound_machine(path)
    _check_told(machine, told)
    finder = Finder(_dictionary(path, machine, keep, say))
    watched = any(answer.observable.sight == "sank" for answer in said)
    of_tape = watched or any(answer.observable.sight in AFTER for answer in told)
    answers = tuple(told) if partly or not of_tape else finder.tape_answers(told, watched)
    findings = Findings(answers)
    parts = {part.at: part for part in machine.parts}
    asked = 0
    question = finder.next_question(findings, questions if ask else None)
    while ask and question and asked < questions:
        yes = ask(question_words(question, parts))
        if yes is None:
            break
        asked += 1
        findings = _learn(findings, question, yes)
        question = finder.next_question(findings, questions - asked)
    return Diagnosis(machine, tuple(finder.rank(findings)), question, asked)


def _learn(findings: Findings, question: Question, yes: bool) -> Findings:
    if question.observable is None:
        return Findings(findings.answers, (*findings.inspected, (question.at, yes)))
    return Findings((*findings.answers, Answer(question.observable, yes)), findings.inspected)


def _check_told(machine: Machine, told: Iterable[Answer]) -> None:
    known = set(Watcher(machine).observables)
    unknown = [answer.observable for answer in told if answer.observable not in known]
    if unknown:
        remedy = "Name cells as the plan does: of the tape, or of rams, wires and switches."
        what = "there is no such thing to see"
        raise InputError(
            [Fault("--seen", 0, 0, what, f"{o.at} {o.sight}", remedy) for o in unknown]
        )


# ------------------------------------------------------------------ a dictionary that is kept


def _dictionary(path: Path, machine: Machine, keep: bool, say: Say) -> Dictionary:
    """Simulated, or read from beside the machine if it was kept there for this very machine."""
    beside = path.with_suffix(".symptoms.json")
    print_ = hashlib.sha256(write_machine(machine).encode()).hexdigest()
    kept = _read_kept(beside, machine, print_)
    if kept:
        return kept
    say("Simulating every single fault; --keep saves the result for next time.")
    dictionary = build_dictionary(machine, say)
    if keep:
        content = _as_numbers(machine, dictionary) | {"machine": print_}
        write_new(beside, json.dumps(content), force=True)
        say(f"wrote {beside}")
    return dictionary


def _as_numbers(machine: Machine, dictionary: Dictionary) -> dict[str, Any]:
    """A dictionary as numbers: faults by their number among all single faults of the machine."""
    number = {fault: i for i, fault in enumerate(single_faults(machine))}
    return {
        "version": KEPT_VERSION,
        "faults": [number[fault] for fault in dictionary.faults],
        "entries": [[e.fault, f"{e.seen:x}"] for e in dictionary.entries],
        "healthy": f"{dictionary.healthy:x}",
    }


def _read_kept(path: Path, machine: Machine, print_: str) -> Dictionary | None:
    """What was kept; None if there is nothing, or it is of another machine or another program."""
    try:
        data = read_file(path, MAX_KEPT)
        if isinstance(data, Fault):
            return None
        kept = json.loads(data)
        if kept["machine"] != print_ or kept["version"] != KEPT_VERSION:
            return None
        every = list(single_faults(machine))
        return Dictionary(
            Watcher(machine).observables,
            tuple(every[i] for i in kept["faults"]),
            tuple(Entry(int(f), int(s, 16)) for f, s in kept["entries"]),
            int(kept["healthy"], 16),
        )
    except (ValueError, LookupError, TypeError, RecursionError):
        return None
