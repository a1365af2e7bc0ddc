"""Typed access to a TOML file that collects faults instead of stopping at the first."""

from __future__ import annotations

import datetime
import difflib
import json
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TypeVar

from models.fault import Fault, InputError
from models.scenario import Place
from solver.files import read_file
from solver.scenario_file.places import KeyPath, Location, locate

MAX_BYTES = 4_000_000
_SHOWN = 60
_Choice = TypeVar("_Choice", bound=str)


def show(value: object) -> str:
    """A value as it might stand in the file, short enough for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if value.bit_length() <= 128 else "a number of more than 38 digits"
    if isinstance(value, str):
        shown = json.dumps(value[: _SHOWN + 1], ensure_ascii=False)
        shown = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in shown)
        return shown if len(value) <= _SHOWN else shown[:_SHOWN] + '..."'
    if isinstance(value, (float, datetime.date, datetime.time)):
        return str(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(show, value)) + "]" if _is_short(value) else "an array"
    return "a table"


def _is_short(values: Sequence[object]) -> bool:
    return len(values) <= 5 and not any(isinstance(v, (list, dict)) for v in values)


def closest(word: str, known: Iterable[str]) -> str:
    """`Did you mean ...?` when a known word is near, else the list of known words."""
    known = list(known)
    near = difflib.get_close_matches(word[:_SHOWN].lower(), known, n=1)
    return f'Did you mean "{near[0]}"?' if near else "Use one of: " + ", ".join(known) + "."


def read_text(path: Path) -> str | Fault:
    """The text of a file, or the fault that keeps it from being read."""
    data = read_file(path, MAX_BYTES)
    if isinstance(data, Fault):
        return data
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - (data.rfind(b"\n", 0, error.start) + 1) + 1
        byte = f"byte 0x{data[error.start]:02x}"
        what = "the file is not text (UTF-8)"
        return Fault(str(path), line, column, what, byte, "Save the scenario as UTF-8 text.")


def open_toml(path: Path) -> TomlView:
    """A TOML file. Raises InputError if it cannot be read as one."""
    text = read_text(path)
    if isinstance(text, Fault):
        raise InputError([text])
    view = TomlView(str(path), text)
    if view.faults:
        raise InputError(view.faults)
    return view


def _parse(file: str, text: str) -> dict[str, object] | Fault:
    try:
        return tomllib.loads(text)
    except RecursionError:
        what, remedy = "the file is nested too deeply", "A scenario needs three levels."
        return Fault(file, 1, 1, what, "", remedy)
    except ValueError as error:
        message = str(error)
        lines = text.split("\n")
        line, column = len(lines), len(lines[-1]) + 1
        found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
        if found:
            message = message[: found.start()]
            if found[1]:
                line, column = int(found[1]), int(found[2])
        else:
            line, column = 1, 1
        given = show(lines[line - 1].strip()) if line <= len(lines) else ""
        return Fault(
            file, line, column, f"not valid TOML: {message}", given, "Correct the line (toml.io)."
        )


class TomlView:
    """A parsed file with the places of its items and the faults found so far."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.faults: list[Fault] = []
        self.root: dict[str, object] = {}
        self.places: dict[KeyPath, Location] = {}
        parsed = _parse(file, text)
        if isinstance(parsed, Fault):
            self.faults.append(parsed)
            return
        self.root = parsed
        try:
            self.places = locate(text)
        except RecursionError:
            what, remedy = "the file is nested too deeply", "A scenario needs three levels."
            self.faults.append(Fault(file, 1, 1, what, "", remedy))

    def get(self, path: KeyPath) -> object | None:
        """The raw value at a path; None if it is missing or lies below something else."""
        item: object = self.root
        for key in path:
            if not isinstance(item, dict) or key not in item:
                return None
            item = item[key]
        return item

    def location(self, path: KeyPath) -> Location:
        """The location of a path, or of the nearest thing that holds it."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, Location(1, 1, 1, 1))

    def key_place(self, path: KeyPath) -> Place:
        location = self.location(path)
        return Place(self.file, location.line, location.column)

    def value_place(self, path: KeyPath) -> Place:
        location = self.location(path)
        return Place(self.file, location.value_line, location.value_column)

    def fault(self, place: Place, what: str, value: str, remedy: str) -> None:
        self.faults.append(Fault(place.file, place.line, place.column, what, value, remedy))

    def fault_at(self, path: KeyPath, what: str, remedy: str) -> None:
        """A fault about the value at `path`, or about its absence."""
        value = self.get(path)
        given = "" if value is None else show(value)
        self.fault(self.value_place(path), what, given, remedy)

    def missing(self, path: KeyPath, remedy: str) -> None:
        name = ".".join(map(str, path))
        self.fault(self.key_place(path), f'"{name}" is missing', "", remedy)

    def table(self, path: KeyPath, known: Iterable[str]) -> dict[str, object] | None:
        """The table at `path`; reports keys other than the `known` ones."""
        value = self.get(path)
        if value is None:
            return None
        name = ".".join(map(str, path))
        if not isinstance(value, dict):
            self.fault_at(path, f'"{name}" must be a table', f"Write [{name}] and keys below it.")
            return None
        known = list(known)
        for key in value:
            if key not in known:
                place = self.key_place((*path, key))
                where = f" in [{name}]" if name else ""
                self.fault(place, f"unknown key{where}", show(key), closest(key, known))
        return value

    def integer(self, path: KeyPath, low: int, high: int) -> int | None:
        """The whole number at `path` if it is one and lies within the limits."""
        value = self.get(path)
        if value is None:
            return None
        name = f'"{".".join(map(str, path))}"'
        remedy = f"Give a whole number from {low} to {high}."
        if isinstance(value, bool) or not isinstance(value, int):
            self.fault_at(path, f"{name} must be a whole number", remedy)
            return None
        if not low <= value <= high:
            self.fault_at(path, f"{name} is out of range", remedy)
            return None
        return value

    def text(self, path: KeyPath) -> str | None:
        value = self.get(path)
        if value is not None and not isinstance(value, str):
            name = ".".join(map(str, path))
            self.fault_at(path, f'"{name}" must be a text', "Put it between quotes.")
            return None
        return value

    def choice(self, path: KeyPath, options: Sequence[_Choice]) -> _Choice | None:
        """The word at `path` if it is one of the options."""
        value = self.text(path)
        for option in options:
            if value == option:
                return option
        if value is not None:
            name = ".".join(map(str, path))
            self.fault_at(path, f'"{name}" has an unknown value', closest(value, options))
        return None

    def array_number(self, path: KeyPath, index: int, low: int, high: int) -> int | None:
        """The whole number at one position of the array at `path`, if it lies within limits."""
        array = self.get(path)
        assert isinstance(array, list)
        value = array[index]
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
            return value
        name = f'"{".".join(map(str, path))}", number {index + 1}'
        remedy = f"Give a whole number from {low} to {high}."
        self.fault(self.value_place((*path, index)), f"{name} is wrong", show(value), remedy)
        return None
