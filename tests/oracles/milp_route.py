"""The route search told again as a mixed integer program, for rooms too large to enumerate.

Arcs, corners and their drives are columns, every rule is a row; loops that fall into pieces are
cut off as they come. HiGHS solves it, term by term. It shares nothing with the search: no faces,
no SAT, no bounds. Flat floors only.
"""

from __future__ import annotations

from collections.abc import Iterable

import highspy

from models.route import NO_LIMIT, RouteProblem

Terms = dict[int, float]
"""Columns with their factors."""


class MilpRoute:
    """One problem as a program. Each call of HiGHS may take so long, then a TimeoutError comes."""

    def __init__(self, problem: RouteProblem, limit_s: float = 600.0) -> None:
        self.problem = problem
        self.highs = highspy.Highs()
        self.highs.silent()
        self.highs.setOptionValue("threads", 1)
        self.highs.setOptionValue("time_limit", limit_s)
        self.columns = 0
        graph = problem.graph
        usable = problem.required if problem.exact else problem.allowed
        usable = usable & problem.allowed
        self.tape = {cell: self._binary() for cell in sorted(usable)}
        self.arc = {
            (cell, port): self._binary()
            for cell in self.tape
            for port in range(4)
            if graph.ports[cell][port] in self.tape
        }
        self.drive = {
            k: self._binary()
            for k, o in enumerate(problem.options)
            if o.cell in self.tape
            and (o.cell, o.out_port) in self.arc
            and self._into(o.cell, o.in_port) is not None
        }
        self.missed = [self._binary() for _ in problem.reach_terms]
        self.dead = not problem.required <= set(self.tape)
        self._post_walk()
        self._post_corners()
        self._post_edges()
        self._post_whole()

    def _binary(self) -> int:
        self.highs.addVar(0.0, 1.0)
        self.highs.changeColIntegrality(self.columns, highspy.HighsVarType.kInteger)
        self.columns += 1
        return self.columns - 1

    def _row(self, low: float, terms: Terms, high: float) -> None:
        kept = {column: factor for column, factor in terms.items() if factor}
        self.highs.addRow(low, high, len(kept), list(kept), [float(f) for f in kept.values()])

    def _at_most(self, columns: Iterable[int], high: float) -> None:
        self._row(-highspy.kHighsInf, dict.fromkeys(columns, 1.0), high)

    def _into(self, cell: int, port: int) -> int | None:
        """The arc that arrives at a cell through this port."""
        before = self.problem.graph.ports[cell][port]
        if before < 0:
            return None
        return self.arc.get((before, self.problem.graph.arrive[cell][port]))

    # ---------------------------------------------------------------- rows

    def _post_walk(self) -> None:
        """What comes in goes out, and not back at once."""
        for cell, tape in self.tape.items():
            out = [self.arc[cell, p] for p in range(4) if (cell, p) in self.arc]
            come = [column for p in range(4) if (column := self._into(cell, p)) is not None]
            self._row(0.0, dict.fromkeys(out, 1.0) | {tape: -1.0}, 0.0)
            self._row(0.0, dict.fromkeys(come, 1.0) | {tape: -1.0}, 0.0)
            for port in range(4):
                back = self._into(cell, port)
                if back is not None and (cell, port) in self.arc:
                    self._at_most([back, self.arc[cell, port]], 1.0)

    def _post_corners(self) -> None:
        """A drive at each turn; no token held twice, no tape where a drive forbids it."""
        at: dict[tuple[int, int, int], list[int]] = {}
        tokens: dict[int, list[int]] = {}
        for k, column in self.drive.items():
            option = self.problem.options[k]
            at.setdefault((option.cell, option.in_port, option.out_port), []).append(column)
            for token in option.claims:
                tokens.setdefault(token, []).append(column)
            for cell in option.forbids & self.tape.keys():
                self._at_most([column, self.tape[cell]], 1.0)
        for holders in tokens.values():
            self._at_most(holders, 1.0)
        for cell in self.tape:
            for come in range(4):
                into = self._into(cell, come)
                for goes in range(4):
                    out = self.arc.get((cell, goes))
                    if into is None or out is None or (goes - come) % 4 in (0, 2):
                        continue
                    drives = at.get((cell, come, goes), [])
                    chosen = dict.fromkeys(drives, 1.0)
                    inf = highspy.kHighsInf
                    self._row(-1.0, chosen | {into: -1.0, out: -1.0}, inf)
                    self._row(-inf, chosen | {into: -1.0}, 0.0)
                    self._row(-inf, chosen | {out: -1.0}, 0.0)

    def _post_edges(self) -> None:
        span = self.problem.limits.drive_drive
        for cell, port in self.arc:
            run: list[int] = []
            at, towards = cell, port
            while len(run) < min(span.most, len(self.tape)) and (at, towards) in self.arc:
                run.append(self.arc[at, towards])
                there = self.problem.graph.ports[at][towards]
                entered = self.problem.graph.arrive[at][towards]
                if len(run) + 1 < span.least:
                    first = self._drives(cell, out=port)
                    for a in first:
                        for b in self._drives(there, into=entered):
                            self._at_most([a, b, *run], len(run) + 1.0)
                at, towards = there, (entered + 2) % 4
            if len(run) == span.most:
                self._at_most(run, span.most - 1.0)

    def _drives(self, cell: int, into: int | None = None, out: int | None = None) -> list[int]:
        options = self.problem.options
        return [
            column
            for k, column in self.drive.items()
            if options[k].cell == cell
            and into in (None, options[k].in_port)
            and out in (None, options[k].out_port)
        ]

    def _post_whole(self) -> None:
        """Wished cells, length, direction, what lies inside, what is out of reach."""
        problem = self.problem
        for cell in problem.required & self.tape.keys():
            self._row(1.0, {self.tape[cell]: 1.0}, 1.0)
        high = float(min(problem.length_max, NO_LIMIT))
        self._row(float(problem.length_min), dict.fromkeys(self.tape.values(), 1.0), high)
        sense = -1.0 if problem.inside_on_right else 1.0
        turns = {
            column: 1.0 if (o.in_port - o.out_port) % 4 == 1 else -1.0
            for k, column in self.drive.items()
            for o in [problem.options[k]]
        }
        self._row(4 * sense, turns, 4 * sense)
        for term, column in zip(problem.reach_terms, self.missed, strict=True):
            near = {self.tape[cell]: 1.0 for cell in term.cells & self.tape.keys()}
            self._row(1.0, near | {column: 1.0}, highspy.kHighsInf)
        if problem.around is not None:
            self._post_around(problem.around, sense)

    def _post_around(self, inner: int, sense: float) -> None:
        """The loop crosses a ray from the cell to the east once more one way than the other."""
        at = self.problem.graph.cells
        if inner in self.tape:
            self._row(0.0, {self.tape[inner]: 1.0}, 0.0)
        x, y, _ = at[inner]
        crossing: Terms = {}
        for (cell, port), column in self.arc.items():
            (ax, ay, _), (bx, by, _) = at[cell], at[self.problem.graph.ports[cell][port]]
            if ax == bx and ax > x and {ay, by} == {y, y + 1}:
                crossing[column] = float(by - ay)
        self._row(sense, crossing, sense)

    # ---------------------------------------------------------------- solving

    def best_costs(self) -> tuple[int, ...] | None:
        """The lexicographically least costs, None if there is no route."""
        if self.dead:
            return None
        if not self.problem.terms:
            return () if self._least({}) is not None else None
        found: list[int] = []
        for t in range(len(self.problem.terms)):
            price = self._price(t)
            least = self._least(price)
            if least is None:
                assert not found, "what was feasible stays so"
                return None
            fixed = self.problem.fixed_costs[t] if self.problem.fixed_costs else 0
            found.append(least + fixed)
            self._row(-highspy.kHighsInf, price, least + 0.5)
        return tuple(found)

    def _price(self, t: int) -> Terms:
        problem = self.problem
        price: Terms = {c: problem.cell_costs[t][cell] for cell, c in self.tape.items()}
        price |= {c: problem.options[k].costs[t] for k, c in self.drive.items()}
        price |= {
            column: term.penalty[t]
            for term, column in zip(problem.reach_terms, self.missed, strict=True)
        }
        return price

    def _least(self, price: Terms) -> int | None:
        for column in range(self.columns):
            self.highs.changeColCost(column, float(price.get(column, 0.0)))
        while True:
            self.highs.run()
            status = self.highs.getModelStatus()
            if status == highspy.HighsModelStatus.kInfeasible:
                return None
            if status == highspy.HighsModelStatus.kTimeLimit:
                raise TimeoutError
            assert status == highspy.HighsModelStatus.kOptimal, status
            values = self.highs.getSolution().col_value
            pieces = self._pieces(values)
            if len(pieces) == 1:
                return round(sum(factor * values[c] for c, factor in price.items()))
            self._cut(pieces)

    def _pieces(self, values: list[float]) -> list[list[int]]:
        goes = {
            cell: self.problem.graph.ports[cell][port]
            for (cell, port), column in self.arc.items()
            if values[column] > 0.5
        }
        pieces = []
        while goes:
            first = next(iter(goes))
            piece = [first]
            while (following := goes.pop(piece[-1])) != first:
                piece.append(following)
            pieces.append(piece)
        return pieces

    def _cut(self, pieces: list[list[int]]) -> None:
        """Where two cells are tape, one in a piece and one not, tape leaves the piece."""
        for piece in pieces:
            inside = set(piece)
            leaving = {
                column: 1.0
                for (cell, port), column in self.arc.items()
                if cell in inside and self.problem.graph.ports[cell][port] not in inside
            }
            mine = next((c for c in piece if c in self.problem.required), piece[0])
            for other in pieces:
                if other is not piece:
                    yours = next((c for c in other if c in self.problem.required), other[0])
                    row = leaving | {self.tape[mine]: -1.0, self.tape[yours]: -1.0}
                    self._row(-1.0, row, highspy.kHighsInf)
