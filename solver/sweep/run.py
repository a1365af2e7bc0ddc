"""Hand out cases that have no result yet, keep what comes back, outlive broken workers."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, wait
from dataclasses import dataclass, field

from models.sweep import Case, Job, Row
from solver.sweep.pools import Pool
from solver.sweep.store import Store

Say = Callable[[str], None]
TWICE = "its worker died twice, the second time with no other case at work"


@dataclass
class Run:
    """The state of a sweep under way."""

    store: Store
    say: Say
    total: int = 0
    done: int = 0
    waiting: deque[Job] = field(default_factory=deque)
    suspects: deque[Job] = field(default_factory=deque)
    """Cases that were at work when a pool broke: each is tried again, alone."""
    running: dict[Future[Row], Job] = field(default_factory=dict)

    def keep(self, name: str, row: Row) -> None:
        """A case is done."""
        self.done += 1
        self.store.keep(name, row)
        score = ", ".join(f"{key} {value}" for key, value in row.score.items())
        told = [row.result, *([score] if score else []), *row.errors[:1]]
        self.say(f"{self.done}/{self.total} {name}: {'; '.join(told)} ({row.seconds:.1f} s)")


def left_to_do(cases: Iterable[Case], store: Store, budget_s: float, seed: int, say: Say) -> Run:
    """The cases without a result, the largest first: a long one last would keep others waiting.

    A case whose worker failed counts as having none. One that is wrong before it is even read
    gets its result at once.
    """
    different = {case.name: case for case in cases}
    run = Run(store, say, total=len(different))
    todo = []
    for name, case in different.items():
        known = store.result(name)
        if known is None or known.result == "failed":
            todo.append(case)
    run.done = run.total - len(todo)
    if run.done:
        say(f"{run.done} of {run.total} cases have results already")
    for case in todo:
        if case.errors:
            run.keep(case.name, Row("wrong", errors=case.errors))
    jobs = [
        Job(case.name, case.text, str(store.scenario(case.name)), budget_s, seed)
        for case in todo
        if not case.errors
    ]
    run.waiting.extend(sorted(jobs, key=lambda job: -len(job.text)))
    return run


def work_off(run: Run, pool: Pool) -> None:
    """Until every case has its result."""
    while run.waiting or run.suspects or run.running:
        if run.suspects:
            _try_alone(run, pool, run.suspects.popleft())
            continue
        _hand_out(run, pool)
        finished, _ = wait(run.running, return_when=FIRST_COMPLETED)
        broken = [job for future in finished if (job := _take(run, future)) is not None]
        if broken:
            # The pool is gone as a whole, with all that it was at.
            broken += [job for f in list(run.running) if (job := _take(run, f)) is not None]
            run.suspects.extend(broken)
            pool.renew()


def _hand_out(run: Run, pool: Pool) -> None:
    """As many cases as it is worth; at least one is out when this returns."""
    while run.waiting and len(run.running) < pool.at_once():
        try:
            future = pool.submit(run.waiting[0])
        except BrokenExecutor:
            if run.running:
                return
            pool.renew()
            continue
        run.running[future] = run.waiting.popleft()


def _try_alone(run: Run, pool: Pool, job: Job) -> None:
    """With nothing else at work it shows whether this case is what breaks workers."""
    future = pool.submit(job)
    run.running[future] = job
    if _take(run, future) is not None:
        run.keep(job.name, Row("failed", errors=(TWICE,)))
        pool.renew()


def _take(run: Run, future: Future[Row]) -> Job | None:
    """Keep the result of a case; gives the case back if its pool broke."""
    job = run.running.pop(future)
    try:
        row = future.result()
    except BrokenExecutor:
        return job
    except Exception as error:  # noqa: BLE001  a fault of ours in one case must not end the others
        told = " ".join(f"{type(error).__name__}: {error}".split())
        row = Row("failed", errors=(told,))
    run.keep(job.name, row)
    return None
