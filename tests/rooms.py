"""Random rooms as scenarios, their images under the symmetries of a floor, and judges of results.

Nothing here is shared with the search: machines are judged by the static check, by the scenario, by
the naive twin of the simulator, and by reading the plan back.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from models.machine import ALL_CASES, Machine
from models.outcome import Feasible
from models.scenario import Scenario
from solver import pipeline
from solver.check import check_against, check_machine
from solver.machine_file import parse_machine, write_machine
from solver.pipeline import Outcome
from solver.plan.plan import build_plan
from solver.read_scenario import parse_scenario
from solver.sheets.text import write_sheets
from tests.oracles.naive_simulator import run_presses
from tests.sheet_reader import read_layers


@dataclass(frozen=True)
class Room:
    """What a random scenario is made of; rows from the top."""

    rows: tuple[str, ...]
    surface: str = "floor"
    depth: int = 6
    margin: int = 3
    direction: str = "clockwise"
    minimise: tuple[str, ...] = ("parts",)
    longest: int | None = None

    def text(self, comment: str = "") -> str:
        """The scenario file."""
        length = f"length = {{ max = {self.longest} }}\n" if self.longest else ""
        head = f"# {comment}\n" if comment else ""
        return (
            f'{head}title = "Random room"\n\n[room]\nsize = [{len(self.rows[0])}, '
            f"{len(self.rows)}, 4]\n\n[surfaces.{self.surface}]\ndepth = {self.depth}\n"
            f'margin = {self.margin}\nmap = """\n' + "\n".join(self.rows) + '\n"""\n\n[loop]\n'
            f'direction = "{self.direction}"\nshape = "free"\n{length}'
            f"minimise = {json.dumps(self.minimise)}\n"
        )

    def scenario(self) -> Scenario:
        """As the reader takes it."""
        return parse_scenario(self.text(), Path("room.toml"))

    def mirrored(self) -> Room:
        """East and west exchanged: what ran clockwise runs anticlockwise."""
        other = "anticlockwise" if self.direction == "clockwise" else "clockwise"
        return replace(self, rows=tuple(row[::-1] for row in self.rows), direction=other)

    def turned(self) -> Room:
        """A quarter turn about the vertical."""
        turned = tuple("".join(column) for column in zip(*self.rows[::-1], strict=True))
        return replace(self, rows=turned)

    def image(self, number: int) -> Room:
        """One of the eight images, 0 to 7."""
        room = self.mirrored() if number & 4 else self
        for _ in range(number & 3):
            room = room.turned()
        return room

    def marked(self, mark: str, old: str, rng: Random) -> Room | None:
        """With one more cell of a mark, in place of one of another; None where there is none."""
        spots = [(r, c) for r, row in enumerate(self.rows) for c, m in enumerate(row) if m == old]
        if not spots:
            return None
        r, c = rng.choice(spots)
        row = self.rows[r][:c] + mark + self.rows[r][c + 1 :]
        return replace(self, rows=(*self.rows[:r], row, *self.rows[r + 1 :]))


def random_scenario_room(rng: Random, low: int = 5, high: int = 9) -> Room:
    """A small floor or ceiling with a few wishes and obstacles."""
    width, length = rng.randint(low, high), rng.randint(low, high)
    obstacles = rng.choice((0.0, 0.05, 0.1, 0.2))
    marks = [
        ["#" if rng.random() < obstacles else "." for _ in range(width)] for _ in range(length)
    ]
    for _ in range(rng.choice((1, 1, 2, 3))):
        marks[rng.randrange(length)][rng.randrange(width)] = "o"
    if rng.random() < 0.2:
        marks[rng.randrange(length)][rng.randrange(width)] = "="
    if not any("o" in row for row in marks):
        marks[length // 2][width // 2] = "o"
    return Room(
        tuple("".join(row) for row in marks),
        rng.choice(("floor", "floor", "ceiling")),
        rng.choice((4, 5, 6, 6, 6, 6)),
        rng.choice((2, 3, 4, 4, 5)),
        rng.choice(("clockwise", "anticlockwise")),
        rng.choice((("parts",), ("length", "parts"), ("corners", "length"), ("parts", "depth"))),
        rng.choice((None, None, 12, 20)),
    )


def solve_room(room: Room, budget_s: float) -> Outcome:
    """What the whole walk says of a room."""
    return solve_text(room.text(), budget_s)


def solve_text(text: str, budget_s: float) -> Outcome:
    """What the whole walk says, without the search for the shortest explanation afterwards."""
    scenario = parse_scenario(text, Path("room.toml"))
    explain, pipeline.explain = pipeline.explain, lambda scenario, found, *rest: found
    try:
        return pipeline.solve_scenario(scenario, budget_s=budget_s)
    finally:
        pipeline.explain = explain


def objective(outcome: Outcome) -> tuple[int, ...] | None:
    """The values that were minimised, if proven least."""
    found = outcome.result
    if not isinstance(found, Feasible) or not found.optimal:
        return None
    return tuple(found.score[term] for term in outcome.scenario.loop.minimise)


def machine_faults(machine: Machine, scenario: Scenario, presses: int = 2) -> list[str]:
    """What independent judges say against a machine."""
    faults = [fault.text for fault in check_machine(machine) + check_against(machine, scenario)]
    text = write_machine(machine)
    if parse_machine(json.loads(text), "machine").parts != machine.parts:
        faults.append("the machine file does not read back")
    for case in ALL_CASES:
        twin = run_presses(json.loads(text), presses, overhead=case.overhead, ground=case.ground)
        faults += [f"{case}: {fault}" for fault in twin.faults]
    return faults + plan_faults(machine)


def plan_faults(machine: Machine) -> list[str]:
    """Where the printed layers, read back, are not the machine."""
    pieces, _ = read_layers(write_sheets(build_plan(machine)))
    wanted = {
        part.at: (part.kind, part.face, part.delay if part.kind == "buffer" else part.press)
        for part in machine.parts
    }
    tape = {cell for cell, piece in pieces.items() if piece[0] == "tape"}
    got = {cell: piece for cell, piece in pieces.items() if piece[0] != "tape"}
    faults = [f"plan: {c}: {got.get(c)}" for c in wanted if not _same(wanted[c], got.get(c))]
    faults += [f"plan: nothing belongs at {cell}" for cell in got.keys() - wanted.keys()]
    return faults + ([] if tape == set(machine.tape) else ["plan: the tape differs"])


def _same(wanted: tuple[object, ...], got: tuple[object, ...] | None) -> bool:
    return got is not None and wanted[:2] == got[:2] and wanted[2] in (None, got[2])
