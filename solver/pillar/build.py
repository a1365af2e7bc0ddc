"""Pillar -> a machine whose belt moves on at a press, or why none was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from itertools import count, islice
from random import Random

from models.geometry import FACES, OPPOSITE, VECTOR, Cell, step, sub
from models.machine import ALL_CASES
from models.parts import Part
from models.pillar import Belted, NoBelt, Pillar
from solver.check import check_machine
from solver.pillar.edge import APART, BEFORE, BEHIND, LEAST_TICKS, over_the_edge
from solver.pillar.layout import Goal, Layout
from solver.simulate import prove
from solver.trigger.leads import Leads, NoLeadsError, distance
from solver.trigger.site import NoRoomError

Say = Callable[[str], None]
LONGER = 8
"""Lengths of leads that are tried, from what the farthest goal needs on."""
LENGTHEN = 2
"""How much longer each is than the one before."""
ORDERS = 6
"""Orders in which the leads of one length are tried."""
HUBS = 200
"""Places that leads at an edge are tried from."""
COVERS = 5
"""Covers that a button is tried on for one set of leads at the edges."""
WAY_IN = 3
"""Cells before a hub that leads at the edge keep free."""
FAR = 9
"""Steps from a ram of the edge to that place, at most."""
EDGES = 4
"""Mechanisms with the fewest rams that are tried in turn."""
EASY_PRESS = 15
"""A press, in ticks, that leaves steps of three ticks: a lead may then be one late."""
WIDER = "Make the pillar wider or higher, or move the belt."


def belt_machine(pillar: Pillar, deadline: float, seed: int, say: Say) -> Belted | NoBelt:
    """Try buttons, and leads from them, until a machine is right or time is up.

    `deadline` is a `time.monotonic()` time.
    """
    beyond = _beyond(pillar)
    if beyond is not None:
        return NoBelt(*beyond, tried=0)
    edges = list(islice(over_the_edge(), EDGES))
    sure = ", and fewer do not on such pulses" if edges[0].fewest else ""
    say(f"{len(edges[0].rams)} rams lead the tape over an edge{sure}")
    why = "time ran out"
    for tried in count():
        rng, edge = Random(f"{seed}/{tried}"), edges[tried % len(edges)]
        if time.monotonic() > deadline:
            return NoBelt(why, _more_room(pillar), tried)
        try:
            layout = Layout(pillar, edge)
        except NoRoomError as error:
            return NoBelt(f"mechanisms of two edges meet: {error}", WIDER, tried)
        try:
            _lead_up(layout, rng, deadline)
        except (NoRoomError, NoLeadsError) as error:
            why = str(error)
        else:
            machine = layout.machine()
            faults = check_machine(machine)
            if not faults:
                faults = [f for result in prove(machine, ALL_CASES) for f in result.faults]
            if not faults:
                return Belted(machine, len(edge.rams), edge.fewest, tried + 1)
            why = faults[0].text
        say(f"layout {tried + 1}: {why}")
    raise AssertionError("rounds have no end")


def _more_room(pillar: Pillar) -> str:
    """What makes leads easier to find."""
    if pillar.rules.press < EASY_PRESS:
        return (
            f"Give it a button that is pressed for {EASY_PRESS} ticks (press = {EASY_PRESS} under "
            "[rules]): its leads need not be so exact. Or more time, or a wider or higher pillar."
        )
    return "Give it more time, or make the pillar wider or higher."


def _beyond(pillar: Pillar) -> tuple[str, str] | None:
    """Why no machine of this kind can be, and what to change."""
    # All of a row but its last block, which the next edge has drawn aside, is pushed.
    longest = pillar.rules.push_limit + 1
    for name, length in zip(("x", "y"), pillar.size, strict=False):
        row, most = length - BEFORE - BEHIND, longest + BEFORE + BEHIND
        if row > longest:
            return (
                f"its side along {name} has {length} cells, so a row of {row} would have to move "
                f"on, and rams move rows of {longest} at most",
                f"Sides of {most} cells at most.",
            )
    least = LEAST_TICKS * APART
    if pillar.rules.press < least:
        return (
            f"a press of {pillar.rules.press} ticks is over before the blocks are in place",
            f"A press of {least} ticks or more.",
        )
    return None


def _covers(layout: Layout) -> Iterator[Cell]:
    """Covers of the front with room behind them for a trigger, those near its middle only."""
    front, (wide, _, high), field = layout.pillar.front, layout.pillar.size, layout.field()
    for x in range(wide // 4, wide - wide // 4):
        for z in range(1, high - 1):
            behind = [(x, front + k, z) for k in (1, 2, 3)]
            clear = all(field.free(cell) and not field.heard_beside(cell) for cell in behind)
            if clear and (x, front, z) not in layout.tape:
                yield x, front, z


def _lead_up(layout: Layout, rng: Random, deadline: float) -> None:
    """Add leads at every edge, the trigger, and leads from it.

    Raises NoRoomError or NoLeadsError.
    """
    hubs = _at_the_edge(layout, rng, deadline)
    ways = {part.at: VECTOR[OPPOSITE[part.face]] for part in hubs if part.face is not None}
    goals = [Goal((at,), 0, None, way) for at, way in ways.items()]
    before, why = layout.state(), "no cover of the front has room behind it"
    covers = list(_covers(layout))
    for cover in rng.sample(covers, min(COVERS, len(covers))):
        layout.go_back(before)
        try:
            _fan(layout, layout.trigger(cover), goals, rng, deadline, ORDERS)
        except (NoRoomError, NoLeadsError) as error:
            why = str(error)
        else:
            return
    raise NoLeadsError(why)


def _at_the_edge(layout: Layout, rng: Random, deadline: float) -> list[Part]:
    """A hub at every edge and leads from it to all that is fired there; the hubs."""
    goals = layout.goals_at_first()
    middle = next(goal.ram for goal in goals if goal.ram is not None)
    allows, before = layout.allows, layout.state()
    near = [cell for cell in layout.wedge() if distance(cell, middle) <= FAR]
    for _ in range(HUBS):
        at, face = rng.choice(near), rng.choice(FACES)
        free = [layout.free(step(at, face, k)) for k in range(WAY_IN + 1)]
        if not all(free) or time.monotonic() > deadline:
            continue
        layout.allows = layout.in_wedge
        hub = Part("sensor", at, face, unit="edge 1")
        layout.put(hub)
        way_in = {step(at, face, k) for k in range(1, WAY_IN + 1)}
        layout.air |= way_in
        try:
            _fan(layout, at, goals, rng, deadline, 1)
            layout.air -= way_in
            layout.allows = allows
            new = [part for cell, part in layout.parts.items() if cell not in before[0]]
            layout.repeat(new, layout.air - before[1])
        except (NoLeadsError, NoRoomError):
            layout.go_back(before)
            continue
        finally:
            layout.allows = allows
        return [layout.moved(hub, k) for k in range(4)]
    raise NoLeadsError("no leads to the rams of an edge were found")


def _fan(
    layout: Layout, start: Cell, goals: Sequence[Goal], rng: Random, deadline: float, orders: int
) -> None:
    """Leads to all goals, longer and longer until all fit. Raises NoLeadsError."""
    alone = Leads(layout, [start], start, rng)
    least = 0
    for goal in goals:
        ways = [alone.shortest(cell, goal.heading, start) for cell in goal.cells]
        lengths = [len(way) for way in ways if way is not None]
        if not lengths:
            raise NoLeadsError(f"no lead reaches {goal.cells[0]}")
        least = max(least, min(lengths) - goal.ticks)
    order = list(goals)
    rng.shuffle(order)
    order.sort(key=lambda goal: goal.ticks)
    before = layout.state()
    for turn in range(LONGER * orders):
        if time.monotonic() > deadline:
            break
        layout.go_back(before)
        leads = Leads(layout, [start], start, rng)
        length = least + LENGTHEN * (turn // orders)
        stuck = next((g for g in order if not _lead(layout, leads, g, start, length, rng)), None)
        if stuck is None:
            return
        order = [goal for goal in order if goal is not stuck]
        order.insert(rng.randrange(len(order) // 2 + 1), stuck)
    raise NoLeadsError(f"no leads of one length were found: none to {order[0].cells[0]}")


def _lead(layout: Layout, leads: Leads, goal: Goal, start: Cell, length: int, rng: Random) -> bool:
    """A lead to one of the goal's cells, or where parity forbids it to a block beside its ram.

    Where neither is to be had the lead is a tick late: the simulation tells whether that does.
    """
    length += goal.ticks
    right = [cell for cell in goal.cells if (distance(cell, start) - length) % 2]
    rng.shuffle(right)
    if any(leads.lay(cell, goal.heading, length, "lead") for cell in right[:4]):
        return True
    if goal.heading is not None and not right:
        return _by_wire(layout, leads, sub(goal.cells[0], goal.heading), length)
    if goal.ram is None:
        return False
    blocks = layout.beside(goal.ram) if not right else []
    rng.shuffle(blocks)
    for block in blocks:
        layout.put(Part("block", block, unit="lead"))
        if leads.lay(block, None, length, "lead"):
            return True
        del layout.parts[block]
    return not right and leads.lay(goal.ram, None, length + 1, "lead")


def _by_wire(layout: Layout, leads: Leads, watched: Cell, length: int) -> bool:
    """A lead that ends in a wire which a hub watches: a cell more for the same time."""
    stand = step(watched, "-z")
    if not (layout.free(stand) and layout.free(watched)):
        return False
    layout.put(Part("block", stand, unit="lead"), Part("wire", watched, unit="lead"))
    if leads.lay(watched, None, length, "lead"):
        return True
    del layout.parts[stand], layout.parts[watched]
    return False
