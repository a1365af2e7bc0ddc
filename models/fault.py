"""What is wrong with something that a builder gave us: where, what, and how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Fault(NamedTuple):
    """One fault. Line and column count from 1; 0 means the file as a whole."""

    file: str
    line: int
    column: int
    what: str
    value: str
    """The value given, ready to print; empty where there is none to show."""
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        given = f" (given: {self.value})" if self.value else ""
        return f"{place}: {self.what}{given}. {self.remedy}"


class InputError(Exception):
    """Input that cannot be worked with; carries all faults found, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(sorted(faults, key=lambda f: f[:3]))
        assert self.faults, "an InputError needs a fault"
        super().__init__("\n".join(map(str, self.faults)))


class ScenarioError(InputError):
    """A scenario that is wrong in itself."""
