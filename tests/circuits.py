"""Random small circuits, and the two simulators side by side, half-tick by half-tick."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from models.geometry import FACES, HORIZONTAL, OPPOSITE, Box, Cell, Face, add, step
from models.machine import Case, Machine
from models.parts import FULL, Kind, Part
from models.rules import Rules
from solver.simulate import Simulation, Stroke
from tests.oracles.naive_simulator import NaiveWorld

Entry = dict[str, Any]

RULES: dict[str, tuple[int, ...]] = {
    "reach": (15, 15, 1, 2, 3, 5),
    "push_limit": (12, 12, 1, 2, 3),
    "press": (1, 2, 3, 5),
    "stroke_half_ticks": (3, 3, 3, 1, 2, 4, 5),
    "inverter_delay": (1, 1, 1, 2, 3),
    "sensor_delay": (1, 1, 1, 2),
    "sensor_pulse": (1, 1, 1, 2),
}
KIND_WEIGHTS: dict[str, int] = {
    "wire": 24,
    "block": 10,
    "tape": 16,
    "grip_ram": 11,
    "push_ram": 9,
    "inverter": 9,
    "buffer": 8,
    "sensor": 9,
    "insulator": 3,
    "cover": 2,
    "button": 3,
}
STANDS_ON: dict[str, Face] = {"wire": "-z", "buffer": "-z"}
PULSES = (1, 2, 2, 2, 3, 4, 4, 6, 9, 20)
"""Lengths of pulses in half-ticks; 2 is what a sensor gives."""
CODES = {
    "shoves": "stroke into part",
    "drags": "drags a part",
    "moved-twice": "moved twice",
    "two-in-one-cell": "two in one cell",
    "no-support": "no support",
    "bad-face": "bad face",
    "idle-oscillates": "idle oscillates",
}


@dataclass
class Experiment:
    """A machine, a world, and what is done to it when."""

    machine: Entry
    overhead: bool = False
    ground: bool = False
    pulses: list[tuple[Cell, int, int]] = field(default_factory=list)
    """(wire, first half-tick, length): forced power."""
    presses: list[tuple[Cell, int]] = field(default_factory=list)
    """(button, half-tick in which it goes down)."""
    half_ticks: int = 40
    why: str = ""

    def dump(self) -> str:
        """As text, one part a line."""
        head = {k: v for k, v in self.machine.items() if k != "parts"}
        parts = ",\n  ".join(json.dumps(part) for part in self.machine["parts"])
        rest = {k: v for k, v in vars(self).items() if k != "machine"}
        fields = [f'"machine": {json.dumps(head)}', f'"parts": [\n  {parts}\n ]']
        fields += [f"{json.dumps(key)}: {json.dumps(value)}" for key, value in rest.items()]
        return "{\n " + ",\n ".join(fields) + "\n}\n"


def load(path: Path) -> Experiment:
    """An experiment from a file that `dump` wrote."""
    raw = json.loads(path.read_text())
    raw["machine"]["parts"] = raw.pop("parts")
    raw["pulses"] = [(_cell(c), a, b) for c, a, b in raw["pulses"]]
    raw["presses"] = [(_cell(c), a) for c, a in raw["presses"]]
    return Experiment(**raw)


def machine_of(entry: Entry) -> Machine:
    """The noun of a machine in the form of the file, taken as it is."""
    parts = tuple(
        Part(p["kind"], _cell(p["at"]), p.get("face"), p.get("delay"), p.get("press"))
        for p in entry["parts"]
    )
    dug = tuple(Box(_cell(b["min"]), _cell(b["max"])) for b in entry["dug"])
    room = (entry["room"][0], entry["room"][1], entry["room"][2])
    rules = Rules(**entry.get("rules", {}))
    loops = [entry["tape"], *entry.get("more_loops", [])]
    tape = tuple(_cell(cell) for loop in loops for cell in loop)
    lengths = tuple(map(len, loops)) if len(loops) > 1 else ()
    return Machine("", room, rules, tape, parts, dug, loops=lengths)


def _cell(numbers: Sequence[int]) -> Cell:
    x, y, z = numbers
    return (x, y, z)


# ---- building circuits ------------------------------------------------------------------------


class Plot:
    """A few cells of ground to build in. What does not fit is left out."""

    def __init__(self, size: Cell) -> None:
        self.size = size
        self.parts: dict[Cell, Entry] = {}
        self.tape: list[Cell] = []

    def free(self, cell: Cell) -> bool:
        """Whether the cell is in the plot and empty."""
        inside = all(0 <= a < s for a, s in zip(cell, self.size, strict=True))
        return inside and cell not in self.parts and cell not in self.tape

    def put(self, kind: str, cell: Cell, face: Face, number: int, support: Kind = "block") -> None:
        """One part, with what it stands on or hangs from, if there is room for both."""
        if not self.free(cell):
            return
        if kind == "tape":
            self.tape.append(cell)
            return
        if kind == "buffer" and face not in HORIZONTAL:
            face = HORIZONTAL[number % 4]
        if kind == "inverter" and face == "+z":
            face = "-z"
        under = STANDS_ON.get(kind, face if kind in ("inverter", "button") else None)
        stands = under is None or self._supported(step(cell, under), face, support)
        if not stands and number < 3:  # Else it does without: on tape, or on nothing.
            return
        entry: Entry = {"kind": kind, "at": list(cell)}
        if kind not in ("wire", "block", "insulator", "cover"):
            entry["face"] = face
        if kind == "buffer":
            entry["delay"] = 1 + number % 4
        if kind == "button":
            entry["press"] = 1 + number % 4
        self.parts[cell] = entry

    def _supported(self, cell: Cell, face: Face, support: Kind) -> bool:
        if self.free(cell):
            self.put(support, cell, face, 0)
        return cell in self.parts and self.parts[cell]["kind"] in FULL

    def machine(self, rules: dict[str, int], holes: list[tuple[Cell, Cell]]) -> Entry:
        """The machine so far; without holes everything is dug."""
        everything = ((-3, -3, -3), add(self.size, (2, 2, 2)))
        return {
            "room": [2, 2, 1],
            "rules": rules,
            "tape": [list(cell) for cell in self.tape],
            "parts": list(self.parts.values()),
            "dug": [{"min": list(a), "max": list(b)} for a, b in holes or [everything]],
        }

    def cells(self, kind: str) -> list[Cell]:
        """Where the parts of a kind are."""
        return [cell for cell, part in self.parts.items() if part["kind"] == kind]


def random_experiment(rng: Random) -> Experiment:
    """A circuit that grew at random from one cell, with some power forced into it."""
    plot = Plot((rng.randint(4, 9), rng.randint(3, 7), rng.randint(3, 6)))
    for _ in range(rng.randint(2, 9)):
        rng.choice((_ram, _ram, _duel, _duel, _stairs, _watcher, _logic, _scatter))(plot, rng)
    rules = {}
    if rng.random() < 0.3:
        rules = {name: rng.choice(values) for name, values in RULES.items()}
    boxes = [_box(plot, rng) for _ in range(rng.choice((0, 0, 1, 2, 4)))]
    experiment = Experiment(
        plot.machine(rules, boxes), rng.random() < 0.5, rng.random() < 0.4, half_ticks=36
    )
    for wire in plot.cells("wire"):
        if rng.random() < 0.6:
            for _ in range(rng.randint(1, 3)):
                start = rng.choice((1, 1, 4, 12)) + rng.randint(0, 3)
                experiment.pulses.append((wire, start, rng.choice(PULSES)))
    for button in plot.cells("button"):
        for _ in range(rng.randint(1, 2)):
            experiment.presses.append((button, rng.randint(1, 20)))
    return experiment


def _ram(plot: Plot, rng: Random) -> None:
    """A ram, some tape in line in front of it, and something beside it that can power it."""
    cell, face = _near(plot, rng), rng.choice(FACES)
    plot.put(rng.choice(("push_ram", "grip_ram", "grip_ram")), cell, face, 0)
    for k in range(rng.choice((1, 2, 2)), rng.choice((2, 3, 3, 4, 5))):
        plot.put("tape", step(cell, face, k), face, 0)
    for _ in range(rng.choice((1, 1, 2))):
        _driver(plot, rng, cell)


def _duel(plot: Plot, rng: Random) -> None:
    """Rams that meet in one cell, each with a wire of its own: over tape, over air, over a ram."""
    cell = _near(plot, rng)
    if rng.random() < 0.6:
        plot.put("tape", cell, "+x", 0)
    for face in rng.sample(FACES, rng.choice((2, 2, 3))):
        distance = rng.choice((1, 1, 2, 2, 3))
        ram = step(cell, face, -distance)
        plot.put(rng.choice(("push_ram", "grip_ram", "grip_ram")), ram, face, 0)
        for k in range(1, distance):
            if rng.random() < 0.4:
                plot.put("tape", step(ram, face, k), face, 0)
        sides = [side for side in HORIZONTAL if side != face]
        plot.put("wire", step(ram, rng.choice(sides)), face, 0)


def _stairs(plot: Plot, rng: Random) -> None:
    """Wires that climb, and tape that can come between them."""
    cell, face = _near(plot, rng), rng.choice(HORIZONTAL)
    for _ in range(rng.randint(2, 4)):
        plot.put("wire", cell, face, rng.randrange(4), _support(rng))
        over = step(cell, "+z")
        if rng.random() < 0.4:
            plot.put("tape", over, face, 0)
        if rng.random() < 0.5:
            push = rng.choice(FACES)
            ram = step(over, push, -1)
            plot.put(rng.choice(("push_ram", "grip_ram")), ram, push, 0)
            sides = [side for side in HORIZONTAL if side != push]
            plot.put("wire", step(ram, rng.choice(sides)), face, 0)
        cell = step(over, face)


def _driver(plot: Plot, rng: Random, cell: Cell) -> None:
    """A part that can power what is in the cell."""
    side = rng.choice(FACES)
    beside = step(cell, side)
    kind = rng.choice(("wire", "wire", "wire", "buffer", "sensor", "inverter", "button", "block"))
    face: Face = rng.choice(FACES)
    if kind in ("buffer", "sensor"):
        face = side if kind == "sensor" else OPPOSITE[side]
    plot.put(kind, beside, face, rng.randrange(4), _support(rng))
    if kind == "block":  # A block passes on what powers it.
        _driver(plot, rng, beside)
    elif kind in ("buffer", "sensor"):
        plot.put("wire", step(beside, side), side, 0, _support(rng))
    elif kind == "inverter":
        plot.put("wire", step(step(beside, face), rng.choice(FACES)), side, 0, _support(rng))


def _watcher(plot: Plot, rng: Random) -> None:
    """A sensor on something that is there already, and a wire behind it."""
    there = rng.choice([*plot.parts, *plot.tape, (1, 1, 1)])
    face = rng.choice(FACES)
    plot.put("sensor", step(there, face, -1), face, 0)
    plot.put("wire", step(there, face, -2), face, 0, _support(rng))


def _logic(plot: Plot, rng: Random) -> None:
    """A row of wires, buffers and inverters."""
    cell, face = _near(plot, rng), rng.choice(HORIZONTAL)
    for _ in range(rng.randint(2, 7)):
        kind = rng.choice(("wire", "wire", "buffer", "inverter", "block"))
        turned = OPPOSITE[face] if kind == "inverter" else face
        plot.put(kind, cell, turned, rng.randrange(4), _support(rng))
        cell = step(cell, face)
        if rng.random() < 0.15:
            cell = step(cell, rng.choice(("+z", "-z")))
        if rng.random() < 0.15:
            face = rng.choice(HORIZONTAL)


def _scatter(plot: Plot, rng: Random) -> None:
    """Parts of any kind, anywhere."""
    kinds, weights = list(KIND_WEIGHTS), list(KIND_WEIGHTS.values())
    for _ in range(rng.randint(1, 12)):
        kind = rng.choices(kinds, weights)[0]
        plot.put(kind, _near(plot, rng), rng.choice(FACES), rng.randrange(4), _support(rng))


def _support(rng: Random) -> Kind:
    return rng.choice(("block",) * 8 + ("insulator",) * 2 + ("sensor",))


def _near(plot: Plot, rng: Random) -> Cell:
    here = rng.choice([*plot.parts, *plot.tape, (1, 1, 1)])
    return (
        here[0] + rng.randint(-2, 2),
        here[1] + rng.randint(-1, 1),
        here[2] + rng.randint(-1, 1),
    )


def _box(plot: Plot, rng: Random) -> tuple[Cell, Cell]:
    low = tuple(rng.randint(-1, s - 1) for s in plot.size)
    high = tuple(rng.randint(a, s) for a, s in zip(low, plot.size, strict=True))
    return _cell(low), _cell(high)


# ---- the comparison ---------------------------------------------------------------------------


def compare(experiment: Experiment, seen: Counter[str] | None = None) -> str:
    """Run both simulators; what differs first, or an empty text. `seen` counts what happened."""
    twin = NaiveWorld(experiment.machine, overhead=experiment.overhead, ground=experiment.ground)
    case = Case(experiment.overhead, experiment.ground)
    fast = Simulation(machine_of(experiment.machine), case, record=True)
    for cell, start, length in experiment.pulses:
        twin.set_source(cell, start, start + length)
        fast.pulse_wire(cell, start, length)
    numbers = {button.at: index for index, button in enumerate(fast.buttons)}
    history: list[dict[str, Any]] = []
    for now in range(experiment.half_ticks + 1):
        if now:
            twin.step()
            fast.step()
        wanted, got = twin.snapshot() | _verdict(twin), snapshot(fast)
        for key, value in wanted.items():
            if value != got[key]:
                return f"half-tick {now}, {key}: twin {value}, simulation {got[key]}"
        history.append(wanted)
        if wanted["resting"] and all(when <= now for _, when in experiment.presses):
            break  # Nothing will ever happen again.
        for button, when in experiment.presses:
            if when == now + 1:
                twin.press(button)
                fast.press(button=numbers[button])
    if seen is not None:
        _count(seen, history, fast)
    return ""


def _verdict(twin: NaiveWorld) -> dict[str, Any]:
    faults = [(t, CODES[code], () if "idle" in code else cells) for t, code, cells in twin.faults]
    return {"faults": sorted(faults), "resting": twin.resting()}


def snapshot(simulation: Simulation) -> dict[str, Any]:
    """The visible state of everything that can change, in the twin's form."""
    switches = simulation.switches()
    return {
        "wires": {wire.at: wire.level for wire in simulation.wires},
        "on": {at for _, at, driver in switches if simulation.drivers[driver].on},
        "rams": {ram.at: Stroke(ram.state).name.lower() for ram in simulation.rams},
        "tape": {
            i: (cell, not simulation.is_moving(i)) for i, cell in enumerate(simulation.block_at)
        },
        "faults": sorted(
            (f.half_tick, f.code, () if "idle" in f.code else f.cells) for f in simulation.faults
        ),
        "resting": simulation.at_rest(),
    }


def _count(seen: Counter[str], history: list[dict[str, Any]], fast: Simulation) -> None:
    for fault in {fault.code for fault in fast.faults}:
        seen[f"fault: {fault}"] += 1
    for key in ("wires", "on", "rams", "tape"):
        seen[f"change of {key}"] += any(step[key] != history[0][key] for step in history)
    seen["still moving at the end"] += not history[-1]["resting"]
    seen["all"] += 1
