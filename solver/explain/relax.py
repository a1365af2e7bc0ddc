"""Scenario -> the same scenario with some requirements dropped.

Dropping never makes a scenario harder: what kept all requirements keeps fewer of them. So
"no machine" for a few requirements means "no machine" for all that hold them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from models.geometry import Cell
from models.rules import Rules
from models.scenario import Direction, Scenario, cell_requirement
from models.surface import Mark, Surface
from solver.net.systems import systems_for

FREE_MARGIN = 6
"""No drive and no sensible link reaches further beyond a rim."""
MOST_RULE = 64
"""The largest push limit and reach that a rule set may name."""
FIXED = frozenset({"room.size"})
"""Requirements that cannot be dropped: without them there is no room."""


def droppable(scenario: Scenario) -> tuple[str, ...]:
    """The names of all requirements that `relax` can drop, and that then demand less."""
    usual = Rules()
    names = []
    for name in scenario.requirements:
        rule = name.removeprefix("rules.")
        if name in FIXED or (rule != name and not _binds(scenario.rules, usual, rule)):
            continue
        names.append(name)
    return tuple(names)


def _binds(rules: Rules, usual: Rules, rule: str) -> bool:
    """Limits bind whatever their value; other rules only where they are not the usual ones."""
    return rule in ("push_limit", "reach") or getattr(rules, rule) != getattr(usual, rule)


def relax(scenario: Scenario, names: frozenset[str]) -> Scenario:
    """The scenario without these requirements.

    A direction is kept as written: `variants` has both.
    """
    loop = scenario.loop
    exact = loop.shape == "exact" and "loop.shape" not in names
    dropped_cells = any(name.endswith("]") and _mark_of(scenario, name) == "o" for name in names)
    hem = exact and dropped_cells
    surfaces = {key: _surface(s, names, hem) for key, s in scenario.surfaces.items()}
    around = None if "loop.around" in names else loop.around
    button = scenario.button()
    spot = button and cell_requirement(button.surface, button.row, button.column)
    free_button = spot in names and "room.button" not in scenario.requirements
    return replace(
        scenario,
        surfaces=surfaces,
        button_surface=None if free_button or "room.button" in names else scenario.button_surface,
        loop=replace(
            loop,
            shape="exact" if exact and not hem else "free",
            min_length=None if "loop.length.min" in names else loop.min_length,
            max_length=None if "loop.length.max" in names else loop.max_length,
            around=around,
            around_surface=None if around is None else loop.around_surface,
        ),
        rules=_rules(scenario.rules, names),
        requirements={k: r for k, r in scenario.requirements.items() if k not in names},
    )


def variants(scenario: Scenario, names: frozenset[str]) -> tuple[Scenario, ...]:
    """The relaxed scenario, in both directions if the direction is dropped.

    Over several surfaces a direction means nothing without a cell to run around.
    """
    first = relax(scenario, names)
    if "loop.direction" not in names and ("loop.around" not in names or len(first.surfaces) == 1):
        return (first,)
    other: Direction = "anticlockwise" if first.loop.direction == "clockwise" else "clockwise"
    return (first, replace(first, loop=replace(first.loop, direction=other)))


def verdict_only(scenario: Scenario) -> Scenario:
    """The scenario without its objective."""
    return replace(scenario, loop=replace(scenario.loop, minimise=()))


def changes_something(scenario: Scenario, names: frozenset[str]) -> bool:
    """Whether dropping these allows anything that was not allowed before."""
    loose, *more = variants(scenario, names)
    return bool(more) or loose != replace(scenario, requirements=loose.requirements)


def cell_of(scenario: Scenario, name: str) -> Cell | None:
    """The cell that a requirement speaks of."""
    for key, surface in scenario.surfaces.items():
        if name.startswith(f"surfaces.{key}.map["):
            row, column = (int(part) - 1 for part in name[name.index("[") + 1 : -1].split(","))
            return surface.plane.cell(row, column)
    return None


def requirement_text(scenario: Scenario, name: str) -> str:
    """A requirement in words, with its cell."""
    text = scenario.requirements[name].text
    cell = cell_of(scenario, name)
    return f"{text}: ({','.join(map(str, cell))})" if cell else text


def keep_only(scenario: Scenario, names: Iterable[str]) -> frozenset[str]:
    """What to drop so that only these requirements stay."""
    return frozenset(droppable(scenario)) - frozenset(names)


def _mark_of(scenario: Scenario, name: str) -> Mark | None:
    """The mark that a cell requirement states."""
    for key, surface in scenario.surfaces.items():
        prefix = f"surfaces.{key}.map["
        if name.startswith(prefix):
            row, column = (int(part) - 1 for part in name[len(prefix) : -1].split(","))
            return surface.marks[row][column]
    return None


def _surface(surface: Surface, names: frozenset[str], hem: bool) -> Surface:
    """`hem`: an exact shape stays but some of its cells go, so all other cells become covers."""
    deepest = max((system.depth for system in systems_for(surface.name)), default=surface.depth)
    key = f"surfaces.{surface.name}"

    def mark(row: int, column: int, now: Mark) -> Mark:
        if now == ".":
            return "#" if hem else "."
        if cell_requirement(surface.name, row, column) not in names:
            return now
        return "#" if hem and now != "o" else "."

    return replace(
        surface,
        depth=max(surface.depth, deepest) if f"{key}.depth" in names else surface.depth,
        margin=max(surface.margin, FREE_MARGIN) if f"{key}.margin" in names else surface.margin,
        marks=tuple(
            tuple(mark(r, c, now) for c, now in enumerate(line))
            for r, line in enumerate(surface.marks)
        ),
    )


def _rules(rules: Rules, names: frozenset[str]) -> Rules:
    usual = Rules()
    changed = {
        rule: MOST_RULE if rule in ("push_limit", "reach") else getattr(usual, rule)
        for rule in Rules.model_fields
        if f"rules.{rule}" in names
    }
    return rules.model_copy(update=changed)
