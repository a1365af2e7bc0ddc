"""Random small rooms, as text."""

from __future__ import annotations

import random
from pathlib import Path

from models.scenario import Scenario
from solver.read_scenario import parse_scenario

WEIGHTS = ((8, 2, 2, 0.3), (10, 1, 1, 0.2), (5, 3, 3, 0), (10, 3, 0, 0), (12, 0.5, 4, 0.5))
"""How often . o # and = are drawn."""


def room_text(rng: random.Random, most: tuple[int, int] = (6, 5)) -> str:
    """A scenario of a few cells, often impossible."""
    width, height = rng.randint(3, most[0]), rng.randint(3, most[1])
    weights = rng.choice(WEIGHTS)
    rows = ["".join(rng.choices(".o#=", weights, k=width)) for _ in range(height)]
    if rng.random() < 0.25:
        row, column = rng.randrange(height), rng.randrange(width)
        rows[row] = rows[row][:column] + "@" + rows[row][column + 1 :]
    length = ""
    if rng.random() < 0.3:
        low = rng.randint(4, 14)
        length = rng.choice((f"length = {{ min = {low} }}", f"length = {{ max = {low} }}"))
    return "\n".join(
        (
            "[room]",
            f"size = [{width}, {height}, 3]",
            "[surfaces.floor]",
            f"depth = {rng.choice((4, 5, 5, 5, 6, 6, 6))}",
            f"margin = {rng.choice((0, 1, 2, 3, 3, 4))}",
            'map = """',
            *rows,
            '"""',
            "[loop]",
            f'direction = "{rng.choice(("clockwise", "anticlockwise"))}"',
            'shape = "free"',
            length,
            "[rules]",
            f"push_limit = {rng.choice((12, 12, 12, 12, 4, 3, 2))}",
        )
    )


def room(seed: int, most: tuple[int, int] = (6, 5)) -> Scenario:
    """The room of a seed."""
    return parse_scenario(room_text(random.Random(seed), most), Path(f"room-{seed}.toml"))
