"""Random walls as scenarios: drawn loops of several rectangles or free ones, doors and windows."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from random import Random

from models.scenario import Scenario
from solver.read_scenario import parse_scenario

Spot = tuple[int, int]
"""Row and column, from the top left."""
WALLS = ("north", "south", "east", "west")


@dataclass(frozen=True)
class WallRoom:
    """What a random scenario with one wall is made of."""

    rows: tuple[str, ...]
    wall: str
    depth: int
    margin: int
    direction: str
    shape: str

    def text(self, comment: str = "") -> str:
        """The scenario file."""
        wide, high = len(self.rows[0]), len(self.rows)
        size = [wide, 5, high] if self.wall in ("north", "south") else [5, wide, high]
        head = f"# {comment}\n" if comment else ""
        return (
            f'{head}title = "Random wall"\n\n[room]\nsize = {size}\n\n[surfaces.{self.wall}]\n'
            f'depth = {self.depth}\nmargin = {self.margin}\nmap = """\n'
            + "\n".join(self.rows)
            + f'\n"""\n\n[loop]\ndirection = "{self.direction}"\nshape = "{self.shape}"\n'
            'minimise = ["parts"]\n'
        )

    def scenario(self) -> Scenario:
        """As the reader takes it."""
        return parse_scenario(self.text(), Path("wall.toml"))


def random_wall_room(rng: Random, wide: int = 20, high: int = 13) -> WallRoom:
    """A wall of up to so many cells: half of the rooms with a drawn loop, half with a free one."""
    columns, rows = rng.randint(4, wide), rng.randint(3, high)
    exact = rng.random() < 0.5
    marks = [["."] * columns for _ in range(rows)]
    if exact:
        loop = _drawn(rng, rows, columns)
        _openings(rng, marks, loop, rng.choice((0, 0, 1)))
    else:
        loop = frozenset(
            (rng.randrange(rows), rng.randrange(columns)) for _ in range(rng.choice((1, 2, 2, 3)))
        )
        _openings(rng, marks, loop, rng.choice((0, 1, 1, 2)))
        for _ in range(rng.choice((0, 0, 2, 5))):
            marks[rng.randrange(rows)][rng.randrange(columns)] = "#"
    for row, column in loop:
        marks[row][column] = "o"
    covers = [(r, c) for r in range(rows) for c in range(columns) if marks[r][c] == "."]
    if covers and rng.random() < 0.2:
        row, column = rng.choice(covers)
        marks[row][column] = "@"
    return WallRoom(
        tuple("".join(row) for row in marks),
        rng.choice(WALLS),
        rng.choice((3, 4, 4, 5, 5, 6)),
        rng.choice((0, 1, 2, 3, 3, 3)),
        rng.choice(("clockwise", "anticlockwise")),
        "exact" if exact else "free",
    )


def _openings(rng: Random, marks: list[list[str]], loop: frozenset[Spot], count: int) -> None:
    """Doors reach down to the floor, windows do not; behind some of them there are covers."""
    rows, columns = len(marks), len(marks[0])
    for _ in range(count):
        wide, high = rng.randint(1, 3), rng.randint(1, 4)
        left = rng.randrange(columns)
        top = rows - high if rng.random() < 0.5 else rng.randrange(rows)
        sign = rng.choice("==#")
        for row in range(max(0, top), min(rows, top + high)):
            for column in range(left, min(columns, left + wide)):
                if (row, column) not in loop:
                    marks[row][column] = sign


def _drawn(rng: Random, rows: int, columns: int) -> frozenset[Spot]:
    """The rim of one to three rectangles that overlap, where that is one loop."""
    while True:
        filled: set[Spot] = set()
        for _ in range(rng.choice((1, 1, 2, 2, 3))):
            filled |= _rectangle(rng, rows, columns)
        rim = frozenset(s for s in filled if not _around(s) <= filled)
        if _is_loop(rim):
            return rim


def _rectangle(rng: Random, rows: int, columns: int) -> set[Spot]:
    space = min(3, (rows - 2) // 2), min(3, (columns - 2) // 2)
    top, left = rng.randint(0, space[0]), rng.randint(0, space[1])
    bottom = rng.randint(top + 1, rows - 1 - rng.randint(0, space[0]) if rows > 4 else rows - 1)
    right = rng.randint(left + 1, columns - 1 - rng.randint(0, space[1]))
    return {(r, c) for r in range(top, bottom + 1) for c in range(left, right + 1)}


def _around(spot: Spot) -> set[Spot]:
    return {(spot[0] + i, spot[1] + j) for i in (-1, 0, 1) for j in (-1, 0, 1)}


def _is_loop(rim: frozenset[Spot]) -> bool:
    """Whether each cell has two neighbours and all hang together."""
    near = {
        (r, c): [s for s in ((r + 1, c), (r - 1, c), (r, c + 1), (r, c - 1)) if s in rim]
        for r, c in rim
    }
    if any(len(spots) != 2 for spots in near.values()):
        return False
    start = min(rim)
    before, here, count = start, near[start][0], 1
    while here != start:
        a, b = near[here]
        before, here = here, b if a == before else a
        count += 1
    return count == len(rim)
