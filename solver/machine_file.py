"""The machine file: read with all faults at once, written the same way every time."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from models.fault import Fault, InputError
from models.geometry import FACES, Box, Cell
from models.machine import Machine
from models.parts import FACED, KINDS, Part
from models.rules import Rules
from solver.files import read_file

FORMAT, VERSION = "ringwright-machine", 1
MORE = "more_loops"
"""Key of the second and further loops; readers of the form for one loop pass over it."""
COVERED = "covered"
"""Key of the places in the tape from which it goes on beneath covers, over an outer edge."""
SWINGS = "swings"
"""Key that says whether every second press moves the tape back."""
MAX_BYTES = 8_000_000
"""Some 80,000 parts. Python takes about 25 times as much memory to hold what it reads."""
MAX_COORDINATE = 4096
MAX_DUG = 250_000
MAX_TEXT = 200
"""Titles and units are cut off here."""


def write_machine(machine: Machine) -> str:
    """The text of the machine file."""
    rules = {k: v for k, v in machine.rules.model_dump().items() if v is not None}
    head = {
        "format": FORMAT,
        "version": VERSION,
        "title": machine.title,
        "room": list(machine.room),
        "rules": rules,
        "tape": [list(cell) for cell in _loop(machine, 0)],
    }
    if machine.loops:
        more = [[list(cell) for cell in _loop(machine, k)] for k in range(1, len(machine.loops))]
        head[MORE] = more
    if machine.covered:
        head[COVERED] = list(machine.covered)
    if machine.swings:
        head[SWINGS] = True
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in head.items()]
    parts = ",\n    ".join(json.dumps(_part_dict(part)) for part in machine.parts)
    dug = ",\n    ".join(json.dumps({"min": list(b.low), "max": list(b.high)}) for b in machine.dug)
    lines += [f'  "parts": [\n    {parts}\n  ]', f'  "dug": [\n    {dug}\n  ]']
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _loop(machine: Machine, k: int) -> tuple[Cell, ...]:
    span = machine.spans[k]
    return machine.tape[span.start : span.stop]


def _part_dict(part: Part) -> dict[str, Any]:
    entry: dict[str, Any] = {"kind": part.kind, "at": list(part.at)}
    for key in ("face", "delay", "press", "unit"):
        value = getattr(part, key)
        if value not in (None, ""):
            entry[key] = value
    return entry


def read_machine(path: Path) -> Machine:
    """The machine in a file. Raises InputError with all faults found."""
    data = read_file(path, MAX_BYTES)
    if isinstance(data, Fault):
        raise InputError([data])
    try:
        content = json.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        line, column = getattr(error, "lineno", 0), getattr(error, "colno", 0)
        raise InputError(
            [
                Fault(
                    str(path),
                    line,
                    column,
                    f"this is not JSON: {error}",
                    "",
                    "Give a machine file as `ringwright solve` writes it.",
                )
            ]
        ) from None
    return parse_machine(content, str(path))


def parse_machine(content: object, name: str) -> Machine:
    """The machine in parsed JSON; `name` stands for the file in messages."""
    reader = _Reader(name)
    machine = reader.machine(content)
    if reader.faults or machine is None:
        raise InputError(reader.faults)
    return machine


def _printable(text: str) -> str:
    """What any file and any screen can hold: no control characters, no halves of characters."""
    return "".join(c if c.isprintable() else "\ufffd" for c in text[:MAX_TEXT])


class _Reader:
    def __init__(self, name: str) -> None:
        self.name = name
        self.faults: list[Fault] = []

    def fault(self, where: str, what: str, value: object, remedy: str) -> None:
        shown = json.dumps(value, default=str)[:60] if value is not None else ""
        self.faults.append(Fault(self.name, 0, 0, f"{where}: {what}", shown, remedy))

    def machine(self, content: object) -> Machine | None:
        if not isinstance(content, dict):
            self.fault("file", "a machine is a JSON object", content, "Write { ... }.")
            return None
        if content.get("format") != FORMAT:
            self.fault("format", "unknown format", content.get("format"), f'Write "{FORMAT}".')
        if content.get("version") != VERSION:
            self.fault("version", "unknown version", content.get("version"), f"Write {VERSION}.")
        title = content.get("title", "")
        if not isinstance(title, str):
            self.fault("title", "must be text", title, "Write a text in quotes.")
        room = self.cell(content.get("room"), "room", least=1)
        rules = self.rules(content.get("rules", {}))
        tape = [self.cell(c, f"tape[{i}]") for i, c in enumerate(self.entries(content, "tape"))]
        loops = self.more_loops(content, tape)
        parts = [self.part(p, f"parts[{i}]") for i, p in enumerate(self.entries(content, "parts"))]
        dug = [self.box(b, f"dug[{i}]") for i, b in enumerate(self.entries(content, "dug", []))]
        self.same_cell(parts, tape)
        if sum(box.volume() for box in dug if box) > MAX_DUG:
            self.fault("dug", "too many cells", None, f"At most {MAX_DUG}.")
        covered = self.covered(content, len(tape))
        swings = content.get(SWINGS, False)
        if not isinstance(swings, bool):
            self.fault(SWINGS, "must be true or false", swings, "Leave it out, or write true.")
        if self.faults or room is None:
            return None
        return Machine(
            _printable(str(title)),
            room,
            rules,
            tuple(c for c in tape if c),
            tuple(p for p in parts if p),
            tuple(b for b in dug if b),
            loops=loops,
            covered=covered,
            swings=swings is True,
        )

    def covered(self, content: dict[str, object], length: int) -> tuple[int, ...]:
        found = self.entries(content, COVERED, [])
        right = [i for i in found if type(i) is int and 0 <= i < length]
        if len(right) < len(found):
            self.fault(COVERED, "must be places in the tape", found, f"From 0 to {length - 1}.")
        return tuple(right)

    def more_loops(self, content: dict[str, object], tape: list[Cell | None]) -> tuple[int, ...]:
        """Add the cells of further loops to those of the first; the lengths of all."""
        lengths = [len(tape)]
        for k, loop in enumerate(self.entries(content, MORE, [])):
            if not isinstance(loop, list) or not loop:
                self.fault(
                    f"{MORE}[{k}]", "must be a list of cells", loop, "Write [[x, y, z], ...]."
                )
                continue
            tape += [self.cell(c, f"{MORE}[{k}][{i}]") for i, c in enumerate(loop)]
            lengths.append(len(loop))
        return tuple(lengths) if len(lengths) > 1 else ()

    def entries(self, content: dict[str, object], key: str, default: object = None) -> list[object]:
        value = content.get(key, default)
        if isinstance(value, list):
            return value
        self.fault(key, "must be a list", value, f'Write "{key}": [ ... ].')
        return []

    def cell(self, value: object, where: str, least: int = -MAX_COORDINATE) -> Cell | None:
        if (
            isinstance(value, list)
            and len(value) == 3
            and all(isinstance(v, int) and not isinstance(v, bool) for v in value)
            and all(least <= v <= MAX_COORDINATE for v in value)
        ):
            return (value[0], value[1], value[2])
        self.fault(
            where,
            "must be three whole numbers",
            value,
            f"Write [x, y, z], each {least} to {MAX_COORDINATE}.",
        )
        return None

    def rules(self, value: object) -> Rules:
        if not isinstance(value, dict):
            self.fault("rules", "must be an object", value, "Write { ... } or leave it out.")
            return Rules()
        known = {k: v for k, v in value.items() if k in Rules.model_fields}
        if isinstance(known.get("buffer_delays"), list):
            known["buffer_delays"] = tuple(known["buffer_delays"])
        try:
            return Rules.model_validate(known, strict=True)
        except ValidationError as error:
            for wrong in error.errors():
                key = ".".join(str(k) for k in wrong["loc"])
                self.fault(f"rules.{key}", wrong["msg"], wrong["input"], "Mend or remove it.")
            return Rules()

    def part(self, value: object, where: str) -> Part | None:
        if not isinstance(value, dict):
            self.fault(where, "must be an object", value, 'Write {"kind": ..., "at": [x, y, z]}.')
            return None
        kind, face = value.get("kind"), value.get("face")
        before = len(self.faults)
        known = next((k for k in KINDS if k == kind), None)
        if known is None:
            self.fault(f"{where}.kind", "unknown kind", kind, f"One of: {', '.join(KINDS)}.")
        at = self.cell(value.get("at"), f"{where}.at")
        if known in FACED and face not in FACES:
            self.fault(f"{where}.face", "needs a face", face, f"One of: {', '.join(FACES)}.")
        if kind == "buffer" and face in ("+z", "-z"):
            self.fault(f"{where}.face", "a buffer faces sideways", face, "Use +x, -x, +y or -y.")
        if kind == "inverter" and face == "+z":
            self.fault(
                f"{where}.face", "an inverter cannot hang from above", face, "Use -z or a side."
            )
        delay = self.number(value, "delay", where, 1, 64, kind == "buffer")
        pressed = self.number(value, "press", where, 1, 1000, False)
        if len(self.faults) > before or at is None or known is None:
            return None
        unit = value.get("unit", "")
        return Part(
            known,
            at,
            face if known in FACED else None,
            delay,
            pressed,
            _printable(unit) if isinstance(unit, str) else "",
        )

    def number(
        self, value: dict[str, object], key: str, where: str, low: int, high: int, needed: bool
    ) -> int | None:
        given = value.get(key)
        if given is None and not needed:
            return None
        if isinstance(given, int) and not isinstance(given, bool) and low <= given <= high:
            return given
        self.fault(f"{where}.{key}", "must be a whole number", given, f"From {low} to {high}.")
        return None

    def box(self, value: object, where: str) -> Box | None:
        if not isinstance(value, dict):
            self.fault(where, "must be an object", value, 'Write {"min": [...], "max": [...]}.')
            return None
        low = self.cell(value.get("min"), f"{where}.min")
        high = self.cell(value.get("max"), f"{where}.max")
        if low is None or high is None:
            return None
        if any(a > b for a, b in zip(low, high, strict=True)):
            self.fault(where, "min lies beyond max", value, "Swap them.")
            return None
        return Box(low, high)

    def same_cell(self, parts: list[Part | None], tape: list[Cell | None]) -> None:
        """Two things in one cell cannot even be simulated."""
        seen: dict[Cell, str] = {}
        named = [(c, f"tape[{i}]") for i, c in enumerate(tape) if c]
        named += [(p.at, f"parts[{i}] ({p.kind})") for i, p in enumerate(parts) if p]
        for cell, who in named:
            if cell in seen:
                self.fault(
                    who,
                    f"is in the same cell as {seen[cell]}",
                    list(cell),
                    "Move or remove one of them.",
                )
            seen.setdefault(cell, who)
