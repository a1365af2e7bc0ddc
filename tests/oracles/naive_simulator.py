"""A slow simulator of the block world that is meant to be obviously right.

It is written from the rules of the world alone and shares nothing with the simulator it is
compared with, except the nouns (cells, parts, rule set). Whenever something may have changed,
everything is worked out again from scratch: all sources, all wires to a fixed point, all rams.

Where the rules leave room, this is how they are read here:

 1. *Parts look at the end of a phase.* Buffers and inverters notice that their input disagrees
    with their output after each of the three phases of a half-tick, as sensors do; what
    flickers inside a phase is never seen. Noticed in half-tick t, a part with delay d
    ticks is due in half-tick t + 2d, whichever phase the change fell into.
 2. *Buffers.* One due time at a time. Due and off: it switches on whatever it reads, and if it
    read nothing as the half-tick began it is due again, to go off, 2d later. Due and on: it goes
    off if it read nothing as the half-tick began, otherwise it stays on (a gap swallowed).
 3. *Inverters.* One due time at a time; when due it takes the opposite of what it reads after
    buffers, sensors and buttons have changed. So a 1-tick pulse made by those is ignored, one of
    1 1/2 ticks is not, and one made by another inverter or by moving tape need not be.
 4. *A press* takes effect in phase 1 of the next half-tick and lasts 2 * press half-ticks.
    Pressing a pressed button does nothing.
 5. *Sensors* compare what they see with what they saw at their last look. One that goes off in
    phase 1 sees a change of the same phase (it is off and idle when it looks); one that goes on
    in phase 1 does not. Changes while it is on or waiting are looked at and forgotten. On in
    half-tick t + 2 for a change in t, off in t + 4.
 6. *What a sensor sees* of its cell: the level of a wire; on/off of an inverter, buffer, sensor or
    button; which of its four states a ram is in; whether a head is there and whether it moves;
    which tape block is there and whether it moves. It does not see the power of a block.
 7. *In transit.* What moves is in its new cell from the start of the stroke; the old cell is free
    at once. A moving tape block conducts nothing and cannot be moved. A retracting ram's own
    cell counts as in transit (others wait for it), an extending or extended ram makes others
    wait too, a ram at rest `in` is a part like any other: stroking into it is a fault.
 8. *Phase 2* uses the power at the end of phase 1 throughout. In each round all rams that
    can start plan on the same state and start together; rounds repeat until none starts. Two
    plans that move one block, or fill one cell, are a fault; the lower cell then goes first.
    So is a grip ram that would draw a block which another one puts down in the same round: which
    of the two goes first would decide. Without such a fault no order of the rams matters.
 9. *Grip rams* hold any part, cover or ground two cells ahead (drawing one is a fault), but
    not heads, extended rams or moving things: then they return empty. Tape that lies at rest two
    ahead is drawn even in the middle of an extension. A block two ahead that this ram itself is
    still pushing is put down at rest at once and may be moved by another ram in a later round
    of the same half-tick; one that another ram is moving is left alone.
10. *A blocked ram* (something in transit, a head, an extended ram, a 13th block) simply tries
    again. The 13th block blocks before anything behind it is looked at. Waiting, even for ever,
    is no fault in itself; `waits` tells which rams waited since the last press, and why.
11. *Insulators and wire steps.* A wire beside an insulator connects to (and so points at) the
    wire on top of it, though no level comes down. A sensor counts as an insulator here.
12. *Overhead pickup* looks at all five other neighbours of the cell above the ram, also for a
    ram that faces up.
13. *Idle state.* Sensors and buttons off. Inverters (all lit at first) and buffers (off at first)
    take what they read, all together, until nothing changes; if that does not end, one after
    another in the order of the parts list; if that does not end either, the idle state
    oscillates: a fault, and the simulation starts after a single such sweep. Rams that are then
    powered rest extended, the others in; no tape is pushed by it. A ram that has no room for its
    head then is a fault; it starts in, and tries when the clock starts.
14. *Ground.* Every cell outside the room that is in no dug box and holds no part and is no cell
    of the tape is ground, the surface layer included. A cell that the tape has left is air.
15. *At rest*: nothing due, nothing moving, no ram able to start. A fault is recorded once
    between two presses, however many half-ticks it lasts.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any, Literal

from models.geometry import FACES, HORIZONTAL, OPPOSITE, Box, Cell, Face, step
from models.parts import CONDUCTIVE, FULL, RAMS, Part
from models.rules import Rules

Fault = tuple[int, str, tuple[Cell, ...]]
RamState = Literal["in", "extending", "out", "retracting"]
SWITCHES = frozenset({"inverter", "buffer", "sensor", "button"})


@dataclass
class Ground:
    """Tells which cells are ground if nothing else is in them; it never changes."""

    present: bool
    room: Box
    dug: tuple[Box, ...]
    tape_cells: frozenset[Cell]
    known: dict[Cell, bool] = field(default_factory=dict)

    def __contains__(self, cell: Cell) -> bool:
        if cell not in self.known:
            hollow = (self.room, *self.dug)
            free = cell in self.tape_cells or any(cell in box for box in hollow)
            self.known[cell] = self.present and not free
        return self.known[cell]


@dataclass
class Ram:
    """What a ram is doing, and the half-tick in whose phase 3 it is done."""

    part: Part
    face: Face
    state: RamState = "in"
    end: int = 0


@dataclass
class Block:
    """A tape block: where it is, until when it moves, and which ram is pushing it."""

    cell: Cell
    end: int | None = None
    pushed_by: Cell | None = None


@dataclass
class Power:
    """All power there is at one moment."""

    strong: set[Cell] = field(default_factory=set)
    weak: set[Cell] = field(default_factory=set)
    levels: dict[Cell, int] = field(default_factory=dict)


@dataclass
class Plan:
    """A stroke that can start now: the blocks it moves, the one it puts down, the moving one
    that it would draw if only that rested, a fault it makes."""

    ram: Ram
    extend: bool
    moves: dict[int, Cell] = field(default_factory=dict)
    put_down: int | None = None
    passed_by: int | None = None
    drags: Cell | None = None

    def clashes(self, other: Plan) -> bool:
        """Whether one of the two moves or puts down a block that the other one is after."""
        mine, yours = ({*p.moves, p.put_down} - {None} for p in (self, other))
        return bool(mine & yours) or self.passed_by in yours or other.passed_by in mine

    def fills(self) -> list[Cell]:
        """The cells that nothing was in before and something is in afterwards."""
        if not self.extend:
            return []
        return [step(self.ram.part.at, self.ram.face, len(self.moves) + 1)]


@dataclass(frozen=True)
class Blocked:
    """A stroke that cannot start: why, because of which cell, and whether that is a fault."""

    why: str
    cell: Cell
    fault: bool = False


class NaiveWorld:
    """A machine in its world, advanced half-tick by half-tick."""

    def __init__(self, machine: dict[str, Any], *, overhead: bool, ground: bool) -> None:
        known = {k: v for k, v in machine.get("rules", {}).items() if k in Rules.model_fields}
        self.rules = Rules(**known)
        self.overhead = overhead
        self.time = 0
        self.faults: list[Fault] = []
        self.waits: dict[tuple[Cell, str], int] = {}
        """Since the last press: the rams that could not start, why, and since when."""
        self._told: set[tuple[str, tuple[Cell, ...]]] = set()
        self.part_list = [_part(entry) for entry in machine["parts"]]
        self.parts: dict[Cell, Part] = {part.at: part for part in self.part_list}
        loops = [machine["tape"], *machine.get("more_loops", [])]
        self.tape_cells: list[Cell] = [_cell(c) for loop in loops for c in loop]
        self.blocks = [Block(cell) for cell in self.tape_cells]
        width, length, height = machine["room"]
        room = Box((0, 0, 0), (width - 1, length - 1, height - 1))
        dug = tuple(Box(_cell(b["min"]), _cell(b["max"])) for b in machine.get("dug", []))
        self.ground = Ground(ground, room, dug, frozenset(self.tape_cells))
        self.rams = {p.at: Ram(p, _face(p)) for p in self.part_list if p.kind in RAMS}
        self.on = {p.at: p.kind == "inverter" for p in self.part_list if p.kind in SWITCHES}
        self.due: dict[Cell, int] = {}
        self.forced: list[tuple[Cell, int, int]] = []
        self._check_parts()
        self._settle()
        self._check_cells()
        self.seen = self._views(self._power())
        self._notice(self._power())

    # ---- what the outside can do -------------------------------------------------------

    def press(self, only: Cell | None = None) -> None:
        """Press every button (or only one); they go on in the next half-tick."""
        self._told.clear()
        self.waits.clear()
        for part in self.part_list:
            wanted = part.kind == "button" and only in (None, part.at)
            if wanted and part.at not in self.due:
                self.due[part.at] = self.time + 1

    def set_source(self, cell: Cell, start: int, end: int) -> None:
        """Force power into a cell in the half-ticks start <= t < end, whatever is in it."""
        self.forced.append((cell, start, end))

    def step(self) -> None:
        """One half-tick."""
        before = self._power()
        self.time += 1
        self._switch(before)
        self._look()
        self._start_strokes()
        self._look()
        self._end_strokes()
        self._look()

    def snapshot(self) -> dict[str, Any]:
        """The visible state of everything that can change."""
        return {
            "wires": dict(self._power().levels),
            "on": {cell for cell, on in self.on.items() if on},
            "rams": {cell: ram.state for cell, ram in self.rams.items()},
            "tape": {i: (b.cell, b.end is None) for i, b in enumerate(self.blocks)},
        }

    def resting(self) -> bool:
        """Whether nothing will ever happen again unless someone presses."""
        moving = any(ram.state in ("extending", "retracting") for ram in self.rams.values())
        moving = moving or any(block.end is not None for block in self.blocks)
        scripted = any(self.time < end for _, _, end in self.forced)
        if self.due or moving or scripted:
            return False
        return not any(isinstance(p, Plan) for p in self._plans(self._powered_rams()).values())

    # ---- what is where -----------------------------------------------------------------

    def _block_at(self, cell: Cell) -> int | None:
        for index, block in enumerate(self.blocks):
            if block.cell == cell:
                return index
        return None

    def _head_at(self, cell: Cell) -> Ram | None:
        for ram in self.rams.values():
            if ram.state in ("extending", "out") and step(ram.part.at, ram.face) == cell:
                return ram
        return None

    def _kind(self, cell: Cell) -> str:
        part = self.parts.get(cell)
        return part.kind if part else ""

    def _conductive(self, cell: Cell) -> bool:
        if cell in self.parts:
            return self._kind(cell) in CONDUCTIVE
        index = self._block_at(cell)
        if index is not None:
            return self.blocks[index].end is None
        return cell in self.ground

    def _full(self, cell: Cell) -> bool:
        return self._kind(cell) in FULL or (cell not in self.parts and cell in self.ground)

    # ---- power -------------------------------------------------------------------------

    def _power(self) -> Power:
        """All power, from scratch: strong power, wires to their fixed point, weak power."""
        power = Power()
        power.strong = {c for p in self.part_list for c in self._strongly_powers(p)}
        power.strong |= {c for c, a, b in self.forced if a <= self.time < b}
        power.strong = {c for c in power.strong if self._conductive(c)}
        wires = [part.at for part in self.part_list if part.kind == "wire"]
        full = {wire for wire in wires if self._fed(wire, power)}
        feeders = {wire: self._feeders(wire) for wire in wires}
        power.levels = dict.fromkeys(wires, 0)
        changed = True
        while changed:
            levels = {w: max([1, *(power.levels[n] for n in feeders[w])]) - 1 for w in wires}
            levels.update(dict.fromkeys(full, self.rules.reach))
            changed = levels != power.levels
            power.levels = levels
        for wire in wires:
            if power.levels[wire] > 0:
                reached = [step(wire, f) for f in self._points(wire)] + [step(wire, "-z")]
                power.weak |= {c for c in reached if self._conductive(c)}
        return power

    def _strongly_powers(self, part: Part) -> list[Cell]:
        """The cells in which this part, if it is on, would power a block strongly."""
        if part.kind not in SWITCHES or not self.on[part.at]:
            return []
        face = _face(part)
        if part.kind == "sensor":
            return [step(part.at, OPPOSITE[face])]
        if part.kind == "inverter":
            return [] if face == "+z" else [step(part.at, "+z")]
        return [step(part.at, face)]

    def _source_powers(self, source: Cell, target: Cell) -> bool:
        """Whether the part in `source` is a source that powers a part in the next cell `target`."""
        part = self.parts.get(source)
        if part is None or part.kind not in SWITCHES or not self.on[source]:
            return False
        face = _face(part)
        if part.kind == "sensor":
            return step(source, OPPOSITE[face]) == target
        if part.kind == "buffer":
            return step(source, face) == target
        if part.kind == "inverter":
            return step(source, face) != target
        return True

    def _forced_on(self, cell: Cell) -> bool:
        return any(c == cell and a <= self.time < b for c, a, b in self.forced)

    def _fed(self, wire: Cell, power: Power) -> bool:
        """Whether a source or a strongly powered block is next to a wire."""
        sides = [step(wire, face) for face in FACES]
        near = any(n in power.strong or self._source_powers(n, wire) for n in sides)
        return near or self._forced_on(wire)

    def _feeders(self, wire: Cell) -> list[Cell]:
        """The wires whose level reaches this one: not one that comes down from an insulator."""
        joined = [n for face in HORIZONTAL for n in self._wire_neighbours(wire, face)]
        return [n for n in joined if n[2] <= wire[2] or self._conductive(step(n, "-z"))]

    def _wire_neighbours(self, wire: Cell, face: Face) -> list[Cell]:
        """The wires that a wire connects to on one side: level, one up, one down."""
        side = step(wire, face)
        above, below = step(side, "+z"), step(side, "-z")
        cells = [side] if self._kind(side) == "wire" else []
        if self._kind(above) == "wire" and not self._conductive(step(wire, "+z")):
            cells.append(above)
        if self._kind(below) == "wire" and not self._conductive(side):
            cells.append(below)
        return cells

    def _points(self, wire: Cell) -> list[Face]:
        """The horizontal directions in which a wire points."""
        joined = {face for face in HORIZONTAL if self._connects(wire, face)}
        if not joined:
            return list(HORIZONTAL)
        if joined <= {"+x", "-x"}:
            return ["+x", "-x"]
        if joined <= {"+y", "-y"}:
            return ["+y", "-y"]
        return sorted(joined)

    def _connects(self, wire: Cell, face: Face) -> bool:
        if self._wire_neighbours(wire, face):
            return True
        part = self.parts.get(step(wire, face))
        if part is None:
            return False
        if part.kind in ("inverter", "button"):
            return True
        if part.kind == "buffer":
            return part.face in (face, OPPOSITE[face])
        return part.kind == "sensor" and step(part.at, OPPOSITE[_face(part)]) == wire

    def _powers(self, n: Cell, target: Cell, power: Power) -> bool:
        """Whether a part in `target` reads power from the neighbouring cell `n`."""
        if self._conductive(n):
            return n in power.strong or n in power.weak
        if self._kind(n) == "wire":
            if power.levels[n] == 0:
                return False
            below = step(n, "-z") == target
            return below or any(step(n, face) == target for face in self._points(n))
        return self._source_powers(n, target)

    def _ram_powered(self, ram: Ram, power: Power) -> bool:
        at = ram.part.at
        if self._forced_on(at):
            return True
        if any(self._powers(step(at, f), at, power) for f in FACES if f != ram.face):
            return True
        above = step(at, "+z")
        return self.overhead and any(
            self._powers(step(above, f), above, power) for f in FACES if f != "-z"
        )

    def _reads(self, part: Part, power: Power) -> bool:
        """What a buffer or an inverter reads."""
        if part.kind == "inverter":
            mount = step(part.at, _face(part))
            return self._conductive(mount) and self._powers(mount, part.at, power)
        behind = step(part.at, OPPOSITE[_face(part)])
        if self._kind(behind) == "wire":
            return power.levels[behind] > 0
        return self._powers(behind, part.at, power)

    # ---- phase 1: switching ------------------------------------------------------------

    def _due(self, kind: str) -> list[Part]:
        parts = [p for p in self.part_list if p.kind == kind and self.due.get(p.at) == self.time]
        for part in parts:
            del self.due[part.at]
        return parts

    def _switch(self, before: Power) -> None:
        """Buffers go by the power `before` the half-tick, inverters by that after the others."""
        reads = {p.at: self._reads(p, before) for p in self.part_list if p.kind == "buffer"}
        for part in self._due("buffer"):
            was_on = self.on[part.at]
            self.on[part.at] = reads[part.at] or not was_on
            if not was_on and not reads[part.at]:
                self.due[part.at] = self.time + self._delay(part)
        for part in self._due("sensor"):
            self.on[part.at] = not self.on[part.at]
            if self.on[part.at]:
                self.due[part.at] = self.time + 2 * self.rules.sensor_pulse
        for part in self._due("button"):
            self.on[part.at] = not self.on[part.at]
            if self.on[part.at]:
                self.due[part.at] = self.time + 2 * (part.press or self.rules.press)
        power = self._power()
        inverters = self._due("inverter")
        lit = {part.at: not self._reads(part, power) for part in inverters}
        self.on.update(lit)

    def _delay(self, part: Part) -> int:
        """The delay of a buffer or an inverter in half-ticks."""
        if part.kind == "inverter":
            return 2 * self.rules.inverter_delay
        return 2 * (part.delay or 1)

    def _notice(self, power: Power) -> None:
        """Buffers and inverters whose output is not what it should be become due."""
        for part in self.part_list:
            if part.kind not in ("buffer", "inverter") or part.at in self.due:
                continue
            if self.on[part.at] != (self._reads(part, power) != (part.kind == "inverter")):
                self.due[part.at] = self.time + self._delay(part)

    # ---- sensors -----------------------------------------------------------------------

    def _views(self, power: Power) -> dict[Cell, tuple[object, ...]]:
        watched = [step(p.at, _face(p)) for p in self.part_list if p.kind == "sensor"]
        return {cell: self._view(cell, power) for cell in watched}

    def _view(self, cell: Cell, power: Power) -> tuple[object, ...]:
        """Everything a sensor can see of a cell."""
        head = self._head_at(cell)
        index = self._block_at(cell)
        return (
            power.levels.get(cell),
            self.on.get(cell),
            self.rams[cell].state if cell in self.rams else None,
            (head.part.at, head.state) if head else None,
            (index, self.blocks[index].end is None) if index is not None else None,
        )

    def _look(self) -> None:
        """The end of a phase: sensors look, buffers and inverters notice."""
        power = self._power()
        now = self._views(power)
        for part in self.part_list:
            if part.kind != "sensor" or self.on[part.at] or part.at in self.due:
                continue
            cell = step(part.at, _face(part))
            if now[cell] != self.seen[cell]:
                self.due[part.at] = self.time + 2 * self.rules.sensor_delay
        self.seen = now
        self._notice(power)

    # ---- phases 2 and 3: strokes -------------------------------------------------------

    def _powered_rams(self) -> set[Cell]:
        power = self._power()
        return {cell for cell, ram in self.rams.items() if self._ram_powered(ram, power)}

    def _plans(self, powered: set[Cell]) -> dict[Cell, Plan | Blocked]:
        """What every ram that wants to do something would do now."""
        plans: dict[Cell, Plan | Blocked] = {}
        for cell in sorted(self.rams):
            ram = self.rams[cell]
            if cell in powered and ram.state == "in":
                plans[cell] = self._plan_extension(ram)
            elif cell not in powered and ram.state in ("extending", "out"):
                plans[cell] = self._plan_retraction(ram)
        return plans

    def _plan_extension(self, ram: Ram) -> Plan | Blocked:
        plan = Plan(ram, extend=True)
        cell = step(ram.part.at, ram.face)
        while True:
            index = self._block_at(cell)
            if index is None:
                break
            if self.blocks[index].end is not None:
                return Blocked("transit", cell)
            if len(plan.moves) == self.rules.push_limit:
                return Blocked("push-limit", cell)
            cell = step(cell, ram.face)
            plan.moves[index] = cell
        if self._head_at(cell):
            return Blocked("head", cell)
        if cell in self.rams and self.rams[cell].state != "in":
            return Blocked("ram", cell)
        if cell in self.parts or cell in self.ground:
            return Blocked("shoves", cell, fault=True)
        return plan

    def _plan_retraction(self, ram: Ram) -> Plan:
        plan = Plan(ram, extend=False)
        if ram.part.kind == "push_ram":
            return plan
        front, ahead = step(ram.part.at, ram.face), step(ram.part.at, ram.face, 2)
        index = self._block_at(ahead)
        if index is not None:
            block = self.blocks[index]
            if block.end is None:
                plan.moves[index] = front
            elif block.pushed_by == ram.part.at:
                plan.put_down = index
            else:
                plan.passed_by = index
        elif self._head_at(ahead) is None:
            busy = ahead in self.rams and self.rams[ahead].state != "in"
            if not busy and (ahead in self.parts or ahead in self.ground):
                plan.drags = ahead
        return plan

    def _start_strokes(self) -> None:
        powered = self._powered_rams()
        while True:
            plans = self._plans(powered)
            blocked = {c: p for c, p in plans.items() if isinstance(p, Blocked)}
            for cell, plan in blocked.items():
                if plan.fault:
                    self._fault(plan.why, cell, plan.cell)
            ready = self._without_clashes([p for p in plans.values() if isinstance(p, Plan)])
            if not ready:
                break
            for stroke in ready:
                self._start(stroke)
        for cell, plan in blocked.items():
            self.waits.setdefault((cell, plan.why), self.time)

    def _without_clashes(self, plans: list[Plan]) -> list[Plan]:
        """The plans that can go together; those that clash with an earlier one are faults."""
        kept: list[Plan] = []
        for plan in plans:
            rival = next((k for k in kept if k.clashes(plan)), None)
            crowd = next((k for k in kept if set(k.fills()) & set(plan.fills())), None)
            if rival:
                self._fault("moved-twice", rival.ram.part.at, plan.ram.part.at)
            elif crowd:
                self._fault("two-in-one-cell", crowd.ram.part.at, plan.ram.part.at)
            else:
                kept.append(plan)
        return kept

    def _start(self, plan: Plan) -> None:
        end = self.time + self.rules.stroke_half_ticks - 1
        at = plan.ram.part.at
        plan.ram.state = "extending" if plan.extend else "retracting"
        plan.ram.end = end
        for index, cell in plan.moves.items():
            self.blocks[index] = Block(cell, end, at if plan.extend else None)
        if plan.put_down is not None:
            self.blocks[plan.put_down] = Block(self.blocks[plan.put_down].cell)
        if plan.drags is not None:
            self._fault("drags", at, plan.drags)

    def _end_strokes(self) -> None:
        for ram in self.rams.values():
            if ram.state in ("extending", "retracting") and ram.end == self.time:
                ram.state = "out" if ram.state == "extending" else "in"
        for index, block in enumerate(self.blocks):
            if block.end == self.time:
                self.blocks[index] = Block(block.cell)

    # ---- the start, and faults ---------------------------------------------------------

    def _fault(self, code: str, *cells: Cell) -> None:
        if (code, cells) not in self._told:
            self._told.add((code, cells))
            self.faults.append((self.time, code, cells))

    def _check_parts(self) -> None:
        """Faces that a part may not have, and parts without their support."""
        for part in self.part_list:
            down_or_level = part.face == "-z" or part.face in HORIZONTAL
            if part.kind == "inverter" and not down_or_level:
                self._fault("bad-face", part.at)
            if part.kind == "buffer" and part.face not in HORIZONTAL:
                self._fault("bad-face", part.at)
            support: Cell | None = None
            if part.kind in ("wire", "buffer"):
                support = step(part.at, "-z")
            elif part.kind in ("inverter", "button"):
                support = step(part.at, _face(part))
            if support is not None and not self._full(support):
                self._fault("no-support", part.at, support)

    def _check_cells(self) -> None:
        """Two things in one cell at the start."""
        count = Counter([p.at for p in self.part_list] + self.tape_cells)
        for cell in sorted(count):
            if count[cell] > 1:
                self._fault("two-in-one-cell", cell)

    def _settle(self) -> None:
        logic = [p for p in self.part_list if p.kind in ("inverter", "buffer")]
        stable = self._settle_together(logic) or self._settle_in_turn(logic)
        if not stable:
            self._fault("idle-oscillates")
            self._reset(logic)
            self._sweep(logic)
        power = self._power()
        for cell in sorted(self.rams):
            ram = self.rams[cell]
            if self._ram_powered(ram, power):
                self._rest_extended(ram)

    def _rest_extended(self, ram: Ram) -> None:
        head = step(ram.part.at, ram.face)
        taken = head in self.parts or head in self.ground or self._block_at(head) is not None
        if taken or self._head_at(head):
            self._fault("two-in-one-cell", ram.part.at, head)
        else:
            ram.state = "out"

    def _reset(self, logic: list[Part]) -> None:
        self.on.update({p.at: p.kind == "inverter" for p in logic})

    def _settle_together(self, logic: list[Part]) -> bool:
        self._reset(logic)
        for _ in range(2 * len(logic) + 2):
            power = self._power()
            new = {p.at: self._reads(p, power) != (p.kind == "inverter") for p in logic}
            if all(self.on[cell] == on for cell, on in new.items()):
                return True
            self.on.update(new)
        return False

    def _settle_in_turn(self, logic: list[Part]) -> bool:
        self._reset(logic)
        return any(not self._sweep(logic) for _ in range(2 * len(logic) + 2))

    def _sweep(self, logic: list[Part]) -> bool:
        """Every logic part in turn takes what it reads; tells whether anything changed."""
        changed = False
        for part in logic:
            new = self._reads(part, self._power()) != (part.kind == "inverter")
            changed = changed or new != self.on[part.at]
            self.on[part.at] = new
        return changed


@dataclass(frozen=True)
class RunResult:
    """What came of a number of presses."""

    ok: bool
    faults: tuple[Fault, ...]
    half_ticks: tuple[int, ...]
    """Half-ticks from each press until the machine was at rest again."""
    waits: dict[tuple[Cell, str], int]
    """Rams that could not start at once during the last press, why, and since when."""


def run_presses(
    machine: dict[str, Any],
    n: int,
    *,
    overhead: bool,
    ground: bool,
    limit_half_ticks: int = 4000,
) -> RunResult:
    """Press `n` times, each time wait for rest, and check every block; stop at the first fault."""
    world = NaiveWorld(machine, overhead=overhead, ground=ground)
    durations: list[int] = []
    for press in range(1, n + 1):
        if world.faults:
            break
        began = world.time
        world.press()
        while not world.resting() and world.time - began < limit_half_ticks:
            world.step()
        if not world.resting():
            world.faults.append((world.time, "never-rests", ()))
            break
        durations.append(world.time - began)
        world.faults.extend(misplaced(world, press))
    faults = tuple(world.faults)
    return RunResult(not faults, faults, tuple(durations), dict(world.waits))


def misplaced(world: NaiveWorld, presses: int) -> list[Fault]:
    """The blocks that are not where they belong after that many presses."""
    cells = world.tape_cells
    faults: list[Fault] = []
    for index, block in enumerate(world.blocks):
        wanted = cells[(index + presses) % len(cells)]
        if block.cell not in cells:
            faults.append((world.time, "not-flush", (block.cell, wanted)))
        elif block.cell != wanted:
            faults.append((world.time, "not-advanced", (block.cell, wanted)))
    return faults


def _cell(numbers: list[int]) -> Cell:
    x, y, z = numbers
    return (x, y, z)


def _part(entry: dict[str, Any]) -> Part:
    return Part(
        kind=entry["kind"],
        at=_cell(entry["at"]),
        face=entry.get("face"),
        delay=entry.get("delay"),
        press=entry.get("press"),
    )


def _face(part: Part) -> Face:
    assert part.face is not None, f"{part.kind} at {part.at} has no face"
    return part.face
