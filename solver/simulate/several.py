"""Several loops in one world: each button alone, two at every distance in time, all at once.

Every run begins and ends at rest in the same state, tape blocks taken as alike; so what is shown
for one turn holds for any number, and from rest for any order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import permutations

from models.machine import Case, Machine, MachineFault
from solver.simulate.press import IDLE_LIMIT
from solver.simulate.simulation import Simulation

Pressing = tuple[tuple[int, int], ...]
"""(button, half-ticks after the first press)."""


def prove_apart(machine: Machine, cases: Iterable[Case]) -> list[MachineFault]:
    """Faults of the first case in which one loop does not run as if it were alone.

    Where all loops have one button there is nothing to tell apart: a full turn shows all.
    """
    if machine.triggers == 1:
        return []
    for case in cases:
        faults = _Joint(machine, case).judge(pairs=True)
        if faults:
            return faults
    return []


def prove_alone(machine: Machine, case: Case) -> list[MachineFault]:
    """Faults of presses of each button alone: what a press of all at once does not show."""
    return [] if machine.triggers == 1 else _Joint(machine, case).judge(pairs=False)


class _Joint:
    def __init__(self, machine: Machine, case: Case) -> None:
        self.simulation = Simulation(machine, case, record=True)
        self.machine, self.case = machine, case
        self.loops = len(machine.spans)
        self.turns = [0] * self.loops
        self.rested = self.simulation.run_to_rest(IDLE_LIMIT)
        self.start = self.simulation.state()

    def judge(self, *, pairs: bool) -> list[MachineFault]:
        """The faults of the first pressing that has any."""
        simulation = self.simulation
        if not self.rested:
            simulation.fault("idle oscillates", (), "the machine is not at rest before a press")
        if len(simulation.buttons) != self.loops:
            simulation.fault("no button", (), "there must be one button for each loop")
        if simulation.faults:
            return list(simulation.faults)
        lasts = []
        for loop in range(self.loops):
            begun = simulation.now
            faults = self._press(((loop, 0),)) or self._strangers(loop)
            if faults:
                return faults
            lasts.append(simulation.now - begun)
        for pressing in _pressings(lasts) if pairs else ():
            faults = self._press(pressing)
            if faults:
                return faults
        return []

    def _press(self, pressing: Pressing) -> list[MachineFault]:
        """Press, let all come to rest, look whether each loop is where it must be."""
        simulation = self.simulation
        assert simulation.events is not None
        simulation.events.clear()
        for button, after in pressing:
            simulation.press(delay=1 + after, button=button)
            self.turns[button] += 1
        if not simulation.run_to_rest():
            simulation.fault("never rests", (), "the machine does not come to rest")
        for block, cell, must in simulation.misplaced(*self.turns):
            text = f"tape block {block} is at {cell}, must be at {must}"
            simulation.fault("misplaced", (cell, must), f"{text}, pressed {_told(pressing)}")
        if not simulation.faults and simulation.state() != self.start:
            text = "the machine does not rest as it did before the press"
            simulation.fault("another state", (), text)
        return list(simulation.faults)

    def _strangers(self, loop: int) -> list[MachineFault]:
        """Blocks of other loops that moved although they came back."""
        own = self.machine.spans[loop]
        moved = {event[2] for event in self.simulation.events or () if event[1] == "tape"}
        return [
            MachineFault(
                "disturbed",
                (self.machine.tape[block],),
                f"button {loop + 1} moves a block of another loop, {block}",
            )
            for block in sorted(moved - set(own))
        ]


def _pressings(lasts: list[int]) -> Iterator[Pressing]:
    """Two buttons at every distance until the first has come to rest; then all at once."""
    for first, second in permutations(range(len(lasts)), 2):
        for after in range(first > second, lasts[first] + 1):
            yield ((first, 0), (second, after))
    if len(lasts) > 2:
        yield tuple((button, 0) for button in range(len(lasts)))


def _told(pressing: Pressing) -> str:
    return ", ".join(f"button {button + 1} after {after} half-ticks" for button, after in pressing)
