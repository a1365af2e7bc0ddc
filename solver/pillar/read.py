"""A TOML file -> the pillar that it asks for, or every fault in it."""

from __future__ import annotations

from pathlib import Path

from models.fault import InputError
from models.pillar import Pillar
from models.scenario import DIRECTIONS
from solver.scenario_file.head import read_rules, read_size, read_title
from solver.scenario_file.view import open_toml

LEAST, MOST = 3, 48
"""Cells along any side."""


def read_pillar(path: Path) -> Pillar:
    """The pillar in a file. Raises InputError with all faults found."""
    view = open_toml(path)
    view.table((), ("title", "pillar", "rules"))
    title, rules = read_title(view, path), read_rules(view)
    remedy = "Add [pillar] with size = [x, y, z], the cells of the solid."
    table = view.table(("pillar",), ("size", "row", "direction"))
    if table is None and view.get(("pillar",)) is None:
        view.missing(("pillar",), remedy)
    size = row = direction = None
    if table is not None:
        size = read_size(view, ("pillar", "size"), LEAST, MOST, remedy)
        direction = view.choice(("pillar", "direction"), DIRECTIONS)
    if size is not None:
        row = view.integer(("pillar", "row"), 0, size[2] - 1)
    if view.faults:
        raise InputError(view.faults)
    assert size is not None and rules is not None, "a file without faults is whole"
    row = size[2] // 2 if row is None else row
    return Pillar(title, path, size, row, direction or DIRECTIONS[0], rules)
