"""Reports on what to change: repairs of an impossible scenario, limits of a feasible one."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from models.limits import Limits
from models.outcome import Feasible, Infeasible, Undecided
from models.repair import Repair
from models.scenario import Scenario
from solver.explain.direct import search_alone
from solver.explain.oracle import systems_of
from solver.explain.relax import verdict_only
from solver.explain.repair import WANTED, repairs
from solver.explain.sensitivity import limits_of
from solver.files import write_new
from solver.machine_file import write_machine
from solver.tell import tell_verdict

Say = Callable[[str], None]
REPAIR_NAMES = tuple(
    name for i in range(1, WANTED + 1) for name in (f"repair-{i}.toml", f"repair-{i}.json")
)
"""What `repair` may write into its directory."""


@dataclass(frozen=True)
class RepairReport:
    """The repairs found, or that none was needed."""

    scenario: Scenario
    needed: bool
    found: tuple[Repair, ...]

    @property
    def ok(self) -> bool:
        """Whether there is something to build."""
        return bool(self.found) or not self.needed

    def write(self, out_dir: Path, force: bool) -> dict[str, str]:
        """A scenario and a machine for each repair."""
        files = {}
        for i, repair in enumerate(self.found, start=1):
            contents = {".toml": repair.text, ".json": write_machine(repair.found.machine)}
            for ending, content in contents.items():
                path = out_dir / f"repair-{i}{ending}"
                write_new(path, content, force)
                files[path.stem + ending] = str(path)
        return files

    def summary(self, files: Mapping[str, str]) -> list[str]:
        """Lines for the terminal."""
        if not self.needed:
            return ["The scenario has a machine as it is."]
        if not self.found:
            return ["No repair was found in the time given."]
        lines = []
        for i, repair in enumerate(self.found, start=1):
            score = ", ".join(f"{k} {v}" for k, v in repair.found.score.items())
            lines += [f"repair {i} (weight {repair.weight}): its machine was simulated, {score}"]
            lines += [f"  - {change.text}" for change in repair.changes]
        return lines + [f"{name}: {path}" for name, path in files.items()]

    def as_json(self, files: Mapping[str, str]) -> dict[str, object]:
        """The object that `--json` prints."""
        return {
            "needed": self.needed,
            "repairs": [
                {
                    "weight": repair.weight,
                    "changes": [{"text": c.text, "weight": c.weight} for c in repair.changes],
                    "objective": dict(repair.found.score),
                }
                for repair in self.found
            ],
            "files": dict(files),
        }


def repair_scenario(
    scenario: Scenario, *, budget_s: float, seed: int = 0, say: Say = lambda line: None
) -> RepairReport:
    """Look for the nearest scenarios that have a machine."""
    deadline = time.monotonic() + budget_s
    for system in systems_of(scenario):
        if isinstance(search_alone(verdict_only(scenario), system, deadline), Feasible):
            return RepairReport(scenario, False, ())
    return RepairReport(scenario, True, tuple(repairs(scenario, deadline, seed, say)))


@dataclass(frozen=True)
class LimitsReport:
    """What limits a scenario, or its verdict if it has no machine."""

    scenario: Scenario
    result: Limits | Infeasible | Undecided

    @property
    def verdict(self) -> str:
        """feasible, infeasible or undecided."""
        match self.result:
            case Limits():
                return "feasible"
            case Infeasible():
                return "infeasible"
            case Undecided():
                return "undecided"

    def summary(self) -> list[str]:
        """A short table."""
        if not isinstance(self.result, Limits):
            return tell_verdict(self.result, {})
        terms = ("parts", "depth", "length", "corners", "dug")
        lines = [f"{'gain in':>8} " + " ".join(f"{t:>8}" for t in terms) + "  if this is dropped"]
        now = " ".join(f"{self.result.found.score[t]:>8}" for t in terms)
        lines.append(f"{'now':>8} {now}")
        for gain in self.result.gains:
            numbers = " ".join(f"{gain.saved[t]:>8}" for t in terms)
            lines.append(f"{'' if gain.is_proven else 'at least':>8} {numbers}  {gain.text}")
        if self.result.left_out:
            lines.append(f"{self.result.left_out} more were not tried: the time given ran out")
        return lines

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints."""
        if not isinstance(self.result, Limits):
            return {"verdict": self.verdict, "objective": {}, "gains": [], "left_out": 0}
        return {
            "verdict": self.verdict,
            "objective": dict(self.result.found.score),
            "optimal": self.result.found.optimal,
            "gains": [
                {
                    "requirements": list(gain.names),
                    "text": gain.text,
                    "saved": dict(gain.saved),
                    "proven": gain.is_proven,
                }
                for gain in self.result.gains
            ],
            "left_out": self.result.left_out,
        }


def limits_scenario(
    scenario: Scenario, *, budget_s: float, say: Say = lambda line: None
) -> LimitsReport:
    """What limits a scenario."""
    return LimitsReport(scenario, limits_of(scenario, budget_s, say))
