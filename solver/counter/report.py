"""Scenario file -> the files of a machine with a button for each way."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from models.counter import Countered, NoCounter
from models.fault import InputError
from solver.built import NAMES as OF_ONE
from solver.built import write_built
from solver.counter.counter import Say, counter_machine
from solver.files import check_out_dir
from solver.read_scenario import read_scenario

NAMES = (*OF_ONE, "back.json", "back.html", "back.txt")


@dataclass(frozen=True)
class CounterReport:
    """What was built, and what is proven of it."""

    result: Countered | NoCounter

    @property
    def ok(self) -> bool:
        """Whether there is a machine."""
        return isinstance(self.result, Countered)

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Countered(forth=forth, proof=proof) as found:
                forth_at, back_at = [part.at for part in forth.parts if part.kind == "button"]
                return [
                    f"A loop of {len(forth.tape)} cells, {found.parts} parts. The button at "
                    f"{forth_at} moves it forth, the one at {back_at} back.",
                    f"Simulated in every case: {proof.text}.",
                    f"At rest {proof.rest_half_ticks / 2:g} ticks after a press. Never press "
                    f"sooner than {proof.interval_half_ticks / 2:g} ticks after the last press of "
                    "either button.",
                    "No claim is made of fewest parts. back.json is the same machine seen from "
                    "the other button.",
                    "Caution: while the tape is sunk its surface is open. Keep everyone off until "
                    "it is flush again; local codes and licensed practice come first.",
                ]
            case NoCounter(why=why, remedy=remedy, tried=tried, proven=proven):
                return [
                    f"No machine that runs both ways was found: {why}.",
                    "That is proven for two drives a corner; of other ways it proves nothing."
                    if proven
                    else f"Layouts tried: {tried}. This proves nothing.",
                    remedy,
                ]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        match self.result:
            case Countered(forth=forth, proof=proof, tried=tried) as found:
                return {
                    "verdict": "feasible",
                    "parts": found.parts,
                    "length": len(forth.tape),
                    "buttons": [p.at for p in forth.parts if p.kind == "button"],
                    "proof": proof.text,
                    "rest": proof.rest_half_ticks / 2,
                    "interval": proof.interval_half_ticks / 2,
                    "tried": tried,
                }
            case NoCounter(why=why, remedy=remedy, tried=tried):
                return {"verdict": "undecided", "why": why, "remedy": remedy, "tried": tried}

    def write(self, out_dir: Path, force: bool) -> list[Path]:
        """Write the machine and its plans, seen from either button, if there is one."""
        if not isinstance(self.result, Countered):
            return []
        return write_built((self.result.forth, self.result.back), out_dir, NAMES, force)


def counter_file(
    path: Path, out_dir: Path, *, budget_s: float, seed: int, force: bool, say: Say
) -> CounterReport:
    """Read a scenario, tell all that is wrong with it, and search."""
    scenario = read_scenario(path)
    faults = check_out_dir(out_dir, NAMES, force)
    if faults:
        raise InputError(faults)
    return CounterReport(counter_machine(scenario, time.monotonic() + budget_s, seed, say))
