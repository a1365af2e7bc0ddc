"""Plain enumeration of routes over several surfaces: every simple loop, its ends, its two sides.

An edge ends at a corner or at an edge-line cell. How long it may be is counted here from what a
ram has to move; which side is the inside is found by flooding the faces of the graph.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from models.route import CornerOption, RouteProblem
from tests.oracles.naive_route import all_loops

Turn = tuple[int, int, int]
"""A cell, the port of arrival, the port of leaving."""
Clash = Callable[[CornerOption, CornerOption], bool]


def moved(first: str, last: str, cells: int) -> int:
    """Blocks that the ram at the first end moves, of an edge of so many cells.

    All cells of the edge but those that it pushes nothing out of: two before a drive (one block
    is drawn aside, the corner is fed next), one before a fold. A drive pushes one block more,
    which it holds from the edge before; a fold pushes the edge-line cell's own, which is counted.
    """
    held = {"drive": 1, "fold": 0}[first]
    spared = {"drive": 2, "fold": 1}[last]
    return held + cells - spared


def ends_of(problem: RouteProblem, loop: list[Turn]) -> list[tuple[int, str]]:
    """Places in the loop where an edge ends, and what stands there."""
    found = []
    for place, (cell, came, goes) in enumerate(loop):
        if (goes - came) % 4 != 2:
            found.append((place, "drive"))
        elif cell in problem.folds:
            found.append((place, "fold"))
    return found


def longest_moved(problem: RouteProblem, loop: list[Turn]) -> int:
    """The most blocks that any ram of a loop has to move."""
    return max((moved(*edge) for edge in edges_of(problem, loop)), default=len(loop))


def edges_of(problem: RouteProblem, loop: list[Turn]) -> Iterator[tuple[str, str, int]]:
    """Every edge: its two ends and its cells, both ends counted."""
    ends = ends_of(problem, loop)
    for (i, first), (j, last) in zip(ends, ends[1:] + ends[:1], strict=True):
        yield first, last, (j - i - 1) % len(loop) + 2


def sides_of(problem: RouteProblem, loop: list[Turn]) -> tuple[set[int], set[int]]:
    """The faces on the left and on the right of the travel."""
    faces = problem.graph.faces
    left_of = {
        (cell, ring[(i + 1) % len(ring)]): face
        for face, ring in enumerate(faces)
        for i, cell in enumerate(ring)
    }
    cells = [cell for cell, _, _ in loop]
    steps = list(zip(cells, cells[1:] + cells[:1], strict=True))
    crossed = {frozenset(step) for step in steps}
    found = []
    for start in ({left_of[a, b] for a, b in steps}, {left_of[b, a] for a, b in steps}):
        todo = list(start)
        while todo:
            ring = faces[todo.pop()]
            for i, cell in enumerate(ring):
                after = ring[(i + 1) % len(ring)]
                other = left_of[after, cell]
                if frozenset((cell, after)) not in crossed and other not in start:
                    start.add(other)
                    todo.append(other)
        found.append(start)
    assert not found[0] & found[1], "a simple loop parts a sphere in two"
    return found[0], found[1]


def is_allowed(problem: RouteProblem, loop: list[Turn], push_limit: int) -> bool:
    """Whether a loop keeps all that is asked of its cells, its edges and its sides."""
    cells = {cell for cell, _, _ in loop}
    if not problem.required <= cells or (problem.exact and cells != problem.required):
        return False
    if not problem.length_min <= len(cells) <= problem.length_max:
        return False
    if longest_moved(problem, loop) > push_limit:
        return False
    least = problem.limits.drive_drive.least
    for first, last, count in edges_of(problem, loop):
        if first == last == "drive" and count < least:
            return False
    left, right = sides_of(problem, loop)
    inside, outside = (right, left) if problem.inside_on_right else (left, right)
    if problem.outside_faces & inside or problem.inside_faces & outside:
        return False
    if problem.rims and not problem.rims - inside:
        return False
    if problem.around is None:
        return True
    beside = {f for f, ring in enumerate(problem.graph.faces) if problem.around in ring}
    return problem.around not in cells and beside <= inside


def corners_left(problem: RouteProblem, loop: list[Turn]) -> int:
    """How many corners of a room, all of whose surfaces are given, lie on the left.

    The face round a corner has a cell on each of three edge lines.
    """
    rings = (problem.graph.faces[f] for f in sides_of(problem, loop)[0])
    return sum(len(problem.folds.intersection(ring)) == 3 for ring in rings)


def drives_for(
    problem: RouteProblem, loop: list[Turn], clash: Clash | None = None
) -> Iterator[tuple[CornerOption, ...]]:
    """Every way to put drives on the corners of a loop, one corner after the other."""
    cells = {cell for cell, _, _ in loop}
    turns = [turn for turn in loop if (turn[2] - turn[1]) % 4 != 2]
    offers = [
        [
            o
            for o in problem.options
            if (o.cell, o.in_port, o.out_port) == turn and not o.forbids & cells
        ]
        for turn in turns
    ]

    def onward(chosen: tuple[CornerOption, ...]) -> Iterator[tuple[CornerOption, ...]]:
        if len(chosen) == len(offers):
            yield chosen
            return
        for option in offers[len(chosen)]:
            if all(
                not o.claims & option.claims
                and not (clash is not None and (clash(o, option) or clash(option, o)))
                for o in chosen
            ):
                yield from onward((*chosen, option))

    yield from onward(())


def routes(
    problem: RouteProblem, push_limit: int, clash: Clash | None = None
) -> Iterator[tuple[tuple[int, ...], list[Turn]]]:
    """Every allowed loop with every choice of drives, with its costs."""
    for loop in all_loops(problem):
        if not is_allowed(problem, loop, push_limit):
            continue
        for chosen in drives_for(problem, loop, clash):
            costs = []
            for t in range(len(problem.terms)):
                total = problem.fixed_costs[t] if problem.fixed_costs else 0
                total += sum(problem.cell_costs[t][cell] for cell, _, _ in loop)
                costs.append(total + sum(option.costs[t] for option in chosen))
            yield tuple(costs), loop
