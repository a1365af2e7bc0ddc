"""What presses do to a pattern. A pattern is a cyclic word; a press turns it by one."""

from __future__ import annotations

import math
from collections.abc import Sequence

from models.machine import Machine
from models.pattern import Scene

Spans = Sequence[range]
"""Where each loop stands in the list of tape cells; it is one as a rule."""


def divisors(n: int) -> list[int]:
    """All divisors, the smallest first."""
    return [d for d in range(1, n + 1) if n % d == 0]


def prime_factors(n: int) -> list[int]:
    """The different primes that divide n."""
    return [p for p in divisors(n)[1:] if len(divisors(p)) == 2]


def turned(spans: Spans, presses: int) -> list[int]:
    """The block that lies on each tape cell after so many presses, of all buttons if several."""
    return [span.start + (i - span.start - presses) % len(span) for span in spans for i in span]


def back_after(spans: Spans) -> int:
    """Presses until every block is back."""
    return math.lcm(*(len(span) for span in spans))


def period(marks: str, spans: Spans) -> int:
    """Presses until the picture first is the same again.

    Of one loop it is the smallest turn that changes nothing, which divides the loop's length.
    """
    words = [marks[span.start : span.stop] for span in spans]
    return math.lcm(
        *(next(d for d in divisors(len(w)) if w[d:] + w[:d] == w) for w in words),
    )


def scene(marks: str, machine: Machine, presses: int) -> Scene:
    """What each tape cell shows."""
    blocks = turned(machine.spans, presses)
    return Scene(presses, {c: marks[b] for c, b in zip(machine.tape, blocks, strict=True)})
