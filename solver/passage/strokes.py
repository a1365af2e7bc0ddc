"""The formula: which rams stand where, and what moves in each step, by the rules of strokes.

A step is a stroke, long enough for all that moves to come to rest, or a pulse of one tick: a grip
ram that rests in draws in what is two cells ahead, or leaves one cell on what stands right before
it, and is in again. Any number of rams may begin theirs in the same step. Every run by the rules is
such steps: in the order in which its strokes begin, a block being where its stroke takes it. Power
is left out: a ram does what the plan says. So where the formula has no solution no wiring can help
within that many steps; where it has one, wiring is still to be found. The formula is more generous
than the rules in one point: a ram may push any number of blocks (boxes here are smaller than the
limit).
"""

from __future__ import annotations

from models.geometry import FACES, OPPOSITE, Cell, Face, step
from models.passage import Passage
from solver.design.clauses import FALSE, TRUE, Clauses

Ram = tuple[Cell, Face]


class Strokes:
    """Variables and clauses for `steps` strokes of one passage.

    Without `levels` all rams rest in and know pulses only.
    """

    def __init__(self, passage: Passage, steps: int, *, levels: bool = True) -> None:
        self.passage = passage
        self.steps = steps
        self.clauses = Clauses()
        new = self.clauses.new
        self.world = sorted(passage.hidden | passage.air | set(passage.path))
        self._known = frozenset(self.world)
        self.times = range(steps + 1)
        self.moves = range(steps)
        self.ram: dict[Ram, int] = {
            (cell, face): new()
            for cell in sorted(passage.hidden)
            for face in FACES
            if step(cell, face) in self._known
        }
        self.grip = {ram: new() for ram in self.ram}
        self.out = {(ram, t): new() if levels else FALSE for ram in self.ram for t in self.times}
        self.pulse = {(ram, t): new() for ram in self.ram for t in self.moves}
        blocks = range(len(passage.path) + 1)
        self.label = {(c, b, t): new() for c in self.world for b in blocks for t in self.times}
        """Block `b` is in cell `c`: 0 comes in from outside, `b` begins in cell `b - 1`."""
        self.block = {
            (c, t): self.clauses.any(*(self.label[c, b, t] for b in blocks))
            for c in self.world
            for t in self.times
        }
        self.moved = {
            (c, f, t): new()
            for c in self.world
            for f in FACES
            for t in self.moves
            if step(c, f) in self._known or (c, f) == passage.leaves
        }
        """The block in the cell, if any, goes one cell on in that direction."""
        self.entering = [new() for _ in self.moves]
        self._room_for_one()
        for t in self.moves:
            for ram in self.ram:
                self._stroke(ram, t)
            for cell in self.world:
                self._motion(cell, t)
            self._entry(t)
        self._begin_and_end()

    # ---------------------------------------------------------------- short forms

    def is_out(self, ram: Ram, t: int) -> int:
        """The ram is extended before step `t`."""
        return self.out.get((ram, t), FALSE)

    def extends(self, ram: Ram, t: int) -> int:
        """The ram extends in step `t`, for good or for a pulse that pushes a block."""
        out = self.clauses.all(-self.is_out(ram, t), self.is_out(ram, t + 1))
        return self.clauses.any(out, self._puts(ram, t))

    def _puts(self, ram: Ram, t: int) -> int:
        pulse = self.pulse.get((ram, t), FALSE)
        return self.clauses.all(pulse, self._block(step(*ram), t))

    def draws(self, ram: Ram, t: int) -> int:
        """The ram retracts in step `t` and draws what is two cells ahead."""
        back = self.clauses.all(self.is_out(ram, t), -self.is_out(ram, t + 1))
        pulse = self.pulse.get((ram, t), FALSE)
        pulls = self.clauses.all(pulse, -self._block(step(*ram), t))
        return self.clauses.all(self.clauses.any(back, pulls), self.grip.get(ram, FALSE))

    def goes(self, cell: Cell, face: Face, t: int) -> int:
        """What is in the cell moves that way in step `t`."""
        return self.moved.get((cell, face, t), FALSE)

    def heads(self, cell: Cell, t: int) -> list[int]:
        """The rams whose head may be in a cell."""
        found = (self.is_out((step(cell, OPPOSITE[face]), face), t) for face in FACES)
        return [literal for literal in found if literal != FALSE]

    def rams_in(self, cell: Cell) -> list[int]:
        """The rams that may stand in a cell."""
        return [self.ram[cell, face] for face in FACES if (cell, face) in self.ram]

    def _block(self, cell: Cell, t: int) -> int:
        return self.block.get((cell, t), FALSE)

    # ---------------------------------------------------------------- rules

    def _room_for_one(self) -> None:
        """A cell holds one thing: a ram, a head, or one block."""
        for cell in self.world:
            for t in self.times:
                labels = [self.label[cell, b, t] for b in range(len(self.passage.path) + 1)]
                self.clauses.at_most_one([*self.rams_in(cell), *self.heads(cell, t), *labels])
        for ram, stands in self.ram.items():
            for t in self.times:
                self.clauses.imply([self.is_out(ram, t)], stands)
        for (ram, t), pulse in self.pulse.items():
            self.clauses.imply([pulse], self.ram[ram])
            self._pulse(ram, pulse, t)
        for cell in self.world:
            to_it = [(step(cell, OPPOSITE[face]), face) for face in FACES]
            for t in self.moves:
                pulses = [self.pulse[ram, t] for ram in to_it if ram in self.ram]
                self.clauses.at_most_one(pulses)

    def _pulse(self, ram: Ram, pulse: int, t: int) -> None:
        """The ram is in before and after; only a block that it draws ends right before it."""
        near, far = step(*ram), step(*ram, 2)
        for when in (t, t + 1):
            self.clauses.imply([pulse, self.is_out(ram, when)], FALSE)
            for head in self.heads(near, when):
                self.clauses.imply([pulse], -head)
        for stands in self.rams_in(near):
            self.clauses.imply([pulse], -stands)
        comes = [pulse, self._block(near, t + 1)]
        self.clauses.imply([*comes, self._block(near, t)], FALSE)
        self.clauses.imply(comes, self.draws(ram, t))
        self.clauses.imply(comes, self._block(far, t))

    def _stroke(self, ram: Ram, t: int) -> None:
        """What a ram must find in front of it, and what it takes along."""
        at, face = ram
        near, far = step(at, face), step(at, face, 2)
        extends, draws = self.extends(ram, t), self.draws(ram, t)
        self.clauses.imply([extends, self._block(near, t)], self.goes(near, face, t))
        for head in self.heads(near, t):
            self.clauses.imply([extends], -head)
        if far not in self._known:
            # A cover or the ground: to draw at it is a fault.
            self.clauses.imply([draws], FALSE)
            return
        self.clauses.imply([draws, self._block(far, t)], self.goes(far, OPPOSITE[face], t))
        for stands in self.rams_in(far):
            self.clauses.imply([draws], -stands)

    def _causes(self, cell: Cell, face: Face, t: int) -> list[int]:
        """All that can move a block out of a cell in that direction."""
        behind, ahead = step(cell, OPPOSITE[face]), step(cell, face, 2)
        pushed_on = self.clauses.all(self.goes(behind, face, t), self._block(behind, t))
        found = [pushed_on, self.extends((behind, face), t)]
        found.append(self.draws((ahead, OPPOSITE[face]), t))
        if (cell, face) == self.passage.enters:
            found.append(self.entering[t])
        return found

    def _motion(self, cell: Cell, t: int) -> None:
        """Blocks move for one cause, into room, and carry their number; others stay."""
        ways = [self.goes(cell, face, t) for face in FACES]
        self.clauses.at_most_one([way for way in ways if way != FALSE])
        for face, way in zip(FACES, ways, strict=True):
            if way == FALSE:
                continue
            there, drawn_by = step(cell, face), (step(cell, face, 2), OPPOSITE[face])
            causes = self._causes(cell, face, t)
            self.clauses.imply([way], self._block(cell, t))
            self.clauses.imply([way], *causes)
            self.clauses.at_most_one([cause for cause in causes if cause != FALSE])
            if there in self._known:
                self.clauses.imply([way, self._block(there, t)], self.goes(there, face, t))
                for face_of in FACES:
                    ram = (step(there, OPPOSITE[face_of]), face_of)
                    gone = self.draws(ram, t) if ram == drawn_by else FALSE
                    self.clauses.imply([way, self.is_out(ram, t)], gone)
            self._carry(cell, there, way, t)
        for b in range(len(self.passage.path) + 1):
            self.clauses.imply([self.label[cell, b, t]], *ways, self.label[cell, b, t + 1])
        comes = [self.goes(step(cell, OPPOSITE[face]), face, t) for face in FACES]
        if cell == self.passage.enters[0]:
            comes.append(self.entering[t])
        self.clauses.at_most_one([way for way in comes if way != FALSE])
        for way in ways:
            self.clauses.imply([way, self._block(cell, t + 1)], *comes)
        self.clauses.imply([self._block(cell, t + 1)], self._block(cell, t), *comes)

    def _carry(self, cell: Cell, there: Cell, way: int, t: int) -> None:
        last = len(self.passage.path)
        for b in range(last + 1):
            here = self.label[cell, b, t]
            if there in self._known:
                self.clauses.imply([way, here], self.label[there, b, t + 1])
            elif b != last:
                self.clauses.imply([way], -here)

    def _entry(self, t: int) -> None:
        """The row before pushes its block in, once."""
        cell, face = self.passage.enters
        enters = self.entering[t]
        self.clauses.imply([enters, self._block(cell, t)], self.goes(cell, face, t))
        self.clauses.imply([enters], self.label[cell, 0, t + 1])
        for head in self.heads(cell, t):
            self.clauses.imply([enters], -head)

    def _begin_and_end(self) -> None:
        """Every block begins in its cell and ends in the next; the rams end as they began."""
        path = self.passage.path
        for cell in self.world:
            for b in range(len(path) + 1):
                first = TRUE if b and path[b - 1] == cell else FALSE
                last = TRUE if b < len(path) and path[b] == cell else FALSE
                self.clauses.add(first * self.label[cell, b, 0])
                self.clauses.add(last * self.label[cell, b, self.steps])
        for ram in self.ram:
            self.clauses.imply([self.is_out(ram, 0)], self.is_out(ram, self.steps))
            self.clauses.imply([self.is_out(ram, self.steps)], self.is_out(ram, 0))
        cell, face = self.passage.leaves
        self.clauses.exactly_one(self.entering)
        self.clauses.exactly_one([self.goes(cell, face, t) for t in self.moves])
