"""A build plan: all that a builder needs to know of a machine, as data. No prose, no pictures.

Times are half-ticks from the press unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, NamedTuple

from models.geometry import Box, Cell, Face, step
from models.machine import Machine
from models.margin import Margins
from models.parts import Kind, Part
from models.surface import SurfaceName

STACK = 64
"""How many equal things a builder carries as one stack."""

OF_LOOP = " of loop "
"""In a unit's name, before the number of its loop, where a machine has several."""

PieceKind = Kind | Literal["tape"]
PIECE_KINDS: tuple[PieceKind, ...] = (
    "tape",
    "cover",
    "block",
    "insulator",
    "wire",
    "buffer",
    "inverter",
    "sensor",
    "push_ram",
    "grip_ram",
    "button",
)
StageName = Literal["dig", "behind", "tape", "covers", "trigger"]
STAGES: tuple[StageName, ...] = ("dig", "behind", "tape", "covers", "trigger")
Group = Literal["dig", "early", "supports", "line", "rams", "power", "tape", "covers", "trigger"]
"""What is placed together. `early`: pieces to which the rest of their level would close the way."""


class Piece(NamedTuple):
    """One thing that is placed: a part, or a tape block (its face is the way it travels)."""

    kind: PieceKind
    at: Cell
    face: Face | None = None
    delay: int | None = None
    press: int | None = None
    unit: str = ""

    def part(self) -> Part:
        """The part of the machine that this piece is."""
        assert self.kind != "tape", "a tape block is no part"
        return Part(self.kind, self.at, self.face, self.delay, self.press, self.unit)


class Count(NamedTuple):
    """How many pieces of a kind."""

    kind: PieceKind
    number: int

    @property
    def stacks(self) -> tuple[int, int]:
        """Full stacks, and what is left over."""
        return divmod(self.number, STACK)


@dataclass(frozen=True)
class Layer:
    """One layer as its builder sees it, looking at the surface from inside the room.

    Level 0 is the surface, 1 the cells just behind it, -1 the cells in front of it.
    """

    surface: SurfaceName
    level: int
    origin: Cell
    """The cell drawn at the top left."""
    right: Face
    down: Face
    columns: int
    rows: int
    pieces: tuple[Piece, ...]
    air: frozenset[Cell]
    """Dug cells that stay empty."""

    def cell(self, row: int, column: int) -> Cell:
        """The cell that is drawn in this row and column, both from 0."""
        return step(step(self.origin, self.right, column), self.down, row)

    @cached_property
    def piece_at(self) -> dict[Cell, Piece]:
        """The pieces by their cell."""
        return {piece.at: piece for piece in self.pieces}


class Mover(NamedTuple):
    """A ram, when it starts to push and when it starts to go back."""

    at: Cell
    kind: PieceKind
    unit: str
    pushes: tuple[int, ...]
    returns: tuple[int, ...]


@dataclass(frozen=True)
class StageTest:
    """What the half-built machine must do, taken from a simulation of just that much of it."""

    how: Literal["look", "pulse", "press"]
    pulse_at: Cell | None
    """`pulse`: the wire to power by hand for one tick."""
    lit: tuple[Piece, ...]
    """Inverters, buffers and sensors that are on at rest."""
    extended: tuple[Piece, ...]
    """Rams that rest with their head out."""
    movers: tuple[Mover, ...] = ()
    still: tuple[Piece, ...] = ()
    """Rams that must not move."""
    moved_blocks: int = 0
    """Tape blocks that end on another cell, flush."""
    half_ticks: int = 0


@dataclass(frozen=True)
class Step:
    """One step of the building order. Its pieces are in the order to place them."""

    number: int
    stage: StageName
    group: Group
    surface: SurfaceName
    level: int
    pieces: tuple[Piece, ...] = ()
    boxes: tuple[Box, ...] = ()
    """What to dig."""
    sealed: tuple[Cell, ...] = ()
    """Cells that cannot be reached from the room through dug, still empty cells."""
    test: StageTest | None = None


@dataclass(frozen=True)
class Timing:
    """One press, from the simulation, the slowest of the cases that the machine must work in."""

    press_ticks: int
    """How long the button stays pressed."""
    flush_half_ticks: int
    """Until the last tape block lies flush again."""
    rest_half_ticks: int
    """Until nothing moves or waits any more."""
    interval_half_ticks: int | None
    """From here on every interval between presses is safe; None: not found by simulation."""
    skew_half_ticks: int = 0
    """Between the first and the last lift that draws its block in."""


class Opening(NamedTuple):
    """Surface cells that are open, or have a block moving in them, at the same times."""

    cells: tuple[Cell, ...]
    spans: tuple[tuple[int, int], ...]
    """[from, to) of each span."""


class Happening(NamedTuple):
    """One change: `which` counts in the list of its sort, wires, switches, rams or tape."""

    half_tick: int
    what: Literal["wire", "on", "ram", "tape"]
    which: int
    value: int
    """Level; 1 on, 0 off; 0 in, 1 extending, 2 out, 3 retracting; tape: 1 moving, 0 at rest."""
    to: Cell | None = None
    """Tape only: where the block is, or is going."""


@dataclass(frozen=True)
class Trace:
    """All changes of one press. Those at half-tick 0 set up the state before it."""

    wires: tuple[Cell, ...]
    switches: tuple[tuple[str, Cell], ...]
    rams: tuple[Cell, ...]
    happenings: tuple[Happening, ...]
    half_ticks: int


@dataclass(frozen=True)
class BuildPlan:
    """Everything the sheets and the page show."""

    machine: Machine
    surfaces: tuple[SurfaceName, ...]
    counts: tuple[Count, ...]
    dug_volume: int
    depth: int
    corners: int
    layers: tuple[Layer, ...]
    steps: tuple[Step, ...]
    trace: Trace
    timing: Timing | None
    """None for a machine that cannot be pressed or does not come to rest."""
    openings: tuple[Opening, ...]
    movers: tuple[Mover, ...]
    crushing: tuple[Cell, ...]
    """Cells of dug space and room into which a head or a tape block moves during a press."""
    margins: Margins | None = None
    """None where there is no timing."""

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Every piece of the machine."""
        return tuple(piece for layer in self.layers for piece in layer.pieces)
