"""Minimal reasons by deletion, against a twin that tries all subsets."""

from __future__ import annotations

import random
from itertools import chain, combinations

import pytest
from pysat.solvers import Solver

from solver.explain.oracle import Kept
from solver.explain.shrink import shrink
from solver.explain.switched import Refuted, Unsettled


class SatOracle:
    """Requirements are groups of clauses; a refutation names the groups that it used."""

    def __init__(self, groups: dict[str, list[list[int]]]) -> None:
        self.groups, self.asked = groups, 0
        top = max(abs(lit) for clauses in groups.values() for c in clauses for lit in c)
        self.switch = {name: top + 1 + i for i, name in enumerate(sorted(groups))}
        self.name = {lit: name for name, lit in self.switch.items()}
        self.solver = Solver(name="minisat22")
        for name, clauses in groups.items():
            for clause in clauses:
                self.solver.add_clause([*clause, -self.switch[name]])

    def ask(self, active):
        self.asked += 1
        if self.solver.solve(assumptions=[self.switch[name] for name in sorted(active)]):
            return Kept(None, None)
        return Refuted(frozenset(self.name[lit] for lit in self.solver.get_core() or ()))


def pigeonhole(holes: int) -> dict[str, list[list[int]]]:
    """One pigeon more than holes; each pigeon that must sit is a requirement, each hole one too."""

    def sits(pigeon: int, hole: int) -> int:
        return pigeon * holes + hole + 1

    pigeons = range(holes + 1)
    groups = {f"pigeon {p}": [[sits(p, h) for h in range(holes)]] for p in pigeons}
    for h in range(holes):
        groups[f"hole {h}"] = [[-sits(p, h), -sits(q, h)] for p, q in combinations(pigeons, 2)]
    return groups


def minimal_cores(oracle: SatOracle, names: list[str]) -> list[frozenset[str]]:
    """The naive twin: every subset, small ones first."""
    found: list[frozenset[str]] = []
    subsets = chain.from_iterable(combinations(names, k) for k in range(len(names) + 1))
    for subset in map(frozenset, subsets):
        if not any(core <= subset for core in found) and isinstance(oracle.ask(subset), Refuted):
            found.append(subset)
    return found


@pytest.mark.parametrize("holes", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("grouped", [False, True])
def test_every_row_of_a_pigeonhole_instance_is_needed(holes, grouped):
    """Haken 1985 (memory); confirmed here by the solver."""
    groups = pigeonhole(holes)
    oracle = SatOracle(groups)
    names = sorted(groups)
    order = [tuple(names)] if grouped else [(name,) for name in names]
    core = shrink(oracle, frozenset(names), order)
    assert core.names == frozenset(names)
    assert core.minimal
    assert core.witnesses.keys() == core.names


@pytest.mark.parametrize("seed", range(60))
def test_a_core_is_one_that_the_naive_twin_finds(seed):
    rng = random.Random(seed)
    variables = rng.randint(2, 4)
    groups = {
        f"r{i}": [
            [
                rng.choice((1, -1)) * v
                for v in rng.sample(range(1, variables + 1), rng.randint(1, 2))
            ]
            for _ in range(rng.randint(1, 2))
        ]
        for i in range(rng.randint(4, 8))
    }
    oracle = SatOracle(groups)
    names = sorted(groups)
    cores = minimal_cores(oracle, names)
    whole = oracle.ask(frozenset(names))
    assert isinstance(whole, Refuted) == bool(cores)
    if isinstance(whole, Refuted):
        rng.shuffle(names)
        order = [tuple(names[:3]), *((name,) for name in names)]
        core = shrink(oracle, frozenset(names), order)
        assert core.minimal
        assert core.names in cores


def test_what_time_does_not_allow_is_not_called_minimal():
    class Slow(SatOracle):
        def ask(self, active):
            return Unsettled() if self.asked > 3 else super().ask(active)

    oracle = Slow(pigeonhole(3))
    core = shrink(oracle, frozenset(oracle.groups), [(n,) for n in sorted(oracle.groups)])
    assert not core.minimal
