"""What a simulation shows of a press: every change, the times, the open cells, the strokes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace

from models.geometry import Cell, step
from models.machine import Machine
from models.parts import Part
from models.plan import Happening, Mover, Opening, Piece, StageTest, Timing, Trace
from solver.simulate import Event, Simulation, Stroke, distinct

LIMIT = 600
"""Half-ticks to wait for rest."""
RUNNING = 120
"""Half-ticks to watch a machine that runs by itself."""


def watch_press(machine: Machine) -> Trace:
    """One press from rest. A machine without a button gives its idle state.

    One that runs by itself gives its first ticks, enough for every ram to have stroked.
    """
    simulation = Simulation(machine, machine.cases[0], record=True)
    rests = simulation.run_to_rest(LIMIT)
    if not rests and not simulation.buttons:
        simulation = Simulation(machine, machine.cases[0], record=True)
        for _ in range(RUNNING):
            simulation.step()
        return _trace(simulation, 0)
    start = simulation.now
    if simulation.buttons:
        simulation.press_all()
        simulation.run_to_rest(LIMIT)
    return _trace(simulation, start)


def _trace(simulation: Simulation, start: int) -> Trace:
    assert simulation.events is not None
    switches = simulation.switches()
    number = {driver: index for index, (_, _, driver) in enumerate(switches)}
    idle: dict[tuple[str, int], Happening] = {}
    happenings: list[Happening] = []
    for event in simulation.events:
        happening = _happening(event, start, number)
        if happening is None:
            continue
        if happening.half_tick <= 0:
            idle[happening.what, happening.which] = happening._replace(half_tick=0)
        else:
            happenings.append(happening)
    return Trace(
        tuple(wire.at for wire in simulation.wires),
        tuple((kind, at) for kind, at, _ in switches),
        tuple(ram.at for ram in simulation.rams),
        (*idle.values(), *happenings),
        simulation.now - start,
    )


def _happening(event: Event, start: int, number: Mapping[int, int]) -> Happening | None:
    now, what, which, value = event
    if what == "tape":
        assert isinstance(value, tuple)
        cell, moving = value
        return Happening(now - start, "tape", which, int(moving), cell)
    assert isinstance(value, int)
    if what == "on":
        return Happening(now - start, "on", number[which], value)
    if what == "wire":
        return Happening(now - start, "wire", which, value)
    return Happening(now - start, "ram", which, value) if what == "ram" else None


# ------------------------------------------------------------------ times


def timing(machine: Machine) -> Timing | None:
    """The slowest case of one press, and how soon the next may follow.

    Intervals no shorter than it takes to lie flush are tried in every case, from rest downwards,
    half-tick by half-tick, until one goes wrong.
    """
    flush = rest = press = skew = 0
    runs = distinct(Simulation(machine, case, record=True) for case in machine.cases)
    for simulation in runs:
        if not simulation.buttons or not simulation.run_to_rest(LIMIT):
            return None
        press = simulation.buttons[0].length
        took = _press_once(simulation)
        if took is None:
            return None
        flush, rest = max(flush, took[0]), max(rest, took[1])
        skew = max(skew, _skew(simulation))
    least, interval = max(flush, press + 1), None
    presses = [_Presses(simulation, least) for simulation in runs]
    for tried in range(max(rest, least), least - 1, -1):
        if not all(one.right(tried) for one in presses):
            break
        interval = tried
    return Timing(press // 2, flush, rest, interval, skew)


def _skew(simulation: Simulation) -> int:
    """Half-ticks between the first and the last lift's first stroke."""
    assert simulation.events is not None
    tape = set(simulation.machine.tape)
    faces = {part.at: part.face for part in simulation.machine.parts}
    first: dict[int, int] = {}
    for now, what, which, _ in simulation.events:
        at = simulation.rams[which].at if what == "ram" else None
        face = faces.get(at) if at is not None else None
        if at is not None and face is not None and now > 0 and step(at, face, 2) in tape:
            first.setdefault(which, now)
    return max(first.values(), default=0) - min(first.values(), default=0)


def rest_after_press(machine: Machine) -> int:
    """Half-ticks from a press to rest in the slowest case, for a machine that was accepted."""
    slowest = 0
    for simulation in distinct(Simulation(machine, c, record=True) for c in machine.cases):
        took = _press_once(simulation) if simulation.run_to_rest(LIMIT) else None
        assert took is not None, "an accepted machine comes to rest"
        slowest = max(slowest, took[1])
    return slowest


def _press_once(simulation: Simulation) -> tuple[int, int] | None:
    """Half-ticks until flush and until rest; None if anything went wrong."""
    assert simulation.events is not None
    start = simulation.now
    simulation.press_all()
    rested = simulation.run_to_rest(LIMIT)
    if not rested or simulation.faults or simulation.misplaced(1):
        return None
    tape = [event[0] for event in simulation.events if event[1] == "tape"]
    return max(tape, default=start) - start, simulation.now - start


class _Presses:
    """Presses at intervals, one after the other on one machine.

    `least` half-ticks after a right press the tape lies flush, and the machine is as it is after a
    press from rest: all earlier presses are forgotten. So what holds for two presses holds for
    any number of them, as long as every interval is right and none is shorter than that.
    """

    def __init__(self, simulation: Simulation, least: int) -> None:
        self._simulation = simulation
        self._least = least
        self._presses = 1
        self._press()
        self._after_one = simulation.situation()

    def _press(self) -> None:
        self._simulation.press_all()
        self._wait(self._least)
        self._presses += 1

    def _wait(self, half_ticks: int) -> None:
        for _ in range(half_ticks):
            self._simulation.step()

    def right(self, interval: int) -> bool:
        """Whether the next press, so long after the last, does what one from rest does."""
        simulation = self._simulation
        self._wait(interval - self._least)
        self._press()
        return (
            simulation.situation() == self._after_one
            and not simulation.faults
            and not simulation.misplaced(self._presses)
        )


# ------------------------------------------------------------------ places


def openings(machine: Machine, trace: Trace) -> tuple[Opening, ...]:
    """When each tape cell of the surface holds no block at rest."""
    holds = dict.fromkeys(machine.tape, True)
    at, spans = dict(enumerate(machine.tape)), _Spans()
    for happening in trace.happenings:
        if happening.what != "tape" or happening.to is None:
            continue
        block, now = happening.which, happening.half_tick
        left = at.get(block)
        if left in holds and left != happening.to:
            holds[left] = False
            spans.open(left, now)
        at[block] = happening.to
        if happening.to in holds:
            if happening.value:
                spans.open(happening.to, now)
            else:
                spans.close(happening.to, now + 1)
    return _same_times(machine.tape, spans.ended(trace.half_ticks))


class _Spans:
    def __init__(self) -> None:
        self._since: dict[Cell, int] = {}
        self._spans: dict[Cell, list[tuple[int, int]]] = defaultdict(list)

    def open(self, cell: Cell, now: int) -> None:
        self._since.setdefault(cell, now)

    def close(self, cell: Cell, now: int) -> None:
        since = self._since.pop(cell, None)
        if since is not None:
            self._spans[cell].append((since, now))

    def ended(self, now: int) -> dict[Cell, list[tuple[int, int]]]:
        for cell in list(self._since):
            self.close(cell, now + 1)
        return self._spans


def _same_times(
    tape: Iterable[Cell], spans: Mapping[Cell, list[tuple[int, int]]]
) -> tuple[Opening, ...]:
    cells: dict[tuple[tuple[int, int], ...], list[Cell]] = defaultdict(list)
    for cell in tape:
        if spans.get(cell):
            cells[tuple(spans[cell])].append(cell)
    found = [Opening(tuple(group), times) for times, group in cells.items()]
    return tuple(sorted(found, key=lambda o: (o.spans, o.cells)))


def crushing(machine: Machine, trace: Trace) -> tuple[Cell, ...]:
    """Every cell into which a ram's head or a tape block moves during the press."""
    faces = {part.at: part.face for part in machine.parts}
    cells: set[Cell] = set()
    for happening in trace.happenings:
        if happening.half_tick <= 0:
            continue
        if happening.what == "tape" and happening.value and happening.to is not None:
            cells.add(happening.to)
        elif happening.what == "ram" and happening.value == Stroke.EXTENDING:
            at = trace.rams[happening.which]
            face = faces[at]
            assert face is not None, "a ram has a face"
            cells.add(step(at, face))
    return tuple(sorted(cells))


def movers(machine: Machine, trace: Trace) -> tuple[Mover, ...]:
    """Every ram that strokes in the press, in the order of their first strokes."""
    pushes: dict[Cell, list[int]] = defaultdict(list)
    returns: dict[Cell, list[int]] = defaultdict(list)
    for happening in trace.happenings:
        if happening.what == "ram" and happening.half_tick > 0:
            at = trace.rams[happening.which]
            if happening.value == Stroke.EXTENDING:
                pushes[at].append(happening.half_tick)
            elif happening.value == Stroke.RETRACTING:
                returns[at].append(happening.half_tick)
    parts = {part.at: part for part in machine.parts}
    found = [
        Mover(at, parts[at].kind, parts[at].unit, tuple(pushes[at]), tuple(returns[at]))
        for at in {*pushes, *returns}
    ]
    return tuple(sorted(found, key=lambda m: (min(*m.pushes, *m.returns, LIMIT), m.unit, m.at)))


# ------------------------------------------------------------------ half-built machines


def partial(machine: Machine, pieces: Iterable[Piece]) -> Machine:
    """The machine as far as it is built, with all digging done."""
    placed = {piece.at for piece in pieces}
    tape = tuple(cell for cell in machine.tape if cell in placed)
    return replace(
        machine,
        tape=tape,
        loops=machine.loops if len(tape) == len(machine.tape) else (),
        parts=tuple(part for part in machine.parts if part.at in placed),
    )


def look_test(machine: Machine) -> StageTest:
    """What rests on or extended in a half-built machine."""
    simulation = Simulation(machine, machine.cases[0])
    simulation.run_to_rest(LIMIT)
    return _resting(simulation, StageTest("look", None, (), ()))


def pulse_test(machine: Machine, wire: Cell) -> StageTest:
    """What moves when the wire gets one pulse of one tick."""
    simulation = Simulation(machine, machine.cases[0], record=True)
    simulation.run_to_rest(LIMIT)
    test = _resting(simulation, StageTest("pulse", wire, (), ()))
    start = simulation.now
    simulation.pulse_wire(wire, 1, 2)
    return _moved(simulation, start, test)


def press_test(machine: Machine) -> StageTest:
    """What moves when the button is pressed."""
    simulation = Simulation(machine, machine.cases[0], record=True)
    simulation.run_to_rest(LIMIT)
    test = _resting(simulation, StageTest("press", None, (), ()))
    start = simulation.now
    if simulation.buttons:
        simulation.press_all()
    return _moved(simulation, start, test)


def _resting(simulation: Simulation, test: StageTest) -> StageTest:
    drivers = simulation.drivers
    lit = [_piece(simulation.part_at[at]) for _, at, d in simulation.switches() if drivers[d].on]
    out = [_piece(simulation.part_at[r.at]) for r in simulation.rams if r.state == Stroke.OUT]
    return replace(test, lit=tuple(sorted(lit)), extended=tuple(sorted(out)))


def _moved(simulation: Simulation, start: int, test: StageTest) -> StageTest:
    before = list(simulation.block_at)
    simulation.run_to_rest(LIMIT)
    trace = _trace(simulation, start)
    moving = movers(simulation.machine, trace)
    moved = {mover.at for mover in moving}
    still = [_piece(simulation.part_at[r.at]) for r in simulation.rams if r.at not in moved]
    changed = sum(a != b for a, b in zip(before, simulation.block_at, strict=True))
    return replace(
        test,
        movers=moving,
        still=tuple(sorted(still)),
        moved_blocks=changed,
        half_ticks=trace.half_ticks,
    )


def _piece(part: Part) -> Piece:
    return Piece(part.kind, part.at, part.face, part.delay, part.press, part.unit)
