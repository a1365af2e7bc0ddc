"""Demands on pictures -> wishes on blocks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from models.geometry import Cell
from models.machine import Machine
from models.pattern import ANY, Period, Pin, Share, Wish
from solver.pattern.turn import back_after, turned


def presses_text(presses: int) -> str:
    """In words."""
    return "at the start" if presses == 0 else f"after {presses} press{'es' * (presses > 1)}"


@dataclass
class WishList:
    """The wishes of one tape, each said once."""

    machine: Machine
    wishes: list[Wish] = field(default_factory=list)
    _index: dict[Cell, int] = field(init=False)
    _turned: dict[int, list[int]] = field(default_factory=dict)
    _known: set[Pin | Share | Period] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._index = {cell: j for j, cell in enumerate(self.machine.tape)}

    def block(self, cell: Cell, presses: int) -> int:
        """The block that lies on a tape cell after so many presses."""
        if presses not in self._turned:
            self._turned[presses] = turned(self.machine.spans, presses)
        return self._turned[presses][self._index[cell]]

    def read(self, name: str, place: str, presses: int, marks: Iterable[tuple[Cell, str]]) -> None:
        """These cells show these marks."""
        for cell, mark in marks:
            if mark != ANY:
                block = self.block(cell, presses)
                when = presses_text(presses)
                text = f'{name}: {when} {_at(cell)} shows "{mark}", so block {block} is "{mark}"'
                self._add(Pin(block, mark), text, place)

    def share(
        self,
        name: str,
        place: str,
        presses: int,
        cells: Sequence[Cell],
        marks: str,
        limits: tuple[int, int],
    ) -> None:
        """So many of these cells show one of the marks."""
        low, high = limits
        blocks = frozenset(self.block(cell, presses) for cell in cells)
        many = f"exactly {low}" if low == high else f"{low} to {high}"
        when = presses_text(presses)
        text = f'{name}: {when} {many} of {len(blocks)} cells show "{marks}"'
        self._add(Share(blocks, marks, low, high), text, place)

    def repeat(self, name: str, place: str, presses: int) -> None:
        """The picture first repeats after so many presses."""
        text = f"{name}: the picture first repeats after {presses} presses"
        whole = back_after(self.machine.spans)
        if whole % presses:
            text += f", which does not divide the {whole} of all turns"
        self._add(Period(presses), text, place)

    def _add(self, rule: Pin | Share | Period, text: str, place: str) -> None:
        if rule not in self._known:
            self._known.add(rule)
            self.wishes.append(Wish(rule, text, place))


def _at(cell: Cell) -> str:
    return f"({cell[0]},{cell[1]},{cell[2]})"
