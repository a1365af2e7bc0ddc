"""Floor scenarios turned and mirrored, by writing the turned file and reading it back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from models.scenario import Scenario
from models.surface import plane_of
from solver.read_scenario import parse_scenario
from solver.scenario_file.write import scenario_text

TURNS = ("quarter", "half", "mirror", "transpose")
Rows = tuple[tuple[object, ...], ...]


def turned_rows(rows: Rows, turn: str) -> Rows:
    """A map, turned clockwise or mirrored."""
    match turn:
        case "quarter":
            return tuple(zip(*rows[::-1], strict=True))
        case "half":
            return tuple(row[::-1] for row in rows[::-1])
        case "mirror":
            return tuple(row[::-1] for row in rows)
        case "transpose":
            return tuple(zip(*rows, strict=True))
    raise AssertionError(turn)


def turned_scenario(scenario: Scenario, turn: str) -> Scenario:
    """The scenario of the turned floor; a mirror turns the direction of travel round."""
    (surface,) = scenario.surfaces.values()
    marks = turned_rows(surface.marks, turn)
    room = (len(marks[0]), len(marks), scenario.room[2])
    new = replace(surface, marks=marks, plane=plane_of("floor", room))
    direction = scenario.loop.direction
    if turn in ("mirror", "transpose"):
        direction = "anticlockwise" if direction == "clockwise" else "clockwise"
    assert scenario.loop.around is None
    changed = replace(
        scenario,
        room=room,
        surfaces={"floor": new},
        loop=replace(scenario.loop, direction=direction),
    )
    return parse_scenario(scenario_text(changed), Path("turned.toml"))


def turned_names(scenario: Scenario, names: frozenset[str], turn: str) -> frozenset[str]:
    """The names of the same requirements in the turned scenario."""
    (surface,) = scenario.surfaces.values()
    spots = tuple(
        tuple((row, column) for column in range(len(line)))
        for row, line in enumerate(surface.marks)
    )
    new = {
        f"surfaces.floor.map[{old[0] + 1},{old[1] + 1}]": f"surfaces.floor.map[{r + 1},{c + 1}]"
        for r, line in enumerate(turned_rows(spots, turn))
        for c, old in enumerate(line)
    }
    return frozenset(new.get(name, name) for name in names)
