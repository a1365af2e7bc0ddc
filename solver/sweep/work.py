"""One case -> one row. This runs in a worker."""

from __future__ import annotations

import os
import platform
import time
from dataclasses import replace
from pathlib import Path

from models.fault import InputError
from models.outcome import Feasible, Infeasible, Undecided
from models.sweep import Job, Row
from solver.machine_file import write_machine
from solver.pipeline import Outcome, solve_scenario
from solver.read_scenario import parse_scenario


def solve_job(job: Job) -> Row:
    """Read and solve a scenario. A wrong one gives a row too; only a fault of ours raises."""
    wall, processor = time.perf_counter(), time.process_time()
    try:
        scenario = parse_scenario(job.text, Path(job.path))
    except InputError as error:
        return Row("wrong", errors=tuple(map(str, error.faults)), worker=_name())
    outcome = solve_scenario(scenario, budget_s=job.budget_s, seed=job.seed)
    return _row(outcome, time.perf_counter() - wall, time.process_time() - processor)


def _row(outcome: Outcome, seconds: float, cpu_seconds: float) -> Row:
    found = outcome.found
    row = Row(
        "undecided",
        score=dict(found.score) if found else {},
        system=found.system if found else "",
        seconds=round(seconds, 3),
        cpu_seconds=round(cpu_seconds, 3),
        worker=_name(),
        machine=write_machine(found.machine) if found else None,
    )
    match outcome.result:
        case Feasible(optimal=optimal, lower_bound=bound):
            return replace(row, result="feasible", optimal=optimal, lower_bound=dict(bound))
        case Infeasible(reasons=reasons):
            told = tuple(f"{r.place}: {r.text}" if r.place else r.text for r in reasons)
            return replace(row, result="infeasible", reasons=told)
        case Undecided(lower_bound=bound, why=why):
            return replace(row, lower_bound=dict(bound), reasons=(why,))


def _name() -> str:
    return f"{platform.node()}:{os.getpid()}"
