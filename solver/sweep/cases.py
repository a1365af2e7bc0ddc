"""A sweep -> its cases: every room with every combination of values under every rule set.

A case is the room's own text with some values changed, so that its comments and line numbers
stay and an error in it is told at its place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from importlib import metadata, resources
from itertools import product
from pathlib import Path

import tomlkit
from tomlkit.container import Container
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from models.fault import Fault
from models.sweep import Case, Sweep, Value
from solver.scenario_file.view import read_text

MAY_BE_NEW = frozenset({"rules", "loop.length"})
"""Tables that a room may lack; any other must be there for a field of it to be varied."""
DATA = ("data/designs.json", "data/clearances.json")


def cases_of(sweep: Sweep, budget_s: float, seed: int) -> list[Case]:
    """All cases, room by room, the last axis changing fastest."""
    salt = [_program(), str(float(budget_s)), str(seed)]
    cases = []
    for room in sweep.rooms:
        text = read_text(Path(room))
        for rule_set, rules in sweep.rule_sets.items():
            for values in _combinations(sweep):
                changes = {**values, **{f"rules.{k}": v for k, v in rules.items()}}
                if isinstance(text, Fault):
                    new, errors = "", [str(text)]
                else:
                    new, errors = changed(text, changes, Path(room).parent)
                name = f"{Path(room).stem[:60]}-{_print([*salt, new, *errors])}"
                cases.append(Case(room, rule_set, values, name, new, tuple(errors)))
    return cases


def _combinations(sweep: Sweep) -> Iterator[dict[str, Value]]:
    names = [axis.name for axis in sweep.axes]
    for values in product(*(axis.values for axis in sweep.axes)):
        yield dict(zip(names, values, strict=True))


def _program() -> str:
    """What the results depend on beside the scenario."""
    try:
        version = metadata.version("ringwright")
    except metadata.PackageNotFoundError:
        version = ""
    root = resources.files("solver")
    return version + _print([root.joinpath(name).read_text("utf-8") for name in DATA])


def _print(texts: list[str]) -> str:
    digest = hashlib.sha256()
    for text in texts:
        digest.update(f"{len(text)}:{text}".encode("utf-8", "surrogateescape"))
    return digest.hexdigest()[:12]


def changed(text: str, changes: Mapping[str, Value], folder: Path) -> tuple[str, list[str]]:
    """The scenario with other values, and what could not be changed.

    A text that is no TOML stays as it is: whoever reads it tells why.
    """
    try:
        document = tomlkit.parse(text)
    except (TOMLKitError, RecursionError, ValueError):
        return text, []
    errors = [error for name, value in changes.items() if (error := _set(document, name, value))]
    _fix_pictures(document, folder)
    return tomlkit.dumps(document), errors


def _set(document: Container, name: str, value: Value) -> str:
    """Change one value; tells what is in the way."""
    *tables, key = name.split(".")
    at: Container | Table = document
    for depth, table in enumerate(tables, start=1):
        path = ".".join(tables[:depth])
        if table not in at and path in MAY_BE_NEW:
            at[table] = tomlkit.inline_table() if depth > 1 else tomlkit.table()
        below = at.get(table)
        if not isinstance(below, dict):
            return f"{name} cannot be varied: this room has no [{path}]"
        at = below  # type: ignore[assignment]  # tables of all kinds behave as one
    at[key] = value
    return ""


def _fix_pictures(document: Container, folder: Path) -> None:
    """Name pictures by their full paths, for the case's file lies elsewhere than the room's.

    What is in a picture is noted behind its name, so that the text alone tells cases apart.
    """
    surfaces = document.get("surfaces")
    for surface in surfaces.values() if isinstance(surfaces, dict) else ():
        if isinstance(surface, dict) and isinstance(surface.get("image"), str):
            path = (folder / surface["image"]).resolve()
            surface["image"] = str(path)
            with suppress(OSError):
                surface["image"].comment(hashlib.sha256(path.read_bytes()).hexdigest())
