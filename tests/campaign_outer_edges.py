"""What tape can do at an outer edge: each way over it, each width of the covered strip, to the end.

    python -m tests.campaign_outer_edges --steps 10

Takes some minutes. Every mechanism is tried in the simulator, with scripted power.
"""

from __future__ import annotations

import argparse
import time

from models.geometry import Cell, Face
from solver.passage import fewest_rams
from tests.outer_edges import moves_on, outer_edge

Way = tuple[str, list[Cell], tuple[Cell, Face], tuple[Cell, Face]]
ON_TOP: dict[str, tuple[list[Cell], tuple[Cell, Face]]] = {
    "straight": ([(-2, 0, 0), (-1, 0, 0)], ((-2, 0, -1), "+x")),
    "along": ([(-1, -1, 0), (-1, 0, 0)], ((-1, -1, -1), "+y")),
    "along, one cell short": ([(-1, -1, 0)], ((-1, -1, -1), "+y")),
}
ON_SIDE: dict[str, tuple[list[Cell], tuple[Cell, Face]]] = {
    "straight": ([(0, 0, -1), (0, 0, -2)], ((-1, 0, -2), "-z")),
    "along": ([(0, 0, -1), (0, 1, -1)], ((-1, 1, -1), "+y")),
    "back": ([(0, 0, -1), (0, -1, -1)], ((-1, -1, -1), "-y")),
}


def ways() -> list[Way]:
    """All ways over the edge that are asked about."""
    found: list[Way] = []
    for name, middle in (("tape on the edge", [(0, 0, 0)]), ("edge covered", [])):
        for before, (top, enters) in ON_TOP.items():
            for after, (side, leaves) in ON_SIDE.items():
                # A row on top and one on the side that run back to back would sink into one line.
                apart = not (before.startswith("along") and after == "back")
                if apart and not (middle and "short" in before):
                    found.append(
                        (f"{name}: {before}, {after}", top + middle + side, enters, leaves)
                    )
    for top, side in ((1, 2), (2, 1), (2, 2), (1, 3), (3, 1), (2, 3), (3, 2), (3, 3)):
        path: list[Cell] = [(-top - 1, 0, 0), (-top, 0, 0), (0, 0, -side), (0, 0, -side - 1)]
        name = (
            f"{top + side - 1} cells covered ({top - 1} on top, {side - 1} on the side): straight"
        )
        found.append((name, path, ((-top - 1, 0, -1), "+x"), ((-1, 0, -side - 1), "-z")))
    return found


def main() -> None:
    """Print a line for each way."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=10)
    parser.add_argument("--deep", type=int, default=4)
    given = parser.parse_args()
    for name, path, enters, leaves in ways():
        began = time.process_time()
        deep = max(given.deep, -min(min(cell) for cell in path))
        passage = outer_edge(path, enters, leaves, deep)
        words = f"none in up to {given.steps} steps"
        for steps in range(2, given.steps + 1):
            found = fewest_rams(passage, steps)
            if found != "no mechanism":
                works = "simulated" if moves_on(passage, found) else "REFUSED BY THE SIMULATOR"
                words = f"{len(found.rams)} rams in {steps} steps, {works}"
                break
        print(f"{name}; box {deep} deep: {words} ({time.process_time() - began:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
