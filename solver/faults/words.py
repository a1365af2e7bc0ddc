"""Words for single faults: what they are, what they look like, what a builder says he sees."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from models.geometry import Cell
from models.parts import Part
from models.single_fault import MISTAKES, FaultTable, SingleFault, Stage
from models.symptom import Sight
from solver.faults.diagnose import Candidate, Question
from solver.faults.seen import seen_words
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

# ------------------------------------------------------------------ questions

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
        if candidate.unexplained:
            wrong = [seen_words(a.observable, a.seen) for a in candidate.unexplained]
            others = f" and {len(wrong) - 3} more" if len(wrong) > 3 else ""
            lines.append(f"     but then this would not be so: {', '.join(wrong[:3])}{others}")
        if candidate.alike > 1:
            lines.append(f"     {candidate.alike} places look the same; only a visit tells them")
    return lines
