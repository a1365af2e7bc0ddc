"""A scenario's maps as text or as pictures, so that a builder sees what was read."""

from __future__ import annotations

from io import BytesIO

from models.scenario import Scenario
from models.surface import MARKS, Mark, Surface, SurfaceName

LEGEND: dict[Mark, str] = {
    ".": "#ffffff",
    "o": "#0072b2",
    "#": "#999999",
    "=": "#000000",
    "@": "#d55e00",
}
"""The colours of pictures that we draw; safe for colour-blind eyes."""
_VIEW: dict[SurfaceName, str] = {
    "floor": "plan, north at the top",
    "ceiling": "plan as seen through from above, north at the top",
    "north": "seen from inside, west at the left",
    "south": "seen from inside, east at the left",
    "east": "seen from inside, north at the left",
    "west": "seen from inside, south at the left",
}


def draw_text(scenario: Scenario) -> str:
    """All maps with row and column numbers, counted from 1."""
    x, y, z = scenario.room
    head = f"{scenario.title}\nroom {x} x {y} x {z}\n"
    return "\n".join([head, *(_draw_surface(s) for s in scenario.surfaces.values())])


def _draw_surface(surface: Surface) -> str:
    rows, columns = surface.plane.rows, surface.plane.columns
    edge = len(str(rows))
    head = f"{surface.name} ({_VIEW[surface.name]}), depth {surface.depth}, margin {surface.margin}"
    lines = [head]
    for place in range(len(str(columns)) - 1, -1, -1):
        unit: int = 10**place
        digits = (str(c // unit % 10) if c % unit == 0 else " " for c in range(1, columns + 1))
        lines.append(" " * (edge + 1) + "".join(digits).rstrip())
    for number, row in enumerate(surface.marks, start=1):
        lines.append(f"{number:>{edge}} {''.join(row)}")
    return "\n".join(lines) + "\n"


def draw_png(surface: Surface, pixels_per_cell: int = 1) -> bytes:
    """One map as a PNG in the colours of LEGEND, one pixel a cell unless asked for more."""
    from PIL import Image

    rgb = {mark: bytes.fromhex(LEGEND[mark][1:]) for mark in MARKS}
    data = b"".join(rgb[mark] for row in surface.marks for mark in row)
    size = (surface.plane.columns, surface.plane.rows)
    image = Image.frombytes("RGB", size, data)
    if pixels_per_cell > 1:
        wide = (size[0] * pixels_per_cell, size[1] * pixels_per_cell)
        image = image.resize(wide, Image.Resampling.NEAREST)
    stream = BytesIO()
    image.save(stream, format="PNG")
    return stream.getvalue()


def legend_text() -> str:
    """The `[legend]` that makes our pictures readable as maps again."""
    lines = [f'"{mark}" = "{colour}"' for mark, colour in LEGEND.items()]
    return "\n".join(["[legend]", *lines])
