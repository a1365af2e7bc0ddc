"""The rules of the block world as clauses, for the cells in and around a free box.

One choice per free cell, one copy of the power per half-tick. Written from the rules, not from
the simulator, which judges every design that comes out of here.
"""

from __future__ import annotations

from functools import cache

from models.geometry import FACES, OPPOSITE, Cell, Face, step
from models.parts import CONDUCTIVE, FULL, Kind, Part
from solver.design.clauses import FALSE, TRUE, Clauses
from solver.design.task import RAMS, Off, Task

Option = tuple[str, Face | None]
DELAYS = (1, 2, 3, 4)
RAM_CELLS = tuple(ram.at for ram in RAMS)


class Physics:
    """The formula of a task's world. Times run from -1 (at rest) to `horizon` - 1.

    With `like`, the same wiring once more, a delay of it off: what holds must hold in both.
    """

    def __init__(self, task: Task, like: Physics | None = None, off: Off | None = None) -> None:
        self.task = task
        self.off = off
        self.f: Clauses = Clauses() if like is None else like.f
        self.up = task.up
        self.down = OPPOSITE[task.up]
        self.level: tuple[Face, ...] = tuple(
            face for face in FACES if face not in (self.up, self.down)
        )
        self.times = range(-1, task.horizon)
        self.options: dict[Cell, dict[Option, int]] = {} if like is None else like.options
        self.delay: dict[Cell, dict[int, int]] = {} if like is None else like.delay
        self._state: dict[tuple[str, Cell, int], int] = {}
        if like is None:
            for cell in task.free:
                self._choose(cell)
            for cell in task.free:
                self._stand(cell)
        for cell in task.free:
            self._behave(cell)
        self._keep_tape_clear()
        self._keep_line()

    def _late(self, kind: Kind, cell: Cell) -> int:
        return 0 if self.off is None else self.off.late(kind, cell)

    # ---------------------------------------------------------------- choices

    def _choose(self, cell: Cell) -> None:
        options: list[Option] = [("air", None), ("block", None), ("insulator", None)]
        options.append(("wire", None))
        options += [("buffer", face) for face in self.level]
        options += [("inverter", face) for face in (self.down, *self.level)]
        options += [("sensor", face) for face in FACES if self._watchable(step(cell, face))]
        options = [option for option in options if option[0] in ("air", *self.task.kinds)]
        self.options[cell] = {option: self.f.new() for option in options}
        self.f.exactly_one(list(self.options[cell].values()))
        self.delay[cell] = {d: self.f.new() for d in DELAYS}
        self.f.exactly_one(list(self.delay[cell].values()))
        buffer = self.kind(cell, "buffer")
        # Without a buffer the delay means nothing: pin it, so that no design counts twice.
        self.f.add(buffer, self.delay[cell][1])

    def _watchable(self, cell: Cell) -> bool:
        if cell in self.task.changes or (self.task.watch_rams and cell in RAM_CELLS):
            return True
        return self.task.watch_own and cell in self.task.free

    def is_(self, cell: Cell, kind: str, face: Face | None = None) -> int:
        """The cell holds this part."""
        if cell in self.options:
            return self.options[cell].get((kind, face), FALSE)
        part = self.task.fixed.get(cell)
        if part is None:
            return FALSE
        return TRUE if part.kind == kind and (face is None or part.face == face) else FALSE

    @cache  # noqa: B019
    def kind(self, cell: Cell, *kinds: str) -> int:
        """The cell holds a part of one of these kinds."""
        if cell in self.options:
            chosen = [v for (k, _), v in self.options[cell].items() if k in kinds]
            return self.f.any(*chosen)
        part = self.task.fixed.get(cell)
        return TRUE if part is not None and part.kind in kinds else FALSE

    def conducts(self, cell: Cell) -> int:
        """The cell holds a block that passes power."""
        return self.kind(cell, *sorted(CONDUCTIVE))

    def full(self, cell: Cell) -> int:
        """Something can stand on or hang from the cell."""
        return self.kind(cell, *sorted(FULL))

    def _stand(self, cell: Cell) -> None:
        below = self.full(step(cell, self.down))
        self.f.imply([self.is_(cell, "wire")], below)
        for face in self.level:
            self.f.imply([self.is_(cell, "buffer", face)], below)
        for face in (self.down, *self.level):
            self.f.imply([self.is_(cell, "inverter", face)], self.full(step(cell, face)))

    # ---------------------------------------------------------------- power

    @cache  # noqa: B019
    def outlet(self, source: Cell, direction: Face, strong: bool) -> int:
        """What is in `source` gives its power in this direction; `strong`: to a block."""
        found = [
            self.is_(source, "buffer", direction),
            self.is_(source, "sensor", OPPOSITE[direction]),
        ]
        if not strong:
            found += [
                self.is_(source, "inverter", face)
                for face in (self.down, *self.level)
                if face != direction
            ]
        elif direction == self.up:
            found.append(self.kind(source, "inverter"))
        return self.f.any(*found)

    @cache  # noqa: B019
    def emits(self, source: Cell, direction: Face, t: int, strong: bool) -> int:
        """The part in `source` is on and gives power in this direction."""
        return self.f.all(self.on(source, t), self.outlet(source, direction, strong))

    @cache  # noqa: B019
    def strong(self, cell: Cell, t: int) -> int:
        """The cell is a block with strong power."""
        if self.conducts(cell) == FALSE:
            return FALSE
        found = [self.emits(step(cell, face), OPPOSITE[face], t, True) for face in FACES]
        return self.f.all(self.conducts(cell), self.f.any(*found))

    @cache  # noqa: B019
    def powered(self, cell: Cell, t: int) -> int:
        """The cell is a block with power."""
        if t in self.task.live.get(cell, ()) and self.task.fixed[cell].kind in CONDUCTIVE:
            return TRUE
        if self.conducts(cell) == FALSE:
            return FALSE
        found = [self.live(step(cell, self.up), t)]
        for face in self.level:
            beside = step(cell, face)
            if self.kind(beside, "wire") != FALSE:
                points = self.points(beside, OPPOSITE[face])
                found.append(self.f.all(self.live(beside, t), points))
        weak = self.f.all(self.conducts(cell), self.f.any(*found))
        return self.f.any(self.strong(cell, t), weak)

    @cache  # noqa: B019
    def connects(self, wire: Cell, face: Face) -> int:
        """A wire in this cell would connect to what is on that side."""
        n = step(wire, face)
        found = [
            self.is_(n, "wire"),
            self.f.all(self.is_(step(n, self.up), "wire"), -self.conducts(step(wire, self.up))),
            self.f.all(self.is_(step(n, self.down), "wire"), -self.conducts(n)),
            self.kind(n, "inverter"),
            self.is_(n, "buffer", face),
            self.is_(n, "buffer", OPPOSITE[face]),
            self.is_(n, "sensor", face),
        ]
        return self.f.any(*found)

    @cache  # noqa: B019
    def points(self, wire: Cell, face: Face) -> int:
        """A wire in this cell would point that way."""
        across = [side for side in self.level if side not in (face, OPPOSITE[face])]
        other_axis = self.f.any(*(self.connects(wire, side) for side in across))
        return self.f.any(self.connects(wire, face), -other_axis)

    def live(self, cell: Cell, t: int) -> int:
        """The cell holds a wire with power."""
        if cell in self.task.fixed:
            fixed = self.task.fixed[cell].kind == "wire"
            return TRUE if fixed and t in self.task.live.get(cell, ()) else FALSE
        return self._live(cell, t, self.task.wire_run - 1)

    @cache  # noqa: B019
    def _live(self, cell: Cell, t: int, run: int) -> int:
        wire = self.is_(cell, "wire")
        if wire == FALSE:
            return FALSE
        found = [self.seeded(cell, t)]
        if run > 0:
            for other, link in self.links(cell):
                if other in self.task.fixed:
                    found.append(self.f.all(link, self.live(other, t)))
                else:
                    found.append(self.f.all(link, self._live(other, t, run - 1)))
        return self.f.all(wire, self.f.any(*found))

    @cache  # noqa: B019
    def links(self, cell: Cell) -> tuple[tuple[Cell, int], ...]:
        """Wires from which level would come to a wire in this cell, and under which condition."""
        found: list[tuple[Cell, int]] = []
        for face in self.level:
            n = step(cell, face)
            above, below = step(n, self.up), step(n, self.down)
            found.append((n, self.is_(n, "wire")))
            clear = -self.conducts(step(cell, self.up))
            found.append((above, self.f.all(self.is_(above, "wire"), clear, self.conducts(n))))
            found.append((below, self.f.all(self.is_(below, "wire"), -self.conducts(n))))
        return tuple((other, link) for other, link in found if link != FALSE)

    @cache  # noqa: B019
    def seeded(self, cell: Cell, t: int) -> int:
        """A source or a strongly powered block is next to the cell."""
        found = []
        for face in FACES:
            n = step(cell, face)
            found.append(self.emits(n, OPPOSITE[face], t, False))
            found.append(self.strong(n, t))
        return self.f.any(*found)

    @cache  # noqa: B019
    def gives(self, source: Cell, direction: Face, t: int) -> int:
        """Whatever is in `source` powers a ram on that side."""
        found = [self.powered(source, t), self.emits(source, direction, t, False)]
        if direction == self.down:
            found.append(self.live(source, t))
        elif direction != self.up and self.kind(source, "wire") != FALSE:
            found.append(self.f.all(self.live(source, t), self.points(source, direction)))
        return self.f.any(*found)

    def ram_reads(self, ram: Part, t: int, overhead: bool) -> int:
        """The drive, or the line, powers the ram."""
        found = [
            self.gives(step(ram.at, face), OPPOSITE[face], t) for face in FACES if face != ram.face
        ]
        if overhead:
            above = step(ram.at, self.up)
            found += [
                self.gives(step(above, face), OPPOSITE[face], t)
                for face in FACES
                if face != self.down
            ]
        return self.f.any(*found)

    # ---------------------------------------------------------------- parts with a state

    def on(self, cell: Cell, t: int) -> int:
        """The buffer, inverter or sensor in the cell is on."""
        if cell not in self.options:
            return FALSE
        return self._var("on", cell, t)

    def _var(self, name: str, cell: Cell, t: int) -> int:
        key = (name, cell, t)
        if key not in self._state:
            self._state[key] = self.f.new()
        return self._state[key]

    def _behave(self, cell: Cell) -> None:
        buffer, inverter, sensor = (
            self.kind(cell, kind) for kind in ("buffer", "inverter", "sensor")
        )
        b = self._buffer(cell, buffer)
        i = self._inverter(cell, inverter)
        s = self._sensor(cell)
        for t in self.times:
            on = self._var("on", cell, t)
            self.f.imply([buffer, on], b[t])
            self.f.imply([buffer, b[t]], on)
            self.f.imply([inverter, on], i[t])
            self.f.imply([inverter, i[t]], on)
            self.f.imply([sensor, on], s[t])
            self.f.imply([sensor, s[t]], on)
            self.f.add(-on, buffer, inverter, sensor)
        last = self.task.horizon - 1
        self.f.imply([self._var("on", cell, last)], self._var("on", cell, -1))
        self.f.imply([self._var("on", cell, -1)], self._var("on", cell, last))

    def _buffer(self, cell: Cell, buffer: int) -> dict[int, int]:
        """Output of a buffer in the cell: one due time at a time."""
        f = self.f
        after = {d: 2 * d + self._late("buffer", cell) for d in DELAYS}
        reads = {t: self._buffer_reads(cell, t) for t in self.times}
        out = {-1: reads[-1]}
        begun = {-1: FALSE}
        for t in range(self.task.horizon):
            due = f.any(
                *(f.all(v, begun.get(t - after[d], FALSE)) for d, v in self.delay[cell].items())
            )
            busy = f.any(
                *(
                    f.all(v, f.any(*(begun.get(t - j, FALSE) for j in range(1, after[d]))))
                    for d, v in self.delay[cell].items()
                )
            )
            out[t] = f.choose(due, f.any(-out[t - 1], reads[t - 1]), out[t - 1])
            again = f.all(due, -out[t - 1], -reads[t - 1])
            wanted = f.any(f.differ(reads[t], out[t]), again)
            begun[t] = f.all(buffer, -busy, wanted)
        for d, v in self.delay[cell].items():
            for t in range(self.task.horizon - after[d], self.task.horizon):
                f.add(-v, -begun[t])  # nothing may still be due in the end
        return out

    def _buffer_reads(self, cell: Cell, t: int) -> int:
        found = []
        for face in self.level:
            behind = step(cell, OPPOSITE[face])
            power = self.f.any(
                self.powered(behind, t), self.emits(behind, face, t, False), self.live(behind, t)
            )
            found.append(self.f.all(self.is_(cell, "buffer", face), power))
        return self.f.any(*found)

    def _inverter(self, cell: Cell, inverter: int) -> dict[int, int]:
        f = self.f
        after = 2 + self._late("inverter", cell)
        reads = {}
        for t in self.times:
            mounts = [
                f.all(self.is_(cell, "inverter", face), self.powered(step(cell, face), t))
                for face in (self.down, *self.level)
            ]
            reads[t] = f.any(*mounts)
        out = {-1: -reads[-1]}
        begun = dict.fromkeys(range(-after, 0), FALSE)
        for t in range(self.task.horizon):
            out[t] = f.choose(begun[t - after], -reads[t], out[t - 1])
            idle = [-begun[t - k] for k in range(1, after)]
            begun[t] = f.all(inverter, *idle, -f.differ(reads[t], out[t]))
        for t in range(self.task.horizon - after, self.task.horizon):
            f.add(-begun[t])
        return out

    def _sensor(self, cell: Cell) -> dict[int, int]:
        f = self.f
        after = 2 + self._late("sensor", cell)
        on: dict[int, list[int]] = {t: [] for t in self.times}
        for face in FACES:
            watched = step(cell, face)
            is_it = self.is_(cell, "sensor", face)
            if is_it == FALSE:
                continue
            begun = dict.fromkeys(range(-after - 2, 0), FALSE)
            for t in range(self.task.horizon):
                idle = [-begun[t - k] for k in range(1, after + 2)]
                begun[t] = f.all(*idle, self._changes(watched, t))
                pulse = f.any(begun[t - after], begun[t - after - 1])
                on[t].append(f.all(is_it, pulse))
            for t in range(self.task.horizon - after - 1, self.task.horizon):
                f.imply([is_it], -begun[t])
        return {t: f.any(*found) for t, found in on.items()}

    def ram_out(self, cell: Cell, t: int) -> int:
        """The ram's head is out, in every run alike (only asked if sensors may watch rams)."""
        return self._var("out", cell, max(t, -1))

    def _changes(self, cell: Cell, t: int) -> int:
        if cell in self.task.changes:
            return TRUE if t in self.task.changes[cell] else FALSE
        if cell in RAM_CELLS:
            now, last, ago, before = (self.ram_out(cell, t - k) for k in range(4))
            ends = self.f.all(self.f.differ(ago, before), -self.f.differ(last, ago))
            return self.f.any(self.f.differ(now, last), ends)
        wire = self.f.differ(self.live(cell, t), self.live(cell, t - 1))
        return self.f.any(wire, self.f.differ(self.on(cell, t), self.on(cell, t - 1)))

    # ---------------------------------------------------------------- what must not happen

    def _keep_tape_clear(self) -> None:
        """Nothing of the drive may power a cell that tape can be in."""
        for cell in self.task.tape:
            for face in FACES:
                beside = step(cell, face)
                if beside not in self.options:
                    continue
                self.f.add(-self.outlet(beside, OPPOSITE[face], True))
                if face in self.level:
                    self.f.imply([self.is_(beside, "wire")], -self.points(beside, OPPOSITE[face]))

    def _keep_line(self) -> None:
        """The lifts fire, and the line's wires are live, when the line says so and never else."""
        f = self.f
        for lift in self.task.lifts:
            part = self.task.fixed[lift]
            for t in self.times:
                if t not in (0, 1):
                    f.add(-self.ram_reads(part, t, True))
        for cell, part in self.task.fixed.items():
            if part.kind != "wire":
                continue
            if cell in self.task.stiff:
                for face in self.level:
                    if self.connects(cell, face) != TRUE:
                        f.add(-self.connects(cell, face))
            for t in self.times:
                if t in self.task.live.get(cell, ()):
                    continue
                f.add(-self.seeded(cell, t))
                for other, link in self.links(cell):
                    f.add(-f.all(link, self.live(other, t)))
