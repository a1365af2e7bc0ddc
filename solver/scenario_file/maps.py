"""One surface's map, from text or from a picture, to marks with places."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from models.fault import Fault
from models.scenario import Place
from models.surface import MARKS, Mark, Plane
from solver.files import read_file
from solver.scenario_file.places import KeyPath
from solver.scenario_file.view import MAX_BYTES, TomlView, show

MAX_MARK_FAULTS = 20
"""So many wrong marks of one map are listed one by one."""
_MARKS_REMEDY = "Use . o # = or @."
Colours = dict[tuple[int, int, int], Mark]
"""Which mark a colour (red, green, blue) stands for."""
_Rgba = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class DrawnMap:
    """Marks of a map and the place of row 0, column 0."""

    marks: tuple[tuple[Mark, ...], ...]
    body: Place
    is_spread: bool
    """Whether each row has a line of its own in the file (else all share one place)."""
    is_sound: bool = True
    """Whether all marks are known and the size is right; unknown marks are read as open."""

    def place(self, row: int, column: int) -> Place:
        if not self.is_spread:
            return self.body
        first = self.body.column if row == 0 else 1
        return Place(self.body.file, self.body.line + row, first + column)


def read_map(
    view: TomlView, path: KeyPath, plane: Plane | None, colours: Colours
) -> DrawnMap | None:
    """The map of the surface table at `path`. Without a plane sizes are not checked."""
    has_map, has_image = view.get((*path, "map")), view.get((*path, "image"))
    if has_map is not None and has_image is not None:
        remedy = "Keep one of the two."
        view.fault_at((*path, "image"), 'a surface has either "map" or "image"', remedy)
        return None
    if has_image is not None:
        return _read_image(view, (*path, "image"), plane, colours)
    if has_map is None:
        view.missing((*path, "map"), "Draw the surface with one mark a cell.")
        return None
    return _read_text(view, (*path, "map"), plane)


def _read_text(view: TomlView, path: KeyPath, plane: Plane | None) -> DrawnMap | None:
    text = view.text(path)
    if text is None:
        return None
    lines = text.split("\n")
    if lines[-1].strip() == "":
        lines.pop()
    body = view.location(path).body
    place = Place(view.file, *body) if body else view.value_place(path)
    before = len(view.faults)
    drawn = DrawnMap(tuple(tuple(map(_as_mark, line)) for line in lines), place, body is not None)
    _check_marks(view, path, drawn, lines)
    if plane is not None:
        _check_size(view, path, drawn, plane)
    return replace(drawn, is_sound=len(view.faults) == before)


def _as_mark(letter: str) -> Mark:
    for mark in MARKS:
        if letter == mark:
            return mark
    return "."


def _check_marks(view: TomlView, path: KeyPath, drawn: DrawnMap, lines: list[str]) -> None:
    known = frozenset(MARKS)
    wrong = [
        (r, c, letter)
        for r, line in enumerate(lines)
        if not known.issuperset(line)
        for c, letter in enumerate(line)
        if letter not in known
    ]
    for r, c, letter in wrong[:MAX_MARK_FAULTS]:
        where = f"unknown mark in the map of the {path[1]}, row {r + 1}, column {c + 1}"
        remedy = "Maps hold no blanks." if letter.isspace() else _MARKS_REMEDY
        view.fault(drawn.place(r, c), where, show(letter), remedy)
    more = len(wrong) - MAX_MARK_FAULTS
    if more > 0:
        r, c, _ = wrong[MAX_MARK_FAULTS]
        view.fault(drawn.place(r, c), f"and {more} more unknown marks", "", _MARKS_REMEDY)


def _check_size(view: TomlView, path: KeyPath, drawn: DrawnMap, plane: Plane) -> None:
    name, rows = path[1], len(drawn.marks)
    size = f"{plane.rows} rows of {plane.columns} columns"
    if rows != plane.rows:
        what = f"the map of the {name} has the wrong number of rows: {rows}, not {plane.rows}"
        remedy = f"By [room] size the {name} has {size}."
        view.fault(view.key_place(path), what, f"{rows} rows", remedy)
    uneven = [r for r, row in enumerate(drawn.marks) if len(row) != plane.columns]
    for r in uneven[:MAX_MARK_FAULTS]:
        width = len(drawn.marks[r])
        what = f"row {r + 1} of the map of the {name} has {width} columns, not {plane.columns}"
        remedy = f"By [room] size the {name} has {size}."
        view.fault(drawn.place(r, 0), what, f"{width} columns", remedy)
    more = len(uneven) - MAX_MARK_FAULTS
    if more > 0:
        what = f"and {more} more rows of the wrong width"
        remedy = f"By [room] size the {name} has {size}."
        view.fault(drawn.place(uneven[MAX_MARK_FAULTS], 0), what, "", remedy)


def read_legend(view: TomlView) -> Colours:
    """The colours of `[legend]`, if there is one."""
    table = view.table(("legend",), MARKS) or {}
    colours: Colours = {}
    for mark in MARKS:
        if mark not in table:
            continue
        value = view.text(("legend", mark))
        if value is None:
            continue
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", value):
            remedy = 'Write a colour as "#rrggbb".'
            view.fault_at(("legend", mark), "this is not a colour", remedy)
            continue
        colour = (int(value[1:3], 16), int(value[3:5], 16), int(value[5:7], 16))
        if colour in colours:
            what = f'the marks "{colours[colour]}" and "{mark}" have one colour'
            view.fault_at(("legend", mark), what, "Give each mark a colour of its own.")
        colours.setdefault(colour, mark)
    return colours


def _read_image(
    view: TomlView, path: KeyPath, plane: Plane | None, colours: Colours
) -> DrawnMap | None:
    name = view.text(path)
    if name is None:
        return None
    file = Path(view.file).parent / name
    if not colours:
        if view.get(("legend",)) in (None, {}):
            view.missing(("legend",), 'List the colours of the marks, such as "o" = "#000000".')
        return None
    pixels = _load_pixels(file, show(name), plane)
    if isinstance(pixels, Fault):
        view.fault(view.value_place(path), pixels.what, pixels.value, pixels.remedy)
        return None
    return _marks_of(view, file, pixels, colours)


def _load_pixels(file: Path, shown: str, plane: Plane | None) -> list[list[_Rgba]] | Fault:
    """The picture's rows of RGBA pixels; a fault without place if it cannot be used."""
    import io
    import struct
    import warnings
    import zlib

    from PIL import Image, UnidentifiedImageError

    content = read_file(file, MAX_BYTES)
    if isinstance(content, Fault):
        remedy = "Name a PNG file beside the scenario."
        return content._replace(what=f"no picture: {content.what}", value=shown, remedy=remedy)
    too_large = Fault("", 0, 0, "the picture is too large", shown, "One pixel is one cell.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            opened = Image.open(io.BytesIO(content), formats=("PNG",))
        with opened as image:
            columns, rows = image.size
            if plane is not None and (columns, rows) != (plane.columns, plane.rows):
                what = f"the picture has {columns} x {rows} pixels, not "
                what += f"{plane.columns} x {plane.rows}"
                return Fault("", 0, 0, what, shown, "Draw one pixel a cell, by [room] size.")
            if columns * rows > 1 << 20:
                return too_large
            data = image.convert("RGBA").tobytes()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        return too_large
    except UnidentifiedImageError:
        return Fault("", 0, 0, "the picture is not a PNG", shown, "Save it as PNG.")
    except (OSError, ValueError, SyntaxError, EOFError, struct.error, zlib.error, MemoryError) as e:
        reason = (getattr(e, "strerror", None) or str(e) or type(e).__name__).split("\n")[0]
        what = f"the picture cannot be read as PNG: {reason}"
        return Fault("", 0, 0, what, shown, "Save it as PNG.")
    flat = list(zip(data[0::4], data[1::4], data[2::4], data[3::4], strict=True))
    return [flat[r * columns : (r + 1) * columns] for r in range(rows)]


def _marks_of(view: TomlView, file: Path, pixels: list[list[_Rgba]], colours: Colours) -> DrawnMap:
    """Marks by colour; each unknown colour is one fault, at its first pixel."""
    first: dict[_Rgba, tuple[int, int]] = {}
    count: dict[_Rgba, int] = {}
    rows: list[tuple[Mark, ...]] = []
    for y, line in enumerate(pixels):
        row: list[Mark] = []
        for x, (red, green, blue, alpha) in enumerate(line):
            mark = colours.get((red, green, blue)) if alpha == 255 else None
            if mark is None:
                pixel = (red, green, blue, alpha)
                first.setdefault(pixel, (x, y))
                count[pixel] = count.get(pixel, 0) + 1
            row.append(mark or ".")
        rows.append(tuple(row))
    for pixel, (x, y) in list(first.items())[:MAX_MARK_FAULTS]:
        colour = "#{:02x}{:02x}{:02x}".format(*pixel[:3])
        clear = "" if pixel[3] == 255 else " (not opaque)"
        what = f"pixel x {x}, y {y} (from 0, top left) has a colour that [legend] does not list"
        value = f"{colour}{clear}, in {count[pixel]} pixels"
        remedy = "Repaint it or add the colour to [legend]."
        view.fault(Place(str(file), y + 1, x + 1), what, value, remedy)
    return DrawnMap(tuple(rows), Place(str(file), 1, 1), True, is_sound=not first)
