"""Count the loops through all cells of a small drawing: none, one, several, or too hard to say.

A cell with only two ways left must use both, and the two ends of a finished stretch may not
be joined before all cells are in. What these two rules leave open is tried both ways.
"""

from __future__ import annotations

from collections.abc import Mapping, Set

from models.geometry import Cell

EFFORT = 150_000
"""Cells that may be copied in all, over all branches."""


class _DeadEndError(Exception):
    """No loop is left on this branch."""


class _State:
    """Cells not yet passed through, the ways between them, and the stretches they end."""

    def __init__(self, near: Mapping[Cell, Set[Cell]]) -> None:
        self.ways = {cell: set(others) for cell, others in near.items()}
        self.mate = {cell: cell for cell in near}
        """The other end of the stretch that ends here; the cell itself if none does."""
        self.is_closed = False

    def copy(self) -> _State:
        twin = _State(self.ways)
        twin.mate = dict(self.mate)
        return twin

    def need(self, cell: Cell) -> int:
        return 2 if self.mate[cell] == cell else 1

    def drop_way(self, a: Cell, b: Cell) -> None:
        self.ways[a].discard(b)
        self.ways[b].discard(a)

    def leave(self, cell: Cell) -> set[Cell]:
        """The loop has passed through `cell`; returns the cells that lost a way by it."""
        touched = self.ways.pop(cell)
        del self.mate[cell]
        for other in touched:
            self.ways[other].discard(cell)
        return touched

    def use_way(self, a: Cell, b: Cell) -> set[Cell]:
        """Run the loop from `a` to `b`; returns the cells to look at again."""
        self.drop_way(a, b)
        if self.mate[a] == b:
            if len(self.ways) > 2:
                raise _DeadEndError
            self.is_closed = True
            return set()
        touched = {a, b}
        far_a, far_b = self.mate[a], self.mate[b]
        for cell, far in ((a, far_a), (b, far_b)):
            if far != cell:
                touched |= self.leave(cell)
        self.mate[far_a], self.mate[far_b] = far_b, far_a
        if len(self.ways) > 2:
            self.drop_way(far_a, far_b)
        return touched | {far_a, far_b}

    def settle(self, todo: set[Cell]) -> None:
        """Use every way that must be used."""
        while todo and not self.is_closed:
            cell = todo.pop()
            if cell not in self.ways:
                continue
            spare = len(self.ways[cell]) - self.need(cell)
            if spare < 0:
                raise _DeadEndError
            if spare == 0:
                todo.add(cell)
                todo |= self.use_way(cell, next(iter(self.ways[cell])))

    def is_connected(self) -> bool:
        start = next(iter(self.ways))
        seen, todo = {start}, [start]
        while todo:
            cell = todo.pop()
            for other in (*self.ways[cell], self.mate[cell]):
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        return len(seen) == len(self.ways)

    def choice(self) -> tuple[Cell, Cell]:
        """A way that may or may not be used: at the end of a stretch, if there is one."""
        cell = min(self.ways, key=lambda c: (self.need(c), len(self.ways[c]), c))
        return cell, min(self.ways[cell])


def count_loops(near: Mapping[Cell, Set[Cell]]) -> int | None:
    """0, 1 or 2 (two or more) loops through all cells; None if it takes too much effort.

    Assumes that `near` is symmetric and not empty.
    """
    if _is_lopsided(near):
        return 0
    effort, count = EFFORT, 0
    root = _State(near)
    branches: list[tuple[_State, set[Cell]]] = [(root, set(near))]
    while branches:
        state, todo = branches.pop()
        try:
            state.settle(todo)
        except _DeadEndError:
            continue
        if state.is_closed:
            count += 1
            if count == 2:
                return 2
            continue
        if not state.is_connected():
            continue
        effort -= len(state.ways)
        if effort < 0:
            return None
        a, b = state.choice()
        without = state.copy()
        without.drop_way(a, b)
        branches.append((without, {a, b}))
        branches.append((state, state.use_way(a, b)))
    return count


def _is_lopsided(near: Mapping[Cell, Set[Cell]]) -> bool:
    """Whether cells alternate between two colours of unequal number: then no loop fits."""
    colour: dict[Cell, int] = {}
    for start in near:
        todo = [start] if colour.setdefault(start, 0) == 0 else []
        while todo:
            cell = todo.pop()
            for other in near[cell]:
                if other not in colour:
                    colour[other] = 1 - colour[cell]
                    todo.append(other)
                elif colour[other] == colour[cell]:
                    return False
    return 2 * sum(colour.values()) != len(colour)
