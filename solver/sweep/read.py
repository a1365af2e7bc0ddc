"""Read a sweep file: rooms, what is varied, rule sets."""

from __future__ import annotations

import glob
import os
from collections.abc import Mapping
from pathlib import Path
from typing import cast

from models.fault import InputError
from models.sweep import Axis, Sweep, Value
from solver.scenario_file.places import KeyPath
from solver.scenario_file.view import TomlView, open_toml

MAX_CASES = 1_000_000
PLAIN = "as in the room"
"""The rule set of a sweep that names none."""
_ROOT_KEYS = ("title", "rooms", "vary", "rule_sets")


def read_sweep(path: Path) -> Sweep:
    """The sweep in a file. Raises InputError with all faults found."""
    view = open_toml(path)
    view.table((), _ROOT_KEYS)
    title = view.text(("title",)) or path.stem
    rooms = _rooms(view, path.parent)
    axes = _axes(view)
    rule_sets = _rule_sets(view)
    cases = len(rooms) * max(1, len(rule_sets))
    for axis in axes:
        cases *= len(axis.values)
    if cases > MAX_CASES:
        view.fault_at(("vary",), f"a sweep has at most {MAX_CASES} cases", "Vary less at once.")
    if view.faults:
        raise InputError(view.faults)
    return Sweep(title, rooms, axes, rule_sets or {PLAIN: {}})


def _rooms(view: TomlView, folder: Path) -> tuple[str, ...]:
    path: KeyPath = ("rooms",)
    names = view.get(path)
    remedy = 'Write rooms = ["my-room.toml", "more-rooms/*.toml"], seen from this file.'
    if names is None:
        view.missing(path, remedy)
        return ()
    if not isinstance(names, list) or not names or not all(isinstance(n, str) for n in names):
        view.fault_at(path, '"rooms" must be a list of file names', remedy)
        return ()
    found: dict[str, None] = {}
    for number, name in enumerate(names):
        if not glob.has_magic(name):
            found[os.path.normpath(folder / name)] = None
            continue
        base = Path(Path(name).anchor) if Path(name).is_absolute() else folder
        pattern = str(Path(name).relative_to(base)) if Path(name).is_absolute() else name
        matches = sorted(map(os.path.normpath, base.glob(pattern)))
        if not matches:
            place = view.value_place((*path, number))
            view.fault(place, "no file has such a name", f'"{name}"', "Check the pattern.")
        found |= dict.fromkeys(matches)
    return tuple(found)


def _axes(view: TomlView) -> tuple[Axis, ...]:
    table = view.get(("vary",))
    if table is None:
        return ()
    remedy = 'Write "surfaces.floor.depth" = [4, 5, 6], a field and the values that it takes.'
    if not isinstance(table, dict):
        view.fault_at(("vary",), '"vary" must be a table', remedy)
        return ()
    axes = []
    for name, values in table.items():
        if isinstance(values, list) and values:
            axes.append(Axis(name, tuple(cast(list[Value], values))))
        else:
            view.fault_at(("vary", name), f'"{name}" needs a list of values', remedy)
    return tuple(axes)


def _rule_sets(view: TomlView) -> dict[str, Mapping[str, Value]]:
    table = view.get(("rule_sets",))
    if table is None:
        return {}
    remedy = "Write [rule_sets.NAME] with fields of the rules below it."
    if not isinstance(table, dict):
        view.fault_at(("rule_sets",), '"rule_sets" must be a table', remedy)
        return {}
    found: dict[str, Mapping[str, Value]] = {}
    for name, rules in table.items():
        if isinstance(rules, dict):
            found[name] = rules
        else:
            view.fault_at(("rule_sets", name), f'rule set "{name}" must be a table', remedy)
    return found
