"""From a set that cannot hold together to a minimal one: what is not needed is dropped.

Deletion, whole groups first. Each refutation names the requirements it used, so what it did not
use goes at once; each machine found shows that what was dropped is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from models.scenario import Scenario
from solver.explain.by_rules import Routed, RulesOracle
from solver.explain.direct import DirectOracle
from solver.explain.oracle import Kept, Oracle
from solver.explain.switched import Refuted

Group = tuple[str, ...]
AnOracle = Oracle | DirectOracle | RulesOracle


@dataclass
class Core:
    """Requirements that cannot hold together."""

    names: frozenset[str]
    minimal: bool = True
    """Each was shown to be needed."""
    witnesses: dict[str, Kept] = field(default_factory=dict)
    """For each requirement a machine that keeps all the others."""


def shrink(oracle: AnOracle, start: frozenset[str], groups: Sequence[Group]) -> Core:
    """A minimal part of `start` that no machine keeps; `groups` in the order of dropping."""
    core = Core(start)
    for group in groups:
        _drop(oracle, core, group)
    core.minimal = core.minimal and core.names == core.witnesses.keys()
    return core


def _drop(oracle: AnOracle, core: Core, group: Group) -> None:
    """Drop what can be dropped of a group: all of it, else each half in turn."""
    group = tuple(name for name in group if name in core.names and name not in core.witnesses)
    if not group:
        return
    match oracle.ask(core.names.difference(group)):
        case Refuted(core=smaller):
            core.names = smaller
        case Kept() as kept if len(group) == 1:
            core.witnesses[group[0]] = kept
        case Routed() if len(group) == 1:
            core.minimal = False  # A machine would show it.
        case Kept() | Routed():
            half = len(group) // 2
            _drop(oracle, core, group[:half])
            _drop(oracle, core, group[half:])
        case _:
            core.minimal = False


def ordered_groups(scenario: Scenario, names: frozenset[str]) -> list[Group]:
    """Cells first, in connected patches of one mark, large patches first; then single limits.

    What is hard to change for a builder comes last but for the rules of the world: a reason
    that does without them says more.
    """
    cells: list[Group] = []
    for key, surface in scenario.surfaces.items():
        for mark in ("=", "#", "o", "@"):
            spots = {
                (r, c)
                for r, c in surface.spots(mark)
                if f"surfaces.{key}.map[{r + 1},{c + 1}]" in names
            }
            for patch in _patches(spots):
                cells.append(tuple(f"surfaces.{key}.map[{r + 1},{c + 1}]" for r, c in patch))
    cells.sort(key=lambda group: (-len(group), group))
    mapped = {name for group in cells for name in group}
    rules = sorted(n for n in names - mapped if n.startswith("rules."))
    others = sorted(n for n in names - mapped if not n.startswith("rules."))
    return [*((name,) for name in rules), *cells, *((name,) for name in others)]


def _patches(spots: set[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Connected patches, each in map order."""
    left, found = set(spots), []
    for start in sorted(spots):
        if start not in left:
            continue
        left.discard(start)
        patch = [start]
        for row, column in patch:
            for near in (
                (row - 1, column),
                (row + 1, column),
                (row, column - 1),
                (row, column + 1),
            ):
                if near in left:
                    left.discard(near)
                    patch.append(near)
        found.append(sorted(patch))
    return found
