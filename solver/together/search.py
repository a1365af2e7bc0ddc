"""Scenarios of one room -> one machine with all their loops.

First each loop by itself: that proves what cannot be, and bounds what can. If those machines do
not go together, one loop is solved after the other, each round what those before it take. Orders
are tried, with what later loops will have kept free or not, and with more or less room between.
The best joint machine counts; when each loop has what is best for it alone, the search ends.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, permutations, product

from models.machine import Machine
from models.outcome import Feasible, Infeasible, Reason, Verdict
from models.scenario import Scenario
from models.together import Apart, Joined, Open, Together
from solver.check import check_machine
from solver.simulate import prove
from solver.simulate.several import prove_apart
from solver.together.alone import Asked, best_of, bound_of, joint_bound, joint_terms, solve_alone
from solver.together.join import join
from solver.together.musts import must_have, will_have
from solver.together.one_button import with_one_button
from solver.together.reserve import Reserve, around, reserve_machine, untouched

Say = Callable[[str], None]
HALOS = (1, 0, 2, 3)
"""Steps that stay free between machines."""
MOST_ORDERS = 6
ALONE_SHARE = 0.4
"""How much of the time the loops by themselves may take."""
PATIENCE = 4
"""Attempts without a better joint machine, after which the search ends if it has one."""


@dataclass(frozen=True)
class _Attempt:
    order: tuple[int, ...]
    halo: int
    kept: bool
    """Whether what later loops will have is kept free."""

    def __str__(self) -> str:
        names = ", ".join(str(k + 1) for k in self.order)
        return f"order {names}, {self.halo} free around, room kept for later loops: {self.kept}"


def search_together(
    scenarios: Sequence[Scenario],
    deadline: float,
    seed: int,
    say: Say,
    *,
    one_button: bool = False,
) -> Together:
    """A joint machine, a proof that there is none, or neither."""
    shared = _shared_cells(scenarios)
    if shared is not None:
        return shared
    asked = Asked(scenarios, seed, say)
    now = time.monotonic()
    alone = solve_alone(asked, now + ALONE_SHARE * (deadline - now))
    if isinstance(alone, Apart):
        return alone
    return _Search(asked, alone, one_button).run(deadline)


def _shared_cells(scenarios: Sequence[Scenario]) -> Apart | None:
    """Cells that two loops must both have."""
    musts = [must_have(scenario) for scenario in scenarios]
    for (i, a), (j, b) in combinations(enumerate(musts, start=1), 2):
        if both := sorted(a.tape & b.tape):
            reasons = [Reason(f"loops {i} and {j} must both pass {cell}") for cell in both]
            return Apart(tuple(reasons), "two tapes never share a cell")
        if both := sorted(a.dug & b.dug):
            reasons = [Reason(f"loops {i} and {j} must both dig {cell}") for cell in both]
            return Apart(
                tuple(reasons),
                "each needs the cell for a ram or for a block on its way, whatever else its "
                "machine is like: on walls and over several surfaces by the rules alone, on floors "
                "and ceilings with any drive of this catalogue",
            )
    return None


def _attempts(loops: int) -> Iterator[_Attempt]:
    orders = list(islice(permutations(range(loops)), MOST_ORDERS))
    for halo, kept, order in product(HALOS, (True, False), orders):
        yield _Attempt(order, halo, kept)


class _Search:
    """The best joint machine so far, and why attempts failed."""

    def __init__(self, asked: Asked, alone: Sequence[Verdict], one_button: bool) -> None:
        self.asked, self.alone, self.one_button = asked, alone, one_button
        self.scenarios = asked.scenarios
        # A loop without a trigger of its own may have fewer parts than by itself.
        self.bound = {} if one_button else joint_bound(self.scenarios, alone)
        self.best: Joined | None = None
        self.told: list[str] = []

    def run(self, deadline: float) -> Together:
        """Attempt after attempt, until one is as good as can be or time is up."""
        found = [best_of(verdict) for verdict in self.alone]
        self._keep(self._judged(found))
        attempts, idle = list(_attempts(len(self.scenarios))), 0
        for done, attempt in enumerate(attempts):
            now = time.monotonic()
            if now >= deadline or self._enough(idle):
                break
            until = now + max((deadline - now) / (len(attempts) - done), (deadline - now) / 3)
            self.asked.say(str(attempt))
            idle = 0 if self._keep(self._try(attempt, until)) else idle + 1
        if self.best is not None:
            return self.best
        late = time.monotonic() >= deadline
        why = "the time given ran out" if late else "no order of the loops gave a joint machine"
        return Open(why, tuple(dict.fromkeys(self.told)), self.bound)

    def _enough(self, idle: int) -> bool:
        """Whether the best joint machine will do; with one button for all any will."""
        best = self.best
        return best is not None and (best.optimal or self.one_button or idle >= PATIENCE)

    def _keep(self, found: Joined | str) -> bool:
        """Keep a joint machine if it is the best so far; note why there is none."""
        if isinstance(found, str):
            self.told.append(found)
            self.asked.say(found)
            return False
        if self.best is not None and self._value(found) >= self._value(self.best):
            return False
        self.best = found
        values = ", ".join(f"{name} {value}" for name, value in found.score.items())
        self.asked.say(f"joint machine: {values}")
        return True

    def _value(self, joined: Joined) -> tuple[int, ...]:
        return tuple(joined.score[term] for term in joint_terms(self.scenarios) or ("parts",))

    def _try(self, attempt: _Attempt, deadline: float) -> Joined | str:
        """One loop after the other, each round what those before it have."""
        found: dict[int, Feasible] = {}
        order = attempt.order
        for place, k in enumerate(order):
            later = [self.scenarios[j] for j in order[place + 1 :]]
            before = [each.machine for each in found.values()]
            reserve = self._reserve(k, before, later, attempt)
            now = time.monotonic()
            until = now + (deadline - now) / (len(order) - place)
            verdict = self.asked.solve(k, reserve, until)
            if verdict is None:
                return f"loop {k + 1} must pass where another one has its machinery"
            best = best_of(verdict)
            if best is None:
                sure = isinstance(verdict, Infeasible)
                why = "has no place" if sure else "finds no place in the time given"
                return f"loop {k + 1} {why} beside the loops before it"
            found[k] = best
        return self._judged([found[k] for k in range(len(order))])

    def _reserve(
        self,
        k: int,
        before: Sequence[Machine],
        later: Sequence[Scenario],
        attempt: _Attempt,
    ) -> Reserve:
        """What loop k is not given. Where it has no choice only the cells themselves are taken."""
        taken = Reserve()
        for other in later:
            taken |= must_have(other)
            if attempt.kept:
                taken |= will_have(other)
        for machine in before:
            taken |= reserve_machine(machine)
        near = around(taken.dug, attempt.halo) - will_have(self.scenarios[k]).dug
        quiet = untouched([*self.scenarios[:k], *self.scenarios[k + 1 :]])
        return quiet | taken | Reserve(quiet=near)

    def _judged(self, found: Sequence[Feasible | None]) -> Joined | str:
        """The machines as one, if they go together."""
        whole = [each for each in found if each is not None]
        if len(whole) < len(found):
            return "not every loop has a machine by itself in the time given"
        machines = tuple(each.machine for each in whole)
        joint = join(" and ".join(s.title for s in self.scenarios), machines)
        if isinstance(joint, str):
            return joint
        why = ""
        for made in with_one_button(joint, self.scenarios) if self.one_button else [joint]:
            why = made if isinstance(made, str) else _fault(made)
            if not why and not isinstance(made, str):
                return self._priced(made, whole)
        return why

    def _priced(self, joint: Machine, found: Sequence[Feasible]) -> Joined:
        """With what is proven of it: each loop as good as alone, or all together as the bound."""
        score = {
            "parts": joint.placed,
            "depth": max(each.score["depth"] for each in found),
            "length": len(joint.tape),
            "corners": sum(each.score["corners"] for each in found),
            "dug": len(joint.dug_cells),
        }
        each = all(
            f.score[term] == bound_of(verdict).get(term)
            for s, verdict, f in zip(self.scenarios, self.alone, found, strict=True)
            for term in s.loop.minimise
        )
        lists = {s.loop.minimise for s in self.scenarios}
        total = lists == {tuple(self.bound)} and all(
            score[term] == value for term, value in self.bound.items()
        )
        alone = tuple(f.machine for f in found)
        optimal = not self.one_button and (each or total)
        return Joined(joint, alone, score, self.bound, optimal)


def _fault(machine: Machine) -> str:
    """What is wrong with a joint machine; empty if it is accepted."""
    faults = check_machine(machine)
    faults = faults or [f for result in prove(machine, machine.cases) for f in result.faults]
    faults = faults or prove_apart(machine, machine.cases)
    return f"together: {faults[0].text}" if faults else ""
