"""A machine: what is built. The nouns behind the machine file."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from models.geometry import Box, Cell
from models.parts import Part
from models.rules import Rules


@dataclass(frozen=True)
class Machine:
    """A tape, the parts that drive it and the boxes that are dug for them.

    `tape` lists the loop in travel order: the block on cell i moves to cell i + 1.
    """

    title: str
    room: tuple[int, int, int]
    rules: Rules
    tape: tuple[Cell, ...]
    parts: tuple[Part, ...]
    dug: tuple[Box, ...] = ()
    notes: dict[str, object] = field(default_factory=dict)
    loops: tuple[int, ...] = ()
    """How many cells each loop has, where there are several: `tape` lists one after the other.

    The k-th button of the parts list fires the k-th loop; if there is but one, it fires all.
    """

    covered: tuple[int, ...] = ()
    """Places in `tape` from which it goes on beneath covers, over an outer edge: there the next
    cell is on another surface, not beside this one.
    """

    swings: bool = False
    """Whether every second press moves the tape back by a cell."""

    @cached_property
    def spans(self) -> tuple[range, ...]:
        """Where each loop stands in `tape`."""
        ends = [0]
        for length in self.loops or (len(self.tape),):
            ends.append(ends[-1] + length)
        return tuple(range(a, b) for a, b in pairwise(ends))

    @cached_property
    def one_button(self) -> bool:
        """Whether several loops have one button for all."""
        return len(self.loops) > 1 and sum(part.kind == "button" for part in self.parts) == 1

    @property
    def triggers(self) -> int:
        """How many buttons must be pressed to move every loop."""
        return 1 if self.one_button else len(self.spans)

    @cached_property
    def following(self) -> tuple[int, ...]:
        """For each tape cell the index of the next one of its loop."""
        return tuple(
            i + 1 if i + 1 < span.stop else span.start for span in self.spans for i in span
        )

    @property
    def cases(self) -> tuple[Case, ...]:
        """The worlds it must work in, the plainest first: all four, unless its rules fix one."""
        fixed = self.rules.overhead_pickup
        return tuple(c for c in ALL_CASES if fixed is None or c.overhead == fixed)

    @property
    def placed(self) -> int:
        """Parts to be placed, tape blocks counted, covers not (they stand already)."""
        return sum(part.kind != "cover" for part in self.parts) + len(self.tape)

    def in_room(self, cell: Cell) -> bool:
        """Whether the cell belongs to the air of the room."""
        return all(0 <= a < s for a, s in zip(cell, self.room, strict=True))

    @cached_property
    def dug_cells(self) -> frozenset[Cell]:
        """Every cell of every dug box."""
        cells: set[Cell] = set()
        for low, high in self.dug:
            cells.update(
                (x, y, z)
                for x in range(low[0], high[0] + 1)
                for y in range(low[1], high[1] + 1)
                for z in range(low[2], high[2] + 1)
            )
        return frozenset(cells)


@dataclass(frozen=True, order=True)
class Case:
    """One of the worlds a machine must work in."""

    overhead: bool
    ground: bool

    def __str__(self) -> str:
        pickup = "overhead pickup" if self.overhead else "plain pickup"
        return f"{pickup}, {'ground' if self.ground else 'no ground'}"


ALL_CASES: tuple[Case, ...] = (
    Case(False, True),
    Case(True, True),
    Case(False, False),
    Case(True, False),
)


@dataclass(frozen=True)
class MachineFault:
    """A breach of the rules: when (half-ticks from the start of the run), what and who."""

    code: str
    cells: tuple[Cell, ...]
    text: str
    half_tick: int | None = None
    remedy: str = ""
