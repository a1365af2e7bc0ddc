"""Those who work on cases: processes of this computer, or the workers of a Dask cluster.

Both are reached through `concurrent.futures.Executor`.
"""

from __future__ import annotations

import multiprocessing
import signal
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import astuple
from typing import Any, Protocol

from models.fault import Fault, InputError
from models.sweep import Job, Row
from solver.sweep.remote import solve_plain
from solver.sweep.work import solve_job

CONNECT_S = 15
AHEAD = 2
"""Cases handed out for each process or thread, so that none waits while a result is written."""


class Pool(Protocol):
    """Some workers."""

    def submit(self, job: Job) -> Future[Row]:
        """Hand a case out."""

    def at_once(self) -> int:
        """How many cases it is worth handing out."""

    def renew(self) -> None:
        """Get new workers after the old ones broke down together."""

    def close(self) -> None:
        """Stop, whatever the workers are at."""


class Processes:
    """Processes of this computer, one case each."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._others = set(multiprocessing.active_children())
        """Processes that are not ours to end."""
        self._executor = self._start()

    def _start(self) -> Executor:
        # A fresh interpreter each: a fork would copy locks that threads of ours hold.
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(self._workers, context, initializer=_leave_interrupts)

    def submit(self, job: Job) -> Future[Row]:
        """Hand a case out."""
        return self._executor.submit(solve_job, job)

    def at_once(self) -> int:
        """Some more than there are processes."""
        return AHEAD * self._workers

    def renew(self) -> None:
        """Start new processes in place of the broken pool."""
        self._executor.shutdown(wait=False, cancel_futures=True)
        self._executor = self._start()

    def close(self) -> None:
        """End the processes; a search under way would go on for as long as its budget."""
        self._executor.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - self._others:
            process.terminate()


def _leave_interrupts() -> None:
    """Ctrl-C reaches all processes of a terminal; only the first of them shall act on it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


class Cluster:
    """The workers of a Dask cluster. It hands a case on by itself when it loses a worker."""

    def __init__(self, address: str) -> None:
        self._client: Any = _connect(address)
        self._executor: Executor = self._client.get_executor(pure=False)

    def submit(self, job: Job) -> Future[Row]:
        """Hand a case out."""
        return self._executor.submit(solve_plain, *astuple(job))

    def at_once(self) -> int:
        """Some more than there are threads at the moment."""
        threads: dict[str, int] = self._client.nthreads()
        return max(1, AHEAD * sum(threads.values()))

    def renew(self) -> None:
        """The cluster does that itself."""

    def close(self) -> None:
        """Take back what is not done, and let go of the cluster; it goes on without us."""
        with suppress(OSError, TimeoutError):
            self._executor.shutdown(wait=False)
            self._client.close()


def _connect(address: str) -> Any:  # noqa: ANN401  its library has no types
    try:
        from distributed import Client
    except ImportError:
        what, remedy = "Dask is not installed", "Install ringwright[cluster]."
        raise InputError([Fault("--cluster", 0, 0, what, address, remedy)]) from None
    try:
        return Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        what = f"no scheduler of a Dask cluster answers: {error}"
        remedy = "Start one with `dask scheduler` and name its address."
        raise InputError([Fault("--cluster", 0, 0, what, address, remedy)]) from None
