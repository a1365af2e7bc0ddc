"""Scenario file -> the files of a machine with a button for each way."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import partial
from html import escape
from pathlib import Path

from models.counter import Countered, NoCounter, TwoWays
from models.fault import InputError
from solver.built import NAMES as OF_ONE
from solver.built import write_built
from solver.counter.counter import Say, counter_machine
from solver.files import check_out_dir
from solver.plan.plan import build_plan
from solver.read_scenario import read_scenario
from solver.sheets.chapter import Chapter

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
                at = [part.at for part in forth.parts if part.kind == "button"]
                which = (
                    f"The button at {at[0]} moves it forth, the one at {at[1]} back."
                    if len(at) > 1
                    else f"The button at {at[0]} moves it forth, and with the next press back."
                )
                return [
                    f"A loop of {len(forth.tape)} cells, {found.parts} parts. {which}",
                    f"Simulated in every case: {proof.text}.",
                    f"At rest {proof.rest_half_ticks / 2:g} ticks after a press. Never press "
                    f"sooner than {proof.interval_half_ticks / 2:g} ticks after the last press of "
                    "any button.",
                    "No claim is made of fewest parts."
                    + (
                        " back.json is the same machine seen from the other button."
                        if found.back
                        else ""
                    ),
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
        forth, back = self.result.forth, self.result.back
        if back is None:
            proof = self.result.proof
            plan_of = partial(build_plan, interval_half_ticks=proof.interval_half_ticks)
            return write_built((forth,), out_dir, OF_ONE, force, plan_of, [_chapter(proof)])
        return write_built((forth, back), out_dir, NAMES, force)


def _chapter(proof: TwoWays) -> Chapter:
    """What the builder must know of it that no other machine has."""
    lines = (
        "The first press moves the tape forth by one cell, the next one back, and so on: two",
        "inverters of the trigger remember which is next. What the times and waveforms above show",
        "is a press forth. Before the first press these inverters must have come to rest as the",
        "plan shows them; which of the two is lit then decides which way comes first.",
        f"Never press sooner than {proof.interval_half_ticks / 2:g} ticks after the last press; at "
        f"rest after {proof.rest_half_ticks / 2:g}.",
    )
    html = f"<p>{escape(' '.join(lines))}</p>"
    return Chapter("there-and-back", "There and back", lines, html)


def counter_file(
    path: Path,
    out_dir: Path,
    *,
    budget_s: float,
    seed: int,
    force: bool,
    say: Say,
    one_button: bool = False,
) -> CounterReport:
    """Read a scenario, tell all that is wrong with it, and search."""
    scenario = read_scenario(path)
    faults = check_out_dir(out_dir, NAMES, force)
    if faults:
        raise InputError(faults)
    deadline = time.monotonic() + budget_s
    return CounterReport(counter_machine(scenario, deadline, seed, say, one_button=one_button))
