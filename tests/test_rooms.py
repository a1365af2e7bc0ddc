"""Loops over several surfaces, from the scenario to a simulated machine.

Every machine here was accepted by the product in all four cases; the naive simulator, which shares
no code with it, judges one of each kind again.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from models.geometry import Cell, cross, dot, sub
from models.machine import ALL_CASES, Machine
from models.outcome import Feasible, Infeasible
from models.surface import SurfaceName
from solver.flatten import flatten
from solver.machine_file import write_machine
from solver.net.floor_line import NoLine
from solver.net.folds import LONGEST
from solver.net.realise import realise
from solver.net.space_net import SpaceNetSearch
from solver.net.systems import systems_over
from solver.pipeline import Outcome, solve_scenario
from solver.read_scenario import read_scenario
from solver.route import RouteSearch
from solver.route.problem import edge_limits, route_problem
from solver.simulate import prove_case
from tests.oracles.naive_simulator import run_presses
from tests.room_drawings import drawing, loop

BUDGET_S = 200.0
ROOM: Cell = (11, 10, 8)
Map = Callable[[Cell], Cell]

# Corners and folds of one ring for each pair of kinds of surfaces; each has a passage both ways.
FLOOR_WALL = [(8, 5, -1), (3, 5, -1), (3, 10, -1), (3, 10, 4), (8, 10, 4), (8, 10, -1)]
WALL_WALL = [(7, 10, 1), (11, 10, 1), (11, 6, 1), (11, 6, 5), (11, 10, 5), (7, 10, 5)]
WALL_CEILING = [(3, 5, 8), (3, 10, 8), (3, 10, 3), (8, 10, 3), (8, 10, 8), (8, 5, 8)]
RINGS = {"floor-wall": FLOOR_WALL, "wall-wall": WALL_WALL, "wall-ceiling": WALL_CEILING}


def solved(outcome: Outcome) -> Machine:
    """The machine that was found and accepted."""
    assert outcome.verdict == "feasible", outcome.summary({})
    assert isinstance(outcome.result, Feasible)
    return outcome.result.machine


def turned(quarters: int, *, mirror: bool) -> tuple[Map, Cell]:
    """A symmetry of the room that keeps what is up, and the room's size under it."""
    width, length, height = ROOM

    def cell(at: Cell) -> Cell:
        x, y, z = at
        w, h = width, length
        x = w - 1 - x if mirror else x
        for _ in range(quarters):
            x, y, w, h = h - 1 - y, x, h, w
        return (x, y, z)

    size = (width, length) if quarters % 2 == 0 else (length, width)
    return cell, (*size, height)


def surfaces_of(room: Cell, cells: list[Cell]) -> list[SurfaceName]:
    """Those that the loop runs on."""
    names: dict[SurfaceName, bool] = {
        "floor": any(c[2] == -1 for c in cells),
        "ceiling": any(c[2] == room[2] for c in cells),
        "north": any(c[1] == room[1] for c in cells),
        "south": any(c[1] == -1 for c in cells),
        "east": any(c[0] == room[0] for c in cells),
        "west": any(c[0] == -1 for c in cells),
    }
    return [name for name, used in names.items() if used]


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
@pytest.mark.parametrize("mirror", [False, True])
@pytest.mark.parametrize("kind", sorted(RINGS))
def test_every_passage_mirrored_and_turned(kind: str, quarters: int, *, mirror: bool) -> None:
    """A ring that goes through the passage there and back, on each wall, in each sense."""
    place, room = turned(quarters, mirror=mirror)
    cells = [place(cell) for cell in loop(RINGS[kind])]
    machine = solved(
        solve_scenario(drawing(room, cells, surfaces_of(room, cells)), budget_s=BUDGET_S)
    )
    assert set(machine.tape) == set(cells)
    assert abs(left_minus_right(machine)) == 4


SHORT_CLIMBS = {
    "corner, two cells, ceiling": [
        (3, 6, 8),
        (3, 10, 8),
        (3, 10, 7),
        (7, 10, 7),
        (7, 10, 8),
        (7, 6, 8),
    ],
    "three wide": [(3, 6, 8), (3, 10, 8), (3, 10, 7), (5, 10, 7), (5, 10, 8), (5, 6, 8)],
    "two cells on both": [(3, 9, 8), (3, 10, 8), (3, 10, 7), (7, 10, 7), (7, 10, 8), (7, 9, 8)],
}


@pytest.mark.parametrize("kind", sorted(SHORT_CLIMBS))
@pytest.mark.parametrize("backwards", [False, True])
def test_edges_of_two_between_a_corner_on_a_wall_and_the_ceiling(
    kind: str, *, backwards: bool
) -> None:
    """There a fold's sensor would put power into a block of the wall's line: that block goes."""
    cells = loop(SHORT_CLIMBS[kind])
    direction = "anticlockwise" if backwards else "clockwise"
    scenario = drawing(
        ROOM, cells, surfaces_of(ROOM, cells), direction=direction, depth=6, margin=3
    )
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    assert set(machine.tape) == set(cells)
    for case in ALL_CASES:
        data = json.loads(write_machine(machine))
        assert not run_presses(data, 2, overhead=case.overhead, ground=case.ground).faults


def left_minus_right(machine: Machine) -> int:
    """Left turns less right turns, seen from inside the room; a fold is no turn."""
    tape, room, total = machine.tape, machine.room, 0
    for k, cell in enumerate(tape):
        before, after = sub(cell, tape[k - 1]), sub(tape[(k + 1) % len(tape)], cell)
        inward = [
            tuple(int(i == axis) * (1 if cell[axis] < 0 else -1) for i in range(3))
            for axis in range(3)
            if not 0 <= cell[axis] < room[axis]
        ]
        if len(inward) == 1:
            total += dot(cross(before, after), inward[0])  # type: ignore[arg-type]
    return total


CORNER = [(11, 4, -1), (5, 4, -1), (5, 10, -1), (5, 10, 4), (11, 10, 4), (11, 4, 4)]
BELT = [(-1, -1, 3), (11, -1, 3), (11, 10, 3), (-1, 10, 3)]


@pytest.mark.parametrize(
    ("points", "around", "corners_inside"),
    [
        (FLOOR_WALL, '["floor", 5, 7]', 0),
        (CORNER, '["floor", 8, 7]', 1),
        (BELT, '["north", 5, 6]', 4),
    ],
)
@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
def test_turns_are_four_less_the_room_corners_inside(
    points: list[Cell], around: str, corners_inside: int, direction: str
) -> None:
    """left - right = 4 - k, k room corners on the left: Gauss-Bonnet; Descartes' defect pi/2."""
    cells = loop(points)
    scenario = drawing(
        ROOM, cells, surfaces_of(ROOM, cells), around=around, direction=direction, depth=7
    )
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    # Inside is on the left when anticlockwise; else the outside is, which has the other corners.
    corners_left = corners_inside if direction == "anticlockwise" else 8 - corners_inside
    assert left_minus_right(machine) == 4 - corners_left


def test_the_naive_twin_agrees() -> None:
    """The smallest ring round a room corner, in every case."""
    cells = loop(CORNER)
    machine = solved(
        solve_scenario(drawing(ROOM, cells, surfaces_of(ROOM, cells)), budget_s=BUDGET_S)
    )
    data = json.loads(write_machine(machine))
    for case in ALL_CASES:
        report = run_presses(data, 1, overhead=case.overhead, ground=case.ground)
        assert report.ok, report.faults


@pytest.mark.parametrize(("width", "fine"), [(11, True), (12, False)])
def test_from_fold_to_fold_thirteen_cells(width: int, *, fine: bool) -> None:
    """The same belt, built for rams that push one more, fails with rams that push twelve."""
    room = (width, 8, 6)
    cells = loop([(-1, -1, 2), (width, -1, 2), (width, 8, 2), (-1, 8, 2)])
    scenario = drawing(room, cells, surfaces_of(room, cells), rules="push_limit = 13")
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    weak = replace(machine, rules=machine.rules.model_copy(update={"push_limit": 12}))
    assert LONGEST["fold", "fold"] == 13
    assert prove_case(weak, ALL_CASES[0]).ok is fine


def test_limits_are_those_of_the_folds() -> None:
    """One table, written twice: by the kinds of ends, and for the route search."""
    limits = edge_limits(drawing(ROOM, loop(BELT), ["north", "south", "east", "west"]).rules)
    spans = {
        ("drive", "drive"): limits.drive_drive,
        ("drive", "fold"): limits.drive_fold,
        ("fold", "drive"): limits.fold_drive,
        ("fold", "fold"): limits.fold_fold,
    }
    assert {ends: span.most for ends, span in spans.items()} == LONGEST


@pytest.mark.parametrize("name", ["room-corner", "fold-wall-wall"])
def test_the_nets_of_plain_rooms_are_proven_to_be_the_cheapest(name: str) -> None:
    """No net of cables and wires has fewer parts, nor as few and less depth."""
    folder = Path(__file__).parent.parent / "scenarios"
    found = solve_scenario(read_scenario(folder / f"{name}.toml"), budget_s=BUDGET_S).result
    assert isinstance(found, Feasible)
    assert found.optimal
    assert found.lower_bound == found.score


def test_a_button_sixty_cells_away() -> None:
    """On another surface, at the far end of a long room."""
    room = (60, 10, 8)
    cells = loop(WALL_CEILING)
    surfaces: list[SurfaceName] = ["ceiling", "north", "east"]
    scenario = drawing(room, cells, surfaces, button=(60, 3, 2))
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    assert [part.at for part in machine.parts if part.kind == "button"] == [(59, 3, 2)]


def test_an_edge_too_long_between_folds_is_named() -> None:
    """A belt in a room twelve wide."""
    folder = Path(__file__).parent.parent / "scenarios"
    outcome = solve_scenario(read_scenario(folder / "impossible-belt.toml"), budget_s=BUDGET_S)
    assert isinstance(outcome.result, Infeasible)
    assert "an edge of 14 cells between a fold and a fold" in outcome.result.reasons[0].text
    assert outcome.result.reasons[0].place.count(":") == 2


@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
def test_a_floor_too_thin_for_its_usual_line(direction: str) -> None:
    """Four cells may be dug behind the floor: its wires lie beside the tape."""
    cells = loop(FLOOR_WALL)
    thick = drawing(ROOM, cells, ["floor", "north"], direction=direction, depth=6)
    floor = replace(thick.surfaces["floor"], depth=4)
    scenario = replace(thick, surfaces={**thick.surfaces, "floor": floor})
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    line = [part for part in machine.parts if part.kind == "wire" and part.unit == "line"]
    wires = {part.at[2] for part in line if part.at[1] < 10}
    assert wires == {-2}
    assert min(z for _, y, z in machine.dug_cells if y < 10) >= -5


def test_a_ceiling_four_deep_and_no_margin() -> None:
    """Cables reach its line though what they put out beyond lies in the ground."""
    scenario = drawing(ROOM, loop(WALL_CEILING), ["ceiling", "north"], depth=4, margin=0)
    machine = solved(solve_scenario(scenario, budget_s=BUDGET_S))
    assert max(z for _, _, z in machine.dug_cells) == ROOM[2] + 4


def test_what_is_not_found_is_not_called_impossible(monkeypatch: pytest.MonkeyPatch) -> None:
    """A room that has a machine, with every net refused: that no net was found proves nothing."""
    none = NoLine("no cables", proven=False)
    monkeypatch.setattr(SpaceNetSearch, "candidates", lambda *_: iter([none]))
    scenario = drawing(ROOM, loop(WALL_CEILING), ["ceiling", "north"])
    assert solve_scenario(scenario, budget_s=BUDGET_S).verdict == "undecided"


def test_every_part_of_a_fold_is_named() -> None:
    """Units carry names, for the plan: seven parts a fold, beside the two lifts of its cell."""
    scenario = drawing(ROOM, loop(CORNER), ["floor", "north", "east"])
    problem = flatten(scenario)
    (system,) = systems_over(scenario.surfaces)
    routes = RouteSearch(route_problem(problem, system))
    found = routes.solve(1e12)
    assert not isinstance(found, Infeasible)
    machine = realise(problem, system, SpaceNetSearch(problem, system), found.route)  # type: ignore[union-attr]
    assert isinstance(machine, Machine)
    units = [part.unit for part in machine.parts if part.unit.startswith("fold")]
    assert sorted(units) == sorted(f"fold {k}" for k in range(3) for _ in range(7))
