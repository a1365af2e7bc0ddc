"""How fast the simulator is. Prints ratios and asserts nothing: python -m tests.bench_simulator"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from models.machine import Case
from solver.simulate import Simulation, run_presses
from tests.circuits import machine_of
from tests.oracles.naive_simulator import NaiveWorld
from tests.oracles.ring_builder import Booster, Spot, build_ring, polygon, rectangle

CASE = Case(overhead=True, ground=True)
BOOSTERS: list[Booster] = [((12, 3), "+y", 1), ((3, 12), "+x", 1)]
PRESSES = 20


def timed(action: Callable[[], object], repeats: int = 3) -> float:
    """Processor seconds of the fastest of a few runs."""
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        action()
        best = min(best, time.process_time() - start)
    return best


def comb(teeth: int) -> list[Spot]:
    """A long loop without long edges: two rows of steps, and edges of at most 13 cells."""
    pitch, height = 12, 12
    corners: list[Spot] = [(0, 0)]
    for k in range(teeth):
        x = 2 * pitch * k
        corners += [(x + pitch, 0), (x + pitch, height), (x + 2 * pitch, height)]
        corners += [(x + 2 * pitch, 0)] if k + 1 < teeth else []
    end = 2 * pitch * teeth
    corners += [(end, 2 * height)]
    for k in reversed(range(teeth)):
        x = 2 * pitch * k
        corners += [(x + pitch, 2 * height), (x + pitch, 3 * height), (x, 3 * height)]
        corners += [(x, 2 * height)] if k else []
    corners += [(0, 2 * height), (-pitch, 2 * height), (-pitch, height), (0, height)]
    return polygon(corners)


def scripted(machine: dict[str, Any]) -> Callable[[], object]:
    """Presses of a machine without a trigger: every column's wire pulsed at once."""
    simulation = Simulation(machine_of(machine), CASE)

    def presses() -> None:
        for _ in range(PRESSES):
            for wire in simulation.wires:
                if wire.at[2] == -5:
                    simulation.pulse_wire(wire.at, 1, 2)
                    simulation.pulse_wire(wire.at, 21, 2)
            simulation.run_to_rest()
        if simulation.faults:
            print(f"this machine does not work: {simulation.faults[0]}")

    return presses


def twin_press(entry: dict[str, Any]) -> Callable[[], object]:
    """One press of the naive simulator."""
    world = NaiveWorld(entry, overhead=CASE.overhead, ground=CASE.ground)

    def press() -> None:
        world.press()
        while not world.resting():
            world.step()

    return press


def main() -> None:
    """The two tables."""
    entry = build_ring(rectangle(13, 13), trigger=(1, 1), boosters=BOOSTERS)
    machine = machine_of(entry)
    build = timed(lambda: Simulation(machine, CASE))
    simulation = Simulation(machine, CASE)
    fast = timed(lambda: run_presses(simulation, PRESSES, stop_at_fault=False)) / PRESSES
    naive = timed(twin_press(entry), 1)
    print(f"13x13 ring: {1000 * fast:.2f} ms a press, {1000 * build:.1f} ms to compile")
    print(f"            naive twin {1000 * naive:.0f} ms a press: ratio {naive / fast:.0f}")
    print("cells  ms a press  us a press and cell  relative to the first")
    first = 0.0
    for spots in (rectangle(4, 4), rectangle(13, 13), comb(1), comb(2), comb(3), comb(4)):
        cost = timed(scripted(build_ring(spots, no_trigger=True))) / PRESSES
        each = cost / len(spots)
        first = first or each
        print(f"{len(spots):5}  {1000 * cost:10.2f}  {1e6 * each:19.1f}  {each / first:.2f}")


if __name__ == "__main__":
    main()
