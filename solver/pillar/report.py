"""Pillar file -> the files of a machine with a belt round it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from models.fault import InputError
from models.pillar import Belted, NoBelt
from models.plan import BuildPlan
from solver.files import check_out_dir, write_new
from solver.machine_file import write_machine
from solver.pillar.build import Say, belt_machine
from solver.pillar.read import read_pillar
from solver.plan.plan import build_plan
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets

NAMES = ("machine.json", "plan.html", "plan.txt")


@dataclass(frozen=True)
class PillarReport:
    """What was built, and what is proven of it."""

    result: Belted | NoBelt
    plan: BuildPlan | None

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Belted(machine=machine) as found:
                button = next(part.at for part in machine.parts if part.kind == "button")
                return [
                    f"A belt of {len(machine.tape)} cells round the pillar, {found.parts} parts; "
                    f"the button hangs at {button}, before the front.",
                    f"At each outer edge {found.rams} rams lead it over, beneath four covers: "
                    "proven to be the fewest that this program can fire there.",
                    "Simulated in every case: a press moves every block by one cell, over the "
                    "edges too. No claim is made of fewest parts.",
                    "Caution: while the tape is sunk all four sides are open. Keep everyone off "
                    "until it is flush again; local codes and licensed practice come first.",
                ]
            case NoBelt(why=why, remedy=remedy, tried=tried):
                tries = [f"Layouts tried: {tried}. This proves nothing."] if tried else []
                return [f"No machine was found: {why}.", *tries, remedy]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        match self.result:
            case Belted(machine=machine, tried=tried) as found:
                return {
                    "verdict": "feasible",
                    "parts": found.parts,
                    "length": len(machine.tape),
                    "rams_an_edge": found.rams,
                    "button": next(p.at for p in machine.parts if p.kind == "button"),
                    "tried": tried,
                }
            case NoBelt(why=why, remedy=remedy, tried=tried):
                return {"verdict": "undecided", "why": why, "remedy": remedy, "tried": tried}

    def write(self, out_dir: Path, force: bool) -> list[Path]:
        """Write the machine and its plan, if there is one."""
        if not isinstance(self.result, Belted) or self.plan is None:
            return []
        texts = write_machine(self.result.machine), write_page(self.plan), write_sheets(self.plan)
        for name, text in zip(NAMES, texts, strict=True):
            write_new(out_dir / name, text, force)
        return [out_dir / name for name in NAMES]


def pillar_file(
    path: Path, out_dir: Path, *, budget_s: float, seed: int, force: bool, say: Say
) -> PillarReport:
    """Read a pillar, tell all that is wrong with it, and search."""
    pillar = read_pillar(path)
    faults = check_out_dir(out_dir, NAMES, force)
    if faults:
        raise InputError(faults)
    result = belt_machine(pillar, time.monotonic() + budget_s, seed, say)
    plan = build_plan(result.machine) if isinstance(result, Belted) else None
    return PillarReport(result, plan)
