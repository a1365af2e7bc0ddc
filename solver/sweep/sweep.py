"""The whole of a sweep: cases, workers, table, summary."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from models.sweep import RESULTS, Case, Row, Sweep
from solver.sweep.cases import cases_of
from solver.sweep.page import write_summary
from solver.sweep.pools import Cluster, Pool, Processes
from solver.sweep.read import read_sweep
from solver.sweep.run import Say, left_to_do, work_off
from solver.sweep.store import SUMMARY, Store
from solver.sweep.table import columns_of, write_tables


@dataclass(frozen=True)
class Workers:
    """Who works: so many processes here, or the cluster at an address."""

    processes: int | None = None
    cluster: str | None = None

    def start(self) -> Pool:
        """Get them."""
        if self.cluster is not None:
            return Cluster(self.cluster)
        return Processes(self.processes or os.cpu_count() or 1)


@dataclass(frozen=True)
class SweepReport:
    """What there is to tell of a run."""

    cases: int
    rows: Sequence[tuple[Case, Row]]
    """Of the cases that have a result."""
    files: Sequence[Path]
    interrupted: bool

    def counts(self) -> dict[str, int]:
        """How many cases came to what."""
        counted = Counter(row.result for _, row in self.rows)
        return {result: counted[result] for result in RESULTS if counted[result]}

    @property
    def failed(self) -> bool:
        """Whether a worker failed at a case, which is a fault of ours."""
        return "failed" in self.counts()

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        told = ", ".join(f"{result} {count}" for result, count in self.counts().items())
        lines = [f"{len(self.rows)} of {self.cases} cases: {told or 'nothing yet'}"]
        if len(self.rows) < self.cases:
            lines.append("The same call goes on where this one stopped.")
        return lines + [f"wrote {path}" for path in self.files]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "cases": self.cases,
            "results": self.counts(),
            "complete": len(self.rows) == self.cases,
            "files": [str(path) for path in self.files],
        }


def sweep_file(
    path: Path,
    out_dir: Path,
    workers: Workers,
    *,
    budget_s: float,
    seed: int,
    force: bool,
    say: Say,
) -> SweepReport:
    """Solve every case that has no result in the directory yet, then write table and summary."""
    sweep = read_sweep(path)
    cases = cases_of(sweep, budget_s, seed)
    store = Store(out_dir)
    store.begin(sweep.title, cases, force)
    run = left_to_do(cases, store, budget_s, seed, say)
    interrupted = False
    if run.waiting:
        pool = workers.start()
        try:
            work_off(run, pool)
        except KeyboardInterrupt:
            interrupted = True
        finally:
            pool.close()
    return _report(sweep, cases, store, interrupted)


def _report(sweep: Sweep, cases: Sequence[Case], store: Store, interrupted: bool) -> SweepReport:
    rows = [(case, row) for case in cases if (row := store.result(case.name)) is not None]
    files = write_tables(columns_of(sweep, rows, store), store)
    files.append(store.write(SUMMARY, write_summary(sweep, rows)))
    return SweepReport(len(cases), rows, files, interrupted)
