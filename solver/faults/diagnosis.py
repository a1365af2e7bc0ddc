"""`ringwright diagnose`: from a machine file and what is seen to the places to look at."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from models.fault import Fault, InputError
from models.geometry import FACES, Cell, step
from models.machine import Machine
from models.symptom import AFTER, Answer, Findings
from solver.faults.diagnose import Candidate, Finder, Question
from solver.faults.kept import dictionary_of
from solver.faults.reports import fault_json, sound_machine
from solver.faults.seen import (
    ALL_FLUSH,
    ALL_SANK,
    UNSURE,
    read_seen,
    seen_words,
    settle,
    unsure_words,
    visit_words,
)
from solver.faults.symptoms import Watcher
from solver.faults.words import candidate_lines, question_words

Say = Callable[[str], None]
Reply = Literal["yes", "no", "unsure", "stop"]
Ask = Callable[[str], Reply]
SHOWN = 3
NOTED = 10
"""So many things that do not fit are listed for a candidate."""


@dataclass(frozen=True)
class Diagnosis:
    """What explains what was seen, and what to look at next."""

    machine: Machine
    candidates: tuple[Candidate, ...]
    question: Question | None
    asked: int
    notes: tuple[str, ...] = ()
    """What was said that cannot all be so."""

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        lines = [f"Note: {note}" for note in self.notes]
        lines.append("Single faults that explain it best, by place:")
        lines += candidate_lines(self.candidates, SHOWN)
        if self.question:
            lines.append(f"To look at next: {self._ask(self.question)}")
        return lines

    def _ask(self, question: Question) -> str:
        return question_words(question, {part.at: part for part in self.machine.parts})

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "candidates": [_candidate_json(c) for c in self.candidates[:10]],
            "next": self._question_json(self.question) if self.question else None,
            "asked": self.asked,
            "notes": list(self.notes),
        }

    def _question_json(self, asking: Question) -> dict[str, object]:
        """A question, and how each answer to it is given with `--answer`."""
        seen = asking.observable
        answers = visit_words(asking.at)
        if seen is not None:
            answers = {"yes": seen_words(seen, True), "no": seen_words(seen, False)}
            answers[UNSURE] = unsure_words(seen)
        return {
            "at": list(asking.at),
            "sight": seen.sight if seen else "as planned",
            "question": self._ask(asking),
            "gain_bits": round(asking.gain, 3),
            "answers": answers,
        }


def _candidate_json(candidate: Candidate) -> dict[str, object]:
    wrong = candidate.unexplained
    return {
        "at": list(candidate.at),
        "share": round(candidate.share, 6),
        "alike": candidate.alike,
        "faults": [fault_json(fault) for fault in candidate.faults],
        "unexplained": [seen_words(a.observable, a.seen) for a in wrong[:NOTED]],
    }


def diagnose_file(
    path: Path,
    seen: Iterable[str],
    *,
    ask: Ask | None,
    questions: int,
    answers: Iterable[str] = (),
    partly: bool = False,
    keep: bool = False,
    say: Say = lambda line: None,
) -> Diagnosis:
    """Rank the single faults of the machine in a file.

    `seen` is what strikes the eye: cells of the tape not named in it are flush, unless it is told
    `partly`. `answers` are those to questions asked before; they stand for nothing but themselves.
    """
    machine = sound_machine(path)
    first = [_known(machine, read_seen(text), "--seen") for text in seen]
    later = [_known(machine, read_seen(text), "--answer") for text in answers]
    finder = Finder(dictionary_of(path, machine, keep, say))
    findings, notes = settle(sum(later, start=_filled(finder, first, partly)))
    asked = len(later)
    question = finder.next_question(findings, max(questions - asked, 0) if ask or later else None)
    parts = {part.at: part for part in machine.parts}
    while ask and question and asked < questions:
        reply = ask(question_words(question, parts))
        if reply == "stop":
            break
        asked += 1
        findings += learned(question, reply)
        question = finder.next_question(findings, questions - asked)
    return Diagnosis(machine, tuple(finder.rank(findings)), question, asked, tuple(notes))


def learned(question: Question, reply: Reply) -> Findings:
    """What a reply to a question tells."""
    seen = question.observable
    if reply == "unsure":
        if seen is None:
            return Findings(unvisited=frozenset({question.at}))
        return Findings(unsure=frozenset({seen}))
    if seen is None:
        return Findings(inspected=((question.at, reply == "yes"),))
    return Findings((Answer(seen, reply == "yes"),))


def _filled(finder: Finder, said: Iterable[Findings], partly: bool) -> Findings:
    """What was said at first, and what that says of the cells it does not name."""
    told = sum(said, start=Findings())
    watched = any(answer.observable.sight == "sank" for answer in told.answers)
    of_tape = watched or any(answer.observable.sight in AFTER for answer in told.answers)
    partly = partly and not any(answer.observable == ALL_FLUSH for answer in told.answers)
    told = Findings(
        tuple(a for a in told.answers if a.observable not in (ALL_SANK, ALL_FLUSH)),
        told.inspected,
        told.unsure,
        told.unvisited,
    )
    if partly or not of_tape:
        return told
    given = finder.tape_answers(told.answers, watched)
    fresh = tuple(answer for answer in given if answer.observable not in told.unsure)
    return Findings(fresh, told.inspected, told.unsure, told.unvisited)


def _known(machine: Machine, told: Findings, option: str) -> Findings:
    """What was told, if all of it can be seen; that hidden tape is flush is left out."""
    known = {*Watcher(machine).observables, ALL_SANK, ALL_FLUSH}
    tape = set(machine.tape)
    kept = tuple(
        answer
        for answer in told.answers
        if answer.observable in known or answer.seen or answer.observable.at not in tape
    )
    named = [*(answer.observable for answer in kept), *told.unsure]
    unknown: list[tuple[object, ...]] = [(o.at, o.sight) for o in named if o not in known]
    visited = [*(cell for cell, _ in told.inspected), *told.unvisited]
    unknown += [(cell,) for cell in visited if not _can_hold(machine, cell)]
    if unknown:
        remedy = "Name cells as the plan does: of the tape, or of rams, wires and switches."
        what = "there is no such thing to see"
        raise InputError(
            [Fault(option, 0, 0, what, " ".join(map(str, which)), remedy) for which in unknown]
        )
    return Findings(kept, told.inspected, told.unsure, told.unvisited)


def _can_hold(machine: Machine, cell: Cell) -> bool:
    """Whether something is planned in the cell or beside it, or it is dug."""
    near = {cell, *(step(cell, face) for face in FACES)}
    return cell in machine.dug_cells or any(part.at in near for part in machine.parts)
