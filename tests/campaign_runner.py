"""What all campaigns share: cases by name, several processes, a log to go on from, a summary.

A case is named, mostly `seed/number`, and depends on nothing else. With `--log FILE` each case
that is done becomes a line of JSON there; the same call again does only what is not there yet.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple, TextIO

SAY_EVERY_S = 30.0


class Result(NamedTuple):
    """What came of one case."""

    case: str
    wrong: tuple[str, ...]
    """What went wrong; nothing if all is well."""
    seen: dict[str, int]
    """What occurred: agreement means something only where something happens."""
    cpu_s: float


Judge = Callable[[Sequence[str]], list[Result]]
Keep = Callable[[str, Result], None]


def one_by_one(
    judge: Callable[[str, Counter[str]], Sequence[str]], names: Sequence[str]
) -> list[Result]:
    """Judge cases that share nothing. `judge` returns what went wrong and counts what it saw."""
    results = []
    for name in names:
        seen: Counter[str] = Counter()
        start = cpu_s()
        wrong = tuple(judge(name, seen))
        results.append(Result(name, wrong, dict(seen), round(cpu_s() - start, 4)))
    return results


def cpu_s() -> float:
    """Processor time of this process and of those that it has started."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def parser(description: str | None, *, count: int) -> argparse.ArgumentParser:
    """The options that every campaign takes."""
    made = argparse.ArgumentParser(
        description=description, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--count", type=int, default=count)
    made.add_argument("--processes", type=int, default=1)
    made.add_argument("--log", type=Path, help="JSON lines of the cases done, to go on from")
    made.add_argument("--keep", type=Path, help="folder for what went wrong")
    return made


def run_rooms(
    description: str | None,
    judge: Callable[..., Sequence[str]],
    *,
    count: int,
    budget_s: float,
    what: str,
) -> int:
    """A campaign over rooms with a budget each and, if asked for, one button for all."""
    made = parser(description, count=count)
    made.add_argument("--budget", type=float, default=budget_s)
    made.add_argument("--one-button", action="store_true")
    options = made.parse_args()
    settings = {"budget_s": options.budget, "one_button": options.one_button}
    return run(partial(one_by_one, partial(judge, **settings)), options, what=what)


def run(
    judge: Judge,
    options: argparse.Namespace,
    *,
    what: str,
    batch: int = 1,
    keep: Keep | None = None,
    names: Sequence[str] = (),
) -> int:
    """Judge all cases that the log does not hold yet; 1 if any case ever went wrong, else 0."""
    names = names or [f"{options.seed}/{number}" for number in range(options.count)]
    done = {name: result for name, result in read_log(options.log).items() if name in set(names)}
    left = [name for name in names if name not in done]
    batches = [left[i : i + batch] for i in range(0, len(left), batch)]
    said = time.monotonic()
    with _appending(options.log) as log:
        for results in _judged(judge, batches, options.processes):
            for result in results:
                done[result.case] = result
                log.write(json.dumps(result._asdict()) + "\n")
                if result.wrong:
                    print(f"{what} {result.case}: {result.wrong[:3]}", flush=True)
                    if options.keep and keep:
                        keep(result.case, result)
            log.flush()
            if time.monotonic() - said > SAY_EVERY_S:
                said = time.monotonic()
                print(f"{len(done)} of {len(names)}", file=sys.stderr, flush=True)
    return _tell(list(done.values()), what)


def _judged(judge: Judge, batches: list[list[str]], processes: int) -> Iterator[list[Result]]:
    if processes <= 1:
        yield from map(judge, batches)
        return
    with multiprocessing.get_context("fork").Pool(processes) as pool:
        yield from pool.imap_unordered(judge, batches)


def _appending(path: Path | None) -> TextIO:
    if path is None:
        return Path(os.devnull).open("a")
    path.parent.mkdir(parents=True, exist_ok=True)
    return path.open("a", encoding="utf-8")


def read_log(path: Path | None) -> dict[str, Result]:
    """What the log holds; a last line that was cut short is done again."""
    found: dict[str, Result] = {}
    if path is None or not path.exists():
        return found
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            entry = json.loads(line)
        except ValueError:
            continue
        found[entry["case"]] = Result(**entry | {"wrong": tuple(entry["wrong"])})
    return found


def _tell(results: Iterable[Result], what: str) -> int:
    seen: Counter[str] = Counter()
    wrong, count, took = 0, 0, 0.0
    for result in results:
        seen.update(result.seen)
        wrong += bool(result.wrong)
        count += 1
        took += result.cpu_s
    for name, times in sorted(seen.items()):
        print(f"{times:8} {name}")
    print(f"{wrong} wrong of {count}: {what}, {took:.0f} s CPU")
    return 1 if wrong else 0
