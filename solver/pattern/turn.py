"""What presses do to a pattern. A pattern is a cyclic word; a press turns it by one."""

from __future__ import annotations

from collections.abc import Sequence

from models.geometry import Cell
from models.pattern import Scene


def divisors(n: int) -> list[int]:
    """All divisors, the smallest first."""
    return [d for d in range(1, n + 1) if n % d == 0]


def prime_factors(n: int) -> list[int]:
    """The different primes that divide n."""
    return [p for p in divisors(n)[1:] if len(divisors(p)) == 2]


def period(marks: str) -> int:
    """Presses until the picture first is the same again: the smallest turn that changes nothing.

    It divides the length, so that only divisors need a look.
    """
    return next(d for d in divisors(len(marks)) if marks[d:] + marks[:d] == marks)


def scene(marks: str, tape: Sequence[Cell], presses: int) -> Scene:
    """What each tape cell shows."""
    n = len(tape)
    return Scene(presses, {cell: marks[(j - presses) % n] for j, cell in enumerate(tape)})
