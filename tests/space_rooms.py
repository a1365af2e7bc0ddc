"""Random rooms with several surfaces, drawn by cutting the inside of a room with boxes.

A region is what lies of the room's inside in one box or two; its rim is the loop. So come belts
round four walls, rings over two surfaces, round a room corner, in niches and shafts, with folds and
inner corners, and none of it knows how loops are searched for.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from random import Random

from models.geometry import Cell
from models.problem import Problem
from models.scenario import Scenario
from models.surface import SURFACES, SurfaceName, plane_of
from solver.flatten import flatten
from solver.read_scenario import parse_scenario

Bounds = tuple[Cell, Cell]
Marks = dict[Cell, str]
KINDS = ("belt", "ring", "corner", "niche", "shaft", "notched", "any")
AXES: dict[SurfaceName, tuple[int, int]] = {
    "floor": (0, 1),
    "ceiling": (0, 1),
    "north": (0, 2),
    "south": (0, 2),
    "east": (1, 2),
    "west": (1, 2),
}
"""The coordinates that name a cell of each surface."""


@dataclass(frozen=True)
class SpaceRoom:
    """What a scenario over several surfaces is made of."""

    size: Cell
    marks: tuple[tuple[Cell, str], ...]
    surfaces: tuple[tuple[SurfaceName, int, int], ...]
    """With depth and margin."""
    direction: str
    shape: str
    around: Cell | None
    minimise: str
    kind: str

    def text(self, comment: str = "") -> str:
        """The scenario file."""
        marks = dict(self.marks)
        lines = [f"# {comment}"] if comment else []
        lines += [f'title = "Random {self.kind}"', "[room]", f"size = {list(self.size)}"]
        for name, depth, margin in self.surfaces:
            plane = plane_of(name, self.size)
            rows = [
                "".join(marks.get(plane.cell(r, c), ".") for c in range(plane.columns))
                for r in range(plane.rows)
            ]
            lines += [f"[surfaces.{name}]", f"depth = {depth}", f"margin = {margin}"]
            lines += ['map = """', *rows, '"""']
        lines += ["[loop]", f'direction = "{self.direction}"', f'shape = "{self.shape}"']
        if self.around is not None:
            name = surface_of(self.around, self.size)
            a, b = (self.around[axis] for axis in AXES[name])
            lines.append(f'around = ["{name}", {a}, {b}]')
        lines.append(f"minimise = {self.minimise}")
        return "\n".join(lines) + "\n"

    def scenario(self) -> Scenario:
        """As the reader takes it."""
        return parse_scenario(self.text(), Path("room.toml"))


def surface_of(cell: Cell, size: Cell) -> SurfaceName:
    """The surface that a cell lies on."""
    return next(name for name in SURFACES if plane_of(name, size).spot(cell) is not None)


def random_space_room(rng: Random) -> SpaceRoom:
    """A room whose loop is closed; whether a machine can be built is another matter."""
    while True:
        kind = rng.choice(KINDS)
        size = _size(kind, rng)
        names = _surfaces(kind, rng)
        problem = _bare(size, names)
        region = _region(problem, _boxes(kind, size, rng))
        loop = _rim(problem, region)
        visible = [c for c in loop or () if problem.homes[problem.index[c]] is not None]
        if loop is None or not 6 <= len(loop) <= 120 or len({_home(problem, c) for c in loop}) < 3:
            continue  # Two surfaces and the edge line between them at least.
        return _drawn(kind, size, names, problem, region, visible, rng)


def _size(kind: str, rng: Random) -> Cell:
    low, high = {"niche": (3, 7), "shaft": (2, 4)}.get(kind, (5, 12))
    x, y = rng.randint(low, high), rng.randint(low, high)
    z = rng.randint(6, 14) if kind == "shaft" else rng.randint(4, 9)
    return (x, y, z)


def _surfaces(kind: str, rng: Random) -> list[SurfaceName]:
    walls: list[SurfaceName] = ["north", "south", "east", "west"]
    if kind in ("belt", "shaft"):
        given = set(walls) | set(rng.sample(("floor", "ceiling"), rng.choice((0, 0, 1, 2))))
    else:
        given = set(rng.sample(SURFACES, rng.randint(2, 6)))
    return [name for name in SURFACES if name in given]


def _bare(size: Cell, names: list[SurfaceName]) -> Problem:
    room = SpaceRoom(
        size,
        (),
        tuple((name, 4, 0) for name in names),
        "clockwise",
        "free",
        plane_of(names[0], size).cell(0, 0),
        '["parts"]',
        "",
    )
    return flatten(room.scenario())


def _boxes(kind: str, size: Cell, rng: Random) -> list[Bounds]:
    """One box, or two that are joined; bounds beyond the room do not cut."""
    if kind in ("belt", "shaft"):
        height = rng.randint(1, size[2] - 1)
        return [((-2, -2, height), (size[0] + 1, size[1] + 1, size[2] + 1))]
    return [_box(size, rng) for _ in range(2 if kind in ("notched", "any") else 1)]


def _box(size: Cell, rng: Random) -> Bounds:
    low, high = [], []
    for length in size:
        cuts = sorted((rng.randint(-2, length - 1), rng.randint(1, length + 1)))
        low.append(cuts[0] if cuts[1] - cuts[0] > 1 else -2)
        high.append(cuts[1] if cuts[1] - cuts[0] > 1 else length + 1)
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def _region(problem: Problem, boxes: list[Bounds]) -> set[int]:
    """The faces of the graph, all of whose cells lie in one of the boxes."""
    cells = problem.graph.cells

    def within(cell: Cell, box: Bounds) -> bool:
        return all(a <= v <= b for a, v, b in zip(box[0], cell, box[1], strict=True))

    return {
        face
        for face, ring in enumerate(problem.graph.faces)
        if face not in problem.rims and any(all(within(cells[i], b) for i in ring) for b in boxes)
    }


def _rim(problem: Problem, region: set[int]) -> list[Cell] | None:
    """The cells between the region and the rest, in order; None if they are no simple loop."""
    graph = problem.graph
    sides: dict[frozenset[int], list[int]] = {}
    for face, ring in enumerate(graph.faces):
        for i, cell in enumerate(ring):
            sides.setdefault(frozenset((cell, ring[(i + 1) % len(ring)])), []).append(face)
    near: dict[int, list[int]] = {}
    for link, faces in sides.items():
        if len(faces) == 2 and (faces[0] in region) != (faces[1] in region):
            a, b = link
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    if not near or any(len(others) != 2 for others in near.values()):
        return None
    loop = [min(near)]
    loop.append(near[loop[0]][0])
    while loop[-1] != loop[0]:
        loop.append(next(n for n in near[loop[-1]] if n != loop[-2]))
    return [graph.cells[i] for i in loop[:-1]] if len(loop) - 1 == len(near) else None


def _home(problem: Problem, cell: Cell) -> SurfaceName | None:
    return problem.homes[problem.index[cell]]


def _drawn(
    kind: str,
    size: Cell,
    names: list[SurfaceName],
    problem: Problem,
    region: set[int],
    visible: list[Cell],
    rng: Random,
) -> SpaceRoom:
    """The drawing with its wishes and obstacles."""
    exact = rng.random() < 0.6
    wanted = visible if exact else rng.sample(visible, min(len(visible), rng.choice((1, 2, 4))))
    marks: Marks = dict.fromkeys(wanted, "o")
    on_loop = set(visible)
    others = [c for c in problem.graph.cells if _home(problem, c) and c not in on_loop]
    for mark, chance in (("#", 0.03), ("=", 0.005)):
        if rng.random() < 0.4:
            marks.update((c, mark) for c in others if rng.random() < chance)
    inner = {problem.graph.cells[i] for f in region for i in problem.graph.faces[f]}
    spots = sorted(c for c in inner if c in set(others))
    around = rng.choice(spots) if spots and (not exact or rng.random() < 0.7) else None
    if around is None and not exact:
        exact, marks = True, dict.fromkeys(visible, "o")
    if others and rng.random() < 0.3:
        marks[rng.choice(others)] = "@"
    depth, margin = rng.choice((4, 5, 6, 6, 7)), rng.choice((0, 1, 2, 2, 3))
    mixed = rng.random() < 0.3
    return SpaceRoom(
        size,
        tuple(marks.items()),
        tuple((n, rng.choice((4, 5, 6, 7)) if mixed else depth, margin) for n in names),
        rng.choice(("clockwise", "anticlockwise")),
        "exact" if exact else "free",
        around,
        rng.choice(('["parts", "depth"]', '["length", "parts"]', '["parts"]')),
        kind,
    )
