"""How the time of the whole walk grows with the room, beside two textbook models, in one run.

    python -m tests.bench_large [--sides 16 32 64] [--rooms 2] [--limit 300] [--svg FILE]

Square floors, 10 % of the cells blocked, five wishes, free shape, fewest parts.
Ours is the walk from the scenario to the files; its objective is held against the bound that it
reports. The baselines get the bare route problem of the same room, without drives that meet and
without trigger lines: CP-SAT with `add_circuit`, all in one model, and faces in a SAT solver with
lazy cuts (corners only). Nothing is asserted. All times are processor times of this process and its
threads, so that other work on the computer counts less.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from models.route import RouteProblem
from models.scenario import Scenario
from solver.pipeline import solve_scenario, write_outcome
from solver.read_scenario import parse_scenario
from tests.bench_route import circuit, face_sat, room

Run = Callable[[int, int, float], tuple[float, str]]
"""Side, number of the room, limit in seconds -> processor seconds, what came of it."""
Point = tuple[int, float, bool]
"""Side, processor seconds, whether every answer is proven."""
BLOCKED = 0.1
WISHES = 5
WIDTH, HEIGHT, LEFT, TOP = 720, 420, 70, 40
COLOURS = {"ours": "#0072b2", "circuit": "#d55e00", "face SAT": "#009e73"}


def hall(side: int, number: int) -> Scenario:
    """A random floor; the same number gives the same room."""
    rng = random.Random(f"{side}/{number}")
    spots = [(r, c) for r in range(side) for c in range(side)]
    marks = {spot: "#" if rng.random() < BLOCKED else "." for spot in spots}
    free = [spot for spot in spots if marks[spot] == "."]
    marks.update(dict.fromkeys(rng.sample(free, WISHES), "o"))
    drawn = "\n".join("".join(marks[r, c] for c in range(side)) for r in range(side))
    text = (
        f'title = "Hall {side}/{number}"\n[room]\nsize = [{side}, {side}, 4]\n[surfaces.floor]\n'
        f'depth = 6\nmargin = 4\nmap = """\n{drawn}\n"""\n[loop]\ndirection = "clockwise"\n'
        'shape = "free"\nminimise = ["parts"]\n'
    )
    return parse_scenario(text, Path(f"hall-{side}-{number}.toml"))


def ours(side: int, number: int, limit_s: float) -> tuple[float, str]:
    """Processor seconds of the whole walk, and what came of it."""
    begun = time.process_time()
    outcome = solve_scenario(hall(side, number), budget_s=limit_s)
    with tempfile.TemporaryDirectory() as folder:
        write_outcome(outcome, Path(folder), force=True)
    spent = time.process_time() - begun
    told = outcome.as_json({})
    found, bound = told["objective"], told["lower_bound"]
    assert isinstance(found, dict)
    assert isinstance(bound, dict)
    if not found:
        return spent, outcome.verdict
    if "parts" not in bound:
        return spent, f"{outcome.verdict}, {found['parts']} parts, no bound"
    gap = 100 * (1 - bound["parts"] / found["parts"])
    return spent, f"{outcome.verdict}, {found['parts']} parts, gap {gap:.1f} %"


def baseline(solver: Callable[[RouteProblem, float], int | None], term: str) -> Run:
    """Runs a textbook model on a room of the same kind."""

    def run(side: int, number: int, limit_s: float) -> tuple[float, str]:
        problem = room(side, term, number)
        begun = time.process_time()
        value = solver(problem, limit_s)
        return time.process_time() - begun, "not proven" if value is None else f"{value}, proven"

    return run


def plot(points: dict[str, list[Point]], limit_s: float) -> str:
    """Processor time against the room's side, both axes logarithmic, as SVG.

    A ring is a run that was stopped: its answer may be good, but is not proven.
    """
    from math import log

    sides = sorted({side for line in points.values() for side, _, _ in line})
    times = [t for line in points.values() for _, t, _ in line]
    low, high = min(1.0, *times), max(limit_s, *times)

    def at(side: float, seconds: float) -> tuple[float, float]:
        span = log(sides[-1] / sides[0]) or 1.0
        x = LEFT + (WIDTH - LEFT - 130) * log(side / sides[0]) / span
        y = HEIGHT - TOP - (HEIGHT - 2 * TOP) * log(seconds / low) / log(high / low)
        return round(x, 1), round(y, 1)

    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        'font-family="sans-serif" font-size="13">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
        f'<text x="{LEFT}" y="22">Processor seconds against the side of the floor in cells '
        "(rings: stopped)</text>",
    ]
    for side in sides:
        x, y = at(side, low)
        drawn.append(f'<text x="{x}" y="{y + 20}" text-anchor="middle">{side}</text>')
    for seconds in (1, 10, 100, 1000):
        if low <= seconds <= high:
            x, y = at(sides[0], seconds)
            drawn.append(f'<text x="{LEFT - 12}" y="{y + 4}" text-anchor="end">{seconds} s</text>')
            drawn.append(f'<path d="M{LEFT} {y}H{WIDTH - 130}" stroke="#ccc"/>')
    named: list[float] = []
    for name, line in points.items():
        spots = [at(side, max(t, low)) for side, t, _ in line]
        path = "M" + "L".join(f"{x} {y}" for x, y in spots)
        colour = COLOURS[name]
        drawn.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2.5"/>')
        for (x, y), (_, _, proven) in zip(spots, line, strict=True):
            fill = colour if proven else "#fff"
            drawn.append(
                f'<circle cx="{x}" cy="{y}" r="4" fill="{fill}" stroke="{colour}" '
                'stroke-width="2"/>'
            )
        x, y = spots[-1]
        # Names of lines that end together are set apart.
        while any(abs(y - other) < 14 for other in named):
            y += 14
        named.append(y)
        drawn.append(f'<text x="{x + 10}" y="{y + 4}" fill="{colour}">{name}</text>')
    return "\n".join([*drawn, "</svg>", ""])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sides", type=int, nargs="+", default=[16, 32, 48, 64, 96, 128])
    parser.add_argument("--rooms", type=int, default=2)
    parser.add_argument("--limit", type=float, default=300.0)
    parser.add_argument("--svg", type=Path)
    args = parser.parse_args()
    runs = {
        "ours": ours,
        "circuit": baseline(circuit, "parts"),
        "face SAT": baseline(face_sat, "corners"),
    }
    points: dict[str, list[Point]] = {name: [] for name in runs}
    for side in args.sides:
        for name, run in runs.items():
            spent, proven = [], True
            for number in range(args.rooms):
                seconds, what = run(side, number, args.limit)
                spent.append(seconds)
                proven &= not what.startswith(("not proven", "undecided"))
                print(f"{side:>4} {name:>9} room {number}: {seconds:7.1f} s, {what}", flush=True)
            points[name].append((side, sum(spent) / len(spent), proven))
        base = points["ours"][-1][1]
        ratios = [f"{name} {points[name][-1][1] / base:.1f}x" for name in runs if name != "ours"]
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{side:>4} ratios to ours: {', '.join(ratios)}; memory {memory:.0f} MB", flush=True)
    if args.svg:
        args.svg.write_text(plot(points, args.limit), encoding="utf-8")


if __name__ == "__main__":
    main()
