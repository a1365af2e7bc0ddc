"""Phases 2 and 3 of a half-tick: rams start strokes, strokes come to rest.

In each round all rams that can start plan on the same state and start together; rounds repeat
until none starts. Power is that of the end of phase 1 throughout. So no order of the rams
matters, except where two plans clash, and that is a fault.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from models.geometry import Cell, step
from models.parts import RAMS
from solver.simulate.circuit import Circuit, Ram, Stroke
from solver.simulate.journal import Journal
from solver.simulate.world import World


@dataclass(slots=True)
class Plan:
    """A stroke that can start now."""

    index: int
    ram: Ram
    extend: bool
    blocks: list[int] = field(default_factory=list)
    """The blocks that it moves, the nearest first."""
    fills: Cell | None = None
    """The cell that was empty before."""
    put_down: int = -1
    """The block that a stroke cut short leaves where it is."""
    passed_by: int = -1
    """A moving block that a grip ram would draw if only it rested."""
    drags: Cell | None = None
    """Something other than tape that a grip ram draws at."""


@dataclass(frozen=True, slots=True)
class Blocked:
    """A stroke that cannot start now: because of which cell, why, and whether that is a fault."""

    cell: Cell
    why: str
    wrong: bool = False
    overload: bool = False
    """Whether there are more blocks in line than a ram can push."""


class Strokes:
    """All rams: those that may start, and those under way."""

    def __init__(
        self, circuit: Circuit, world: World, journal: Journal, *, reverse: bool = False
    ) -> None:
        self.circuit = circuit
        self.world = world
        self.journal = journal
        self.reverse = reverse
        self.ready: set[int] = set()
        """Rams whose power or surroundings may ask for a stroke."""
        self.stale: set[Cell] = set()
        """Cells that tape came to, left, or came to rest in during this phase."""
        self.overloads: dict[int, tuple[int, Cell]] = {}
        """Rams that had too many blocks in front since the last press: when first, and which."""
        self._length = world.machine.rules.stroke_half_ticks
        self._push_limit = world.machine.rules.push_limit
        self._ram_ends: dict[int, list[tuple[int, Stroke]]] = {}
        self._tape_ends: dict[int, list[int]] = {}

    def idle(self) -> bool:
        """Whether nothing moves and no ram can start."""
        if self._ram_ends or self._tape_ends:
            return False
        return not any(isinstance(self._plan(index), Plan) for index in self.ready)

    def due(self) -> frozenset[tuple[object, ...]]:
        """The strokes under way, each with the half-ticks left."""
        now = self.journal.now
        return frozenset(
            ("ram", when - now, *item) for when, items in self._ram_ends.items() for item in items
        )

    # ---------------------------------------------------------------- planning

    def _plan(self, index: int) -> Plan | Blocked | None:
        """What a ram would do now; None if it is as its power wants it, or on its way back."""
        ram = self.circuit.rams[index]
        if ram.count > 0:
            return self._plan_extension(index, ram) if ram.state == Stroke.IN else None
        if ram.state in (Stroke.EXTENDING, Stroke.OUT):
            return self._plan_retraction(index, ram)
        return None

    def _plan_extension(self, index: int, ram: Ram) -> Plan | Blocked:
        world = self.world
        plan = Plan(index, ram, extend=True)
        cell = step(ram.at, ram.face)
        while cell in world.tape:
            block = world.tape[cell]
            if block in world.moving:
                return Blocked(cell, "tape in transit")
            if len(plan.blocks) == self._push_limit:
                return Blocked(cell, "one block too many", overload=True)
            plan.blocks.append(block)
            cell = step(cell, ram.face)
        plan.fills = cell
        if cell in world.heads:
            return Blocked(cell, "the head of a ram")
        part = world.part_at.get(cell)
        if part is None:
            return Blocked(cell, "the ground", wrong=True) if world.is_ground(cell) else plan
        if part.kind in RAMS and not self._is_in(cell):
            return Blocked(cell, "a ram that is not in")
        return Blocked(cell, f"a {part.kind}", wrong=True)

    def _plan_retraction(self, index: int, ram: Ram) -> Plan:
        plan = Plan(index, ram, extend=False)
        if not ram.grip:
            return plan
        world, far = self.world, step(ram.at, ram.face, 2)
        block = world.tape.get(far)
        if block is not None:
            if block not in world.moving:
                plan.blocks = [block]
            elif block == ram.pushed:
                plan.put_down = block
            else:
                plan.passed_by = block
        elif far not in world.heads:
            part = world.part_at.get(far)
            if part is None:
                plan.drags = far if world.is_ground(far) else None
            elif part.kind not in RAMS or self._is_in(far):
                plan.drags = far
        return plan

    def _is_in(self, cell: Cell) -> bool:
        return self.circuit.rams[self.circuit.ram_at[cell]].state == Stroke.IN

    # ---------------------------------------------------------------- phase 2

    def start(self) -> None:
        """Phase 2: rams start strokes, round after round until none can."""
        while self.ready:
            plans: list[Plan] = []
            waiting: set[int] = set()
            for index in sorted(self.ready, reverse=self.reverse):
                plan = self._plan(index)
                if isinstance(plan, Plan):
                    plans.append(plan)
                elif plan is not None:
                    waiting.add(index)
                    self._note_blocked(index, plan)
            kept = self._without_clashes(plans)
            self.ready = waiting
            if not kept:
                return
            if len(kept) < len(plans):
                self.ready.update({p.index for p in plans} - {p.index for p in kept})
            for plan in kept:
                self._begin(plan)

    def _note_blocked(self, index: int, blocked: Blocked) -> None:
        if blocked.overload:
            self.overloads.setdefault(index, (self.journal.now, blocked.cell))
        if blocked.wrong:
            at = self.circuit.rams[index].at
            text = f"a ram strokes into {blocked.why}"
            self.journal.fault("stroke into part", (at, blocked.cell), text)

    def _without_clashes(self, plans: list[Plan]) -> list[Plan]:
        """The plans that can go together; one that clashes with an earlier one is a fault."""
        if len(plans) < 2:
            return plans
        kept: list[Plan] = []
        movers: dict[int, Plan] = {}
        passers: dict[int, list[Plan]] = {}
        fillers: dict[Cell, Plan] = {}
        for plan in plans:
            moves = [*plan.blocks, plan.put_down] if plan.put_down >= 0 else plan.blocks
            rivals = [movers[b] for b in (*moves, plan.passed_by) if b in movers]
            rivals += [rival for b in moves for rival in passers.get(b, ())]
            if rivals:
                first = min(rivals, key=kept.index)
                cells = (first.ram.at, plan.ram.at)
                self.journal.fault("moved twice", cells, "two rams move one block at once")
            elif plan.fills in fillers:
                cells = (fillers[plan.fills].ram.at, plan.ram.at)
                self.journal.fault("two in one cell", cells, "two rams fill one cell at once")
            else:
                kept.append(plan)
                movers.update(dict.fromkeys(moves, plan))
                if plan.passed_by >= 0:
                    passers.setdefault(plan.passed_by, []).append(plan)
                if plan.fills is not None:
                    fillers[plan.fills] = plan
        return kept

    def _begin(self, plan: Plan) -> None:
        ram, end = plan.ram, self.journal.now + self._length - 1
        head = step(ram.at, ram.face)
        if plan.extend:
            ram.state = Stroke.EXTENDING
            ram.pushed = plan.blocks[0] if plan.blocks else -1
            self.world.heads[head] = plan.index
            self._move(reversed(plan.blocks), ram, 1, end)
        else:
            ram.state = Stroke.RETRACTING
            ram.pushed = -1
            del self.world.heads[head]
            self._move(plan.blocks, ram, -1, end)
            if plan.put_down >= 0:
                self._rest(plan.put_down)
            if plan.drags is not None:
                part = self.world.part_at.get(plan.drags)
                what = f"a {part.kind}" if part else "the ground"
                cells = (ram.at, plan.drags)
                self.journal.fault("drags a part", cells, f"a grip ram drags {what}")
        self.world.changed.add(ram.at)
        self.world.changed.add(head)
        self.journal.note("ram", plan.index, int(ram.state))
        self._ram_ends.setdefault(end, []).append((plan.index, ram.state))

    def _move(self, blocks: Iterable[int], ram: Ram, by: int, end: int) -> None:
        world = self.world
        for block in blocks:
            to = step(world.block_at[block], ram.face, by)
            self.stale.add(world.move(block, to, end))
            self.stale.add(to)
            self._tape_ends.setdefault(end, []).append(block)
            self.journal.note("tape", block, (to, True))

    def _rest(self, block: int) -> None:
        del self.world.moving[block]
        cell = self.world.block_at[block]
        self.stale.add(cell)
        self.world.changed.add(cell)
        self.journal.note("tape", block, (cell, False))

    # ---------------------------------------------------------------- phase 3

    def end(self) -> None:
        """Phase 3: strokes that are over come to rest."""
        now = self.journal.now
        for block in self._tape_ends.pop(now, ()):
            if self.world.moving.get(block) == now:
                self._rest(block)
        for index, state in self._ram_ends.pop(now, ()):
            ram = self.circuit.rams[index]
            if ram.state != state:
                continue  # This stroke was cut short.
            if state == Stroke.EXTENDING:
                ram.state = Stroke.OUT
                self.world.changed.add(step(ram.at, ram.face))
            else:
                ram.state = Stroke.IN
            ram.pushed = -1
            self.ready.add(index)
            self.world.changed.add(ram.at)
            self.journal.note("ram", index, int(ram.state))
