"""Scenario -> a machine with a button for each way, or why none was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from itertools import count, islice
from random import Random

from models.counter import Countered, NoCounter
from models.geometry import Cell
from models.problem import Digging
from models.scenario import Scenario
from solver.check import check_against, check_machine
from solver.counter.layout import LEAST_DEPTH, STEM, Goal, Layout
from solver.counter.prove import prove_two_ways
from solver.counter.rings import rings_of
from solver.net.lift_lines import edges_of
from solver.trigger.leads import Leads, NoLeadsError, distance
from solver.trigger.site import NoRoomError

Say = Callable[[str], None]
TRIES = 2
"""Orders in which the leads of one length are tried."""
LONGER = 16
"""How much longer than the farthest goal needs leads may be."""
LAYOUTS = 4
"""Pairs of buttons tried on a ring in a round."""
APART = 4
"""Cells between two buttons, at least."""
AHEAD = 2
"""Sensors by which a lead to the line is shorter: a drive that a lift fires lags by as many."""


def counter_machine(
    scenario: Scenario, deadline: float, seed: int, say: Say
) -> Countered | NoCounter:
    """Try rings, the shortest first, and buttons until a machine proves itself or time is up.

    `deadline` is a `time.monotonic()` time.
    """
    reason = _beyond(scenario)
    if reason is not None:
        return NoCounter(*reason, tried=0)
    return _Search(scenario, deadline, seed, say).run()


class _Search:
    def __init__(self, scenario: Scenario, deadline: float, seed: int, say: Say) -> None:
        self.scenario, self.deadline, self.seed, self.say = scenario, deadline, seed, say
        self.digging = Digging(scenario)
        self.why = ""
        self.tried = 0

    def run(self) -> Countered | NoCounter:
        """Round after round over all rings."""
        rings = [tape for tape in rings_of(self.scenario) if self._has_room(tape)]
        if not rings:
            why = self.why or "no loop that can be tried fits the wishes"
            return NoCounter(why, "Edges of 7 to 13 cells, and ground to dig all round, help.", 0)
        self.say(f"{len(rings)} loops have room for two drives a corner")
        for turn, (number, tape) in ((t, each) for t in count() for each in enumerate(rings)):
            rng = Random(f"{self.seed}/{turn}/{number}")
            for buttons in islice(_buttons(self.scenario, tape, rng), LAYOUTS):
                if time.monotonic() > self.deadline:
                    why = self.why or "time ran out"
                    remedy = "Give it more time, deeper ground or a wider margin."
                    return NoCounter(why, remedy, self.tried)
                found = self._built(tape, buttons, rng)
                if found is not None:
                    return found
        raise AssertionError("rounds have no end")

    def _has_room(self, tape: Sequence[Cell]) -> bool:
        most, longest = self.scenario.rules.push_limit + 1, max(map(len, edges_of(tape)))
        if longest > most:
            self.why = self.why or f"rams move no edge of {longest} cells, but {most} at most"
            return False
        try:
            Layout(self.scenario, self.digging, tape)
        except NoRoomError as error:
            self.why = self.why or f"two drives a corner have no room: {error}"
            return False
        return True

    def _built(
        self, tape: Sequence[Cell], buttons: Sequence[Cell], rng: Random
    ) -> Countered | None:
        """A machine that proved itself; else why not is kept."""
        self.tried += 1
        layout = Layout(self.scenario, self.digging, tape)
        try:
            lead_up(layout, buttons, rng, self.deadline)
        except (NoRoomError, NoLeadsError) as error:
            self.why = str(error)
            return None
        forth, back = layout.machine(1), layout.machine(-1)
        if faults := check_machine(forth) or check_against(forth, self.scenario):
            self.why = faults[0].text
            return None
        proof = prove_two_ways(forth)
        self.say(f"{len(tape)} cells, buttons at {buttons[0]} and {buttons[1]}: {proof.text}")
        self.why = proof.text
        return Countered(forth, back, proof, self.tried) if proof.ok else None


def _beyond(scenario: Scenario) -> tuple[str, str] | None:
    """What this way of building does not do, and what to change."""
    if set(scenario.surfaces) != {"floor"}:
        return "there and back is built on a single floor only", "Give the floor alone."
    if scenario.surfaces["floor"].depth < LEAST_DEPTH:
        return (
            f"the floor may be dug {scenario.surfaces['floor'].depth} cells deep, and leads lie "
            f"{LEAST_DEPTH} deep at least",
            f"Let the floor be dug {LEAST_DEPTH} cells deep or more.",
        )
    return None


def lead_up(layout: Layout, buttons: Sequence[Cell], rng: Random, deadline: float) -> None:
    """Add both triggers and their leads. Raises NoRoomError or NoLeadsError."""
    names = ("forth", "back")
    starts = [layout.trigger(cover, way) for cover, way in zip(buttons, names, strict=True)]
    for start, goals, way in zip(starts, layout.goals, names, strict=True):
        _fan(layout, starts, start, goals, way, rng, deadline)


def _fan(
    layout: Layout,
    starts: Sequence[Cell],
    start: Cell,
    goals: Sequence[Goal],
    way: str,
    rng: Random,
    deadline: float,
) -> None:
    """Leads from one trigger to its drives and to the line, longer and longer until all fit."""
    alone = Leads(layout, starts, start, rng)
    least = 0
    for cell, heading in goals:
        shortest = alone.shortest(cell, heading, start)
        if shortest is None:
            raise NoLeadsError(f"no lead reaches {cell} from the button {way}")
        least = max(least, len(shortest))
    for turn in range(TRIES * LONGER):
        if time.monotonic() > deadline:
            break
        length = least + turn // TRIES
        before = layout.state()
        wanted: list[tuple[Cell, Cell | None, int]]
        # A goal at the other parity gets its lead a tick late.
        wanted = [
            (cell, heading, length + (distance(cell, start) - length - 1) % 2)
            for cell, heading in goals
        ]
        for entry in _entries(layout, start, length - AHEAD, rng):
            wanted.insert(rng.randrange(len(wanted) + 1), (entry, None, length - AHEAD))
        leads = Leads(layout, starts, start, rng)
        if all(leads.lay(*goal, f"lead {way}") for goal in wanted):
            return
        layout.go_back(before)
    raise NoLeadsError(f"no leads of one length were found from the button {way}")


def _entries(layout: Layout, start: Cell, length: int, rng: Random) -> list[Cell]:
    """Wires of the line, of the right parity, from which the whole line has power."""
    line, reach = layout.line, layout.scenario.rules.reach
    n = len(line)
    pieces = -(-n // (2 * reach - 1))
    first = rng.randrange(n)
    found = []
    for piece in range(pieces):
        at = first + piece * n // pieces
        # A neighbour has the other parity.
        fits = [k for k in (at, at + 1) if (distance(line[k % n], start) - length - 1) % 2 == 0]
        found.append(line[fits[0] % n])
    return found


def _buttons(scenario: Scenario, tape: Sequence[Cell], rng: Random) -> Iterator[tuple[Cell, Cell]]:
    """Pairs of covers for the buttons, near the middle of the ring first, then at random."""
    floor, on_tape = scenario.surfaces["floor"], set(tape)
    covers = [cell for cell in floor.cells(".o#@") if cell not in on_tape]
    fixed = scenario.button()
    middle = [(min(c[i] for c in tape) + max(c[i] for c in tape)) / 2 for i in (0, 1)]

    def far(cell: Cell) -> float:
        return abs(cell[0] - middle[0]) + abs(cell[1] - middle[1]) + rng.random() * APART

    near = sorted(covers, key=far)
    while near:
        first = fixed.cell if fixed is not None else near.pop(0)
        others = [c for c in near if distance(c, first) >= APART]
        if not others:
            return
        second = others[rng.randrange(min(4, len(others)))]
        near.remove(second)
        pair = (first, second)
        yield pair if fixed is not None or rng.random() < 0.5 else pair[::-1]


assert len(STEM) == LEAST_DEPTH - 4, "the stem ends one above the deepest leads"
