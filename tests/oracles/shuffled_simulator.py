"""The naive simulator with rams that start one after another, in an order drawn at random.

Only for circuits without a fault: who goes first decides where two strokes clash.
"""

from __future__ import annotations

from random import Random
from typing import Any

from tests.oracles.naive_simulator import NaiveWorld, Plan


class ShuffledWorld(NaiveWorld):
    """A world in which no two rams start at once."""

    def __init__(
        self, machine: dict[str, Any], *, overhead: bool, ground: bool, rng: Random
    ) -> None:
        self.rng = rng
        super().__init__(machine, overhead=overhead, ground=ground)

    def _start_strokes(self) -> None:
        powered = self._powered_rams()
        started = True
        while started:
            started = False
            order = list(self.rams)
            self.rng.shuffle(order)
            for cell in order:
                plan = self._plans(powered).get(cell)
                if isinstance(plan, Plan):
                    self._start(plan)
                    started = True
