"""The walk: scenario -> problem -> search -> machine -> plan -> files."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from models.machine import ALL_CASES, Case, Machine, MachineFault
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from models.scenario import Scenario
from solver.check import check_machine
from solver.files import write_new
from solver.flatten import flatten
from solver.machine_file import read_machine, write_machine
from solver.search import search_system
from solver.simulate import PressReport, Simulation, run_presses
from solver.systems import systems_for

Say = Callable[[str], None]


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
    """Search all systems that the scenario's surfaces have."""
    deadline = time.monotonic() + budget_s
    problem = flatten(scenario)
    (surface,) = scenario.surfaces.values()
    results = [
        search_system(problem, system, deadline, seed, on_progress)
        for system in systems_for(surface.name)
    ]
    return Outcome(scenario, _best_of(results, scenario))


def _best_of(results: list[Verdict], scenario: Scenario) -> Verdict:
    terms = scenario.loop.minimise
    found = [r for r in results if isinstance(r, Feasible)]
    found += [r.best for r in results if isinstance(r, Undecided) and r.best]
    found.sort(key=lambda f: tuple(f.score[t] for t in terms))
    open_ = [r for r in results if isinstance(r, Undecided)]
    if open_:
        return Undecided(
            found[0] if found else None,
            open_[0].lower_bound,
            open_[0].why,
            any(r.interrupted for r in open_),
        )
    if found:
        return found[0]
    reasons = [reason for r in results if isinstance(r, Infeasible) for reason in r.reasons]
    proofs = [r.proof for r in results if isinstance(r, Infeasible)]
    return Infeasible(
        tuple(reasons) or (Reason("no system of designs is known for these surfaces"),),
        "; ".join(proofs),
    )


def write_outcome(outcome: Outcome, out_dir: Path, force: bool) -> dict[str, str]:
    """Write what there is to write; the names and paths of the files."""
    found = outcome.found
    if found is None:
        return {}
    out_dir.mkdir(parents=True, exist_ok=True)
    path = out_dir / "machine.json"
    write_new(path, write_machine(found.machine), force)
    return {"machine": str(path)}


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


def simulate_file(
    path: Path, *, presses: int | None, with_waveforms: bool = False
) -> SimulationReport:
    """Press the button of the machine in a file."""
    machine = read_machine(path)
    count = presses or len(machine.tape)
    reports = {case: run_presses(Simulation(machine, case), count) for case in ALL_CASES}
    return SimulationReport(machine, reports, check_machine(machine))
