"""Problem -> route problem: which corners may stand where, and what each choice costs."""

from __future__ import annotations

from collections.abc import Iterable

from models.catalogue import Design
from models.geometry import FACES, Cell, Frame, add, scale, sub
from models.problem import Problem
from models.route import (
    NO_LIMIT,
    CornerOption,
    EdgeLimits,
    EdgeSpan,
    ReachTerm,
    Route,
    RouteCut,
    RouteProblem,
)
from models.rules import Rules
from models.scenario import Term
from models.surface import SurfaceName
from models.system import System
from solver.net import clearance, coupling
from solver.net.folds import SENSOR_FOLD
from solver.net.lift_lines import WALL_DEPTH
from solver.net.space_trigger import kept_clear, leaves_room
from solver.route.topology import parts_of

LINK_PARTS = 2
"""A link cell is a wire on a block."""
MAX_REACH = 80
"""Link lengths that the route model tells apart."""


def route_problem(problem: Problem, system: System, vents: bool = True) -> RouteProblem:
    """The route problem of a room for one system.

    `vents`: whether each drive is charged with all the cells that are dug beside it. Those that
    fall together are dug once, so what routes cost with them is no bound on the digging.
    """
    scenario = problem.scenario
    terms = route_terms(problem)
    allowed = frozenset(
        i for i in range(len(problem.graph.cells)) if _may_carry(problem, system, i)
    )
    required = frozenset(problem.index[cell] for cell in scenario.required())
    loop, exact = scenario.loop, scenario.loop.shape == "exact"
    if exact and len(scenario.surfaces) > 1:
        # No map shows the hidden cells of edge lines: they are free where both sides are drawn.
        allowed, exact = allowed & _drawn(problem, required), False
    return RouteProblem(
        graph=problem.graph,
        allowed=allowed,
        # A design that stands any way up comes once.
        options=tuple(dict.fromkeys(_options(problem, system, allowed, terms, vents))),
        terms=terms,
        cell_costs=tuple(
            tuple(_cell_cost(problem, term, system, i) for i in range(len(problem.graph.cells)))
            for term in terms
        ),
        required=required,
        exact=exact,
        inside_on_right=loop.direction == "clockwise",
        outside_faces=_outside(problem, required),
        around=problem.index[loop.around] if loop.around is not None else None,
        rims=problem.rims if loop.around is not None else frozenset(),
        length_min=max(4, loop.min_length or 4),
        length_max=loop.max_length or NO_LIMIT,
        limits=edge_limits(scenario.rules, system.edge_min),
        folds=frozenset(i for i, home in enumerate(problem.homes) if home is None),
        fixed_costs=tuple(_trigger_cost(term, system) for term in terms),
        reach_terms=tuple(_reach_terms(problem, system, terms)),
    )


def _drawn(problem: Problem, required: frozenset[int]) -> frozenset[int]:
    """The cells of an exact drawing, and the edge-line cells between two of them."""
    hidden = (i for i, home in enumerate(problem.homes) if home is None)
    return required | {i for i in hidden if required.issuperset(set(problem.graph.ports[i]) - {-1})}


def _outside(problem: Problem, required: frozenset[int]) -> frozenset[int]:
    """Faces that are outside whatever loop is meant.

    Where surfaces have one rim it is outside; a shaft has two, and a belt may part them either
    way. A drawing without `around` is seen from the room: on one surface all others are outside.
    """
    scenario, homes = problem.scenario, problem.homes
    drawn = {homes[i] for i in required}
    if scenario.loop.shape == "exact" and scenario.loop.around is None and len(drawn) == 1:
        rings = enumerate(problem.graph.faces)
        return problem.rims.union(f for f, ring in rings if {homes[i] for i in ring} != drawn)
    return problem.rims if len(problem.rims) == len(parts_of(problem.graph)) else frozenset()


def edge_limits(rules: Rules, least: int = 2) -> EdgeLimits:
    """How long edges may be: a feed moves all of an edge but one block."""
    most = rules.push_limit + 1
    return EdgeLimits(
        EdgeSpan(least, most), EdgeSpan(2, most - 1), EdgeSpan(2, most), EdgeSpan(2, most + 1)
    )


def this_route(options: Iterable[CornerOption], route: Route) -> RouteCut:
    """The clause that refuses one route and no other, given the options on its cells or more.

    With its drives alone a detour out of one of its edges would be refused too.
    """
    corners = frozenset(route.corners)
    straight = set(route.cells) - {corner.cell for corner in corners}
    return RouteCut(
        bare=frozenset() if corners else frozenset(route.cells),
        dropped=corners,
        chosen=frozenset(o for o in options if o.cell in straight),
    )


def route_terms(problem: Problem) -> tuple[Term, ...]:
    """The terms that a route decides; within one system the depth is fixed."""
    return tuple(term for term in problem.scenario.loop.minimise if term != "depth")


def _may_carry(problem: Problem, system: System, cell: int) -> bool:
    home = problem.homes[cell]
    kept = kept_clear(problem) if system.surfaces else frozenset()
    if home is None:
        return _may_fold(problem, cell, kept)
    at = problem.graph.cells[cell]
    mark = problem.scenario.surfaces[home].mark_at(at)
    if mark not in (".", "o"):
        return False
    frame = Frame(at, problem.heading(cell, 0), problem.heading(cell, 1), problem.normal(cell))
    claimed = system.on(home).column.claimed(frame)
    return kept.isdisjoint(claimed) and all(problem.digging.allows(c) for c in claimed)


def _may_fold(problem: Problem, cell: int, kept: frozenset[Cell]) -> bool:
    """Whether both lifts and the fold's own ram have their places behind an edge line."""
    at = problem.graph.cells[cell]
    a, b = (problem.normal(i) for i in problem.graph.ports[cell] if i >= 0 and problem.homes[i])
    ways = (a, scale(a, 2), b, scale(b, 2), add(a, b))
    places = [add(at, scale(way, -1)) for way in ways]
    return kept.isdisjoint(places) and all(problem.digging.allows(place) for place in places)


def corner_frame(problem: Problem, cell: int, in_port: int, out_port: int) -> Frame:
    """The frame of a drive: x the arrival direction, y the departure, z into the room."""
    arrival = problem.heading(cell, (in_port + 2) % 4)
    leaving = problem.heading(cell, out_port)
    return Frame(problem.graph.cells[cell], arrival, leaving, problem.normal(cell))


def _options(
    problem: Problem,
    system: System,
    allowed: frozenset[int],
    terms: tuple[Term, ...],
    vents: bool,
) -> Iterable[CornerOption]:
    tokens: dict[Cell, int] = {}
    beside = {problem.index[c] for c in problem.scenario.beside if c in problem.index}
    for cell in sorted(allowed):
        home = problem.homes[cell]
        for in_port in range(4) if home is not None else ():
            for out_port in _turns(problem, system, in_port):
                around = problem.graph.ports[cell]
                if around[in_port] not in allowed or around[out_port] not in allowed:
                    continue
                frame = corner_frame(problem, cell, in_port, out_port)
                for drive in _standing(problem, system, home, frame):
                    forbidden = _forbidden(problem, system.on(home), drive, frame)
                    if not forbidden.isdisjoint(beside):
                        continue
                    claimed = drive.claimed(frame)
                    costs = (
                        _drive_cost(problem, system, t, drive, frame if vents else None)
                        for t in terms
                    )
                    yield CornerOption(
                        cell,
                        in_port,
                        out_port,
                        drive.name,
                        tuple(costs),
                        frozenset(tokens.setdefault(c, len(tokens)) for c in claimed),
                        forbidden,
                    )


def _turns(problem: Problem, system: System, in_port: int) -> tuple[int, ...]:
    """The ports by which a corner may be left: ports count to the left, so +1 is a right turn."""
    right, left = (in_port + 1) % 4, (in_port + 3) % 4
    if not system.convex_only:
        return right, left
    return (right,) if problem.scenario.loop.direction == "clockwise" else (left,)


def _standing(
    problem: Problem, rooms: System, home: SurfaceName | None, frame: Frame
) -> Iterable[Design]:
    """The drives whose wires and buffers stand upright in this frame, in cells that may be dug."""
    system = rooms.on(home)
    up = next(face for face in FACES if frame.face(face) == "+z")
    found = [
        drive
        for drive in system.drives
        if (up[1] == "z" or drive.up == up)
        and all(problem.digging.allows(cell) for cell in drive.claimed(frame))
        and (not rooms.by_cables or leaves_room(problem, drive, frame))
    ]
    kept = system.parities if system.parities and _line_is_known(problem, home) else {}
    if kept:
        parity = "even" if _drawn_edge(problem, frame) % 2 == 0 else "odd"
        found = [d for d in found if kept.get(d.name, parity) == parity]
    return [d for d in found if d.name not in system.fallback or d.name in kept] or found


def _line_is_known(problem: Problem, home: SurfaceName | None) -> bool:
    """Whether the loop is a drawn rectangle, on a wall deep enough for the usual lift line.

    Else there are too many ways to choose a drive for each corner.
    """
    surfaces = problem.scenario.surfaces
    deep = home is not None and surfaces[home].depth >= WALL_DEPTH
    if not deep or len(surfaces) > 1 or problem.scenario.loop.shape != "exact":
        return False
    drawn = problem.scenario.required()
    spans = [max(c[i] for c in drawn) - min(c[i] for c in drawn) + 1 for i in range(3)]
    return len(drawn) == 2 * (sum(spans) - 1) - 4


def _drawn_edge(problem: Problem, frame: Frame) -> int:
    """How many cells a drawn edge has that arrives at a corner."""
    drawn, back = problem.scenario.required(), scale(frame.x, -1)
    cell, count = frame.origin, 0
    while cell in drawn:
        cell, count = add(cell, back), count + 1
    return count


def overlapping(problem: Problem, system: System, drive: Design, frame: Frame) -> frozenset[int]:
    """Cells whose lifts would need a cell of the drive, or be fired by it."""
    column = (*(part.at for part in system.column.parts), *system.column.air)
    found = {
        (x, y, z - level)
        for x, y, z in (*(p.at for p in drive.parts), *drive.air)
        for _, _, level in column
    }
    for x, y, z in coupling.powers(drive):
        beside = (y == 0 and x <= 0) or (x == 0 and y >= 0)  # most likely tape of its own edges
        found |= {(x, y, z - r[2]) for r in coupling.rams(system.column) if not beside}
    cells = (frame.cell(cell) for cell in sorted(found) if cell[2] == 0)
    return frozenset(problem.index[cell] for cell in cells if cell in problem.index)


def _forbidden(problem: Problem, system: System, drive: Design, frame: Frame) -> frozenset[int]:
    if not clearance.measured(system.table):
        return overlapping(problem, system, drive, frame)
    cells = (
        add(frame.origin, add(scale(frame.x, dx), scale(frame.y, dy)))
        for dx, dy in clearance.offsets(system.table, drive.name, "tape")
    )
    return frozenset(problem.index[c] for c in cells if c in problem.index)


def _cell_cost(problem: Problem, term: Term, rooms: System, cell: int) -> int:
    home = problem.homes[cell]
    if home is None:
        # The block, two lifts and the fold; the lines there may count with their neighbours.
        fold = len(SENSOR_FOLD.parts)
        return {"parts": fold + 3, "dug": fold + 4, "length": 1}.get(term, 0)
    system = rooms.on(home)
    if term == "parts":
        return system.cell_parts + 1
    if term == "dug":
        return system.cell_parts + len(system.column.air)
    return int(term == "length")


def _drive_cost(
    problem: Problem, system: System, term: Term, drive: Design, frame: Frame | None
) -> int:
    """What a drive costs; of its vents those that this frame lets be dug."""
    if term == "parts":
        return len(drive.parts) - system.corner_saves
    if term == "dug":
        deep = [vent for vent in drive.vents if -vent[2] <= system.depth and frame is not None]
        vents = [c for c in map(frame.cell, deep) if problem.digging.allows_air(c)] if frame else []
        return len(drive.parts) + len(drive.air) - system.corner_saves + len(vents)
    return int(term == "corners")


def _trigger_cost(term: Term, system: System) -> int:
    if term == "parts":
        return len(system.trigger.parts)
    # The button stands in the room.
    return len(system.trigger.parts) - 1 + len(system.trigger.air) if term == "dug" else 0


def _reach_terms(problem: Problem, system: System, terms: tuple[Term, ...]) -> Iterable[ReachTerm]:
    """With the button's place given, what a link of wires to it costs at least."""
    button = problem.scenario.button()
    if not system.links_by_wire:
        return  # A cable costs less, and may take a shorter way than along the surface.
    if button is None or not {"parts", "dug"} & set(terms):
        return
    penalty = tuple(LINK_PARTS if term in ("parts", "dug") else 0 for term in terms)
    cells = problem.graph.cells
    distance = [sum(abs(a - b) for a, b in zip(c, button.cell, strict=True)) for c in cells]
    for radius in range(1, min(MAX_REACH, max(distance))):
        yield ReachTerm(frozenset(i for i, d in enumerate(distance) if d <= radius), penalty)


def clashing(problem: Problem, system: System, a: CornerOption, b: CornerOption) -> bool:
    """Whether two drives disturb each other, by the measured table or the rules of power."""
    homes = {problem.homes[o.cell] for o in (a, b)}
    if len(homes) == 1:
        system = system.on(homes.pop())
    if not clearance.measured(system.table):
        drives = [system.drive(o.variant) for o in (a, b)]
        frames = [corner_frame(problem, o.cell, o.in_port, o.out_port) for o in (a, b)]
        return coupling.wakes(drives[0], frames[0], drives[1], frames[1]) or (
            coupling.wakes(drives[1], frames[1], drives[0], frames[0])
        )
    apart = sub(problem.graph.cells[a.cell], problem.graph.cells[b.cell])
    if max(map(abs, apart)) > clearance.FAR:
        return False
    poses = [corner_frame(problem, o.cell, o.in_port, o.out_port)[:3] for o in (a, b)]
    return clearance.clash(system.table, a.variant, poses[0], b.variant, poses[1]) or (
        clearance.clash(system.table, b.variant, poses[1], a.variant, poses[0])
    )
