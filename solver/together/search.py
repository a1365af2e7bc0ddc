"""Scenarios of one room -> one machine with all their loops.

One loop is solved after the other, each round what those before it take. If the joint machine
fails, or one finds no place, another order is tried, with what later loops must have kept free or
not, and with more room between the machines.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, islice, permutations

from models.machine import ALL_CASES, Machine
from models.outcome import Feasible, Infeasible, Reason, Undecided
from models.scenario import Scenario
from models.together import Apart, Joined, Open, Together
from solver.all_systems import Live, search_all
from solver.check import check_machine
from solver.simulate import prove
from solver.simulate.several import prove_apart
from solver.together.join import join
from solver.together.reserve import Reserve, reserve_machine, reserve_wish, untouched, without

Say = Callable[[str], None]
HALOS = (1, 2, 3)
"""Steps that stay free between machines."""
MOST_ORDERS = 6
NO_ROUTE = (
    "the room has no machine for it even if it may have everything but the other loops' wishes"
)


def search_together(
    scenarios: Sequence[Scenario], deadline: float, seed: int, say: Say
) -> Together:
    """A joint machine, a proof that there is none, or neither."""
    shared = _shared_wishes(scenarios)
    if shared is not None:
        return shared
    attempts = list(_attempts(len(scenarios)))
    told: list[str] = []
    for done, (order, halo, kept) in enumerate(attempts):
        left = deadline - time.monotonic()
        if left <= 0:
            return Open("the time given ran out", tuple(dict.fromkeys(told)))
        until = time.monotonic() + max(left / (len(attempts) - done), left / 3)
        names = ", ".join(str(k + 1) for k in order)
        say(f"order {names}, {halo} free around, room kept for later loops: {kept}")
        found = _one_after_the_other(scenarios, order, halo, kept, until, seed, say)
        if not isinstance(found, str):
            return found
        told.append(found)
        say(found)
    return Open("no order of the loops gave a joint machine", tuple(dict.fromkeys(told)))


def _attempts(loops: int) -> Iterator[tuple[tuple[int, ...], int, bool]]:
    """Orders, room between, and whether what later loops must have is kept free."""
    for halo in HALOS:
        for kept in (True, False):
            for order in islice(permutations(range(loops)), MOST_ORDERS):
                yield order, halo, kept


def _shared_wishes(scenarios: Sequence[Scenario]) -> Apart | None:
    """Cells that two loops must both pass."""
    for (i, a), (j, b) in combinations(enumerate(scenarios, start=1), 2):
        both = sorted(a.required() & b.required())
        if both:
            reasons = [Reason(f"loops {i} and {j} must both pass {cell}") for cell in both]
            return Apart(tuple(reasons), "two tapes never share a cell")
    return None


def _one_after_the_other(
    scenarios: Sequence[Scenario],
    order: Sequence[int],
    halo: int,
    kept: bool,
    deadline: float,
    seed: int,
    say: Say,
) -> Joined | Apart | str:
    """A joint machine; a proof; or why this attempt failed."""
    machines: dict[int, Machine] = {}
    corners = 0
    for place, k in enumerate(order):
        others = [scenarios[j] for j in order[place + 1 :]]
        wished = Reserve(tape=frozenset(c for other in others for c in other.required()))
        reserve = untouched([*scenarios[:k], *scenarios[k + 1 :]]) | wished
        for other in others if kept else ():
            reserve |= reserve_wish(other, halo)
        for machine in machines.values():
            reserve |= reserve_machine(machine, halo)
        asked = without(scenarios[k], reserve)
        if asked is None:
            return f"loop {k + 1} must pass where another one has its machinery"
        now = time.monotonic()
        until = now + (deadline - now) / (len(order) - place)
        verdict = search_all(asked, until, seed, say, Live(asked.loop.minimise))
        if isinstance(verdict, Infeasible) and not machines and not kept:
            reasons = [Reason(f"loop {k + 1}: {NO_ROUTE}"), *verdict.reasons]
            return Apart(tuple(reasons), verdict.proof)
        best = _best(verdict)
        if best is None:
            return f"loop {k + 1} finds no place beside the loops before it"
        machines[k] = best.machine
        corners += best.score["corners"]
    return _judged(scenarios, [machines[k] for k in range(len(scenarios))], corners)


def _best(verdict: Feasible | Infeasible | Undecided) -> Feasible | None:
    match verdict:
        case Feasible():
            return verdict
        case Undecided():
            return verdict.best
        case Infeasible():
            return None


def _judged(
    scenarios: Sequence[Scenario], machines: Sequence[Machine], corners: int
) -> Joined | str:
    joint = join(" and ".join(s.title for s in scenarios), machines)
    if isinstance(joint, str):
        return joint
    fixed = joint.rules.overhead_pickup
    cases = tuple(c for c in ALL_CASES if fixed is None or c.overhead == fixed)
    faults = check_machine(joint)
    faults = faults or [f for result in prove(joint, cases) for f in result.faults]
    faults = faults or prove_apart(joint, cases)
    if faults:
        return f"together: {faults[0].text}"
    placed = sum(part.kind != "cover" for part in joint.parts) + len(joint.tape)
    score = {
        "parts": placed,
        "length": len(joint.tape),
        "corners": corners,
        "dug": len(joint.dug_cells),
    }
    return Joined(joint, tuple(machines), score)
