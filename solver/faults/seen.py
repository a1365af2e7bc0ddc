"""What a builder says he sees, in his words: "cells (3,4,-1) and (3,5,-1) stand proud".

A sentence names cells and says something of them, or says something of the whole machine. Cells
come before what is said of them, or all after it. Little words are ignored.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import reduce
from operator import add
from typing import NamedTuple

from models.fault import Fault, InputError
from models.geometry import Cell
from models.symptom import AFTER, WHOLE, Answer, Findings, Observable, Sight
from solver.plan.words import at

EVERY: Cell = (10**7, 10**7, 10**7)
"""Stands for every cell of the tape; no cell that can be written."""
ALL_SANK = Observable("sank", EVERY)
ALL_FLUSH = Observable("proud", EVERY)
PLANNED = "as planned"
WORDS: dict[str, tuple[tuple[Sight, bool], ...]] = {
    "proud": (("proud", True),),
    "sunk": (("sunk", True),),
    "empty": (("empty", True),),
    "flush": (("proud", False), ("sunk", False), ("empty", False)),
    "not proud": (("proud", False),),
    "not sunk": (("sunk", False),),
    "not empty": (("empty", False),),
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
    PLANNED: (),
    f"not {PLANNED}": (),
}
"""What may be said of a cell, and what it means."""
WHOLE_WORDS: dict[str, tuple[Sight, bool]] = {
    "never rests": ("rests", False),
    "rests": ("rests", True),
    "first press wrong": ("first press", True),
    "first press right": ("first press", False),
    "all sank": ("sank", True),
    "all flush": ("proud", False),
}
"""What may be said without cells, or of what happened when."""
SAME_AS = {
    "never comes to rest": "never rests",
    "comes to rest": "rests",
    "did not move on": "stayed",
    "did not stroke": "still",
}
UNSURE = "unsure"
"""Before a word: it was looked for, but nobody knows."""
LITTLE = re.compile(
    "a|again|all|also|and|are|at|be|blocks?|cells?|did|do|does|has|have|is|it|its|lies?|now|of|on"
    "|only|ram|stand|standing|stands|tape|that|the|them|then|there|they|to|was|were|wire|with"
)
_CELL = r"[(\[]?\s*(-?\d{1,6})\s*,\s*(-?\d{1,6})\s*,\s*(-?\d{1,6})\s*[)\]]?"
_SAID = "|".join(sorted({*WORDS, *WHOLE_WORDS, *SAME_AS}, key=len, reverse=True))
_TOKEN = re.compile(
    rf"{_CELL}|(?P<unsure>{UNSURE} )?(?<!\w)(?P<said>{_SAID})(?!\w)|(?P<other>[^\s.,;:!]+)"
)
_FIRST = re.compile(r"\b(after|on|in|at) (one|1|a|the|the first) press\b")
_LATER = re.compile(r"\bafter (\d+|two|three|four|five|six|seven|eight|nine|ten) presses\b")


class _Said(NamedTuple):
    word: str
    unsure: bool


def read_seen(text: str) -> Findings:
    """What one sentence says."""
    plain = _LATER.sub(" ", " ".join(text.lower().split()))
    first = _FIRST.search(plain) is not None
    tokens = list(_tokens(_FIRST.sub(" ", plain), text))
    if tokens and isinstance(tokens[0], _Said) and not isinstance(tokens[-1], _Said):
        tokens.reverse()  # What is said comes before its cells.
    found, cells = Findings(), list[Cell]()
    for token in tokens:
        if not isinstance(token, _Said):
            cells.append(token)
        elif token.word in WORDS:
            if not cells:
                raise _not_understood(text)
            found = reduce(add, (_of_cell(token, cell) for cell in cells), found)
            cells = []
        else:
            sight, seen = WHOLE_WORDS[token.word]
            where = EVERY if token.word.startswith("all ") else WHOLE
            found += _answer(Observable(sight, where), seen, token.unsure)
    if cells or not tokens:
        raise _not_understood(text)
    if first and any(_amiss(answer) for answer in found.answers):
        found += Findings((Answer(Observable("first press", WHOLE), True),))
    return found


def _tokens(plain: str, text: str) -> Iterator[Cell | _Said]:
    """Cells and what is said of them, in their order; nothing else but little words."""
    for match in _TOKEN.finditer(plain):
        said, other = match["said"], match["other"]
        if said:
            yield _Said(SAME_AS.get(said, said), match["unsure"] is not None)
        elif other is None:
            yield (int(match[1]), int(match[2]), int(match[3]))
        elif not LITTLE.fullmatch(other):
            raise _not_understood(text)


def _of_cell(said: _Said, cell: Cell) -> Findings:
    if said.word.endswith(PLANNED):
        if said.unsure:
            return Findings(unvisited=frozenset({cell}))
        return Findings(inspected=((cell, said.word == PLANNED),))
    answers = (_answer(Observable(s, cell), seen, said.unsure) for s, seen in WORDS[said.word])
    return reduce(add, answers)


def _answer(observable: Observable, seen: bool, unsure: bool) -> Findings:
    if unsure:
        return Findings(unsure=frozenset({observable}))
    return Findings((Answer(observable, seen),))


def _amiss(answer: Answer) -> bool:
    sight, seen = answer.observable.sight, answer.seen
    return seen if sight in {*AFTER, "stayed"} else sight in ("sank", "rests") and not seen


def _not_understood(text: str) -> InputError:
    known = ", ".join((*WORDS, *WHOLE_WORDS))
    remedy = f'Write cells and one of: {known}. For example: --seen "(3,4,-1) proud".'
    return InputError([Fault("--seen", 0, 0, "this is not understood", text[:60], remedy)])


# ------------------------------------------------------------------ said the other way round


def seen_words(observable: Observable, seen: bool) -> str:
    """An answer in the words that `read_seen` takes."""
    if observable.at in (WHOLE, EVERY):
        pairs = {meaning: word for word, meaning in WHOLE_WORDS.items()}
        return pairs[observable.sight, seen]
    single = {means[0]: word for word, means in WORDS.items() if len(means) == 1}
    return f"{at(observable.at)} {single[observable.sight, seen]}"


def unsure_words(observable: Observable) -> str:
    """That it is not known, in the words that `read_seen` takes."""
    words = seen_words(observable, True)
    if observable.at in (WHOLE, EVERY):
        return f"{UNSURE} {words}"
    return words.replace(" ", f" {UNSURE} ", 1)


def visit_words(cell: Cell) -> dict[str, str]:
    """All answers to the question whether a cell is built as planned."""
    there = at(cell)
    return {
        "yes": f"{there} {PLANNED}",
        "no": f"{there} not {PLANNED}",
        UNSURE: f"{there} {UNSURE} {PLANNED}",
    }


def settle(findings: Findings) -> tuple[Findings, list[str]]:
    """Without what was said both ways, and what that was; nothing is said twice."""
    said: dict[Observable, set[bool]] = {}
    for answer in findings.answers:
        said.setdefault(answer.observable, set()).add(answer.seen)
    looked: dict[Cell, set[bool]] = {}
    for cell, planned in findings.inspected:
        looked.setdefault(cell, set()).add(planned)
    both = [observable for observable, sides in said.items() if len(sides) > 1]
    notes = [
        f"both {seen_words(o, True)!r} and {seen_words(o, False)!r} were said; neither counts"
        for o in both
    ]
    both_looked = [cell for cell, sides in looked.items() if len(sides) > 1]
    notes += [
        f"{at(cell)} was said to be as planned and not to be so; neither counts"
        for cell in both_looked
    ]
    settled = Findings(
        tuple(Answer(o, sides.pop()) for o, sides in said.items() if len(sides) == 1),
        tuple((cell, sides.pop()) for cell, sides in looked.items() if len(sides) == 1),
        findings.unsure | set(both),
        findings.unvisited | set(both_looked),
    )
    notes += _impossible(settled.answers)
    return settled, notes


def _impossible(answers: Iterable[Answer]) -> list[str]:
    """Cells of which two things are said that exclude each other; the finder weighs them all."""
    at_once: dict[Cell, list[Sight]] = {}
    for answer in answers:
        if answer.seen and answer.observable.sight in AFTER:
            at_once.setdefault(answer.observable.at, []).append(answer.observable.sight)
    return [
        f"{at(cell)} cannot be {' and '.join(sights)} at once; one of these is taken to be wrong"
        for cell, sights in at_once.items()
        if len(sights) > 1
    ]
