"""Scenario -> a machine with a button for each way, or why none was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import count, islice
from random import Random

from models.catalogue import LED_AFTER
from models.counter import Countered, NoCounter
from models.geometry import Cell
from models.problem import Digging
from models.scenario import Scenario
from solver.check import check_against, check_machine
from solver.counter.alternate import Port, alternator
from solver.counter.layout import (
    LEAST_DEPTH,
    SURFACES,
    WAYS,
    Goal,
    Layout,
    Way,
    led_drives,
)
from solver.counter.prove import prove_two_ways
from solver.counter.rings import Rings
from solver.explain.drawn import drawn_order
from solver.flatten import flatten
from solver.net.lift_lines import edges_of
from solver.route.problem import edge_limits
from solver.trigger.leads import Leads, NoLeadsError, distance
from solver.trigger.site import NoRoomError

Say = Callable[[str], None]
TRIES = 2
"""Orders in which the leads of one length are tried."""
LONGER = 16
"""How much longer than the farthest goal needs leads may be."""
LAYOUTS = 4
"""Pairs of buttons tried on a ring in a round."""
REST = 2
"""Ticks that a ram needs to be back after a press."""
APART = 4
"""Cells between two buttons, at least."""
SPREADS = (4, 12)
"""By how many cells a button may be farther from the middle than another and come first."""
AHEAD = LED_AFTER[0] // 2
"""Ticks by which the lifts are ahead of the earliest drive."""


def counter_machine(
    scenario: Scenario, deadline: float, seed: int, say: Say, *, one_button: bool = False
) -> Countered | NoCounter:
    """Try loops, the best first, and buttons until a machine proves itself or time is up.

    `deadline` is a `time.monotonic()` time. `one_button`: it moves the tape now forth, now back.
    """
    reason = _beyond(scenario, one_button)
    if reason is not None:
        return NoCounter(*reason, tried=0)
    return _Search(scenario, deadline, seed, say, one_button).run()


class _Search:
    def __init__(
        self, scenario: Scenario, deadline: float, seed: int, say: Say, one_button: bool
    ) -> None:
        self.scenario, self.deadline, self.seed, self.say = scenario, deadline, seed, say
        self.one_button = one_button
        self.digging = Digging(scenario)
        self.why = ""
        self.tried = 0

    def run(self) -> Countered | NoCounter:
        """A new loop, then all that are known once more, and so on."""
        rings = Rings(self.scenario, self.deadline, self.seed)
        more, known = iter(rings), list[tuple[Cell, ...]]()
        for turn in count():
            tape = next(more, None)
            if tape is not None:
                if not known or len(known[-1]) != len(tape):
                    self.say(f"loops of {len(tape)} cells")
                known.append(tape)
            if not known:
                return self._none(rings.none)
            again = known if tape is None else dict.fromkeys((tape, known[turn % len(known)]))
            for ring in again:
                found = self._tried(ring, turn)
                if found is not None:
                    return found
                if time.monotonic() > self.deadline:
                    remedy = "Give it more time, deeper ground or a wider margin."
                    return NoCounter(self.why or "time ran out", remedy, self.tried)
        raise AssertionError("rounds have no end")

    def _none(self, proof: str) -> NoCounter:
        if not proof:
            return NoCounter("no loop was found in the time given", "Give it more time.", 0)
        why = _drawn_fault(self.scenario) or (
            f"no loop that keeps the scenario has room for two drives a corner: {proof}"
        )
        remedy = "Edges of 6 to 13 cells, and ground to dig all round, help."
        return NoCounter(why, remedy, 0, proven=True)

    def _tried(self, tape: Sequence[Cell], turn: int) -> Countered | None:
        """A few pairs of buttons for a loop."""
        rng = Random(f"{self.seed}/{turn}/{tape}")
        for buttons in islice(_buttons(self.scenario, tape, rng), LAYOUTS):
            if time.monotonic() > self.deadline:
                break
            found = self._built(tape, buttons, rng)
            if found is not None:
                return found
        return None

    def _built(
        self, tape: Sequence[Cell], buttons: Sequence[Cell], rng: Random
    ) -> Countered | None:
        """A machine that proved itself; else why not is kept."""
        self.tried += 1
        try:
            layout = Layout(self.scenario, self.digging, tape)
            lead_up(layout, buttons, self.one_button, rng, self.deadline)
        except (NoRoomError, NoLeadsError) as error:
            self.why = str(error)
            return None
        forth = layout.machine("forth")
        back = None if self.one_button else layout.machine("back")
        if faults := check_machine(forth) or check_against(forth, self.scenario):
            self.why = faults[0].text
            return None
        proof = prove_two_ways(forth)
        where = " and ".join(str(cell) for cell in (buttons[:1] if self.one_button else buttons))
        self.say(f"{len(tape)} cells, button at {where}: {proof.text}")
        self.why = proof.text
        return Countered(forth, back, proof, self.tried) if proof.ok else None


def _beyond(scenario: Scenario, one_button: bool) -> tuple[str, str] | None:
    """What this way of building does not do, and what to change."""
    names = list(scenario.surfaces)
    if len(names) > 1 or names[0] not in SURFACES:
        return (
            "there and back is built on a single floor or ceiling only",
            "Give the floor or the ceiling alone.",
        )
    if one_button and names[0] != "floor":
        return (
            "one button for both ways is built on floors only: its wires stand on things",
            "Leave out --one-button, or give the floor.",
        )
    least, depth = LEAST_DEPTH, scenario.surfaces[names[0]].depth
    if depth < least:
        return (
            f"the {names[0]} may be dug {depth} cells deep, and leads lie {least} deep at least",
            f"Let the {names[0]} be dug {least} cells deep or more.",
        )
    if not led_drives(names[0], scenario.rules):
        return (
            f"a press of {scenario.rules.press} ticks is over before any drive has fed",
            "Take a button that is pressed for 8 ticks or more.",
        )
    return None


def _drawn_fault(scenario: Scenario) -> str:
    """What is wrong with the edges of a drawn loop, if they are what is wrong."""
    if scenario.loop.shape != "exact":
        return ""
    problem = flatten(scenario)
    order = drawn_order(problem, scenario.required()) or []
    most = edge_limits(scenario.rules).drive_drive.most
    for edge in edges_of([problem.graph.cells[i] for i in order]):
        if len(edge) > most:
            return (
                f"rams move no edge of {len(edge)} cells, but {most} at most: the one from "
                f"{edge[0]} to {edge[-1]}"
            )
    return ""


def lead_up(
    layout: Layout, buttons: Sequence[Cell], one: bool, rng: Random, deadline: float
) -> None:
    """Add triggers, wirings and leads. Raises NoRoomError or NoLeadsError."""
    ports: list[Port] = []
    if one:
        starts, ports = alternator(layout, buttons[0], rng)
    else:
        pairs = zip(WAYS, buttons, strict=True)
        starts = {way: layout.trigger(cover, way, rng) for way, cover in pairs}
    ends = [cell for port in ports for cell in port.way_in]
    parity = {way: rng.randrange(2) for way in WAYS}
    goals: list[Goal] = []
    for corner in rng.sample(layout.corners, len(layout.corners)):
        wirings = (
            goal
            for goal in layout.wired(corner, rng)
            if _parity(goal, starts[goal.way]) in (None, parity[goal.way])
            and layout.roomy((goal.cell, *ends))
        )
        goal = next(wirings, None)
        if goal is None:
            raise NoLeadsError(
                f"no lead reaches {corner.unit}, the corner at {corner.frame.origin}"
            )
        goals.append(goal)
        ends.append(goal.cell)
    for way in WAYS:
        mine = [goal for goal in goals if goal.way == way]
        back = [port for port in ports if port.way == way]
        _fan(layout, starts, way, mine, back, rng, deadline)


def _fan(
    layout: Layout,
    starts: Mapping[Way, Cell],
    way: Way,
    goals: Sequence[Goal],
    ports: Sequence[Port],
    rng: Random,
    deadline: float,
) -> None:
    """Leads from one trigger to its drives and to the line, longer and longer until all fit.

    Those to ports only have to come when the press is over.
    """
    start = starts[way]
    alone = Leads(layout, [*starts.values()], start, rng)
    least = 0
    for goal in goals:
        shortest = alone.shortest(goal.cell, None, start, stop=True)
        if shortest is None:
            raise NoLeadsError(f"no lead reaches {goal.cell} from the button {way}")
        least = max(least, len(shortest) - max(goal.late))
    for port in ports:
        if alone.shortest(port.buffer, port.heading, start) is None:
            raise NoLeadsError(f"no lead reaches {port.buffer} from the button {way}")
    ahead = AHEAD + layout.line_delay
    for turn in range(TRIES * LONGER):
        if time.monotonic() > deadline:
            break
        length = least + turn // TRIES
        before = layout.state()
        lengths = ((goal.cell, _length(goal, start, length)) for goal in goals)
        wanted = [(cell, ticks, True) for cell, ticks in lengths if ticks is not None]
        if len(wanted) < len(goals):
            continue
        for entry in _entries(layout, start, length - ahead, rng):
            wanted.insert(rng.randrange(len(wanted) + 1), (entry, length - ahead, False))
        leads = Leads(layout, [*starts.values()], start, rng)
        unit, press = f"lead {way}", layout.scenario.rules.press
        # Ports have one way in, which other leads would close.
        if all(_report(leads, port, press, unit) for port in ports) and all(
            leads.lay(cell, None, ticks, unit, stop=stop) for cell, ticks, stop in wanted
        ):
            return
        layout.go_back(before)
    raise NoLeadsError(f"no leads of one length were found from the button {way}")


def _report(leads: Leads, port: Port, press: int, unit: str) -> bool:
    """A lead to a port that comes when a press of so many ticks is over, or later."""
    least = press + REST
    least += (distance(port.buffer, leads.start) - least - 1) % 2
    return any(
        leads.lay(port.buffer, port.heading, ticks, unit)
        for ticks in range(least, least + 2 * LONGER, 2)
    )


def _parity(goal: Goal, start: Cell) -> int | None:
    """Whether leads must have an odd length for that goal to be in time; None: either will do."""
    return (distance(goal.cell, start) - goal.late[0]) % 2 if len(goal.late) == 1 else None


def _length(goal: Goal, start: Cell, length: int) -> int | None:
    """Ticks of a lead to a drive, of the parity that its place asks for."""
    fits = (length + late for late in goal.late)
    return next((k for k in fits if (distance(goal.cell, start) - k) % 2 == 0), None)


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
    """Pairs of covers for the buttons, near the middle of the loop first, or anywhere."""
    (surface,) = scenario.surfaces.values()
    on_tape = set(tape)
    covers = [cell for cell in surface.cells(".o#@") if cell not in on_tape]
    fixed = scenario.button()
    middle = [(min(c[i] for c in tape) + max(c[i] for c in tape)) / 2 for i in (0, 1)]
    spread = rng.choice(SPREADS)

    def far(cell: Cell) -> float:
        away = abs(cell[0] - middle[0]) + abs(cell[1] - middle[1])
        return away + rng.random() * spread

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
