"""Each loop by itself: a proof that it cannot be there, or what no machine of it is better than."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.scenario import Scenario, Term
from models.together import Apart
from solver.all_systems import Live, search_all
from solver.together.musts import must_have
from solver.together.reserve import Reserve, untouched, without

Say = Callable[[str], None]
NO_ROUTE = "the room has no machine for it beside what the other loops have in any case"


@dataclass
class Asked:
    """The loops of one room. Nothing is searched for twice."""

    scenarios: Sequence[Scenario]
    seed: int
    say: Say
    known: dict[tuple[int, Reserve], Verdict] = field(default_factory=dict)

    def solve(self, loop: int, reserve: Reserve, deadline: float) -> Verdict | None:
        """A loop with all that taken from it; None if it must pass what is taken."""
        asked = without(self.scenarios[loop], reserve)
        if asked is None:
            return None
        found = self.known.get((loop, reserve))
        if found is None:
            live = Live(asked.loop.minimise)
            found = search_all(asked, deadline, self.seed, self.say, live)
            if not (isinstance(found, Undecided) and found.timed_out):
                self.known[loop, reserve] = found
        return found

    def apart_from(self, loop: int) -> Reserve:
        """What all other loops have in any case, and what must stay untouched."""
        others = [*self.scenarios[:loop], *self.scenarios[loop + 1 :]]
        reserve = untouched(others)
        for other in others:
            reserve |= must_have(other)
        return replace(reserve, beside=frozenset())


def solve_alone(asked: Asked, deadline: float) -> list[Verdict] | Apart:
    """Each loop beside no more of the others than each of their machines has.

    What is impossible here is impossible together, and no joint machine is better in any loop.
    """
    verdicts: list[Verdict] = []
    loops = len(asked.scenarios)
    for loop in range(loops):
        asked.say(f"loop {loop + 1} by itself")
        now = time.monotonic()
        until = now + (deadline - now) / (loops - loop)
        verdict = asked.solve(loop, asked.apart_from(loop), until)
        if verdict is None:
            return Apart((Reason(f"loop {loop + 1}: {NO_ROUTE}"),), "two tapes never share a cell")
        if isinstance(verdict, Infeasible):
            reasons = (Reason(f"loop {loop + 1}: {NO_ROUTE}"), *verdict.reasons)
            return Apart(reasons, verdict.proof)
        verdicts.append(verdict)
    return verdicts


def best_of(verdict: Verdict) -> Feasible | None:
    """The machine of a verdict, if there is one."""
    match verdict:
        case Feasible():
            return verdict
        case Undecided():
            return verdict.best
        case Infeasible():
            return None


def bound_of(verdict: Verdict) -> Mapping[str, int]:
    """What no machine of a loop is better than, its terms in their order."""
    return {} if isinstance(verdict, Infeasible) else verdict.lower_bound


def joint_terms(scenarios: Sequence[Scenario]) -> tuple[Term, ...]:
    """The terms that all loops minimise first, in one order, and for which bounds add up.

    How deep the deepest loop reaches leaves the others room, so nothing is said after depth.
    """
    terms: list[Term] = []
    for each in zip(*(s.loop.minimise for s in scenarios), strict=False):
        if len(set(each)) > 1 or "depth" in terms:
            break
        terms.append(each[0])
    return tuple(terms)


def joint_bound(scenarios: Sequence[Scenario], verdicts: Sequence[Verdict]) -> dict[str, int]:
    """What no joint machine is better than: loops share nothing, so their bounds add up."""
    bounds = [bound_of(verdict) for verdict in verdicts]
    total: dict[str, int] = {}
    for term in joint_terms(scenarios):
        if any(term not in bound for bound in bounds):
            break
        each = [bound[term] for bound in bounds]
        total[term] = max(each) if term == "depth" else sum(each)
    return total
