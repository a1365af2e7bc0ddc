"""Wall loops end to end: sizes, directions, walls, corners that turn the other way, reach, button.

Common practice (no published source): edges of 2 to 13 cells; where a drive stands inside the
loop its stretch is at least 6 wide.
"""

from __future__ import annotations

import json
import time
from dataclasses import replace

import pytest

from models.geometry import Box, Frame, sub
from models.machine import ALL_CASES, Case, Machine
from models.outcome import Feasible, Infeasible, Undecided
from models.parts import RAMS, Part
from models.route import RouteFound
from solver.characterise.testbed import polygon
from solver.flatten import flatten
from solver.machine_file import write_machine
from solver.net.cables import Feed, Space, Tree
from solver.net.catalogue import load_entries
from solver.net.coupling import powers
from solver.net.realise import Refused, net_search, realise
from solver.net.systems import wall_system
from solver.net.worked import RAMS_ALONE
from solver.pipeline import solve_scenario
from solver.read_scenario import read_scenario
from solver.route import RouteSearch
from solver.route.problem import route_problem
from solver.search import Progress, search_system
from solver.simulate import Simulation, Stroke, prove_case
from tests.oracles.naive_simulator import run_presses
from tests.rooms import machine_faults, solve_text
from tests.wall_rooms import WallRoom

PAD = 4
RINGS = [
    (3, 3, "north", "clockwise"),
    (3, 3, "west", "anticlockwise"),
    (4, 3, "south", "anticlockwise"),
    (3, 8, "east", "clockwise"),
    (5, 5, "east", "anticlockwise"),
    (4, 13, "west", "clockwise"),
    (13, 3, "north", "anticlockwise"),
    (8, 9, "south", "clockwise"),
    (13, 13, "west", "anticlockwise"),
]


def scenario_of(tmp_path, corners, wall, direction, *, shape="exact", depth=5, extra="", mark=None):
    """An exact loop through these corners (columns and heights), a margin of wall around it."""
    cells = polygon(corners)
    low = [min(c[i] for c in cells) for i in (0, 1)]
    size = [max(c[i] for c in cells) - low[i] + 1 + 2 * PAD for i in (0, 1)]
    rows = [["."] * size[0] for _ in range(size[1])]
    for x, y in cells:
        rows[size[1] - 1 - (y - low[1] + PAD)][x - low[0] + PAD] = "o"
    for (x, y), sign in (mark or {}).items():
        rows[size[1] - 1 - y][x] = sign
    room = (size[0], 6, size[1]) if wall in ("north", "south") else (6, size[0], size[1])
    drawn = "\n".join("".join(row) for row in rows)
    text = (
        f'title = "Wall"\n[room]\nsize = {list(room)}\n[surfaces.{wall}]\ndepth = {depth}\n'
        f'map = """\n{drawn}\n"""\n[loop]\ndirection = "{direction}"\nshape = "{shape}"\n'
        f'minimise = ["parts"]\n{extra}'
    )
    path = tmp_path / "wall.toml"
    path.write_text(text, encoding="utf-8")
    return read_scenario(path)


def ring(width, height):
    """The corners of a rectangle."""
    return [(0, 0), (width - 1, 0), (width - 1, height - 1), (0, height - 1)]


def machine_of(scenario):
    """The machine of a solved scenario."""
    result = solve_scenario(scenario, budget_s=120).result
    assert isinstance(result, Feasible), result
    return result.machine


def first_route(scenario, *, coupled=True):
    """The machine of the best route, or why there is none; perhaps without a rule for routes."""
    problem, system = flatten(scenario), wall_system()
    routes = route_problem(problem, system)
    if not coupled:
        free = tuple(replace(o, forbids=frozenset()) for o in routes.options)
        routes = replace(routes, options=free)
    found = RouteSearch(routes).solve(time.monotonic() + 60)
    assert isinstance(found, RouteFound)
    return realise(problem, system, net_search(problem, system), found.route)


@pytest.mark.parametrize(("width", "height", "wall", "direction"), RINGS)
def test_rings_of_all_sizes_work_on_every_wall(tmp_path, width, height, wall, direction):
    machine = machine_of(scenario_of(tmp_path, ring(width, height), wall, direction))
    assert len(machine.tape) == 2 * (width + height) - 4
    for order in (1, -1):
        assert all(prove_case(machine, case, order=order).ok for case in ALL_CASES)


@pytest.mark.parametrize(
    ("width", "height", "wall", "direction"),
    [
        (2, 2, "north", "clockwise"),
        (2, 3, "east", "anticlockwise"),
        (2, 7, "south", "clockwise"),
        (2, 13, "west", "anticlockwise"),
        (5, 2, "east", "clockwise"),
        (8, 2, "west", "anticlockwise"),
    ],
)
def test_rings_two_cells_wide_or_high(tmp_path, width, height, wall, direction):
    """Common practice, no source: an edge has two cells at least, one drive turning the tape."""
    machine = machine_of(scenario_of(tmp_path, ring(width, height), wall, direction))
    assert len(machine.tape) == 2 * (width + height) - 4
    text = json.loads(write_machine(machine))
    for case in ALL_CASES:
        twin = run_presses(text, 2, overhead=case.overhead, ground=case.ground)
        assert twin.ok, twin.faults


@pytest.mark.parametrize("case", ALL_CASES, ids=str)
def test_a_second_simulator_accepts_a_small_ring(tmp_path, case):
    machine = machine_of(scenario_of(tmp_path, ring(4, 5), "east", "clockwise"))
    twin = run_presses(
        json.loads(write_machine(machine)), 3, overhead=case.overhead, ground=case.ground
    )
    assert twin.ok, twin.faults


@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
@pytest.mark.parametrize("up", [1, -1])
def test_corners_that_turn_the_other_way(tmp_path, direction, up):
    nook = [(0, 0), (12, 0), (12, 6), (6, 6), (6, 12), (0, 12)]
    corners = [(x, up * y) for x, y in nook]
    machine = first_route(scenario_of(tmp_path, corners, "north", direction))
    assert isinstance(machine, Machine), machine
    assert len(machine.tape) == 48


def test_a_shorter_reach_asks_for_more_places_to_feed(tmp_path):
    far = machine_of(scenario_of(tmp_path, ring(6, 6), "north", "clockwise"))
    near = machine_of(
        scenario_of(tmp_path, ring(6, 6), "north", "clockwise", extra="[rules]\nreach = 8\n")
    )
    links = [sum(part.unit == "link" for part in m.parts) for m in (far, near)]
    assert links[0] < links[1]


def test_the_button_stands_where_it_was_asked_for(tmp_path):
    scenario = scenario_of(tmp_path, ring(5, 4), "south", "clockwise", mark={(0, 0): "@"})
    (button,) = [p for p in machine_of(scenario).parts if p.kind == "button"]
    assert button.at == (12, 0, 0)  # Seen from the room, the south wall's left is the east.


@pytest.mark.parametrize(("depth", "verdict"), [(1, Infeasible), (2, Undecided)])
def test_a_wall_too_thin_for_lifts_is_impossible(tmp_path, depth, verdict):
    """Lifts need two cells; that their line needs more is true of this catalogue only."""
    scenario = scenario_of(tmp_path, ring(5, 5), "north", "clockwise", depth=depth)
    assert isinstance(solve_scenario(scenario, budget_s=120).result, verdict)


@pytest.mark.parametrize("step", [2, 3])
def test_a_short_step_leaves_no_room_for_the_rams(tmp_path, step):
    """The drive's rams and the block drawn aside would stand where the tape goes."""
    steps = [(0, 0), (6, 0), (6, step - 1), (12, step - 1), (12, 11), (0, 11)]
    scenario = scenario_of(tmp_path, steps, "south", "clockwise")
    assert isinstance(solve_scenario(scenario, budget_s=120).result, Infeasible)


def test_every_drive_has_its_rams_where_the_rules_leave_no_choice():
    """What a proof of impossibility counts on, held against all designs there are."""
    for made in load_entries():
        needed = next(d for d in RAMS_ALONE if d.up == made.design.up or made.design.up[1] == "z")
        rams = {(p.kind, p.at, p.face) for p in made.design.parts if p.kind in RAMS}
        assert rams == {(p.kind, p.at, p.face) for p in needed.parts}
        assert set(needed.air) <= set(made.design.air)


def test_what_the_rules_of_power_forbid_is_refused_by_simulation(tmp_path):
    """A gap three wide between two arms: a drive in it would fire the lifts of the other arm."""
    arms = [(0, 0), (12, 0), (12, 12), (8, 12), (8, 6), (4, 6), (4, 12), (0, 12)]
    machine = first_route(scenario_of(tmp_path, arms, "north", "clockwise"), coupled=False)
    assert isinstance(machine, Refused)
    assert not machine.proven


def test_a_ram_beside_a_drive_is_fired_where_the_rules_of_power_say_so(tmp_path):
    """Each cell that bars tape is tried with a ram of its own, in a machine that works."""
    scenario = scenario_of(tmp_path, ring(9, 9), "north", "clockwise")
    machine = machine_of(scenario)
    taken = {part.at for part in machine.parts}
    corners = {
        sub(cell, machine.tape[i - 1]): (cell, sub(machine.tape[(i + 1) % 32], cell))
        for i, cell in enumerate(machine.tape)
        if sub(cell, machine.tape[i - 1]) != sub(machine.tape[(i + 1) % 32], cell)
    }
    placed = {(part.kind, part.at, part.face) for part in machine.parts}
    tried = 0
    for arrives, (cell, leaves) in corners.items():
        frame = Frame(cell, arrives, leaves, (0, -1, 0))
        (design,) = (
            made.design
            for made in load_entries()
            if frame.face(made.design.up) == "+z"
            and placed.issuperset((p.kind, p.at, p.face) for p in made.design.place(frame, ""))
        )
        for local in sorted(powers(design)):
            x, y, level = local
            own = (y == 0 and x <= 0) or (x == 0 and y >= 0) or (x, y) in TAKEN_BEFORE
            own = own or (x, y, -1) in design.air  # Before its heads no other ram could stroke.
            if level == -2 and not own and frame.cell(local) not in taken:
                tried += 1
                assert fires(machine, frame.cell(local), frame.cell((x, y, -1))), (design, local)
    assert tried > 10


TAKEN_BEFORE = {(-1, -2), (0, -2), (-2, -1)}
"""Where a drive's own rams stand: no tape passes there anyhow."""


def fires(machine, at, front):
    """Whether one more ram would stroke during a press, where pickup is widest."""
    ram = Part("grip_ram", at, "-y")
    dug = (*machine.dug, Box(at, at), Box(front, front))
    more = replace(machine, parts=(*machine.parts, ram), dug=dug)
    simulation = Simulation(more, Case(overhead=True, ground=False), record=True)
    simulation.run_to_rest(100)
    index = next(i for i, r in enumerate(simulation.rams) if r.at == at)
    if simulation.rams[index].state != Stroke.IN:
        return True
    simulation.press()
    simulation.run_to_rest(300)
    return any(event[1] == "ram" and event[2] == index for event in simulation.events)


def test_cables_of_a_tree_are_all_of_one_length():
    cells = frozenset((x, y, z) for x in range(9) for y in range(9) for z in range(3))
    around = frozenset((x, y, z) for x in range(-1, 10) for y in range(-1, 10) for z in range(3))
    space = Space(cells - {(0, 4, 1)}, around)
    tree = Tree(space, frozenset({(0, 4, 1)}), 11)
    wires = [(8, 8, 1), (4, 0, 1)]
    for wire in wires:
        ways = [f for f in space.feeds(wire) if f.watched in cells]
        assert tree.join(ways)
    ends = [at for at in tree.watches if tree.time[at] == 11]
    assert len(ends) == 2
    for at, watched in tree.watches.items():
        assert tree.time[at] == tree.time[watched] + 1
    assert {tuple(2 * a - b for a, b in zip(at, tree.watches[at], strict=True)) for at in ends} == {
        *wires
    }


def test_a_cable_can_be_too_short():
    cells = frozenset((x, 0, 0) for x in range(9))
    space = Space(cells - {(0, 0, 0)}, cells)
    tree = Tree(space, frozenset({(0, 0, 0)}), 3)
    assert not tree.join([Feed((8, 0, 0), (7, 0, 0), (6, 0, 0))])


STRIP = """
.........
..oooooo.
..o....o.
..o....o.
..o....o.
..oooooo.
.........
"""
INSIDE = """
..............
..ooooooooo...
..o@......o...
..o.......o...
..ooooooooo...
..............
"""
ASIDE = """
......
.oooo.
@o..o.
.o..o.
.o..o.
.o..o.
.oooo.
......
"""


@pytest.mark.parametrize(
    ("rows", "wall", "depth", "margin", "direction"),
    [
        (STRIP, "west", 4, 1, "anticlockwise"),
        (STRIP, "north", 3, 1, "clockwise"),
        (INSIDE, "south", 4, 2, "clockwise"),
        (ASIDE, "east", 5, 2, "anticlockwise"),
    ],
    ids=["two-cells-beside", "two-cells-and-thin", "button-in-the-corner", "button-beside"],
)
def test_little_room_beside_a_ring(rows, wall, depth, margin, direction):
    """The rams of a drive take two cells beside the loop: common practice, no source."""
    room = WallRoom(tuple(rows.split()), wall, depth, margin, direction, "exact")
    outcome = solve_text(room.text(), 120)
    assert outcome.found is not None
    assert machine_faults(outcome.found.machine, outcome.scenario) == []


UNREAD = """
..oooooo.
..o....o@
..o....o.
..o....o.
..o....o.
..oooooo.
.........
"""


def test_no_button_where_a_drive_draws_its_block():
    """What stands behind the button's cover must read it, and a drawn block stands there.

    Common practice, no source; the other way round the block is drawn elsewhere.
    """
    room = WallRoom(tuple(UNREAD.split()), "west", 4, 3, "anticlockwise", "exact")
    assert isinstance(solve_text(room.text(), 120).result, Infeasible)
    other = solve_text(replace(room, direction="clockwise").text(), 120)
    assert other.found is not None
    assert machine_faults(other.found.machine, other.scenario) == []


@pytest.mark.parametrize(("width", "height"), [(4, 5), (5, 4), (4, 6)])
def test_a_ring_proven_least_has_no_drive_for_tight_places_to_gain_by(tmp_path, width, height):
    """All drives offered at every corner find nothing cheaper than what is called optimal."""
    scenario = scenario_of(tmp_path, ring(width, height), "north", "clockwise")
    best = solve_scenario(scenario, budget_s=120).result
    assert isinstance(best, Feasible)
    assert best.optimal
    problem, system = flatten(scenario), replace(wall_system(), fallback=(), parities={})
    state = Progress(terms=("parts",))
    search_system(problem, system, time.monotonic() + 60, 0, lambda text: None, state)
    assert state.best is not None
    assert state.best.score["parts"] >= best.score["parts"]
