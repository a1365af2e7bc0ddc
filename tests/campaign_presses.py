"""Presses at awkward moments on every shipped machine, in all its worlds.

python -m tests.campaign_presses [NAME ...] [--machines out/machines] [--log FILE]

The plan states from which interval on presses are safe. Many presses at random such intervals must
be right; half a tick less must go wrong, or find the tape not flush. A button that is held longer
must do what a short press does, and pressing it again while it is pressed must do nothing.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from random import Random

from models.machine import Case, Machine
from solver.plan.watch import timing
from solver.simulate import Simulation
from tests.campaign_runner import one_by_one, parser, run
from tests.shipped import SCENARIOS, shipped_machine

PRESSES = 8
HELD_TIMES_LONGER = (2, 3, 7, 30)


def pressed(
    machine: Machine, case: Case, gaps: tuple[int, ...], length: int | None = None
) -> Simulation:
    """The machine after a press, and another one after each gap, at rest again if it ever is."""
    simulation = Simulation(machine, case)
    assert simulation.run_to_rest()
    simulation.press(length)
    for gap in gaps:
        for _ in range(gap):
            simulation.step()
        simulation.press(length)
    simulation.run_to_rest()
    return simulation


def is_right(simulation: Simulation, presses: int) -> bool:
    """At rest, without a fault, every block so many cells on."""
    wrong = simulation.faults or simulation.misplaced(presses)
    return simulation.at_rest() and not wrong


def press_faults(machine: Machine, rng: Random) -> Iterator[str]:
    """What a machine or its plan gets wrong."""
    times = timing(machine)
    if times is None or times.interval_half_ticks is None:
        yield "no safe interval is stated"
        return
    safe, rest = times.interval_half_ticks, times.rest_half_ticks
    for case in machine.cases:
        for gaps in (
            (safe,) * PRESSES,
            tuple(rng.randint(safe, rest + 4) for _ in range(PRESSES)),
            tuple(rng.choice((safe, safe + 1)) for _ in range(PRESSES)),
        ):
            if not is_right(pressed(machine, case, gaps), 1 + PRESSES):
                yield f"{case}: wrong at intervals {gaps}, {safe} is stated as safe"
        yield from _held(machine, case)
        yield from _pressed_while_pressed(machine, case)
    if all(_works_at(machine, case, safe - 1) for case in machine.cases):
        yield f"{safe - 1} half-ticks are as good as {safe}"


def _works_at(machine: Machine, case: Case, gap: int) -> bool:
    """Whether the tape is flush at the second press, and both presses go right."""
    simulation = Simulation(machine, case)
    simulation.run_to_rest()
    simulation.press()
    for _ in range(gap):
        simulation.step()
    return not simulation.misplaced(1) and is_right(pressed(machine, case, (gap,)), 2)


def _held(machine: Machine, case: Case) -> Iterator[str]:
    usual = Simulation(machine, case).buttons[0].length
    for times in HELD_TIMES_LONGER:
        if not is_right(pressed(machine, case, (), usual * times), 1):
            yield f"{case}: wrong if the button is held {times} times as long"


def _pressed_while_pressed(machine: Machine, case: Case) -> Iterator[str]:
    once = pressed(machine, case, ())
    usual = once.buttons[0].length
    for gap in sorted({1, 2, 3, usual // 2, usual - 1, usual}):
        again = pressed(machine, case, (gap,))
        if again.state() != once.state() or not is_right(again, 1):
            yield f"{case}: a press {gap} half-ticks after the first one is not ignored"
    often = pressed(machine, case, (2,) * (usual // 2))
    if not is_right(often, 1):
        yield f"{case}: presses one tick apart while the button is pressed are not ignored"


def judge(name: str, seen: Counter[str], folder: Path) -> list[str]:
    """One shipped machine."""
    machine = shipped_machine(name, folder)
    times = timing(machine)
    seen[f"{name}: {times.interval_half_ticks if times else None} half-ticks are safe"] += 1
    return list(press_faults(machine, Random(name)))


def main() -> int:
    made = parser(__doc__, count=0)
    made.add_argument("names", nargs="*", help="shipped scenarios; all by default")
    made.add_argument("--machines", type=Path, default=Path("out/machines"))
    options = made.parse_args()
    judged = partial(one_by_one, partial(judge, folder=options.machines))
    return run(judged, options, what="machines pressed", names=options.names or list(SCENARIOS))


if __name__ == "__main__":
    sys.exit(main())
