"""The slow twin of the route search: every loop, one by one, and every choice of drives.

It walks from cell to cell and knows nothing of faces, formulas or bounds.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from models.route import CornerOption, RouteProblem


def all_loops(problem: RouteProblem) -> Iterator[list[tuple[int, int, int]]]:
    """Every simple closed walk once a direction: (cell, arrival port, leaving port)."""
    graph = problem.graph
    for start in sorted(problem.allowed):
        path: list[int] = [start]
        ports: list[tuple[int, int]] = []  # (leaving port, arrival port there)
        stack = [iter(range(4))]
        while stack:
            port = next(stack[-1], None)
            if port is None:
                stack.pop()
                path.pop()
                if ports:
                    ports.pop()
                continue
            there = graph.ports[path[-1]][port]
            entered = graph.arrive[path[-1]][port]
            if there == start and len(path) > 2:
                steps = [*ports, (port, entered)]
                yield [(c, steps[i - 1][1], steps[i][0]) for i, c in enumerate(path)]
            elif there > start and there in problem.allowed and there not in path:
                path.append(there)
                ports.append((port, entered))
                stack.append(iter(range(4)))


def left_minus_right(loop: list[tuple[int, int, int]]) -> int:
    """Ports run counter-clockwise, so one past straight on is a left turn."""
    return sum({1: 1, 3: -1}.get((came - goes) % 4, 0) for _, came, goes in loop)


def loop_is_allowed(problem: RouteProblem, loop: list[tuple[int, int, int]]) -> bool:
    """Flat floors only: direction by the turns, edges counted between corners."""
    cells = [c for c, _, _ in loop]
    if not problem.required <= set(cells) or (problem.exact and set(cells) != problem.required):
        return False
    if not problem.length_min <= len(cells) <= problem.length_max:
        return False
    if left_minus_right(loop) != (-4 if problem.inside_on_right else 4):
        return False
    corners = [i for i, (_, came, goes) in enumerate(loop) if (goes - came) % 4 != 2]
    span = problem.limits.drive_drive
    for a, b in zip(corners, [*corners[1:], corners[0] + len(loop)], strict=True):
        if not span.least <= b - a + 1 <= span.most:
            return False
    return problem.around is None or _goes_round(problem, cells)


def _goes_round(problem: RouteProblem, cells: list[int]) -> bool:
    """Count the steps of the loop that cross a ray from the cell to the east."""
    at = problem.graph.cells
    if problem.around is None or problem.around in cells:
        return False
    x, y, _ = at[problem.around]
    crossings = 0
    for a, b in zip(cells, cells[1:] + cells[:1], strict=True):
        (ax, ay, _), (bx, by, _) = at[a], at[b]
        crossings += ax == bx and ax > x and {ay, by} == {y, y + 1}
    return crossings % 2 == 1


def choices(
    problem: RouteProblem, loop: list[tuple[int, int, int]]
) -> Iterator[tuple[CornerOption, ...]]:
    """Every way to put drives on the corners of a loop."""
    cells = {c for c, _, _ in loop}
    offers = []
    for turn in loop:
        if (turn[2] - turn[1]) % 4 != 2:
            offers.append(
                [
                    o
                    for o in problem.options
                    if (o.cell, o.in_port, o.out_port) == turn and not o.forbids & cells
                ]
            )
    for chosen in product(*offers):
        tokens = [token for o in chosen for token in o.claims]
        if len(tokens) == len(set(tokens)):
            yield chosen


def priced(problem: RouteProblem) -> Iterator[tuple[tuple[int, ...], list[tuple[int, int, int]]]]:
    """Every allowed loop with every choice of drives, with its costs."""
    for loop in all_loops(problem):
        if not loop_is_allowed(problem, loop):
            continue
        cells = [c for c, _, _ in loop]
        for chosen in choices(problem, loop):
            costs = []
            for t in range(len(problem.terms)):
                total = problem.fixed_costs[t] if problem.fixed_costs else 0
                total += sum(problem.cell_costs[t][c] for c in cells)
                total += sum(o.costs[t] for o in chosen)
                total += sum(r.penalty[t] for r in problem.reach_terms if not r.cells & set(cells))
                costs.append(total)
            yield tuple(costs), loop


def best_costs(problem: RouteProblem) -> tuple[int, ...] | None:
    """The lexicographically least costs, None if there is no route."""
    return min((costs for costs, _ in priced(problem)), default=None)
