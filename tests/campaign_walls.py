"""Random walls through the whole walk; machines judged by code that shares nothing with the search.

python -m tests.campaign_walls --seed 1 --count 200 [--wide 20 --high 13] [--budget 30]
    [--processes 2] [--log FILE] [--keep DIR]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from functools import partial
from random import Random

from models.outcome import Feasible, Infeasible, Undecided
from tests.campaign_runner import Result, one_by_one, parser, run
from tests.oracles.naive_wall import NaiveWall
from tests.rooms import machine_faults, solve_text
from tests.wall_rooms import WallRoom, random_wall_room

MOST_DRAWN = 30
"""Cells of a wall of which every free loop is drawn."""


def has_loop(room: WallRoom) -> bool:
    """Whether the rules alone leave a loop, by drawing them all."""
    naive = NaiveWall(room.rows, room.depth, room.margin, clockwise=room.direction == "clockwise")
    return naive.has_loop(exact=room.shape == "exact")


def judge_wall(room: WallRoom, budget_s: float, seen: Counter[str]) -> list[str]:
    """Solve one room; what is wrong with the result."""
    outcome = solve_text(room.text(), budget_s)
    seen[f"{room.shape} {outcome.verdict}"] += 1
    match outcome.result:
        case Infeasible(reasons=reasons, proof=proof):
            if room.shape == "free" and sum(map(len, room.rows)) > MOST_DRAWN:
                return [] if reasons and proof else ["no reason, no proof"]
            seen["infeasible, held against all loops"] += 1
            return ["impossible, and yet the rules leave a loop"] if has_loop(room) else []
        case Undecided(why=why, best=None):
            seen[f"undecided: {why}"] += 1
        case Feasible(optimal=optimal):
            seen["optimal"] += optimal
        case _:
            pass
    if outcome.found is None:
        return []
    seen["machines"] += 1
    return machine_faults(outcome.found.machine, outcome.scenario)


def judge(name: str, seen: Counter[str], wide: int, high: int, budget_s: float) -> list[str]:
    """The room of a name."""
    return judge_wall(random_wall_room(Random(name), wide, high), budget_s, seen)


def main() -> int:
    options = _parser().parse_args()
    size = {"wide": options.wide, "high": options.high}

    def keep(name: str, result: Result) -> None:
        room = random_wall_room(Random(name), **size)
        path = options.keep / f"wall-{name.replace('/', '-')}.toml"
        path.write_text(room.text(result.wrong[0]))

    judged = partial(one_by_one, partial(judge, budget_s=options.budget, **size))
    return run(judged, options, what="walls", keep=keep)


def _parser() -> argparse.ArgumentParser:
    made = parser(__doc__, count=200)
    made.add_argument("--wide", type=int, default=20)
    made.add_argument("--high", type=int, default=13)
    made.add_argument("--budget", type=float, default=30)
    return made


if __name__ == "__main__":
    sys.exit(main())
