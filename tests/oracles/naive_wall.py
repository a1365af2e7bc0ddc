"""Whether the rules alone leave a loop on one wall: every loop is drawn, in the plane of the map.

Shares nothing with the search. Asked of a loop: a lift behind each cell, and at each corner the
three rams and the two free cells that part, shift and feed need; edges no longer than rams move.
Of a button on the map: that the cell behind its cover, where alone a part can read it, is none
of those free cells.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

Spot = tuple[int, int]
"""To the right and up, seen from the room."""
WAYS: tuple[Spot, ...] = ((1, 0), (0, 1), (-1, 0), (0, -1))
RAMS: tuple[Spot, ...] = ((-1, -2), (0, -2), (-2, -1))
PASSED: tuple[Spot, ...] = ((-1, -1), (0, -1))
"""Local cells: the tape arrives along the first axis and leaves along the second."""


class NaiveWall:
    """One wall room; `rows` from the top."""

    def __init__(self, rows: Sequence[str], depth: int, margin: int, *, clockwise: bool) -> None:
        self.depth, self.margin, self.clockwise = depth, margin, clockwise
        self.size = len(rows[0]), len(rows)
        self.marks = {
            (x, len(rows) - 1 - row): mark
            for row, line in enumerate(rows)
            for x, mark in enumerate(line)
        }
        self.buttons = {spot for spot, mark in self.marks.items() if mark == "@"}
        self.wanted = {spot for spot, mark in self.marks.items() if mark == "o"}

    def has_loop(self, *, exact: bool) -> bool:
        """Whether some loop keeps the map and leaves its rams their places."""
        usable = self.wanted | (set() if exact else {s for s, m in self.marks.items() if m == "."})
        return self.depth >= 2 and any(self._works(loop) for loop in self._loops(usable))

    def _loops(self, usable: set[Spot]) -> Iterator[list[Spot]]:
        """Simple loops through the first wanted cell, or from each cell on, in both directions."""
        starts = [min(self.wanted)] if self.wanted else sorted(usable)
        for number, start in enumerate(starts):
            yield from self._onward([start], usable - set(starts[:number]))

    def _onward(self, path: list[Spot], usable: set[Spot]) -> Iterator[list[Spot]]:
        for way in WAYS:
            there = (path[-1][0] + way[0], path[-1][1] + way[1])
            if there == path[0] and len(path) > 3:
                yield path
            elif there in usable and there not in path:
                yield from self._onward([*path, there], usable)

    def _works(self, loop: list[Spot]) -> bool:
        steps = [
            (b[0] - a[0], b[1] - a[1]) for a, b in zip([loop[-1], *loop[:-1]], loop, strict=True)
        ]
        onward = [*steps[1:], steps[0]]
        corners = [i for i, (a, b) in enumerate(zip(steps, onward, strict=True)) if a != b]
        left = sum(steps[i][0] * onward[i][1] - steps[i][1] * onward[i][0] for i in corners)
        if left != (-4 if self.clockwise else 4) or not self.wanted <= set(loop):
            return False
        edges = zip(corners, [*corners[1:], corners[0] + len(loop)], strict=True)
        if any(end - start + 1 > 13 for start, end in edges):
            return False
        rams: list[Spot] = []
        passed: list[Spot] = []
        for i in corners:
            rams += [_placed(loop[i], steps[i], onward[i], spot) for spot in RAMS]
            passed += [_placed(loop[i], steps[i], onward[i], spot) for spot in PASSED]
        needed = {*rams, *passed}
        apart = len(set(rams)) == len(rams) and not (set(rams) | self.buttons) & set(passed)
        return apart and not needed & set(loop) and all(self._may_dig(s) for s in needed)

    def _may_dig(self, spot: Spot) -> bool:
        inside = all(
            -self.margin <= a < n + self.margin for a, n in zip(spot, self.size, strict=True)
        )
        return inside and self.marks.get(spot) != "="


def _placed(corner: Spot, arrives: Spot, leaves: Spot, local: Spot) -> Spot:
    return (
        corner[0] + local[0] * arrives[0] + local[1] * leaves[0],
        corner[1] + local[0] * arrives[1] + local[1] * leaves[1],
    )
