"""Words for single faults: what they are, what they look like, what a builder says he sees."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from models.fault import Fault, InputError
from models.geometry import Cell
from models.parts import Part
from models.single_fault import MISTAKES, FaultTable, SingleFault, Stage
from models.symptom import Answer, Observable, Sight
from solver.faults.diagnose import Candidate, Question
from solver.plan.words import WAY_NAME, at, name_of

STAGES: tuple[Stage, ...] = ("static", "idle", "press", "harmless")
STAGE_TITLE: dict[Stage, str] = {
    "static": "static check",
    "idle": "before a press",
    "press": "in a press",
    "harmless": "harmless",
}


def describe(fault: SingleFault) -> str:
    """Such as "the sensor at (1,2,-3) (lift 4) is turned: it faces up"."""
    planned, built = fault.planned, fault.built
    if planned is None:
        return f"a block too many stands at {at(fault.at)}"
    unit = f" ({planned.unit})" if planned.unit else ""
    who = f"the {name_of(planned.kind)} at {at(planned.at)}{unit}"
    if built is None:
        return f"{who} is missing"
    match fault.mistake:
        case "turned":
            return f"{who} is turned: it faces {_way(built)}"
        case "shifted":
            return f"{who} stands at {at(built.at)} instead"
        case "delay off":
            return f"{who} has delay {built.delay} instead of {planned.delay or 1}"
        case "short press":
            return f"{who} stays pressed for only {built.press} ticks"
        case _:
            facing = f" facing {_way(built)}" if built.face else ""
            return f"in place of {who} there is a {name_of(built.kind)}{facing}"


def _way(part: Part) -> str:
    return WAY_NAME[part.face] if part.face else "no way"


def table_lines(table: FaultTable) -> list[str]:
    """How many faults of each sort show, and where; then those that never do."""
    lines = [f"{'mistake':<14}" + "".join(f"{STAGE_TITLE[s]:>16}" for s in STAGES)]
    counts = table.counts()
    for mistake in MISTAKES:
        lines.append(f"{mistake:<14}" + "".join(f"{counts[mistake][s]:>16}" for s in STAGES))
    total: Counter[Stage] = sum(counts.values(), Counter())
    lines.append(f"{'all':<14}" + "".join(f"{total[s]:>16}" for s in STAGES))
    lines.append(f"{len(table.judged)} single faults, each told or proven harmless.")
    harmless = Counter(
        (j.fault.mistake, name_of((j.fault.planned or j.fault.built or _NOTHING).kind))
        for j in table.harmless()
    )
    said = ", ".join(f"{kind} {mistake} {n}" for (mistake, kind), n in sorted(harmless.items()))
    lines += [f"Harmless (every full turn is right in spite of it): {said}."] if said else []
    return lines


_NOTHING = Part("block", (0, 0, 0))

# ------------------------------------------------------------------ what is seen

WORDS: dict[str, tuple[tuple[Sight, bool], ...]] = {
    "proud": (("proud", True),),
    "sunk": (("sunk", True),),
    "empty": (("empty", True),),
    "flush": (("proud", False), ("sunk", False), ("empty", False)),
    "sank": (("sank", True),),
    "did not sink": (("sank", False),),
    "stayed": (("stayed", True),),
    "moved on": (("stayed", False),),
    "out before": (("out before", True),),
    "in before": (("out before", False),),
    "out": (("out after", True),),
    "in": (("out after", False),),
    "lit before": (("lit before", True),),
    "dark before": (("lit before", False),),
    "lit": (("lit after", True),),
    "dark": (("lit after", False),),
    "stroked": (("stroked", True),),
    "still": (("stroked", False),),
    "changed": (("went on", True),),
    "unchanged": (("went on", False),),
}
"""What may be said of a cell, and what it means."""
WHOLE_WORDS: dict[str, tuple[Sight, bool]] = {
    "never rests": ("rests", False),
    "rests": ("rests", True),
    "first press wrong": ("first press", True),
    "first press right": ("first press", False),
    "all sank": ("sank", True),
}
_CELL = re.compile(r"\(?\s*(-?\d{1,6})\s*,\s*(-?\d{1,6})\s*,\s*(-?\d{1,6})\s*\)?")


def read_seen(text: str) -> list[Answer]:
    """What one `--seen` says, such as "(3,4,-1) (3,5,-1) proud" or "never rests"."""
    cells = [(int(x), int(y), int(z)) for x, y, z in _CELL.findall(text)]
    word = " ".join(re.sub(r"\band\b|,|;", " ", _CELL.sub(" ", text)).split()).lower()
    if not cells and word in WHOLE_WORDS:
        sight, seen = WHOLE_WORDS[word]
        return [Answer(Observable(sight, (0, 0, 0)), seen)]
    if not cells or word not in WORDS:
        known = ", ".join((*WORDS, *WHOLE_WORDS))
        remedy = f'Write cells and one of: {known}. For example: --seen "(3,4,-1) proud".'
        raise InputError([Fault("--seen", 0, 0, "this is not understood", text[:60], remedy)])
    return [Answer(Observable(s, cell), seen) for cell in cells for s, seen in WORDS[word]]


QUESTION: dict[Sight, str] = {
    "proud": "Does a tape block stand proud of the surface at {}?",
    "sunk": "Is the tape block at {} sunk behind the surface?",
    "empty": "Is the tape cell {} empty, with no block just behind it either?",
    "sank": "During the press: does the tape cell {} open at any time?",
    "stayed": "Did the tape block that was at {} fail to move on to the next cell?",
    "out before": "Before the press: is the head of the {} out?",
    "stroked": "During the press: does the {} stroke?",
    "out after": "After the press: is the head of the {} out?",
    "lit before": "Before the press: is the {} on?",
    "went on": "During the press: does the {} go on or off at all?",
    "lit after": "After the press: is the {} on?",
    "first press": "Did the very first press go wrong?",
    "rests": "Does everything come to rest after the press?",
}


def question_words(question: Question, parts: dict[Cell, Part]) -> str:
    """A question that is answered with yes or no."""
    part = parts.get(question.at)
    name = name_of(part.kind) if part else ""
    if question.observable is None:
        if part is None:
            return f"Go and look: is {at(question.at)} empty, as planned?"
        facing = f", facing {_way(part)}" if part.face else ""
        return f"Go and look: is there a {name} at {at(question.at)}{facing}, as planned?"
    where = f"{name} at {at(question.at)}" if name else at(question.at)
    return QUESTION[question.observable.sight].format(where)


def candidate_lines(candidates: Iterable[Candidate], limit: int) -> list[str]:
    """The likeliest places, each with what may be wrong there."""
    lines = []
    for number, candidate in enumerate(candidates, 1):
        if number > limit:
            break
        lines.append(f"{number}. {at(candidate.at)}, {100 * candidate.share:.0f} %:")
        lines += [f"     {describe(fault)}" for fault in candidate.faults[:4]]
        more = len(candidate.faults) - 4
        lines += [f"     and {more} more mistakes in the same place"] if more > 0 else []
        if candidate.alike > 1:
            lines.append(f"     {candidate.alike} places look the same; only a visit tells them")
    return lines
