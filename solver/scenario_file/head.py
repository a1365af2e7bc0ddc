"""What files of several kinds begin with: a title, a size, the rules of the world."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from models.geometry import Cell
from models.rules import Rules
from solver.scenario_file.places import KeyPath
from solver.scenario_file.view import TomlView, show

MAX_TITLE = 200


def read_title(view: TomlView, path: Path) -> str:
    """The title, or the name of the file."""
    title = view.text(("title",))
    if title is None:
        return path.stem
    if not title.strip() or len(title) > MAX_TITLE or not title.isprintable():
        remedy = f"Give one line of 1 to {MAX_TITLE} characters that print."
        view.fault_at(("title",), '"title" must be one short line', remedy)
    return title


def read_size(view: TomlView, path: KeyPath, low: int, high: int, remedy: str) -> Cell | None:
    """Three numbers of cells along x, y and z."""
    name, size = ".".join(map(str, path)), view.get(path)
    if size is None:
        view.missing(path, remedy)
        return None
    if not isinstance(size, list) or len(size) != 3:
        view.fault_at(path, f'"{name}" must hold three numbers', remedy)
        return None
    x, y, z = (view.array_number(path, i, low, high) for i in range(3))
    return None if x is None or y is None or z is None else (x, y, z)


def read_rules(view: TomlView) -> Rules | None:
    """The table `[rules]`; the usual rules if there is none, None if it is wrong."""
    known = list(Rules.model_fields)
    table = view.table(("rules",), known)
    if table is None and view.get(("rules",)) is not None:
        return None
    given = {
        key: tuple(value) if isinstance(value, list) else value
        for key, value in (table or {}).items()
        if key in known
    }
    delays = given.get("buffer_delays", (1,))
    if isinstance(delays, tuple) and not _are_delays(delays):
        remedy = "List different whole numbers from 1 to 64."
        view.fault_at(("rules", "buffer_delays"), '"rules.buffer_delays" is wrong', remedy)
        del given["buffer_delays"]
    try:
        rules = Rules.model_validate(given, strict=True)
    except ValidationError as error:
        for wrong in error.errors():
            path = ("rules", *wrong["loc"])
            what = f'"rules.{wrong["loc"][0]}" is wrong'
            remedy = wrong["msg"].replace("Input should", "It should") + "."
            remedy = remedy.replace("a valid integer", "a whole number")
            view.fault(view.value_place(path), what, show(wrong["input"]), remedy)
        return None
    return rules


def _are_delays(values: tuple[object, ...]) -> bool:
    numbers = [v for v in values if isinstance(v, int) and not isinstance(v, bool) and 1 <= v <= 64]
    return len(numbers) == len(values) == len(set(numbers)) > 0
