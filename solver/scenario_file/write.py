"""A scenario -> the text of a scenario file that reads back as the same."""

from __future__ import annotations

import json

from models.geometry import step
from models.rules import Rules
from models.scenario import Loop, Scenario
from models.surface import BEHIND, Surface


def scenario_text(scenario: Scenario, comment: str = "") -> str:
    """TOML text; the comment stands on top, line by line."""
    lines = [f"# {line}".rstrip() for line in comment.splitlines()]
    lines += [f"title = {_quoted(scenario.title)}", "", "[room]"]
    lines.append(f"size = {list(scenario.room)}")
    if scenario.button_surface is not None:
        lines.append(f"button = {_quoted(scenario.button_surface)}")
    for surface in scenario.surfaces.values():
        lines += ["", *_surface_lines(surface)]
    lines += ["", *_loop_lines(scenario.loop), *_rule_lines(scenario.rules)]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a JSON string is a TOML basic string


def _surface_lines(surface: Surface) -> list[str]:
    return [
        f"[surfaces.{surface.name}]",
        f"depth = {surface.depth}",
        f"margin = {surface.margin}",
        'map = """',
        *("".join(row) for row in surface.marks),
        '"""',
    ]


def _loop_lines(loop: Loop) -> list[str]:
    lines = ["[loop]", f'direction = "{loop.direction}"', f'shape = "{loop.shape}"']
    limits = [
        f"{key} = {value}"
        for key, value in (("min", loop.min_length), ("max", loop.max_length))
        if value is not None
    ]
    if limits:
        lines.append(f"length = {{ {', '.join(limits)} }}")
    if loop.around is not None and loop.around_surface is not None:
        flat = step((0, 0, 0), BEHIND[loop.around_surface])
        numbers = [str(n) for n, behind in zip(loop.around, flat, strict=True) if not behind]
        lines.append(f'around = ["{loop.around_surface}", {", ".join(numbers)}]')
    if loop.minimise:
        lines.append(f"minimise = {json.dumps(list(loop.minimise))}")
    return lines


def _rule_lines(rules: Rules) -> list[str]:
    usual = Rules()
    changed = {
        name: getattr(rules, name)
        for name in Rules.model_fields
        if getattr(rules, name) != getattr(usual, name)
    }
    if not changed:
        return []
    return ["", "[rules]", *(f"{name} = {_value(value)}" for name, value in changed.items())]


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(list(value)) if isinstance(value, tuple) else str(value)
