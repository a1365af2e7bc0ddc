"""What happened: the time, the record of all changes, and the breaches of the rules."""

from __future__ import annotations

from models.geometry import Cell
from models.machine import MachineFault

Change = int | tuple[Cell, bool]
"""A wire's level, 0 or 1, a ram's stroke; of a tape block, its cell and whether it moves."""
Event = tuple[int, str, int, Change]
"""(half-tick, what, which, new value): what is "wire", "on", "ram" or "tape"."""


class Journal:
    """The clock's reading and all that was written down so far."""

    def __init__(self, *, record: bool) -> None:
        self.now = 0
        self.events: list[Event] | None = [] if record else None
        self.faults: list[MachineFault] = []
        self._told: set[tuple[str, tuple[Cell, ...]]] = set()

    def note(self, what: str, which: int, value: Change) -> None:
        """Record a change, if changes are recorded."""
        if self.events is not None:
            self.events.append((self.now, what, which, value))

    def fault(self, code: str, cells: tuple[Cell, ...], text: str) -> None:
        """Record a breach of the rules, once between two presses."""
        if (code, cells) not in self._told:
            self._told.add((code, cells))
            self.faults.append(MachineFault(code, cells, text, self.now))

    def new_page(self) -> None:
        """A press begins: what goes wrong again is told again."""
        self._told.clear()
