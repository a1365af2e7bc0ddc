"""A second look at a found route, in plain Python; nothing here is shared with the formula."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import combinations

from models.route import CornerOption, EdgeSpan, Route, RouteCut, RouteProblem

Clash = Callable[[CornerOption, CornerOption], bool]


def route_faults(
    problem: RouteProblem,
    route: Route,
    cuts: Iterable[RouteCut] = (),
    clash: Clash | None = None,
) -> list[str]:
    """Everything that is wrong with a route; empty if it is right."""
    steps = _steps(problem, route)
    if isinstance(steps, str):
        return [steps]
    return [
        *_cell_faults(problem, route),
        *_corner_faults(problem, route, steps),
        *_edge_faults(problem, route, steps),
        *_side_faults(problem, route),
        *_drive_faults(route, clash),
        *_cost_faults(problem, route),
        *(f"cut {i} is broken" for i, cut in enumerate(cuts) if not kept(cut, route)),
    ]


def _steps(problem: RouteProblem, route: Route) -> list[tuple[int, int]] | str:
    """For each cell the ports of arrival and leaving, or what breaks the loop."""
    cells, graph = route.cells, problem.graph
    if len(set(cells)) != len(cells):
        return "a cell is visited twice"
    leaving: list[int] = []
    arriving: list[int] = []
    for i, cell in enumerate(cells):
        before, after = cells[i - 1], cells[(i + 1) % len(cells)]
        if after not in graph.ports[cell]:
            return f"{graph.cells[cell]} and {graph.cells[after]} do not touch"
        leaving.append(graph.ports[cell].index(after))
        arriving.append(graph.arrive[before][graph.ports[before].index(cell)])
    return list(zip(arriving, leaving, strict=True))


def _cell_faults(problem: RouteProblem, route: Route) -> list[str]:
    cells, faults = set(route.cells), []
    if not cells <= problem.allowed:
        faults.append("tape on a cell that allows none")
    if not problem.required <= cells:
        faults.append("a required cell is missed")
    if problem.exact and cells != problem.required:
        faults.append("the loop is not the required shape")
    if not problem.length_min <= len(cells) <= problem.length_max:
        faults.append(f"the loop has {len(cells)} cells")
    return faults


def _corner_faults(problem: RouteProblem, route: Route, steps: list[tuple[int, int]]) -> list[str]:
    """Each turn has its drive, and no drive stands elsewhere."""
    turns = [
        (cell, came, goes)
        for cell, (came, goes) in zip(route.cells, steps, strict=True)
        if (goes - came) % 4 != 2
    ]
    drives = [(o.cell, o.in_port, o.out_port) for o in route.corners]
    known = set(problem.options)
    return [
        *(["the drives are not those of the turns"] if turns != drives else []),
        *(["a drive that was not offered"] if not known.issuperset(route.corners) else []),
        *("a corner on an edge line" for cell, _, _ in turns if cell in problem.folds),
    ]


def _edge_faults(problem: RouteProblem, route: Route, steps: list[tuple[int, int]]) -> list[str]:
    """Every stretch between two ends (drives or folds) within its limits."""
    cells, limits = route.cells, problem.limits
    ends: list[tuple[int, str]] = []
    for i, (came, goes) in enumerate(steps):
        if (goes - came) % 4 != 2:
            ends.append((i, "drive"))
        elif cells[i] in problem.folds:
            ends.append((i, "fold"))
    spans: dict[tuple[str, str], EdgeSpan] = {
        ("drive", "drive"): limits.drive_drive,
        ("drive", "fold"): limits.drive_fold,
        ("fold", "fold"): limits.fold_fold,
        ("fold", "drive"): limits.fold_drive,
    }
    faults = []
    for (i, first), (j, last) in zip(ends, ends[1:] + ends[:1], strict=True):
        count = ((j - i - 1) % len(cells)) + 2
        span = spans[first, last]
        if not span.least <= count <= span.most:
            faults.append(f"an edge of {count} cells from a {first} to a {last}")
    return faults


def _side_faults(problem: RouteProblem, route: Route) -> list[str]:
    """Flood the faces on the right and on the left of the travel; they must not meet."""
    graph = problem.graph
    left_of = {
        (cell, ring[(i + 1) % len(ring)]): f
        for f, ring in enumerate(graph.faces)
        for i, cell in enumerate(ring)
    }
    loop = list(zip(route.cells, route.cells[1:] + route.cells[:1], strict=True))
    wall = {frozenset(step) for step in loop}
    near: dict[int, set[int]] = {f: set() for f in range(len(graph.faces))}
    for (a, b), f in left_of.items():
        if frozenset((a, b)) not in wall:
            near[f].add(left_of[b, a])
    right = _flood(near, {left_of[b, a] for a, b in loop})
    left = _flood(near, {left_of[a, b] for a, b in loop})
    inside, outside = (right, left) if problem.inside_on_right else (left, right)
    faults = ["the loop does not part the room"] if inside & outside else []
    if problem.inside_faces & outside or problem.outside_faces & inside:
        faults.append("the inside is on the wrong side")
    if problem.around is not None:
        beside = {f for f, ring in enumerate(graph.faces) if problem.around in ring}
        if problem.around in route.cells or not beside or not beside <= inside:
            faults.append("the cell it must go around is not inside")
    if problem.rims and problem.rims <= inside:
        faults.append("every rim is on the inside")
    return faults


def _flood(near: dict[int, set[int]], start: set[int]) -> set[int]:
    reached, open_ = set(start), sorted(start)
    while open_:
        for f in near[open_.pop()] - reached:
            reached.add(f)
            open_.append(f)
    return reached


def _drive_faults(route: Route, clash: Clash | None) -> list[str]:
    cells, faults = set(route.cells), []
    for option in route.corners:
        if option.forbids & cells:
            faults.append(f"tape where the drive at {option.cell} forbids it")
    for a, b in combinations(route.corners, 2):
        if a.claims & b.claims or (clash is not None and (clash(a, b) or clash(b, a))):
            faults.append(f"the drives at {a.cell} and {b.cell} meet")
    return faults


def _cost_faults(problem: RouteProblem, route: Route) -> list[str]:
    costs = list(problem.fixed_costs or (0,) * len(problem.terms))
    for t in range(len(costs)):
        for cell in route.cells:
            costs[t] += problem.cell_costs[t][cell]
        for option in route.corners:
            costs[t] += option.costs[t]
        for reach in problem.reach_terms:
            if not any(cell in reach.cells for cell in route.cells):
                costs[t] += reach.penalty[t]
    return [] if tuple(costs) == route.costs else [f"the costs are {costs}, not {route.costs}"]


def kept(cut: RouteCut, route: Route) -> bool:
    """Whether a route keeps a refusal's clause."""
    cells, drives = set(route.cells), set(route.corners)
    return bool(cut.tape & cells or cut.bare - cells or cut.chosen & drives or cut.dropped - drives)
