"""How well a sweep uses several processes: python -m tests.bench_sweep [WORKERS] [COPIES]

The same cases are solved by one process and by several. On a computer with other work to do wall
clocks say little, so two factors are measured whose product is the speed-up a worker:

    busy      the share of the workers' time in which they are at a case
    as cheap  processor time of all cases with one worker, by that with several
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from solver.sweep.sweep import SweepReport, Workers, sweep_file

ROOM = Path(__file__).parent.parent / "scenarios" / "long-gallery.toml"


def measure(folder: Path, workers: int) -> tuple[float, SweepReport]:
    """Wall time and results."""
    start = time.perf_counter()
    report = sweep_file(
        folder / "sweep.toml", folder / f"run-{workers}", Workers(workers),
        budget_s=300, seed=0, force=False, say=lambda line: None,
    )  # fmt: skip
    return time.perf_counter() - start, report


def main() -> None:
    """Print both runs and the factors."""
    workers = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    copies = int(sys.argv[2]) if len(sys.argv) > 2 else 24
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        margins = list(range(2, 2 + copies))
        (folder / "sweep.toml").write_text(
            f'rooms = ["{ROOM}"]\n[vary]\n"surfaces.floor.margin" = {margins}\n'
        )
        spent = {}
        for count in (1, workers):
            wall, report = measure(folder, count)
            rows = [row for _, row in report.rows]
            spent[count] = sum(row.cpu_seconds for row in rows)
            busy = sum(row.seconds for row in rows) / (count * wall)
            print(
                f"{count} workers: {len(rows)} cases, wall {wall:.1f} s, "
                f"processor {spent[count]:.1f} s, busy {busy:.3f}"
            )
        cheap = spent[1] / spent[workers]
        print(f"as cheap {cheap:.3f}; speed-up {workers * busy * cheap:.2f} of {workers}")


if __name__ == "__main__":
    main()
