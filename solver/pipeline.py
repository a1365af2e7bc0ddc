"""The walk: scenario -> problem -> search -> machine -> plan -> files."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from models.machine import ALL_CASES, Case, Machine, MachineFault
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.scenario import Scenario
from solver.check import check_machine
from solver.explain.explain import explain
from solver.files import write_new
from solver.flatten import flatten
from solver.machine_file import read_machine, write_machine
from solver.page import write_page
from solver.plan import build_plan
from solver.search import Beaten, Progress, search_system, value
from solver.sheets import write_sheets
from solver.simulate import PressReport, Simulation, prove, run_presses
from solver.systems import systems_over
from solver.tell import fault_json, tell_fault, tell_presses, tell_verdict
from solver.waveform import waveforms

Say = Callable[[str], None]
GRACE_S = 5.0
"""How long after the budget a solver that is still at work is waited for."""


@dataclass(frozen=True)
class Outcome:
    """A verdict, ready to be written and told."""

    scenario: Scenario
    result: Verdict

    @property
    def verdict(self) -> str:
        """feasible, infeasible or undecided."""
        match self.result:
            case Feasible():
                return "feasible"
            case Infeasible():
                return "infeasible"
            case Undecided():
                return "undecided"

    @property
    def was_interrupted(self) -> bool:
        """Whether the user stopped the search."""
        return isinstance(self.result, Undecided) and self.result.interrupted

    @property
    def found(self) -> Feasible | None:
        """The machine to hand over, if there is one."""
        return (
            self.result.best
            if isinstance(self.result, Undecided)
            else (self.result if isinstance(self.result, Feasible) else None)
        )

    def summary(self, files: Mapping[str, str]) -> list[str]:
        """Lines for the terminal."""
        return tell_verdict(self.result, files)

    def as_json(self, files: Mapping[str, str]) -> dict[str, object]:
        """The object that `--json` prints."""
        found = self.found
        reasons = self.result.reasons if isinstance(self.result, Infeasible) else ()
        bound = {} if isinstance(self.result, Infeasible) else dict(self.result.lower_bound)
        return {
            "verdict": self.verdict,
            "optimal": isinstance(self.result, Feasible) and self.result.optimal,
            "objective": dict(found.score) if found else {},
            "lower_bound": bound,
            "reasons": [
                {"text": r.text, "requirement": r.requirement, "place": r.place} for r in reasons
            ],
            "proof": self.result.proof if isinstance(self.result, Infeasible) else "",
            "files": dict(files),
        }


def solve_scenario(
    scenario: Scenario, *, budget_s: float, seed: int = 0, on_progress: Say = lambda line: None
) -> Outcome:
    """Search all systems that the scenario's surfaces have.

    The search runs in a thread of its own: solvers hold on to the processor for long, and Ctrl-C
    or the end of the budget must not wait for them. The best machine so far is kept either way.
    """
    deadline = time.monotonic() + budget_s
    state = Progress()
    done: list[Verdict | BaseException] = []

    def work() -> None:
        try:
            done.append(_search(scenario, deadline, seed, on_progress, state))
            if isinstance(done[0], Infeasible):
                # In its place only once it is ready: the verdict does not wait for its reason.
                done[0] = explain(scenario, done[0], deadline, on_progress)
        except BaseException as error:  # noqa: BLE001  handed on to the main thread below
            done.append(error)

    worker = threading.Thread(target=work, daemon=True)
    worker.start()
    try:
        while worker.is_alive() and time.monotonic() < deadline + GRACE_S:
            worker.join(0.1)
    except KeyboardInterrupt:
        if done and isinstance(done[0], Infeasible):
            return Outcome(scenario, done[0])
        bound = dict(state.named_bound)
        return Outcome(scenario, Undecided(state.best, bound, "interrupted", interrupted=True))
    if not done:
        return Outcome(scenario, Undecided(state.best, dict(state.named_bound)))
    if isinstance(done[0], BaseException):
        raise done[0]
    return Outcome(scenario, done[0])


def _search(scenario: Scenario, deadline: float, seed: int, say: Say, state: Progress) -> Verdict:
    """All systems, one after the other; the first in order wins among equals."""
    problem = flatten(scenario)
    results: list[Verdict | Beaten] = []
    for system in systems_over(scenario.surfaces):
        alone = replace(state, best=None, rival=state.best, refusals=[], unproven=False, bound=())
        results.append(search_system(problem, system, deadline, seed, say, alone))
        rivals = [f for f in (state.best, alone.best) if f is not None]
        state.best = min(rivals, key=lambda f: value(f, scenario.loop.minimise), default=None)
        state.terms, state.bound = alone.terms, alone.bound
    return _best_of(results, state.best, scenario.loop.minimise)


def _best_of(
    results: list[Verdict | Beaten], best: Feasible | None, terms: tuple[str, ...]
) -> Verdict:
    """One verdict from those of the systems."""
    if not results:
        reason = Reason("no system of designs is known for these surfaces")
        return Undecided(None, {}, reason.text, timed_out=False)
    open_ = [r for r in results if isinstance(r, Undecided)]
    late = [r for r in open_ if r.timed_out]
    bound = _least_bound(results, terms)
    if late:
        return Undecided(best, bound, late[0].why)
    if best is not None:
        sure = all(
            isinstance(r, Infeasible)
            or (isinstance(r, Beaten) and r.proven)
            or (isinstance(r, Feasible) and r.optimal)
            for r in results
        )
        return replace(best, optimal=sure, lower_bound=best.score if sure else bound)
    if open_:
        return Undecided(None, bound, open_[0].why, details=open_[0].details, timed_out=False)
    refuted = [r for r in results if isinstance(r, Infeasible)]
    reasons = [reason for r in refuted for reason in r.reasons]
    return Infeasible(tuple(reasons), "; ".join(dict.fromkeys(r.proof for r in refuted)))


def _least_bound(results: list[Verdict | Beaten], terms: tuple[str, ...]) -> dict[str, int]:
    """What no machine of any system is better than."""
    bounds = []
    for result in results:
        match result:
            case Feasible() | Undecided():
                bounds.append(
                    tuple(result.lower_bound[t] for t in terms if t in result.lower_bound)
                )
            case Beaten():
                bounds.append(result.bound)
            case Infeasible():
                pass
    return dict(zip(terms, min(bounds, default=()), strict=False))


def write_outcome(outcome: Outcome, out_dir: Path, force: bool) -> dict[str, str]:
    """Write what there is to write; the names and paths of the files."""
    found = outcome.found
    if found is None:
        if force:
            # A machine from an earlier run must not stand for this verdict.
            (out_dir / "machine.json").unlink(missing_ok=True)
        return {}
    plan = build_plan(found.machine)
    contents = {
        "machine": ("machine.json", write_machine(found.machine)),
        "page": ("plan.html", write_page(plan)),
        "plan": ("plan.txt", write_sheets(plan)),
        "waveforms": ("waves.vcd", press_waveforms(found.machine)),
    }
    for name, content in contents.values():
        write_new(out_dir / name, content, force)
    return {what: str(out_dir / name) for what, (name, _) in contents.items()}


# ------------------------------------------------------------------ simulate and check


@dataclass(frozen=True)
class SimulationReport:
    """All presses in all cases."""

    machine: Machine
    presses: Mapping[Case, list[PressReport]]
    static: list[MachineFault]

    @property
    def ok(self) -> bool:
        """Whether every press of every case was right."""
        return all(p.ok for reports in self.presses.values() for p in reports)

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        notes = [f"note: {tell_fault(fault)}" for fault in self.static]
        verdict = "The machine works." if self.ok else "The machine does not work."
        return [*notes, *tell_presses(self.presses), verdict]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "ok": self.ok,
            "static": [fault_json(fault) for fault in self.static],
            "cases": [
                {
                    "overhead_pickup": case.overhead,
                    "ground": case.ground,
                    "presses": [
                        {
                            "press": p.press,
                            "ok": p.ok,
                            "half_ticks": p.half_ticks,
                            "faults": [fault_json(fault) for fault in p.faults],
                        }
                        for p in reports
                    ],
                }
                for case, reports in self.presses.items()
            ],
        }

    def waveforms(self) -> str:
        """The presses of the first case as VCD text."""
        simulation = Simulation(self.machine, ALL_CASES[0], record=True)
        run_presses(simulation, max(1, len(self.presses[ALL_CASES[0]])))
        return waveforms(simulation)


def press_waveforms(machine: Machine) -> str:
    """One press in the plainest case as VCD text."""
    simulation = Simulation(machine, cases_of(machine)[0], record=True)
    run_presses(simulation, 1)
    return waveforms(simulation)


def simulate_file(path: Path, *, presses: int | None) -> SimulationReport:
    """Press the button of the machine in a file: `presses` times, by default one full turn."""
    machine = read_machine(path)
    count = presses or len(machine.tape)
    cases = cases_of(machine)
    reports = {case: run_presses(Simulation(machine, case), count) for case in cases}
    return SimulationReport(machine, reports, check_machine(machine))


@dataclass(frozen=True)
class CheckReport:
    """Static rules and a full turn in every case."""

    faults: list[MachineFault]

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        if self.ok:
            return ["No fault: static rules, and a full turn in all four cases."]
        return [f"{len(self.faults)} faults", *(f"  {tell_fault(f)}" for f in self.faults)]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {"ok": self.ok, "faults": [fault_json(fault) for fault in self.faults]}


def check_file(path: Path) -> CheckReport:
    """Check a machine drawn or built by hand."""
    machine = read_machine(path)
    faults = check_machine(machine)
    results = prove(machine, cases_of(machine))
    seen: dict[tuple[str, tuple[object, ...]], MachineFault] = {}
    for result in results:
        for fault in result.faults:
            seen.setdefault((fault.code, fault.cells), fault)
    return CheckReport([*faults, *seen.values()])


def cases_of(machine: Machine) -> tuple[Case, ...]:
    """The cases a machine is judged in: all four, unless its rules fix the pickup."""
    fixed = machine.rules.overhead_pickup
    return tuple(c for c in ALL_CASES if fixed is None or c.overhead == fixed)
