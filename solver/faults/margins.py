"""Margins: how far each delay may be off before a machine fails, found by simulation.

Each buffer is tried alone; sensors and inverters by their role, all of one role together, as they
are alike; and so are the press and the strokes. Changed delays are tried half-tick by half-tick
away from the right one until a case goes wrong.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from models.geometry import Cell
from models.machine import Case, Machine
from models.margin import Delay, Margin, Margins, Sooner
from models.plan import Timing
from solver.plan.watch import timing
from solver.simulate import Simulation, distinct

LIMIT = 4
"""Half-ticks up to which margins are looked for."""
REST = 600
"""Half-ticks to wait for rest."""
Say = Callable[[str], None]
PRESS, STROKE = "the button's press", "the stroke of the rams"


def find_margins(
    machine: Machine, known: Timing | None = None, limit: int = LIMIT, say: Say = lambda line: None
) -> Margins:
    """All margins of a machine that works, and both sides of the interval between presses."""
    bench = _Bench(machine)
    found = []
    for delay in delays(machine):
        shrink = _reach(bench, delay, -1, min(limit, delay.half_ticks - 1))
        found.append(Margin(delay, shrink, _reach(bench, delay, 1, limit), limit))
        say(f"{delay.name}: {shrink} half-ticks shorter, {found[-1].grow} longer")
    known = known or timing(machine)
    interval = known.interval_half_ticks if known else None
    return Margins(tuple(found), interval, sooner(machine, interval, bench.cases))


def delays(machine: Machine) -> Iterator[Delay]:
    """Every delay that is tried."""
    rules = machine.rules
    roles: dict[tuple[str, str], list[Cell]] = defaultdict(list)
    for part in machine.parts:
        role = part.unit.split(" ")[0]
        if part.kind == "buffer":
            name = f"the buffer at ({','.join(map(str, part.at))})"
            yield Delay(
                name + (f" ({part.unit})" if role else ""), (part.at,), 2 * (part.delay or 1)
            )
        elif part.kind in ("sensor", "inverter"):
            roles[part.kind, role].append(part.at)
    for (kind, role), cells in sorted(roles.items()):
        ticks = rules.sensor_delay if kind == "sensor" else rules.inverter_delay
        of = f" of the {role}s" if role else ""
        yield Delay(f"all {kind}s{of}", tuple(cells), 2 * ticks)
    button = next((part for part in machine.parts if part.kind == "button"), None)
    if button is not None:
        yield Delay(PRESS, (), 2 * (button.press or rules.press))
    yield Delay(STROKE, (), rules.stroke_half_ticks)


def _reach(bench: _Bench, delay: Delay, way: int, limit: int) -> int:
    """How far a delay may be off in one direction, up to the limit."""
    for off in range(1, limit + 1):
        if not bench.works(delay, delay.half_ticks + way * off):
            return off - 1
    return limit


class _Bench:
    """One simulation a case, pressed again and again; a new one where a press went wrong."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        fresh = distinct(Simulation(machine, case) for case in machine.cases)
        self.cases = tuple(simulation.case for simulation in fresh)
        """Those that can differ."""
        self._ready = {simulation.case: simulation for simulation in fresh}

    def works(self, delay: Delay, half_ticks: int) -> bool:
        """Whether full turns are right in every case with this delay changed."""
        if delay.name == STROKE:
            rules = self.machine.rules.model_copy(update={"stroke_half_ticks": half_ticks})
            other = replace(self.machine, rules=rules)
            return all(_full_turn(Simulation(other, c), None) for c in self.cases)
        return all(self._works_in(case, delay, half_ticks) for case in self.cases)

    def _works_in(self, case: Case, delay: Delay, half_ticks: int) -> bool:
        simulation = self._ready.pop(case, None) or Simulation(self.machine, case)
        simulation.run_to_rest(REST)
        before = simulation.state()
        for cell in delay.cells:
            simulation.retime(cell, half_ticks)
        good = _full_turn(simulation, half_ticks if delay.name == PRESS else None)
        for cell in delay.cells:
            simulation.retime(cell, delay.half_ticks)
        if good and simulation.state() == before:
            self._ready[case] = simulation
        return good


def _full_turn(simulation: Simulation, press: int | None) -> bool:
    """Whether the machine can be pressed for ever: until a state comes back, or for a full turn."""
    simulation.run_to_rest(REST)
    states, before = {simulation.state()}, list(simulation.block_at)
    machine = simulation.machine
    following = {cell: before[machine.following[i]] for i, cell in enumerate(before)}
    if len(simulation.buttons) < machine.triggers:
        return False
    home = before
    for number in range(len(home)):
        simulation.press_all(press)
        rested = simulation.run_to_rest(REST)
        back = machine.swings and number % 2
        expected = home if back else [following[cell] for cell in before]
        if not rested or simulation.faults or simulation.block_at != expected:
            return False
        if simulation.state() in states:
            return True
        states.add(simulation.state())
        before = expected
    return True


# ------------------------------------------------------------------ presses too close together


def sooner(machine: Machine, interval: int | None, worlds: Iterable[Case] = ()) -> Sooner | None:
    """The next shorter interval between presses, if simulation shows that it goes wrong."""
    if interval is None:
        return None
    less = interval - 1
    for case in worlds or machine.cases:
        simulation = Simulation(machine, case)
        simulation.run_to_rest(REST)
        simulation.press_all()
        for _ in range(less):
            simulation.step()
        if wrong := simulation.misplaced(1):
            return Sooner(less, f"the tape is not flush yet at {wrong[0][2]} ({case})")
        simulation.press_all()
        rested = simulation.run_to_rest(REST)
        if simulation.faults:
            return Sooner(less, f"{simulation.faults[0].text} ({case})")
        if not rested:
            return Sooner(less, f"it never comes to rest ({case})")
        if wrong := simulation.misplaced(2):
            _, cell, must = wrong[0]
            return Sooner(less, f"a tape block is at {cell}, must be at {must} ({case})")
    return None
