"""The simulator: every rule of the block world at half-tick resolution, event by event.

A machine is compiled once into a circuit (`circuit`, `compile`), then events run through it:

    standing    what is wrong before anything moves
    idle        the state in which a machine waits for its button
    power       who is powered, after each change
    switches    phase 1 of a half-tick: buffers, buttons, sensors, inverters
    strokes     phases 2 and 3: rams start, strokes come to rest
    simulation  the clock that runs these, and what can be done to a machine from outside
    press       presses, full turns, all cases

Its cost follows what changes, not the size of the machine. It shares no code with the search.
"""

from solver.simulate.circuit import Stroke
from solver.simulate.journal import Event
from solver.simulate.press import (
    CaseResult,
    PressReport,
    distinct,
    prove,
    prove_case,
    run_presses,
)
from solver.simulate.simulation import Simulation

__all__ = [
    "CaseResult",
    "Event",
    "PressReport",
    "Simulation",
    "Stroke",
    "distinct",
    "prove",
    "prove_case",
    "run_presses",
]
