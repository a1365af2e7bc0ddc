"""The Pareto front: all machines that no other one beats in every named term."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from models.outcome import Feasible
from models.scenario import TERMS

TIME = "time"
"""Half-ticks from a press to rest, in the slowest case; measured, not searched for."""
FRONT_TERMS: tuple[str, ...] = (*TERMS, TIME)
"""What machines of a front may be compared by."""


@dataclass(frozen=True)
class Front:
    """Machines to choose from, each better than every other in some term."""

    terms: tuple[str, ...]
    machines: tuple[Feasible, ...]
    """In the order of the terms."""
    least: Mapping[str, int]
    """What no machine has less of, term by term, as far as it is proven."""
    gaps: tuple[str, ...]
    """Where more machines of the front may lie; none: the front is proven complete."""

    @property
    def complete(self) -> bool:
        """Whether every machine that is not listed is proven to be no better than a listed one."""
        return not self.gaps


def beats(a: Feasible, b: Feasible, terms: tuple[str, ...]) -> bool:
    """Whether `a` is nowhere worse than `b`: equal machines beat each other."""
    return all(a.score[term] <= b.score[term] for term in terms)


def unbeaten(
    found: Iterable[Feasible], terms: tuple[str, ...], minimise: tuple[str, ...]
) -> tuple[Feasible, ...]:
    """The front of these machines; of those with equal terms the best by `minimise`, or the first.

    In lexicographic order whatever beats a machine comes before it.
    """
    front: list[Feasible] = []
    for machine in sorted(found, key=lambda f: [f.score[t] for t in (*terms, *minimise)]):
        if not any(beats(other, machine, terms) for other in front):
            front.append(machine)
    return tuple(front)
