"""`ringwright faults` and `ringwright margins`, from a machine file to what is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from models.fault import Fault, InputError
from models.machine import Machine
from models.margin import Margins
from models.single_fault import FaultTable, SingleFault
from solver.faults.margins import find_margins
from solver.faults.single import fault_table, is_sound
from solver.faults.words import describe, table_lines
from solver.machine_file import read_machine
from solver.plan.words import margin_lines, margin_table

Say = Callable[[str], None]


@dataclass(frozen=True)
class FaultReport:
    """The table of one machine."""

    table: FaultTable

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        return table_lines(self.table)

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "faults": [
                {
                    **fault_json(j.fault),
                    "outcome": "harmless" if j.stage == "harmless" else "detected",
                    "stage": j.stage,
                    "code": j.code,
                    "text": j.text,
                    "case": str(j.case) if j.case else None,
                    "press": j.press or None,
                }
                for j in self.table.judged
            ]
        }


def faults_file(path: Path, say: Say) -> FaultReport:
    """Every single fault of the machine in a file."""
    return FaultReport(fault_table(sound_machine(path), say))


@dataclass(frozen=True)
class MarginReport:
    """How far the times of one machine may be off."""

    margins: Margins

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        return margin_table(self.margins) + margin_lines(self.margins)

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints; times in half-ticks."""
        return asdict(self.margins) | {
            "margins": [
                {**m.delay._asdict(), "shrink": m.shrink, "grow": m.grow, "limit": m.limit}
                for m in self.margins.margins
            ]
        }


def margins_file(path: Path, limit: int, say: Say) -> MarginReport:
    """The margins of the machine in a file."""
    return MarginReport(find_margins(sound_machine(path), limit=limit, say=say))


def sound_machine(path: Path) -> Machine:
    """The machine in a file, which must be accepted as it is."""
    machine = read_machine(path)
    if is_sound(machine):
        return machine
    remedy = "Give the machine as planned; `ringwright check` says what is wrong with this one."
    raise InputError([Fault(str(path), 0, 0, "this machine does not work as it is", "", remedy)])


def fault_json(fault: SingleFault) -> dict[str, object]:
    """A single fault, for `--json`."""
    planned, built = fault.planned, fault.built
    return {
        "mistake": fault.mistake,
        "at": list(fault.at),
        "kind": planned.kind if planned else None,
        "unit": planned.unit if planned else "",
        "built": None if built is None else {k: v for k, v in built._asdict().items() if v},
        "words": describe(fault),
    }
