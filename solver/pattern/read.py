"""Read a choreography file for a machine: marks that are given, or demands on pictures.

What a file may hold is told by `ringwright pattern --help`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PIL import ImageColor
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from models.fault import Fault, InputError
from models.geometry import Box, Cell, sub
from models.machine import Machine
from models.pattern import ANY, Choreography
from models.surface import SURFACES, SurfaceName, plane_of
from solver.pattern.turn import back_after
from solver.pattern.wishes import WishList
from solver.scenario_file.places import KeyPath
from solver.scenario_file.view import TomlView, closest, open_toml, show

OKABE_ITO = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7")
"""Colours that most colour-blind people tell apart (Okabe and Ito 2008; values from memory).

Marks without a colour of their own take them in turn.
"""
BLANK_COLOUR = "#e7e5df"
MAX_PRESSES = 1_000_000
MAX_TIMES = 10_000
CAPACITY = 64
"""So many different marks at most."""


class _Demand(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    after: int | str | list[int] | None = None
    start: list[int] | None = Field(None, alias="from", min_length=3, max_length=3)
    to: list[int] | None = Field(None, min_length=3, max_length=3)
    reads: str | None = Field(None, min_length=1)
    surface: str | None = None
    map: str | None = None
    mark: str | None = Field(None, min_length=1)
    exactly: int | None = Field(None, ge=0)
    at_least: int | None = Field(None, ge=0)
    at_most: int | None = Field(None, ge=0)
    period: int | None = Field(None, ge=1)


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    title: str | None = None
    marks: str = ""
    blank: str = Field(".", min_length=1, max_length=1)
    given: str | None = None
    palette: dict[str, str] = Field(default_factory=dict)
    demand: list[_Demand] = Field(default_factory=list)


def read_choreography(path: Path, machine: Machine) -> Choreography:
    """The choreography in a file. Raises InputError with all faults found."""
    view = open_toml(path)
    try:
        content = _File.model_validate(view.root)
    except ValidationError as error:
        raise InputError(_shape_faults(view, error)) from None
    reader = _Reader(view, machine)
    found = reader.choreography(content, path.stem)
    if view.faults:
        raise InputError(view.faults)
    return found


def _shape_faults(view: TomlView, error: ValidationError) -> list[Fault]:
    faults: dict[KeyPath, Fault] = {}
    for wrong in error.errors():
        # A value that may be of several types is told once, without the types' names.
        path: KeyPath = tuple(p for p in wrong["loc"] if p not in ("int", "str", "list[int]"))
        if path[2:3] == ("after",):
            path, what = path[:3], '"after" must be a number of presses'
            remedy = 'Write 5, [5, 13] or "every".'
        elif wrong["type"] == "extra_forbidden":
            what, remedy = "unknown key", closest(str(path[-1]), _keys(path))
        else:
            what = f'"{path[-1]}" is wrong'
            remedy = wrong["msg"].replace("Input should", "It should") + "."
        place = view.value_place(path)
        given = show(wrong["input"])
        faults.setdefault(path, Fault(place.file, place.line, place.column, what, given, remedy))
    return list(faults.values())


def _keys(path: KeyPath) -> list[str]:
    model: type[BaseModel] = _Demand if len(path) > 1 else _File
    return [field.alias or name for name, field in model.model_fields.items()]


class _Reader:
    """Checks what the shape alone does not tell."""

    def __init__(self, view: TomlView, machine: Machine) -> None:
        self.view = view
        self.machine = machine
        self.tape = machine.tape
        self.list = WishList(machine)
        self.presses: set[int] = {0}
        self.marks: set[str] = set()

    def fault(self, path: KeyPath, what: str, value: object, remedy: str) -> None:
        self.view.fault(self.view.value_place(path), what, show(value), remedy)

    def choreography(self, file: _File, name: str) -> Choreography:
        self.marks |= {*file.blank, *file.marks}
        if ANY in self.marks:
            self.fault(("marks",), '"?" is no mark', file.marks, "It stands for any mark.")
        if file.given is not None:
            self._given(file)
        elif not file.demand:
            self.view.fault(self.view.key_place(()), "nothing is asked", "", "Add a [[demand]].")
        for number, demand in enumerate(file.demand):
            self._demand(number, demand)
        if len(self.marks) > CAPACITY:
            self.fault(("marks",), f"more than {CAPACITY} marks", "", "Use fewer.")
        return Choreography(
            file.title or name,
            self._colours(file),
            file.blank,
            "".join([file.blank, *sorted(self.marks - {file.blank})]),
            file.given,
            tuple(self.list.wishes),
            tuple(sorted(self.presses)),
        )

    def _given(self, file: _File) -> None:
        given, n = file.given or "", len(self.tape)
        self.marks |= set(given)
        if len(given) != n:
            self.fault(("given",), f"the tape has {n} blocks", f"{len(given)} marks", "One each.")
        if file.demand:
            remedy = "Keep the marks or the demands."
            self.fault(("given",), "marks are given and demanded", given, remedy)

    def _colours(self, file: _File) -> dict[str, str]:
        colours = {file.blank: BLANK_COLOUR}
        others = sorted(self.marks - {file.blank})
        colours |= {mark: OKABE_ITO[i % len(OKABE_ITO)] for i, mark in enumerate(others)}
        for mark, colour in file.palette.items():
            path = ("palette", mark)
            if len(mark) != 1:
                self.fault(path, "a mark is one character", mark, "Use one character.")
            try:
                red, green, blue = ImageColor.getrgb(colour)[:3]
            except ValueError:
                remedy = 'Write "#rrggbb" or the name of a colour in CSS.'
                self.fault(path, "unknown colour", colour, remedy)
                continue
            colours[mark] = f"#{red:02x}{green:02x}{blue:02x}"
        return colours

    # ---------------------------------------------------------------- one demand

    def _demand(self, number: int, demand: _Demand) -> None:
        path, name = ("demand", number), f"demand {number + 1}"
        kinds = [k for k in ("reads", "map", "mark", "period") if getattr(demand, k) is not None]
        if len(kinds) != 1:
            remedy = "Give one of reads, map, mark and period."
            self.fault(path, f"{name} must ask for one thing", ", ".join(kinds), remedy)
            return
        place = str(self.view.key_place(path))
        if demand.period is not None:
            self.list.repeat(name, place, demand.period)
            return
        before = len(self.view.faults)
        times = self._times(path, demand.after)
        cells: Sequence[tuple[Cell, str]] = ()
        counted: list[Cell] = []
        if demand.reads is not None:
            cells = self._word(path, demand, demand.reads)
        elif demand.map is not None:
            cells = self._map(path, demand, demand.map)
        else:
            counted = self._box(path, demand)
        limits = self._limits(path, demand, len(counted))
        if len(self.view.faults) > before:
            return
        self.marks |= {mark for _, mark in cells if mark != ANY} | set(demand.mark or "")
        for presses in times:
            if demand.mark is None:
                self.list.read(name, place, presses, cells)
            else:
                marks = "".join(sorted(set(demand.mark)))
                self.list.share(name, place, presses, counted, marks, limits)

    def _times(self, path: KeyPath, after: int | str | list[int] | None) -> list[int]:
        """After which presses; those of a demand on a few pictures are worth showing."""
        if after == "every":
            return self._every(path)
        times = after if isinstance(after, list) else [after]
        numbers = [t for t in times if isinstance(t, int) and 0 <= t <= MAX_PRESSES]
        if len(numbers) < len(times) or not 0 < len(numbers) <= MAX_TIMES:
            remedy = f'Write 5, [5, 13] or "every"; at most {MAX_PRESSES}.'
            self.fault((*path, "after"), '"after" must be a number of presses', after, remedy)
            return []
        self.presses |= set(numbers)
        return numbers

    def _every(self, path: KeyPath) -> list[int]:
        """All pictures that there are."""
        different = back_after(self.machine.spans)
        if different > MAX_TIMES:
            remedy = f"Name the presses, at most {MAX_TIMES}."
            self.fault((*path, "after"), f"there are {different} pictures", "every", remedy)
        return list(range(min(different, MAX_TIMES)))

    def _word(self, path: KeyPath, demand: _Demand, word: str) -> list[tuple[Cell, str]]:
        """The cells of a word, first letter first."""
        start, end = _cell(demand.start), _cell(demand.to)
        remedy = "Give from and to, the cells of the first and the last letter, in one line."
        if start is None or end is None:
            self.fault(path, "a word needs its cells", word, remedy)
            return []
        way = sub(end, start)
        length = max(map(abs, way))
        if sum(1 for step in way if step) > 1 or length + 1 != len(word):
            what = f"the word has {len(word)} letters, its cells are {length + 1} in a line"
            self.fault((*path, "to"), what, list(end), remedy)
            return []
        unit = tuple((step > 0) - (step < 0) for step in way)
        cells = [
            (start[0] + i * unit[0], start[1] + i * unit[1], start[2] + i * unit[2])
            for i in range(len(word))
        ]
        bare = [cell for cell, mark in zip(cells, word, strict=True) if mark != ANY]
        self._on_tape((*path, "from"), bare)
        return list(zip(cells, word, strict=True))

    def _map(self, path: KeyPath, demand: _Demand, drawn: str) -> list[tuple[Cell, str]]:
        """The marks of a drawn picture."""
        name = _surface(demand.surface)
        if name is None:
            remedy = closest(demand.surface or "", SURFACES)
            self.fault(path, "a map needs the surface that it shows", demand.surface, remedy)
            return []
        plane = plane_of(name, self.machine.room)
        rows = drawn.removesuffix("\n").split("\n")
        if len(rows) > plane.rows or max(map(len, rows)) > plane.columns:
            what = f"the map is larger than the {name}, {plane.columns} x {plane.rows}"
            self.fault((*path, "map"), what, "", "Draw it as in a scenario.")
            return []
        on = set(self.tape)
        marks = [
            (plane.cell(r, c), mark)
            for r, row in enumerate(rows)
            for c, mark in enumerate(row)
            if mark not in (ANY, " ") and not (mark == "." and plane.cell(r, c) not in on)
        ]
        self._on_tape((*path, "map"), [cell for cell, _ in marks])
        return marks

    def _box(self, path: KeyPath, demand: _Demand) -> list[Cell]:
        """The tape cells that are counted."""
        start, end = _cell(demand.start), _cell(demand.to)
        if start is None and end is None:
            return list(self.tape)
        if start is None or end is None:
            self.fault(path, "a box needs both corners", None, "Give from and to, or neither.")
            return []
        low, high = zip(*(sorted(pair) for pair in zip(start, end, strict=True)), strict=True)
        box = Box((low[0], low[1], low[2]), (high[0], high[1], high[2]))
        cells = [cell for cell in self.tape if cell in box]
        if not cells:
            self.fault((*path, "from"), "no tape runs here", list(start), "Name other cells.")
        return cells

    def _limits(self, path: KeyPath, demand: _Demand, cells: int) -> tuple[int, int]:
        given = [demand.exactly, demand.at_least, demand.at_most]
        if demand.mark is None:
            if any(number is not None for number in given):
                self.fault(path, "only marks are counted", None, "Give mark too, or no number.")
            return 0, 0
        if demand.exactly is not None and given[1:] == [None, None]:
            return demand.exactly, demand.exactly
        if demand.exactly is not None or given == [None, None, None]:
            remedy = "Give exactly, or at_least and at_most."
            self.fault(path, "how many is not clear", None, remedy)
        return demand.at_least or 0, cells if demand.at_most is None else demand.at_most

    def _on_tape(self, path: KeyPath, cells: Sequence[Cell]) -> None:
        off = [cell for cell in cells if cell not in self.tape]
        if off:
            remedy = "Name cells of the tape, or write ?."
            self.fault(path, f"no tape runs at {off[0]}", None, remedy)


def _cell(value: Any) -> Cell | None:  # noqa: ANN401  three numbers, as the model has checked
    return None if value is None else (value[0], value[1], value[2])


def _surface(name: str | None) -> SurfaceName | None:
    return next((s for s in SURFACES if s == name), None)
