"""An unrelated second model: the loop as a circuit over arcs, in CP-SAT, presolve off.

It shares the route problem with the others, but no formula: no faces, no sides, no lazy cuts for
connectedness. It covers one flat surface without a cell to run around; drives that meet are
refused as they turn up.
"""

from __future__ import annotations

import time

from models.problem import Problem
from models.route import CornerOption, RouteProblem
from models.system import System
from solver.route.problem import clashing, route_problem

MOST_CELLS = 24 * 24
Arc = tuple[int, int]
"""A cell and the port by which the tape leaves it."""


def circuit_opinion(problem: Problem, system: System, deadline: float) -> list[str]:
    """The opinion in words; nothing where the model does not apply, or found a route."""
    routes = route_problem(problem, system)
    flat = not routes.folds and len(problem.scenario.surfaces) == 1 and routes.around is None
    if not flat or len(routes.allowed) > MOST_CELLS or time.monotonic() > deadline:
        return []
    model = CircuitModel(routes)
    while True:
        chosen = model.solve(deadline)
        if chosen is None:
            return ["CP-SAT over arcs (a circuit), presolve off"] if model.refuted else []
        pairs = [
            (a, b)
            for i, a in enumerate(chosen)
            for b in chosen[:i]
            if clashing(problem, system, a, b)
        ]
        if not pairs:
            return []
        model.forbid_pairs(pairs)


class CircuitModel:
    """Arcs, corners, edges."""

    def __init__(self, routes: RouteProblem) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.routes = cp_model, routes
        self.model = cp_model.CpModel()
        self.refuted = False
        self.allowed = routes.required if routes.exact else routes.allowed
        ports = routes.graph.ports
        self.arc = {
            (cell, port): self.model.new_bool_var("")
            for cell in sorted(self.allowed)
            for port in range(4)
            if ports[cell][port] in self.allowed
        }
        self.tape = {cell: self.model.new_bool_var("") for cell in sorted(self.allowed)}
        self.option: dict[CornerOption, cp_model.IntVar] = {}
        self._circuit()
        self._corners()
        self._edges()
        self._totals()

    def _circuit(self) -> None:
        ports = self.routes.graph.ports
        arcs: list[tuple[int, int, object]] = [
            (cell, ports[cell][port], lit) for (cell, port), lit in self.arc.items()
        ]
        arcs += [(cell, cell, ~lit) for cell, lit in self.tape.items()]
        if not arcs:
            self.model.add_bool_or([])
            return
        self.model.add_circuit(arcs)  # type: ignore[arg-type]
        for (cell, port), lit in self.arc.items():
            back = self.arc.get((ports[cell][port], self.routes.graph.arrive[cell][port]))
            if back is not None:
                self.model.add_bool_or([~lit, ~back])  # no loop of two cells
        for cell in self.routes.required:
            self.model.add_bool_or([self.tape[cell]] if cell in self.tape else [])

    def _into(self, cell: int, port: int) -> object | None:
        """The arc that arrives at a cell through a port."""
        there = self.routes.graph.ports[cell][port]
        if there < 0:
            return None
        return self.arc.get((there, self.routes.graph.arrive[cell][port]))

    def _corners(self) -> None:
        """Each turn has one drive; a drive keeps tape and other drives away."""
        by_turn: dict[tuple[int, int, int], list[CornerOption]] = {}
        for option in self.routes.options:
            by_turn.setdefault((option.cell, option.in_port, option.out_port), []).append(option)
        holders: dict[int, list[object]] = {}
        for cell in self.tape:
            for came in range(4):
                for goes in ((came + 1) % 4, (came + 3) % 4):
                    enters, leaves = self._into(cell, came), self.arc.get((cell, goes))
                    if enters is None or leaves is None:
                        continue
                    options = by_turn.get((cell, came, goes), [])
                    lits = [self.model.new_bool_var("") for _ in options]
                    self.model.add_bool_or([~enters, ~leaves, *lits])  # type: ignore[operator]
                    for option, lit in zip(options, lits, strict=True):
                        self.option[option] = lit
                        self.model.add_implication(lit, enters)  # type: ignore[arg-type]
                        self.model.add_implication(lit, leaves)
                        for token in option.claims:
                            holders.setdefault(token, []).append(lit)
                        for barred in option.forbids:
                            if barred in self.tape:
                                self.model.add_bool_or([~lit, ~self.tape[barred]])
        for lits_ in holders.values():
            if len(lits_) > 1:
                self.model.add_at_most_one(lits_)  # type: ignore[arg-type]

    def _edges(self) -> None:
        """No run of arcs straight on is as long as the limit."""
        most = self.routes.limits.drive_drive.most
        graph = self.routes.graph
        for cell, port in self.arc:
            run: list[object] = []
            here, out = cell, port
            while len(run) < most and (here, out) in self.arc:
                run.append(~self.arc[here, out])
                here, out = graph.ports[here][out], (graph.arrive[here][out] + 2) % 4
            if len(run) == most:
                self.model.add_bool_or(run)  # type: ignore[arg-type]

    def _totals(self) -> None:
        """The length, and one full turn to the side that the inside is on."""
        total = sum(self.tape.values())
        high = min(self.routes.length_max, len(self.tape))
        self.model.add(total >= max(4, self.routes.length_min))
        self.model.add(total <= high)
        left = sum(lit * _left(o) for o, lit in self.option.items())
        self.model.add(left == (-4 if self.routes.inside_on_right else 4))

    def solve(self, deadline: float) -> list[CornerOption] | None:
        """The drives of a route; None with `refuted` set or not."""
        solver = self.cp.CpSolver()
        solver.parameters.catch_sigint_signal = False  # else Ctrl-C kills us from then on
        solver.parameters.num_workers = 1
        solver.parameters.cp_model_presolve = False
        solver.parameters.max_time_in_seconds = max(0.01, deadline - time.monotonic())
        status = solver.solve(self.model)
        self.refuted = status == self.cp.INFEASIBLE
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return None
        return [option for option, lit in self.option.items() if solver.value(lit)]

    def forbid_pairs(self, pairs: list[tuple[CornerOption, CornerOption]]) -> None:
        """No two of these together."""
        for a, b in pairs:
            self.model.add_bool_or([~self.option[a], ~self.option[b]])


def _left(option: CornerOption) -> int:
    """1 for a left turn, -1 for a right one."""
    return 1 if (option.out_port - option.in_port) % 4 == 3 else -1
