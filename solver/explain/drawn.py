"""What is wrong with a loop that is drawn: its edges and its corners, one by one, in plain Python.

Shares nothing with the formulas; where it finds a fault, that alone proves that the drawing
admits no machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from models.geometry import Cell, dot, sub
from models.problem import Problem
from models.route import CornerOption, EdgeSpan
from models.scenario import Scenario
from models.system import System
from solver.explain.blockers import Blockers
from solver.explain.relax import requirement_text
from solver.explain.wording import at, span
from solver.net import clearance
from solver.route.problem import clashing, corner_frame, edge_limits, overlapping

TURNED = frozenset({"loop.shape", "loop.direction"})
"""A drive's side and order hang on the way the tape runs."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One fault, and the requirements that it rests on."""

    text: str
    names: frozenset[str]


def drawn_order(problem: Problem, cells: frozenset[Cell]) -> list[int] | None:
    """The cells of a drawn loop in travel order, where they are in no doubt."""
    graph = problem.graph
    wanted = {problem.index[cell] for cell in cells}
    near = {c: [n for n in graph.ports[c] if n in wanted] for c in wanted}
    folded = any(problem.homes[c] is None for c in wanted)
    if len(wanted) < 4 or folded or any(len(n) != 2 for n in near.values()):
        return None
    order = [min(wanted)]
    order.append(near[order[0]][0])
    while (there := next(n for n in near[order[-1]] if n != order[-2])) != order[0]:
        order.append(there)
    if len(order) != len(wanted):
        return None
    turns = 0
    for i, cell in enumerate(order):
        goes = graph.ports[cell].index(order[(i + 1) % len(order)])
        came = graph.ports[cell].index(order[i - 1])
        turns += {1: -1, 3: 1}.get((goes - came) % 4, 0)  # +1: left
    right = problem.scenario.loop.direction == "clockwise"
    return order if (turns < 0) == right else order[::-1]


@dataclass
class Drawn:
    """A drawn loop with the drives that its corners would need."""

    scenario: Scenario
    """As given."""
    problem: Problem
    """With everything dropped."""
    system: System
    order: list[int]

    def __post_init__(self) -> None:
        self.blockers = Blockers(self.scenario, self.problem, self.system)
        self.cells = self.problem.graph.cells
        n, ports = len(self.order), self.problem.graph.ports
        self.corners: list[int] = []
        """Positions in the order."""
        self.drives: list[CornerOption] = []
        for i, cell in enumerate(self.order):
            came = ports[cell].index(self.order[i - 1])
            goes = ports[cell].index(self.order[(i + 1) % n])
            if (goes - came) % 4 != 2:
                self.corners.append(i)
                self.drives += [CornerOption(cell, came, goes, d.name) for d in self.system.drives]

    def facts(self) -> Iterator[Fact]:
        """Every fault that shows; where none does, it takes more than one look to see why."""
        yield from self._edges()
        yield from self._turns()
        yield from self._lifts()
        yield from self._drives()

    def _edges(self) -> Iterator[Fact]:
        limit: EdgeSpan = edge_limits(self.scenario.rules).drive_drive
        n = len(self.order)
        for i, j in zip(self.corners, self.corners[1:] + self.corners[:1], strict=True):
            length = (j - i) % n + 1
            if length < self.system.edge_min:
                yield Fact(
                    f"an edge of {length} cells is too short for the {self.system.name} system",
                    frozenset({"loop.shape"}),
                )
            if length > limit.most:
                ends = span(self.cells[self.order[i]], self.cells[self.order[j]])
                yield Fact(
                    f"the edge {ends} is {length} long, rams move at most "
                    f"{self.scenario.rules.push_limit}: {limit.most}",
                    frozenset({"loop.shape", "rules.push_limit"}),
                )

    def _turns(self) -> Iterator[Fact]:
        """Some systems make nothing but rectangles."""
        if self.system.convex_only and len(self.corners) > 4:
            text = f"the {self.system.name} system makes rectangles only"
            yield Fact(text, frozenset({"loop.shape"}))

    def _lifts(self) -> Iterator[Fact]:
        for cell in self.order:
            for block in self.blockers.of_tape(cell):
                where = at(self.cells[cell])
                text = f"the lift behind {where} does not fit in: {self._why(block)}"
                yield Fact(text, block | {"loop.shape"})

    def _drives(self) -> Iterator[Fact]:
        for cell in dict.fromkeys(drive.cell for drive in self.drives):
            here = [drive for drive in self.drives if drive.cell == cell]
            facts = [fact for drive in here for fact in self._drive(drive)]
            if {drive.variant for drive in here} == {fact_of for fact_of, _ in facts}:
                yield from (fact for _, fact in facts)

    def _drive(self, drive: CornerOption) -> Iterator[tuple[str, Fact]]:
        """Why this drive cannot stand at its corner."""
        for block in sorted(self.blockers.of_drive(drive), key=sorted):
            where = at(self.cells[drive.cell])
            text = f"the drive at the corner {where} cannot be dug in: {self._why(block)}"
            yield drive.variant, Fact(text, block | TURNED)
        narrow = self._narrowest(drive)
        if narrow is not None:
            yield drive.variant, Fact(narrow, TURNED)
        yield from ((drive.variant, fact) for fact in self._in_tape(drive))
        for other in self.drives:
            same = replace(other, variant=drive.variant)
            if other.cell > drive.cell and clashing(self.problem, self.system, drive, same):
                a, b = at(self.cells[drive.cell]), at(self.cells[other.cell])
                text = f"the drives at the corners {a} and {b} disturb each other"
                yield drive.variant, Fact(text, TURNED)

    def _in_tape(self, drive: CornerOption) -> Iterator[Fact]:
        """Which lifts the drive would stand in the way of; a measured table has that already."""
        if clearance.measured(self.system.table):
            return
        frame = corner_frame(self.problem, drive.cell, drive.in_port, drive.out_port)
        met = overlapping(self.problem, self.system, self.system.drive(drive.variant), frame)
        for cell in self.order:
            if cell in met and cell != drive.cell:
                here, there = at(self.cells[drive.cell]), at(self.cells[cell])
                text = f"the drive at the corner {here} is in the way of the lift behind {there}"
                yield Fact(text, TURNED)

    def _why(self, block: frozenset[str]) -> str:
        """What bars the digging, in the words of the scenario."""
        return " and ".join(requirement_text(self.scenario, name) for name in sorted(block))

    def _narrowest(self, drive: CornerOption) -> str | None:
        """The strip that a drive stands in and how wide it must be, where it falls short most."""
        frame = corner_frame(self.problem, drive.cell, drive.in_port, drive.out_port)
        barred = clearance.offsets(self.system.table, drive.variant, "tape")
        found: list[tuple[int, int, int]] = []  # what is missing, how wide, the cell
        for cell in self.order:
            off = sub(self.cells[cell], frame.origin)
            local = (dot(off, frame.x), dot(off, frame.y))
            if local in barred and cell != drive.cell:
                wide, needed = _width(local, barred)
                found.append((needed - wide, wide, cell))
        if not found:
            return None
        missing, wide, cell = max(found)
        return (
            f"the drive at the inner corner {at(self.cells[drive.cell])} needs 3 x 3 cells inside; "
            f"the strip there is {wide} wide, {wide + missing} needed; the column behind "
            f"{at(self.cells[cell])} would be fired"
        )


def _width(local: tuple[int, int], barred: frozenset[tuple[int, int]]) -> tuple[int, int]:
    """How wide the strip is, both rims counted, up to a cell; and how wide it must be."""
    along = 0 if abs(local[0]) >= abs(local[1]) else 1
    beyond = [
        abs(o[along])
        for o in barred
        if o[1 - along] == local[1 - along] and o[along] * local[along] > 0
    ]
    return abs(local[along]) + 1, max(beyond) + 2


def drawn_facts(scenario: Scenario, loose: Problem, system: System) -> list[Fact]:
    """What is wrong with the drawn loop of an exact shape; `loose` has everything dropped."""
    if scenario.loop.shape != "exact":
        return []
    turned = replace(loose, scenario=replace(loose.scenario, loop=scenario.loop))
    order = drawn_order(turned, scenario.required())
    return [] if order is None else list(Drawn(scenario, turned, system, order).facts())
