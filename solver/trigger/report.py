"""Machine file and scenario -> the machine file with a unit before its trigger."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from models.fault import Fault, InputError
from models.trigger import Added, NotAdded
from solver.built import NAMES, write_built
from solver.files import check_out_dir
from solver.machine_file import read_machine
from solver.read_scenario import read_scenario
from solver.trigger.add import Say, What, add_trigger

WARNING: dict[What, str] = {
    "clock": (
        "The clock runs from the moment its ring is closed and never rests: place one of the "
        "ring's wires or buffers last, with nobody on the tape. `ringwright simulate` and `check` "
        "look for rest and for a button, and find neither."
    ),
    "hold-off": (
        "A press counts once, however long it lasts. "
        "The button hangs elsewhere than the scenario says, if it says so."
    ),
}


@dataclass(frozen=True)
class TriggerReport:
    """What was built, and what is proven of it."""

    what: What
    result: Added | NotAdded

    @property
    def ok(self) -> bool:
        """Whether there is a machine."""
        return isinstance(self.result, Added)

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Added(machine=machine, unit=unit, proof=proof, tried=tried, loop=loop):
                button = [str(part.at) for part in machine.parts if part.kind == "button"][loop:]
                where = f"The button is now at {button[0]}." if button else "There is no button."
                return [
                    f"A {self.what} of {unit.cost} parts, and the wires from it. {where}",
                    f"Simulated in every case: {proof.text}.",
                    f"Places tried: {tried}. About its parts: {unit.claim}.",
                    WARNING[self.what],
                ]
            case NotAdded(why=why, tried=tried):
                return [
                    f"No {self.what} was added: {why}.",
                    f"Places tried: {tried}. This proves nothing.",
                    "Mark a cover with ground beside it for the button (@), and solve again.",
                ]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        match self.result:
            case Added(unit=unit, proof=proof, tried=tried):
                return {
                    "added": self.what,
                    "parts": unit.cost,
                    "claim": unit.claim,
                    "proof": proof.text,
                    "ticks": dict(proof.figures),
                    "tried": tried,
                }
            case NotAdded(why=why, tried=tried):
                return {"added": None, "why": why, "tried": tried}

    def write(self, out_dir: Path, force: bool) -> list[Path]:
        """Write the machine and its plan, if there is one."""
        if not isinstance(self.result, Added):
            return []
        return write_built([self.result.machine], out_dir, NAMES, force)


def trigger_file(
    machine_path: Path,
    scenario_path: Path,
    what: What,
    out_dir: Path,
    *,
    budget_s: float,
    force: bool,
    say: Say,
    loop: int | None = None,
) -> TriggerReport:
    """Read both, tell all that is wrong with them, and add the unit.

    `loop` counts from 1 and must be named where there is a choice; the scenario is that loop's.
    """
    machine, scenario = read_machine(machine_path), read_scenario(scenario_path)
    faults = check_out_dir(out_dir, NAMES, force)
    if not 1 <= (loop or 1) <= machine.triggers or (loop is None and machine.triggers > 1):
        what_is = f"this machine has {machine.triggers} loops with a button of their own"
        remedy = "Name the loop with --loop and give that loop's scenario."
        faults.append(Fault(str(machine_path), 0, 0, what_is, str(loop or ""), remedy))
    if faults:
        raise InputError(faults)
    added = add_trigger(machine, scenario, what, budget_s, say, (loop or 1) - 1)
    return TriggerReport(what, added)
