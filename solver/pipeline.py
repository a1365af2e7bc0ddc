"""The walk: scenario -> problem -> search -> machine -> plan -> files."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from models.front import Front
from models.machine import ALL_CASES, Case, Machine, MachineFault
from models.outcome import Feasible, Infeasible, Undecided, Verdict
from models.plan import BuildPlan
from models.scenario import Scenario
from solver.all_systems import Live, search_all
from solver.check import check_machine
from solver.explain.explain import explain
from solver.explain.remedies import with_remedy
from solver.files import OUTPUT_NAMES, write_new
from solver.front.files import front_json, remove_old_front, write_choice
from solver.front.front import FrontSoFar, search_front
from solver.machine_file import read_machine, write_machine
from solver.plan.plan import build_plan
from solver.search import value
from solver.sheets.page import write_page
from solver.sheets.terminal import draw_machine
from solver.sheets.text import write_sheets
from solver.sheets.waveform import waveforms
from solver.simulate import PressReport, Simulation, prove, run_presses
from solver.simulate.several import prove_apart
from solver.status import Snapshot
from solver.tell import fault_json, tell_fault, tell_front, tell_presses, tell_verdict

Say = Callable[[str], None]
Tick = Callable[[Snapshot], None]
FRONT_SHARE = 0.5
"""How much of the budget is kept for the front, if one is asked for."""
GRACE_S = 5.0
"""How long after the budget a solver that is still at work is waited for."""


OVER_CATALOGUE = "It holds over the catalogue of designs: other designs were not asked for."


@dataclass(frozen=True)
class Outcome:
    """A verdict, ready to be written and told."""

    scenario: Scenario
    result: Verdict
    front: Front | None = None
    """The machines to choose from, if they were asked for."""

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

    def drawing(self, width: int) -> list[str]:
        """The machine as a small drawing, if there is one."""
        return draw_machine(self.found.machine, width) if self.found else []

    def summary(self, files: Mapping[str, str]) -> list[str]:
        """Lines for the terminal."""
        choice = tell_front(self.front) if self.front and self.front.machines else []
        scope = [OVER_CATALOGUE] if isinstance(self.result, Infeasible) and self._one_level else []
        return [*choice, *tell_verdict(self.result, files), *scope]

    @property
    def _one_level(self) -> bool:
        """Whether there is one floor or ceiling, where the catalogue decides."""
        return len(self.scenario.surfaces) == 1 and not {"floor", "ceiling"}.isdisjoint(
            self.scenario.surfaces
        )

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
            **(front_json(self.front, files) if self.front else {}),
        }


def solve_scenario(
    scenario: Scenario,
    *,
    budget_s: float,
    seed: int = 0,
    on_progress: Say = lambda line: None,
    on_tick: Tick = lambda now: None,
    front: tuple[str, ...] = (),
) -> Outcome:
    """Search all systems that the scenario's surfaces have, then the front over these terms.

    The search runs in a thread of its own: solvers hold on to the processor for long, and Ctrl-C
    or the end of the budget must not wait for them. The best machine so far is kept either way.
    """
    deadline = time.monotonic() + budget_s
    until = deadline - budget_s * FRONT_SHARE if front else deadline
    live, choice = Live(scenario.loop.minimise), FrontSoFar(scenario, front)
    done: list[Verdict | BaseException] = []

    def work() -> None:
        try:
            done.append(search_all(scenario, until, seed, on_progress, live))
            if isinstance(done[0], Infeasible):
                # In its place only once it is ready: the verdict does not wait for its reason.
                done[0] = explain(scenario, done[0], deadline, on_progress)
            elif front:
                choice.found += [choice.timed(live.best)] if live.best else []
                search_front(choice, deadline, seed, on_progress)
        except BaseException as error:  # noqa: BLE001  handed on to the main thread below
            done.append(error)

    worker = threading.Thread(target=work, daemon=True)
    worker.start()
    stopped = False
    try:
        while worker.is_alive() and time.monotonic() < deadline + GRACE_S:
            worker.join(0.1)
            on_tick(_snapshot(live, deadline))
    except KeyboardInterrupt:
        stopped = True
    return _conclude(choice, live, list(done), stopped)


def _conclude(
    choice: FrontSoFar, live: Live, done: list[Verdict | BaseException], stopped: bool
) -> Outcome:
    """What the search came to, whether it ended or not."""
    scenario, terms = choice.scenario, choice.terms
    for error in done:
        if isinstance(error, BaseException) and not stopped:
            raise error
    verdict = done[0] if done and not isinstance(done[0], BaseException) else None
    if stopped and not isinstance(verdict, Infeasible):
        verdict = Undecided(live.best, live.bound, "interrupted", interrupted=True)
    verdict = verdict or Undecided(live.best, live.bound)
    if not terms:
        return Outcome(scenario, verdict)
    if isinstance(verdict, Infeasible):
        return Outcome(scenario, verdict, Front(terms, (), {}, ()))
    return Outcome(scenario, _with_best_of(choice, verdict), choice.front())


def _with_best_of(choice: FrontSoFar, verdict: Feasible | Undecided) -> Verdict:
    """A verdict that is not proven may gain by a better machine that the front came upon."""
    terms = choice.scenario.loop.minimise
    found = list(choice.found)
    known = verdict.best if isinstance(verdict, Undecided) else verdict
    best = min([*([known] if known else []), *found], key=lambda f: value(f, terms), default=None)
    if best is None or best is known:
        return verdict
    if isinstance(verdict, Undecided):
        return replace(verdict, best=best)
    assert not verdict.optimal, "a proven machine was beaten"
    return replace(best, optimal=False, lower_bound=verdict.lower_bound)


def _snapshot(live: Live, deadline: float) -> Snapshot:
    best, bound, current = live.best, live.bound, live.current
    scope = ""
    if not bound and current is not None:
        bound = current.named_bound
        scope = f" in system {len(live.results) + 1} of {live.systems}"
    scored = {term: best.score[term] for term in live.terms} if best else {}
    return Snapshot(scored, bound, deadline - time.monotonic(), scope)


def write_outcome(outcome: Outcome, out_dir: Path, force: bool) -> dict[str, str]:
    """Write what there is to write; the names and paths of the files."""
    found = outcome.found
    if found is None:
        if force:
            # A machine from an earlier run must not stand for this verdict.
            (out_dir / "machine.json").unlink(missing_ok=True)
        if force and outcome.front is not None:
            remove_old_front(out_dir)
        return {}

    def write(one: Feasible, directory: Path) -> BuildPlan:
        # The machine first: a plan takes seconds to make, and Ctrl-C must not cost the machine.
        machine_name, *plan_names = OUTPUT_NAMES
        write_new(directory / machine_name, write_machine(one.machine), force)
        try:
            plan = build_plan(one.machine)
            contents = (write_page(plan), write_sheets(plan), press_waveforms(one.machine))
            for name, content in zip(plan_names, contents, strict=True):
                write_new(directory / name, content, force)
        except KeyboardInterrupt:
            if force:  # A plan of an earlier machine must not lie beside this one.
                for name in plan_names:
                    (directory / name).unlink(missing_ok=True)
            raise
        return plan

    write(found, out_dir)
    kinds = ("machine", "page", "plan", "waveforms")
    files = {k: str(out_dir / name) for k, name in zip(kinds, OUTPUT_NAMES, strict=True)}
    if outcome.front is not None:
        files |= write_choice(outcome.scenario, outcome.front, found, out_dir, force, write)
    return files


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
        told = tell_presses(self.presses, swings=self.machine.swings)
        return [*notes, *told, verdict]

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
    simulation = Simulation(machine, machine.cases[0], record=True)
    run_presses(simulation, 1)
    return waveforms(simulation)


def simulate_file(path: Path, *, presses: int | None) -> SimulationReport:
    """Press the button of the machine in a file: `presses` times, by default one full turn."""
    machine = read_machine(path)
    count = presses or len(machine.tape)
    cases = machine.cases
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
    results = prove(machine, machine.cases)
    if machine.loops and not any(result.faults for result in results):
        faults += prove_apart(machine, machine.cases)
    seen: dict[tuple[str, tuple[object, ...]], MachineFault] = {}
    for result in results:
        for fault in result.faults:
            seen.setdefault((fault.code, fault.cells), with_remedy(machine, fault))
    return CheckReport([*faults, *seen.values()])


def cases_of(machine: Machine) -> tuple[Case, ...]:
    """The cases a machine is judged in: all four, unless its rules fix the pickup."""
    fixed = machine.rules.overhead_pickup
    return tuple(c for c in ALL_CASES if fixed is None or c.overhead == fixed)
