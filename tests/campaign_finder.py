"""How well the fault finder does: single faults of machines, put to it in turn.

python -m tests.campaign_finder [NAME ...] [--builder plain] [--sample 400] [--log FILE]

The machines are the shipped ones and those of `tests/data/odd_rooms`. The builder is played by
the simulation in one of the worlds. He watches the first press that goes wrong and tells which
cells of the tape stand proud, lie sunk or are empty afterwards. Then he answers at most six
questions. What else he does depends on who he is:

    careful    tells which cells of the tape never opened, too
    plain      does not
    unsure     plain, and does not know the answer to every fourth question
    erring     plain, and the answer to one question is wrong
    misseeing  plain, and one cell of the tape he tells wrongly

All single faults of the machine are rivals; a sample of them is put, or with `--foreign` faults
that are none of them: any other kind, any delay, two cells off. The symptoms that were simulated
are kept beside the machines.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from typing import Literal, get_args

from models.geometry import FACES, Cell, step
from models.machine import Machine
from models.parts import KINDS, Part
from models.single_fault import SingleFault
from models.symptom import AFTER, Answer, Dictionary, Findings, Observable
from solver.faults.diagnose import Finder, touched
from solver.faults.diagnosis import Reply, learned
from solver.faults.kept import dictionary_of
from solver.faults.single import FACES_OF, single_faults
from solver.faults.symptoms import Watcher, entries_of
from solver.faults.words import describe
from tests.campaign_runner import one_by_one, parser, run
from tests.shipped import MACHINES, kept_at, shipped_machine

QUESTIONS = 6
WANTED = 0.95
UNSURE_ONE_IN = 4
Who = Literal["careful", "plain", "unsure", "erring", "misseeing"]


@dataclass
class Builder:
    """Someone before a machine with this fault, and how he answers."""

    who: Who
    observables: tuple[Observable, ...]
    fault: SingleFault
    seen: int
    random: Random

    def __post_init__(self) -> None:
        self.truth = {o: bool(self.seen >> i & 1) for i, o in enumerate(self.observables)}
        self.wrong = touched(self.fault)
        self.errs_at = self.random.randrange(QUESTIONS) if self.who == "erring" else -1

    def tells(self, finder: Finder) -> Findings:
        """What he says before he is asked."""
        sights = {*AFTER, "sank"} if self.who == "careful" else AFTER
        said = {o: seen for o, seen in self.truth.items() if o.sight in sights}
        if self.who == "misseeing":
            said |= self._misseen()
        told = [Answer(o, seen) for o, seen in said.items()]
        return Findings(finder.tape_answers(told, watched=self.who == "careful"))

    def _misseen(self) -> dict[Observable, bool]:
        """One cell told as something that it is not."""
        cell = self.random.choice([o.at for o in self.truth if o.sight == "sunk"])
        looks = [Observable(sight, cell) for sight in sorted(AFTER)]
        now = next((o for o in looks if self.truth[o]), None)
        other = self.random.choice([o for o in (*looks, None) if o != now])
        return {o: o == other for o in looks}

    def replies(self, finder: Finder, findings: Findings, asked: int) -> Findings | None:
        """What he answers to the next question; None if there is none."""
        question = finder.next_question(findings, QUESTIONS - asked)
        if question is None:
            return None
        seen = question.observable
        yes = self.truth[seen] if seen else question.at not in self.wrong
        reply: Reply = "yes" if yes != (asked == self.errs_at) else "no"
        if self.who == "unsure" and self.random.randrange(UNSURE_ONE_IN) == 0:
            reply = "unsure"
        return learned(question, reply)


def ask(finder: Finder, builder: Builder) -> tuple[Findings, int]:
    """Let the finder ask about a fault; what it learns and how much it asked."""
    findings = builder.tells(finder)
    for asked in range(QUESTIONS):
        more = builder.replies(finder, findings, asked)
        if more is None:
            return findings, asked
        findings += more
    return findings, QUESTIONS


def measure(
    machine: Machine,
    dictionary: Dictionary,
    put: Iterable[tuple[SingleFault, int]],
    who: Who = "careful",
    seed: int = 1,
    say: bool = False,
) -> Counter[str]:
    """How often the place, and the mistake in it, was among the first three."""
    finder, watcher, random = Finder(dictionary), Watcher(machine), Random(seed)
    found: Counter[str] = Counter()
    for fault, seen in put:
        if watcher.looks_healthy(seen):
            found["nothing to see"] += 1
            continue
        findings, asked = ask(finder, Builder(who, dictionary.observables, fault, seen, random))
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


def known(dictionary: Dictionary, sample: int, seed: int) -> Iterator[tuple[SingleFault, int]]:
    """A sample of the faults of a dictionary, as one of the worlds shows them."""
    entries = list(dictionary.entries)
    if sample and sample < len(entries):
        entries = Random(seed).sample(entries, sample)
    for entry in entries:
        yield dictionary.faults[entry.fault], entry.seen


def foreign(machine: Machine, sample: int, seed: int) -> Iterator[tuple[SingleFault, int]]:
    """Faults that no dictionary lists: any other kind, any delay, two cells off, odd things."""
    random, watcher, every = Random(seed), Watcher(machine), set(single_faults(machine))
    parts = [part for part in machine.parts if part.kind != "cover"]
    taken = {part.at for part in machine.parts} | set(machine.tape)
    while sample:
        fault = _odd_fault(random, random.choice(parts), taken)
        if fault in every or fault.built == fault.planned:
            continue
        if looks := sorted(entries_of(watcher, fault, 0)):
            sample -= 1
            yield fault, random.choice(looks).seen


def _odd_fault(random: Random, part: Part, taken: set[Cell]) -> SingleFault:
    what = random.choice(("kind", "delay", "far", "extra"))
    if what == "delay" and part.kind == "buffer":
        return SingleFault("delay off", part, part._replace(delay=random.randint(1, 4)))
    free = sorted(
        cell
        for face in FACES
        for steps in (1, 2)
        if (cell := step(part.at, face, steps)) not in taken
    )
    if free and what == "far":
        return SingleFault("shifted", part, part._replace(at=random.choice(free)))
    if free and what == "extra":
        return SingleFault("extra block", None, _any_part(random, random.choice(free)))
    return SingleFault("wrong kind", part, _any_part(random, part.at))


def _any_part(random: Random, at: Cell) -> Part:
    kind = random.choice([kind for kind in KINDS if kind not in ("cover", "button")])
    faces = FACES_OF.get(kind, ())
    face = random.choice(faces) if faces else None
    return Part(kind, at, face, random.randint(1, 4) if kind == "buffer" else None)


def judge(name: str, seen: Counter[str], options: argparse.Namespace) -> list[str]:
    """One machine; wrong if the place is among three in less than 95 % of all cases."""
    folder, sample, seed = options.machines, options.sample, options.seed
    machine = shipped_machine(name, folder)
    dictionary = dictionary_of(kept_at(name, folder), machine, keep=True, say=lambda line: None)
    put = foreign(machine, sample, seed) if options.foreign else known(dictionary, sample, seed)
    found = measure(machine, dictionary, put, options.builder, seed, say=True)
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
    made.add_argument("names", nargs="*", help="as their scenarios; all by default")
    made.add_argument("--machines", type=Path, default=Path("out/machines"))
    made.add_argument("--sample", type=int, default=400)
    made.add_argument("--builder", choices=get_args(Who), default="careful")
    made.add_argument("--foreign", action="store_true", help="faults that no dictionary lists")
    options = made.parse_args()
    judged = partial(one_by_one, partial(judge, options=options))
    return run(judged, options, what="machines", names=options.names or list(MACHINES))


if __name__ == "__main__":
    sys.exit(main())
