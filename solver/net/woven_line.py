"""A lift line found by search, where the usual one does not fit: edges of two cells, thin walls.

Every cell near the lifts may hold a wire, a block or an insulator, or be dug and left free. Each
lift is fired by a block that a wire stands on, or by a wire that points at it; no wire has a delay,
so all lifts fire in one half-tick. What touches a drive stays clear of power. Fewest parts first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING

from models.geometry import OPPOSITE, VECTOR, Cell, add, scale, step, sub
from models.parts import CONDUCTIVE, RAMS, Kind, Part
from solver.net.lift_lines import DOWN, UP, LiftLine

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

_SIDES: tuple[Cell, ...] = tuple(VECTOR.values())
_LEVEL: tuple[Cell, ...] = tuple(v for face, v in VECTOR.items() if face[1] != "z")
PART_COST = 10
RADII = (3, 6)
"""How far round the faults of the usual line another is looked for, before all is given up."""
FIRST = 8.0
"""How long to look for a line at all, in deterministic seconds."""


@dataclass(frozen=True)
class Ground:
    """What stands already, and where a line may go."""

    lifts: tuple[Cell, ...]
    """The cells of the lift rams."""
    inward: Cell
    free: Set[Cell]
    """Cells that the line may fill."""
    diggable: Set[Cell]
    parts: Mapping[Cell, Part]
    """Lifts and drives."""
    air: Set[Cell]
    """Cells that drives and tape keep free."""
    bars: Bars
    reach: int
    usual: LiftLine
    """The line that fits most loops, here with faults."""
    polish: tuple[tuple[float, int], ...]
    """How long to look for a better line, in deterministic seconds, and what a place to feed it
    costs then: the cable that leads there, and more where cables bar each other."""
    changed: bool
    """Whether it has something that is not in the line tried before."""


@dataclass
class Bars:
    """Where power of the line would wake a drive, or a drive's power the line."""

    wire: set[Cell] = field(default_factory=set)
    block: set[Cell] = field(default_factory=set)
    watched: set[Cell] = field(default_factory=set)
    """Cells that sensors of drives watch: where no part stands yet, a wire must."""
    fed: set[Cell] = field(default_factory=set)
    """Cells that buffers of drives read: where no part stands yet, a block of the line must."""
    deaf: set[Cell] = field(default_factory=set)
    """Cells that must be dug, as ground they would pass power on to a drive."""


def bars_of(drives: Iterable[Part], diggable: Set[Cell]) -> Bars:
    """The bars that the parts of all drives set up."""
    bars = Bars()
    for part in drives:
        near = [add(part.at, side) for side in _SIDES]
        if part.kind in RAMS:
            above = add(part.at, UP)
            heard = {*near, *(add(above, side) for side in _SIDES)} - {part.at}
            bars.deaf |= heard
            bars.block |= heard
            bars.wire |= heard - {add(part.at, DOWN)}
        elif part.kind in CONDUCTIVE:
            bars.wire.update(near)
        elif part.kind == "inverter":
            bars.wire.update(near)
            bars.block.update(near)
        elif part.kind == "wire":
            beside = [add(part.at, side) for side in _LEVEL]
            bars.wire.update(add(c, z) for c, z in product(beside, (UP, (0, 0, 0), DOWN)))
            bars.block.update((*beside, add(part.at, UP)))
        elif part.kind in ("sensor", "buffer") and part.face is not None:
            front, back = step(part.at, part.face), step(part.at, OPPOSITE[part.face])
            reads, powers = (front, back) if part.kind == "sensor" else (back, front)
            if part.kind == "sensor":
                bars.watched.add(reads)
            else:
                bars.fed.add(reads)
                bars.wire.add(reads)
            bars.wire.add(powers)
            bars.block.add(powers)
            bars.deaf.add(powers)
    for cell in bars.deaf - diggable:
        bars.wire.update(add(cell, side) for side in _SIDES)
    return bars


Woven = tuple[dict[Cell, Kind], set[Cell]]
"""What stands where, and what else is dug."""


def weave(ground: Ground) -> Iterator[Woven]:
    """Lines: first the usual one changed near its faults only, at last another altogether."""
    trusting = replace(ground, bars=_eased(ground))
    faults = faults_of(ground)
    for radius in RADII if faults or ground.changed else ():
        region = near(faults, radius)
        found = False
        for woven in Weave(trusting, region).solve():
            found = True
            yield woven
        if found:
            break
    yield from Weave(ground).solve()


def _eased(ground: Ground) -> Bars:
    """What the usual line has near a drive works as a rule; the simulation has the last word."""
    bars, parts = ground.bars, ground.usual.parts
    kept = {kind: {at for at, p in parts.items() if p.kind == kind} for kind in ("wire", "block")}
    return replace(bars, wire=bars.wire - kept["wire"], block=bars.block - kept["block"])


def faults_of(ground: Ground) -> set[Cell]:
    """Where the usual line cannot be."""
    ground = replace(ground, bars=_eased(ground))
    faults = ground.usual.clashes | {
        at
        for at, part in ground.usual.parts.items()
        if part.kind not in RAMS and not _may_stand(ground, at, part)
    }
    faults |= {at for at in ground.usual.air if at in ground.parts}
    wires = set(ground.usual.wires())
    faults |= ground.bars.watched - ground.parts.keys() - wires
    fed = ground.bars.fed - ground.parts.keys()
    return faults | {cell for cell in fed if add(cell, UP) not in wires}


def _may_stand(ground: Ground, at: Cell, part: Part) -> bool:
    drive = ground.parts.get(at)
    if part.kind == "insulator" and drive is not None and drive.kind == "sensor":
        return True  # A wire stands on a sensor as well.
    barred = {"wire": ground.bars.wire, "block": ground.bars.block}.get(part.kind, set())
    return at in ground.free and at not in barred


def near(cells: Iterable[Cell], radius: int) -> set[Cell]:
    """All cells no further than this from some of the cells, in any of the three axes."""
    span = range(-radius, radius + 1)
    return {add(cell, step_) for cell in cells for step_ in product(span, span, span)}


class Weave:
    """The model of one loop's line; beyond a region it is the usual line."""

    def __init__(self, ground: Ground, region: Set[Cell] | None = None) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.ground, self.region = cp_model, ground, region
        self.model = cp_model.CpModel()
        bars = ground.bars
        cells = sorted(ground.free)

        def new(kind: str, cell: Cell) -> cp_model.IntVar:
            if region is None or cell in region:
                return self.model.new_bool_var("")
            return self.model.new_constant(int(self._usual(kind, cell)))

        self.wire = {c: new("wire", c) for c in cells if c not in bars.wire}
        self.block = {c: new("block", c) for c in cells if c not in bars.block}
        self.insulator = {c: new("insulator", c) for c in cells}
        self.dug = {c: new("dug", c) for c in cells}
        self.root = {c: self.model.new_bool_var("") for c in self.wire}
        self.level = {c: self.model.new_int_var(0, ground.reach - 1, "") for c in self.wire}
        self.true = self.model.new_constant(1)
        for cell in cells:
            self.model.add_at_most_one([v[cell] for v in self._kinds() if cell in v])
        for cell in bars.watched - ground.parts.keys():
            self.model.add_bool_or([self.wire[cell]] if cell in self.wire else [])
        for cell in bars.fed - ground.parts.keys():
            for kind, at in ((self.block, cell), (self.wire, add(cell, UP))):
                self.model.add_bool_or([kind[at]] if at in kind else [])
        self._stand()
        self._fire()
        self._reach()
        self._feed()

    def _usual(self, kind: str, cell: Cell) -> bool:
        """Whether the usual line has this in a cell."""
        usual = self.ground.usual
        if kind == "dug":
            return cell in usual.air and cell not in usual.parts
        return cell in usual.parts and usual.parts[cell].kind == kind

    def _kinds(self) -> tuple[dict[Cell, cp_model.IntVar], ...]:
        return self.wire, self.block, self.insulator, self.dug

    # ------------------------------------------------------------------ what a cell is

    def _deaf(self, cell: Cell) -> list[cp_model.IntVar]:
        """Literals, one of which makes sure that the cell does not conduct."""
        part = self.ground.parts.get(cell)
        if part is not None:
            return [] if part.kind in CONDUCTIVE else [self.true]
        if cell in self.ground.air:
            return [self.true]
        return [v[cell] for v in (self.wire, self.insulator, self.dug) if cell in v]

    def _conducts(self, cell: Cell) -> list[cp_model.IntVar]:
        """Literals, one of which makes sure that the cell conducts, ground or no ground."""
        part = self.ground.parts.get(cell)
        if part is not None:
            return [self.true] if part.kind in CONDUCTIVE else []
        return [self.block[cell]] if cell in self.block else []

    def _stand(self) -> None:
        """A wire stands on a block, an insulator, or a sensor of a drive."""
        for cell, wire in self.wire.items():
            below = add(cell, DOWN)
            part = self.ground.parts.get(below)
            if part is not None and part.kind == "sensor":
                continue
            under = [v[below] for v in (self.block, self.insulator) if below in v]
            self.model.add_bool_or([~wire, *under])

    # ------------------------------------------------------------------ every lift fires

    def _fire(self) -> None:
        for lift in self.ground.lifts:
            ways = [w for side in _SIDES for w in self._ways(lift, add(lift, side))]
            self.model.add_bool_or(ways)

    def _ways(self, lift: Cell, cell: Cell) -> Iterator[cp_model.IntVar]:
        """How what stands in a cell beside a lift may fire it."""
        if cell == add(lift, self.ground.inward):
            return
        above = add(cell, UP)
        if cell in self.block and above in self.wire:
            way = self.model.new_bool_var("")
            self.model.add_implication(way, self.block[cell])
            self.model.add_implication(way, self.wire[above])
            yield way
        if cell in self.wire and cell[2] == lift[2]:
            way = self.model.new_bool_var("")
            self.model.add_implication(way, self.wire[cell])
            towards = sub(lift, cell)
            for side in _LEVEL:
                if side not in (towards, scale(towards, -1)):
                    self._unjoined(way, cell, side)
            yield way

    def _unjoined(self, way: cp_model.IntVar, cell: Cell, side: Cell) -> None:
        """A wire connects to nothing on a side: else it would not point across."""
        beside = add(cell, side)
        if beside in self.wire:
            self.model.add_implication(way, ~self.wire[beside])
        for other, between in ((add(beside, UP), add(cell, UP)), (add(beside, DOWN), beside)):
            if other in self.wire:
                self.model.add_bool_or([~way, ~self.wire[other], *self._conducts(between)])

    # ------------------------------------------------------------------ every wire is fed

    def _reach(self) -> None:
        """Each wire is a root or has its power from a neighbour, one level less."""
        into: dict[Cell, list[cp_model.IntVar]] = {c: [] for c in self.wire}
        for cell in self.wire:
            for side in _LEVEL:
                for other, needs in self._steps(cell, add(cell, side)):
                    if other not in self.wire:
                        continue
                    arc = self.model.new_bool_var("")
                    self.model.add_implication(arc, self.wire[cell])
                    self.model.add_implication(arc, self.wire[other])
                    for literals in needs:
                        self.model.add_bool_or([~arc, *literals])
                    self.model.add(self.level[other] > self.level[cell]).only_enforce_if(arc)
                    into[other].append(arc)
        for cell, arcs in into.items():
            self.model.add_bool_or([~self.wire[cell], self.root[cell], *arcs])

    def _steps(
        self, cell: Cell, beside: Cell
    ) -> Iterator[tuple[Cell, list[list[cp_model.IntVar]]]]:
        """The wires that power goes on to on one side, and what that needs."""
        yield beside, []
        yield add(beside, UP), [self._deaf(add(cell, UP))]
        yield add(beside, DOWN), [self._deaf(beside), self._conducts(add(cell, DOWN))]

    def _feed(self) -> None:
        """A root has a sensor beside it, and that one a cell to watch; a sensor joins its wire."""
        lifts = set(self.ground.lifts)
        for cell, root in self.root.items():
            self.model.add_implication(root, self.wire[cell])
            points = any(add(cell, side) in lifts for side in _LEVEL)
            ways = []
            for side in (UP,) if points else (*_LEVEL, UP):
                free = [self._empty(add(cell, scale(side, k))) for k in (1, 2)]
                if all(literals is not None for literals in free):
                    way = self.model.new_bool_var("")
                    for literal in (lit for literals in free for lit in literals or ()):
                        self.model.add_implication(way, ~literal)
                    ways.append(way)
            self.model.add_bool_or([~root, *ways])

    def _empty(self, cell: Cell) -> list[cp_model.IntVar] | None:
        """Literals that must be false if a sensor is to stand there; None: it cannot."""
        ground = self.ground
        if cell not in ground.diggable or cell in ground.parts or cell in ground.air:
            return None
        return [v[cell] for v in (self.wire, self.block, self.insulator) if cell in v]

    # ------------------------------------------------------------------ the best

    def _cost(self, root_cost: int) -> None:
        self.model.clear_objective()  # type: ignore[no-untyped-call]
        parts = [v for kind in (self.wire, self.block, self.insulator) for v in kind.values()]
        self.model.minimize(
            PART_COST * sum(parts) + root_cost * sum(self.root.values()) + sum(self.dug.values())
        )

    def solve(self) -> Iterator[Woven]:
        """Lines, each better than the last; none if none was found."""
        kinds = {
            "wire": self.wire,
            "block": self.block,
            "insulator": self.insulator,
            "dug": self.dug,
        }
        for kind, variables in kinds.items():
            for cell, variable in variables.items():
                if self.region is None or cell in self.region:
                    self.model.add_hint(variable, self._usual(kind, cell))
        solver = self._run(FIRST, first=True)
        if solver is None:
            return
        for work, root_cost in self.ground.polish:
            self._cost(root_cost)
            self.model.clear_hints()  # type: ignore[no-untyped-call]
            for index in range(len(self.model.proto.variables)):
                variable = self.model.get_int_var_from_proto_index(index)
                self.model.add_hint(variable, solver.value(variable))
            better = self._run(work, first=False)
            solver = better or solver
            yield self._read(solver)

    def _read(self, solver: cp_model.CpSolver) -> Woven:
        """What stands where and what is dug."""
        at: dict[Cell, Kind] = {}
        named: tuple[tuple[Kind, dict[Cell, cp_model.IntVar]], ...] = (
            ("wire", self.wire),
            ("block", self.block),
            ("insulator", self.insulator),
        )
        for name, variables in named:
            at |= {cell: name for cell, variable in variables.items() if solver.value(variable)}
        return at, {cell for cell, variable in self.dug.items() if solver.value(variable)}

    def _run(self, work: float, *, first: bool) -> cp_model.CpSolver | None:
        solver = self.cp.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 0
        solver.parameters.stop_after_first_solution = first
        solver.parameters.max_deterministic_time = work
        found = solver.solve(self.model) in (self.cp.OPTIMAL, self.cp.FEASIBLE)
        return solver if found else None
