"""Faults that change nothing: told without simulating them, as most of a machine's faults are such.

A block too many, or one that is missed, leaves every press as it was if nothing stands on it, no
tape and no head of a ram ever comes to its cell, and no power ever passes through it. Power passes
through a cell only from a wire beside it or from a switch, and a wire minds its neighbours only.
"""

from __future__ import annotations

from functools import cached_property

from models.geometry import FACES, VECTOR, Cell, add, step
from models.machine import Case, Machine
from models.parts import CONDUCTIVE, FULL, RAMS, Part
from models.single_fault import SingleFault
from solver.simulate import Simulation

INERT = frozenset({"block", "cover", "insulator"})
LIMIT = 600
"""Half-ticks to wait for rest."""
LIVE = frozenset({"wire", "inverter", "buffer", "sensor", "button"})
"""What gives power to a block beside it, or minds whether it conducts."""


class Bystanders:
    """Tells faults of one plan, which must work, that cannot make any difference."""

    def __init__(self, plan: Machine) -> None:
        self.plan = plan
        self._part_at = {part.at: part for part in plan.parts}
        self._tape = frozenset(plan.tape)
        self._carries = {mount for part in plan.parts if (mount := _mount(part)) is not None}

    def worlds(self, fault: SingleFault, built: Machine) -> list[Case]:
        """The worlds in which the fault may make a difference: those to simulate."""
        return [case for case in self.plan.cases if not self.unchanged(fault, built, case)]

    def unchanged(self, fault: SingleFault, built: Machine, case: Case) -> bool:
        """Whether the machine as built runs as the plan does in this world, beyond doubt."""
        pair = (fault.planned, fault.built)
        if any(part is not None and part.kind not in INERT for part in pair):
            return False
        cells = {part.at for part in pair if part is not None}
        there = {cell: fault.built if _at(fault.built, cell) else None for cell in cells}
        return all(
            cell not in self._visited and not self._matters(cell, there[cell], built, case)
            for cell in cells
        )

    def _matters(self, cell: Cell, now: Part | None, built: Machine, case: Case) -> bool:
        was = self._part_at.get(cell)
        full, full_now = _full(was, cell, self.plan, case), _full(now, cell, built, case)
        if full != full_now and cell in self._carries:
            return True
        conducts = was.kind in CONDUCTIVE if was else full
        conducts_now = now.kind in CONDUCTIVE if now else full_now
        if conducts == conducts_now:
            return False
        around = (self._part_at.get(step(cell, face)) for face in FACES)
        return any(part is not None and part.kind in LIVE for part in around)

    @cached_property
    def _visited(self) -> set[Cell]:
        """Where tape or a head ever is, or would be missed, in any world."""
        found = set(self._tape)
        for part in self.plan.parts:
            if part.kind in RAMS and part.face:
                found |= {step(part.at, part.face), step(part.at, part.face, 2)}
        for case in self.plan.cases:
            found |= _swept(self.plan, case)
        return found


def _at(part: Part | None, cell: Cell) -> bool:
    return part is not None and part.at == cell


def _mount(part: Part) -> Cell | None:
    if part.kind in ("wire", "buffer"):
        return step(part.at, "-z")
    if part.kind in ("inverter", "button") and part.face is not None:
        return add(part.at, VECTOR[part.face])
    return None


def _full(part: Part | None, cell: Cell, machine: Machine, case: Case) -> bool:
    """Whether things can stand on the cell, which holds this part or none."""
    if part is not None:
        return part.kind in FULL
    return case.ground and cell not in machine.dug_cells and not machine.in_room(cell)


def _swept(plan: Machine, case: Case) -> set[Cell]:
    """Where tape moves, from the first press until a press ends as an earlier one began."""
    simulation = Simulation(plan, case, record=True)
    simulation.run_to_rest(LIMIT)
    states = {simulation.state()}
    for _ in plan.tape:
        if not simulation.buttons:
            break
        simulation.press_all()
        simulation.run_to_rest(LIMIT)
        if simulation.state() in states:
            break
        states.add(simulation.state())
    events = simulation.events or ()
    return {value[0] for _, _, _, value in events if isinstance(value, tuple)}
