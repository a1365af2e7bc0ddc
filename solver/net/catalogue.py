"""Reads the designs that the synthesizer found, with how each came about."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

from models.catalogue import Design
from models.geometry import Cell
from models.parts import Part

FILE = "designs.json"


@dataclass(frozen=True)
class Proof:
    """That something does not exist, as one solver said on its own."""

    what: str
    engine: str
    seconds: int
    refused: int
    """Wirings left out because the simulator had refused them."""


@dataclass(frozen=True)
class Entry:
    """One design and its provenance."""

    design: Design
    parity: str
    """Vertical incoming edges it fits, by their number of cells: "odd", "even" or "any"."""
    objective: str
    box: tuple[tuple[int, int], ...]
    """Lowest and highest x, y and z of the cells the search was free to fill."""
    bound: int
    """No wiring in the box has fewer parts (the rams not counted); 0: not proven."""
    engines: tuple[str, ...]
    """Solvers that each said so on their own."""
    date: str
    timing: dict[str, int]
    """Half-ticks from the lifts of its corner: part, shift, feed, returns, quiet."""
    margin: int = 0
    """Half-ticks by which its delays may be off: all sensors, all inverters, or one buffer."""
    proofs: tuple[Proof, ...] = ()
    """What the bound rests on; and where the margin is 0, that no wiring so small has more."""

    @property
    def count(self) -> int:
        """Parts of the drive, its three rams not counted."""
        return sum(1 for part in self.design.parts if not part.kind.endswith("ram"))

    @property
    def proven(self) -> bool:
        """Whether no wiring in the box, under the stated assumptions, has fewer parts."""
        return self.bound == self.count


@cache
def load_entries() -> tuple[Entry, ...]:
    """All designs of the data file, in its order."""
    text = files("solver").joinpath("data", FILE).read_text(encoding="utf-8")
    return tuple(_entry(record) for record in json.loads(text)["designs"])


def load_designs() -> tuple[Design, ...]:
    """The designs alone."""
    return tuple(entry.design for entry in load_entries())


def entry(name: str) -> Entry:
    """The entry of that name."""
    return next(entry for entry in load_entries() if entry.design.name == name)


def _entry(record: dict[str, Any]) -> Entry:
    design = Design(
        name=record["name"],
        role="drive",
        up=record["up"],
        parts=tuple(Part(k, _cell(at), face, delay) for k, at, face, delay in record["parts"]),
        air=tuple(_cell(at) for at in record["air"]),
        system=record["system"],
        led=_cell(record["led"]) if record.get("led") else None,
    )
    made = Entry(
        design,
        record["parity"],
        record["objective"],
        tuple((low, high) for low, high in record["box"]),
        record["bound"],
        tuple(record["engines"]),
        record["date"],
        record["timing"],
        record["margin"],
        tuple(Proof(**proof) for proof in record["proofs"]),
    )
    said = f"{made.objective}; box {made.box}; {made.date}; " + (
        f"proven minimal by {' and '.join(made.engines)}" if made.proven else "not proven minimal"
    )
    return replace(made, design=replace(design, provenance=said))


def as_record(made: Entry) -> dict[str, Any]:
    """An entry in the form of the data file."""
    design = made.design
    return {
        "name": design.name,
        "system": design.system,
        "up": design.up,
        "parity": made.parity,
        **({"led": list(design.led)} if design.led else {}),
        "objective": made.objective,
        "box": [list(pair) for pair in made.box],
        "bound": made.bound,
        "engines": list(made.engines),
        "date": made.date,
        "timing": made.timing,
        "margin": made.margin,
        "proofs": [asdict(proof) for proof in made.proofs],
        "parts": [[p.kind, list(p.at), p.face, p.delay] for p in design.parts],
        "air": [list(cell) for cell in design.air],
    }


def write_entries(entries: Iterable[Entry]) -> str:
    """The text of the data file: one design a paragraph, one part or proof a line."""
    blocks = []
    for made in entries:
        record = as_record(made)
        head = [
            f"    {json.dumps(key)}: {_listed(value) if key in _LISTS else json.dumps(value)}"
            for key, value in record.items()
        ]
        blocks.append("  {\n" + ",\n".join(head) + "\n  }")
    return '{"version": 1, "designs": [\n' + ",\n".join(blocks) + "\n]}\n"


_LISTS = ("parts", "proofs")


def _listed(items: list[object]) -> str:
    lines = [f"      {json.dumps(item)}" for item in items]
    return "[\n" + ",\n".join(lines) + "\n    ]" if lines else "[]"


def _cell(numbers: list[int]) -> Cell:
    x, y, z = numbers
    return (x, y, z)
