"""Pillar file -> the files of a machine with a belt round it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from models.fault import InputError
from models.pillar import Belted, NoBelt
from solver.built import NAMES, write_built
from solver.files import check_out_dir
from solver.pillar.build import Say, belt_machine
from solver.pillar.read import read_pillar


@dataclass(frozen=True)
class PillarReport:
    """What was built, and what is proven of it."""

    result: Belted | NoBelt

    @property
    def ok(self) -> bool:
        """Whether there is a machine."""
        return isinstance(self.result, Belted)

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Belted(machine=machine) as found:
                button = next(part.at for part in machine.parts if part.kind == "button")
                fewest = "proven to be the fewest that this program can fire there"
                sure = f": {fewest}" if found.fewest_rams else ""
                return [
                    f"A belt of {len(machine.tape)} cells round the pillar, {found.parts} parts; "
                    f"the button hangs at {button}, before the front.",
                    f"At each outer edge {found.rams} rams lead it over, beneath four "
                    f"covers{sure}.",
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
        if not isinstance(self.result, Belted):
            return []
        return write_built([self.result.machine], out_dir, NAMES, force)


def pillar_file(
    path: Path, out_dir: Path, *, budget_s: float, seed: int, force: bool, say: Say
) -> PillarReport:
    """Read a pillar, tell all that is wrong with it, and search."""
    pillar = read_pillar(path)
    faults = check_out_dir(out_dir, NAMES, force)
    if faults:
        raise InputError(faults)
    return PillarReport(belt_machine(pillar, time.monotonic() + budget_s, seed, say))
