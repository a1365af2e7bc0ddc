"""How long a reason takes beside the bare verdict: `python -m tests.bench_reasons [SIDE ...]`.

Processor time of this process, so that a busy machine does not count. Two numbers: alone, and
with the start of the program counted on both sides, as a builder meets it.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path
from statistics import median

from models.outcome import Infeasible
from solver.explain.direct import search_alone
from solver.explain.explain import explain
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from solver.read_scenario import parse_scenario

STARTED_S = time.process_time()


def room_text(side: int, kind: str, rng: random.Random) -> str:
    """An impossible room: one door, a long edge, a dead end, a tight limit to the length."""
    grid = [["."] * side for _ in range(side)]
    shape, limit = "free", ""
    far = side - 3
    if kind == "door":
        for y in range(side):
            if y != side // 2:
                grid[y][side // 2] = "#"
        grid[side // 2][2] = grid[side // 2][far] = "o"
    elif kind == "edge":
        shape = "exact"
        for i in range(2, far + 1):
            grid[2][i] = grid[far][i] = grid[i][2] = grid[i][far] = "o"
    elif kind == "dead end":
        x, y = rng.randrange(3, far), rng.randrange(3, far)
        grid[y][x] = "o"
        for dx, dy in ((1, 0), (-1, 0), (0, 1)):
            grid[y + dy][x + dx] = "#"
    else:
        grid[2][2] = grid[far][far] = "o"
        limit = f"length = {{ max = {4 * (far - 2) - 2} }}\n"
    rows = "\n".join("".join(row) for row in grid)
    return (
        f'[room]\nsize = [{side}, {side}, 4]\n[surfaces.floor]\ndepth = 6\nmargin = 3\nmap = """\n'
        f'{rows}\n"""\n[loop]\ndirection = "clockwise"\nshape = "{shape}"\n{limit}'
    )


def measure(side: int, kind: str) -> tuple[float, float, bool]:
    """Seconds for the verdict, for the reason, and whether the reason is minimal."""
    text = room_text(side, kind, random.Random(side))
    scenario = parse_scenario(text, Path("room.toml"))
    deadline = time.monotonic() + 300
    start = time.process_time()
    results = [search_alone(verdict_only(scenario), s, deadline) for s in systems_of(scenario)]
    bare = time.process_time() - start
    assert all(isinstance(r, Infeasible) for r in results), (side, kind, results)
    verdict = explain(scenario, results[0], deadline)
    return bare, time.process_time() - start - bare, getattr(verdict, "minimal", False)


def main(sides: list[int]) -> None:
    """A table."""
    ratios = []
    print(f"start of the program: {STARTED_S:.2f} s")
    print("side  kind       verdict   reason  alone  with start  minimal")
    for side in sides:
        for kind in ("door", "edge", "dead end", "length"):
            if kind == "edge" and side < 18:
                continue
            bare, reason, minimal = measure(side, kind)
            whole = (STARTED_S + bare + reason) / (STARTED_S + bare)
            ratios.append(whole)
            print(
                f"{side:4}  {kind:9} {bare:8.2f} {reason:8.2f} {reason / max(bare, 0.01):6.1f} "
                f"{whole:11.1f}  {minimal}",
                flush=True,
            )
    print(f"median with start {median(ratios):.1f}, worst {max(ratios):.1f}")


if __name__ == "__main__":
    main([int(a) for a in sys.argv[1:]] or [8, 12, 16, 20, 24])
