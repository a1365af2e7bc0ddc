"""Draws closed loops onto the surfaces of a room, as the text of a scenario."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from models.geometry import Cell, add, scale, sub
from models.scenario import Scenario
from models.surface import SurfaceName, plane_of
from solver.read_scenario import parse_scenario


def loop(points: Sequence[Cell]) -> list[Cell]:
    """The cells of a closed loop through its corners and folds."""
    cells: list[Cell] = []
    for here, there in zip(points, [*points[1:], points[0]], strict=True):
        way = sub(there, here)
        count = sum(map(abs, way))
        unit = (way[0] // count, way[1] // count, way[2] // count)
        cells += [add(here, scale(unit, k)) for k in range(count)]
    return cells


def drawing(
    room: Cell,
    cells: Iterable[Cell],
    surfaces: Sequence[SurfaceName],
    *,
    direction: str = "clockwise",
    shape: str = "exact",
    around: str = "",
    button: Cell | None = None,
    depth: int = 7,
    margin: int = 2,
    rules: str = "",
) -> Scenario:
    """A scenario whose cells of mark o are those of the loop that lie on a surface."""
    wanted = set(cells)
    lines = ['title = "room"', "[room]", f"size = {list(room)}"]
    for name in surfaces:
        plane = plane_of(name, room)
        rows = [
            "".join(_mark(plane.cell(r, c), wanted, button) for c in range(plane.columns))
            for r in range(plane.rows)
        ]
        lines += [f"[surfaces.{name}]", f"depth = {depth}", f"margin = {margin}"]
        lines += ['map = """', *rows, '"""']
    lines += ["[loop]", f'direction = "{direction}"', f'shape = "{shape}"']
    lines += [f"around = {around}"] if around else []
    lines += ["[rules]", rules] if rules else []
    return parse_scenario("\n".join(lines) + "\n", Path("room.toml"))


def _mark(cell: Cell, wanted: set[Cell], button: Cell | None) -> str:
    return "@" if cell == button else ("o" if cell in wanted else ".")
