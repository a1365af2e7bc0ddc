"""The idle state: what is on, and which rams are out, before the first press.

Sensors and buttons are off. Inverters, all lit at first, and buffers, all off at first, take what
they read, all together, until nothing changes; if that does not end, one after another in the
order of the parts list. If that does not end either, the idle state oscillates. Rams that are
then powered rest extended, where there is room; no tape is pushed by that.
"""

from __future__ import annotations

from models.geometry import step
from solver.simulate.circuit import Circuit, Logic, Stroke
from solver.simulate.journal import Journal
from solver.simulate.power import Power
from solver.simulate.world import World


def settle(circuit: Circuit, world: World, power: Power, journal: Journal) -> None:
    """Bring a fresh circuit into its idle state."""
    if not _settle_together(circuit, power) and not _settle_in_turn(circuit, power):
        cells = tuple(logic.at for logic in circuit.logic if not logic.follows())
        journal.fault("idle oscillates", cells, "the machine has no idle state")
        _reset(circuit, power)
        _sweep(circuit, power)
    for index, ram in enumerate(circuit.rams):
        if ram.count == 0:
            continue
        head = step(ram.at, ram.face)
        taken = head in world.tape or head in world.part_at or head in world.heads
        if taken or world.is_ground(head):
            text = "a ram that is powered at rest has no room for its head"
            journal.fault("two in one cell", (ram.at, head), text)
        else:
            ram.state = Stroke.OUT
            world.heads[head] = index


def _set(logic: Logic, on: bool, power: Power) -> None:
    logic.on = on
    power.switch(logic.driver, on)


def _reset(circuit: Circuit, power: Power) -> None:
    for logic in circuit.logic:
        _set(logic, logic.inverter, power)
    power.update_wires()


def _settle_together(circuit: Circuit, power: Power) -> bool:
    _reset(circuit, power)
    for _ in range(2 * len(circuit.logic) + 2):
        wrong = [logic for logic in circuit.logic if not logic.follows()]
        if not wrong:
            return True
        for logic in wrong:
            _set(logic, not logic.on, power)
        power.update_wires()
    return False


def _settle_in_turn(circuit: Circuit, power: Power) -> bool:
    _reset(circuit, power)
    return any(not _sweep(circuit, power) for _ in range(2 * len(circuit.logic) + 2))


def _sweep(circuit: Circuit, power: Power) -> bool:
    """Every logic part in turn takes what it reads; tells whether anything changed."""
    changed = False
    for logic in circuit.logic:
        if not logic.follows():
            changed = True
            _set(logic, not logic.on, power)
            power.update_wires()
    return changed
