"""One stage of the search: the routes whose costs stay under caps, in an incremental SAT solver.

Earlier terms are held at their optimum, the current one is bounded by assumptions. What the walk
bounds exclude under the caps is not even written down, so that a stage is far smaller than the
room; routes beyond the caps are the next stage's.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

from pysat.solvers import Solver

from models.route import RouteCut, RouteProblem
from solver.route.counting import Graded, at_most_one, count, graded
from solver.route.cuts import FaceCut, post_face_cut, post_route_cut
from solver.route.formula import FALSE, TRUE
from solver.route.reading import Assignment
from solver.route.rules import RouteFormula, route_formula
from solver.route.topology import PORTS, Topology
from solver.route.walks import WalkBounds

Answer = Literal["yes", "no", "never", "open"]
"""A solution; none under this bound; none in this stage at all; budget or time ran out."""

SOLVER = "cadical153"
SLICE = 2000
"""Conflicts between two looks at the clock."""
TURNING_CAP = 12
"""Reflex corners up to which the turning equation is spelled out; beyond, cuts do the work."""
MOST_TURNING = 40
"""The same where the objective pays for corners and so bounds them."""


@dataclass(frozen=True, slots=True)
class Cap:
    """A term may cost at most this."""

    term: int
    most: int
    bounds: WalkBounds | None


@dataclass(frozen=True, slots=True)
class Shape:
    """Walk bounds on the number of corners and of cells of any route."""

    corners: WalkBounds | None = None
    cells: WalkBounds | None = None


class Stage:
    """A formula under caps (the last one is the term being minimised) and its solver."""

    def __init__(
        self,
        problem: RouteProblem,
        tables: Topology,
        allowed: frozenset[int],
        caps: Sequence[Cap],
        *,
        bounded: bool = False,
        shape: Shape = Shape(),
        solver: str = SOLVER,
    ) -> None:
        """`bounded`: the last cap is of the term that is being minimised."""
        self.bounded = bounded
        self.most = caps[-1].most if caps else 0
        kept = frozenset(cell for cell in allowed if _may_use(cell, caps))
        self.trimmed = len(kept) < len(allowed)
        self.model: RouteFormula = route_formula(problem, tables, kept)
        self.colours = _two_colours(problem, kept)
        self._counts: dict[tuple[tuple[int, ...], bool], list[int]] = {}
        formula = self.model.formula
        self._post_turning(caps)
        self._post_length()
        for cap in caps:
            self.sum = self._objective(cap)
            if cap.most < self.sum.base:
                formula.clause()
            formula.clause(-self.sum.above(cap.most))
            if cap.bounds is not None:
                self._post_bounds(cap.bounds, self.sum)
        self._post_shape_bounds(shape)
        for group in formula.at_most_one:
            at_most_one(formula, group)
        self._loaded = 0
        self.solver = Solver(name=solver)
        self.assignment: Assignment = []

    def add_face_cut(self, cut: FaceCut) -> None:
        """Keep a connectivity cut from now on."""
        post_face_cut(self.model, cut)

    def add_route_cut(self, cut: RouteCut) -> None:
        """Keep a refusal from now on; what this stage leaves out is false."""
        post_route_cut(self.model, cut)

    def test(self, most: int | None, budget: int, deadline: float) -> Answer:
        """Whether a solution costs at most so much, within a budget of conflicts."""
        self._load()
        if self.model.formula.contradiction:
            return "never"
        limit = FALSE if most is None else self.sum.above(most)
        assumed = [] if limit == FALSE else [limit]
        if most is not None and most < self.sum.base:
            return "no"
        while True:
            self.solver.conf_budget(min(SLICE, budget))
            verdict = self.solver.solve_limited(assumptions=assumed)
            if verdict is not None:
                break
            budget -= SLICE
            if budget <= 0 or time.monotonic() > deadline:
                return "open"
        if not verdict:
            return "no" if assumed and self.solver.get_core() else "never"
        values = self.solver.get_model() or []
        known = [False] * (self.model.formula.variables + 1)
        for lit in values:
            if -len(known) < lit < 0:
                known[-lit] = True
        known[TRUE] = True
        self.assignment = known
        return "yes"

    def close(self) -> None:
        """Give the solver's memory back."""
        self.solver.delete()

    def _load(self) -> None:
        """Literals go in negated: the solver first tries what it calls true, and most of a room
        is outside and bare."""
        if self.model.formula.contradiction:
            return
        clauses = self.model.formula.clauses
        for clause in islice(clauses, self._loaded, None):
            self.solver.add_clause([-lit for lit in clause])
        self._loaded = len(clauses)

    def _made(self, literals: Sequence[int]) -> list[int]:
        """The longest count of these literals so far."""
        key = tuple(sorted(lit for lit in literals if lit != TRUE))
        return max(self._counts.get((key, True), []), self._counts.get((key, False), []), key=len)

    def _count(self, literals: Sequence[int], cap: int, *, exact: bool = False) -> list[int]:
        """A count of these literals, made once; an exact one serves for both."""
        open_ = [lit for lit in literals if lit != TRUE]
        sure = min(cap, len(literals) - len(open_))
        cap -= sure
        key = tuple(sorted(open_))
        for ready in ((key, True), (key, exact)):
            known = self._counts.get(ready)
            if known is not None and len(known) >= min(cap, len(open_)):
                return [TRUE] * sure + known[:cap]
        known = count(self.model.formula, open_, cap, exact=exact)
        self._counts[key, exact] = known
        return [TRUE] * sure + known

    def _post_turning(self, caps: Sequence[Cap]) -> None:
        """Convex corners (and defects inside) less reflex ones are four, spelled out in unary."""
        model = self.model
        faces = [(d, lit) for d, lit in zip(model.tables.defect, model.face, strict=True) if d]
        constant = sum(d for d, lit in faces if lit == TRUE)
        ahead = [lit for sign, lit in model.convex if sign > 0]
        behind = [lit for sign, lit in model.convex if sign < 0]
        for defect, lit in faces:
            if abs(lit) != TRUE:
                (ahead if defect > 0 else behind).extend([lit] * abs(defect))
        lead = 4 - constant
        if lead < 0:
            ahead, behind, lead = behind, ahead, -lead
        reach = max([TURNING_CAP, *(self._reflex_within(cap) for cap in caps)])
        first = self._count(ahead, reach + lead, exact=True)
        first = first + [FALSE] * (reach + lead - len(first))
        second = self._count(behind, reach, exact=True)
        second = second + [FALSE] * (reach - len(second))
        self.behind = behind
        for lit in first[:lead]:
            model.formula.clause(lit)
        for a, b in zip(first[lead:], second, strict=True):
            model.formula.clause(-a, b)
            model.formula.clause(a, -b)
        self.flat = all(abs(lit) == TRUE for _, lit in faces) and lead == 4

    def _reflex_within(self, cap: Cap) -> int:
        """One more reflex corner than the cap can pay for, or 0 if it need not pay."""
        problem = self.model.problem
        cheapest = min((option.costs[cap.term] for option in self.model.option), default=0)
        fixed = problem.fixed_costs[cap.term] if problem.fixed_costs else 0
        if cheapest <= 0:
            return 0
        return min((cap.most - fixed) // (2 * cheapest), MOST_TURNING)

    def _post_length(self) -> None:
        """Least and greatest length; on a chessboard half the cells are counted."""
        problem, formula = self.model.problem, self.model.formula
        cells, factor = self._half(self._live())
        live = [self.model.tape[c] for c in cells]
        least = -(-problem.length_min // factor)
        most = problem.length_max // factor
        if problem.length_min > (3 if self.colours is None else 4):
            if least > len(live):
                formula.clause()
                return
            formula.clause(self._count(live, least, exact=True)[least - 1])
        if most < len(live):
            formula.clause(-self._count(live, most + 1, exact=True)[most])

    def _half(self, cells: Sequence[int]) -> tuple[list[int], int]:
        """Cells to count and the factor: a loop has as many cells of either colour."""
        if self.colours is None:
            return list(cells), 1
        return [c for c in cells if self.colours[c] == 0], 2

    def _objective(self, cap: Cap) -> Graded:
        """A term as a graded sum: what all cells and all corners cost alike, then the extras."""
        model, term = self.model, cap.term
        problem = model.problem
        cells = {c: problem.cell_costs[term][c] for c in self._live()}
        corners = [(option.costs[term], lit) for option, lit in model.option.items()]
        base = problem.fixed_costs[term] if problem.fixed_costs else 0
        classes: list[tuple[int, list[int], int]] = []  # weight, literals, needed for sure
        if self.colours is not None and (alike := min(cells.values(), default=0)) > 0:
            half = [model.tape[c] for c in cells if self.colours[c] == 0]
            classes.append((2 * alike, half, 0))
            cells = {c: w - alike for c, w in cells.items()}
        if self.flat and (alike := min((w for w, _ in corners), default=0)) > 0:
            base += 4 * alike  # as many corners as four and twice the reflex ones
            classes.append((2 * alike, self.behind, 1))
            corners = [(w - alike, lit) for w, lit in corners]
        extras: dict[int, list[int]] = {}
        pairs = [(w, model.tape[c]) for c, w in cells.items()] + corners
        pairs += [
            (reach.penalty[term], lit)
            for reach, lit in zip(problem.reach_terms, model.unreached, strict=True)
        ]
        for w, lit in pairs:
            if w:
                extras.setdefault(abs(w), []).append(lit if w > 0 else -lit)
                base += min(w, 0)
        classes += [(w, lits, 0) for w, lits in sorted(extras.items(), reverse=True)]
        base += sum(w * lits.count(TRUE) for w, lits, _ in classes)
        classes = [(w, [x for x in lits if x != TRUE], exact) for w, lits, exact in classes]
        room = max(0, cap.most - base)
        counts = [
            (w, self._count(lits, room // w + 1, exact=bool(exact))) for w, lits, exact in classes
        ]
        return graded(model.formula, counts, base, max(cap.most, base))

    def _live(self) -> list[int]:
        return [cell for cell, lit in enumerate(self.model.tape) if lit != FALSE]

    def _post_shape_bounds(self, shape: Shape) -> None:
        """The walk bounds of corners alone and of cells alone, on the counts that are there."""
        if self.flat and shape.corners is not None:
            turns = self._count(self.behind, TURNING_CAP, exact=True)
            self._post_bounds(shape.corners, Graded(4, _every(6, 2, turns), tuple(turns)))
        half, factor = self._half(self._live())
        cells = self._made([self.model.tape[c] for c in half])
        if cells and shape.cells is not None:
            values = _every(factor, factor, cells)
            self._post_bounds(shape.cells, Graded(0, values, tuple(cells)))

    def _post_bounds(self, bounds: WalkBounds, total: Graded) -> None:
        """A turn or a straight stretch costs at least the cheapest walk through it."""
        model, formula = self.model, self.model.formula
        formula.clause(total.reaching(bounds.least))
        for (cell, came, goes), lit in model.turn.items():
            formula.clause(-lit, total.reaching(int(bounds.turns[cell, came, goes])))
        for cell, row in enumerate(model.tables.link_at):
            if model.tape[cell] == FALSE:
                continue
            through = bounds.turns[cell]
            formula.clause(-model.tape[cell], total.reaching(int(through.min())))
            for port in PORTS[:2]:
                if row[port] >= 0 and row[port + 2] >= 0:
                    least = int(min(through[port, port + 2], through[port + 2, port]))
                    pair = (-model.link[row[port]], -model.link[row[port + 2]])
                    formula.clause(*pair, total.reaching(least))


def _every(first: int, step: int, outputs: Sequence[int]) -> tuple[int, ...]:
    return tuple(first + step * i for i in range(len(outputs)))


def _may_use(cell: int, caps: Sequence[Cap]) -> bool:
    return all(cap.bounds is None or int(cap.bounds.turns[cell].min()) <= cap.most for cap in caps)


def _two_colours(problem: RouteProblem, cells: frozenset[int]) -> dict[int, int] | None:
    """A chessboard colouring of these cells, if there is one."""
    colour: dict[int, int] = {}
    for start in sorted(cells):
        if start in colour:
            continue
        colour[start] = 0
        queue = [start]
        for cell in queue:
            for n in problem.graph.ports[cell]:
                if n in cells and n not in colour:
                    colour[n] = 1 - colour[cell]
                    queue.append(n)
                elif n in cells and colour[n] == colour[cell]:
                    return None
    return colour
