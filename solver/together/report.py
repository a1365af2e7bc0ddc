"""Verdict over several loops -> files and words."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from models.fault import Fault, InputError
from models.scenario import Scenario
from models.together import Apart, Joined, Open, Together
from solver.files import OUTPUT_NAMES, write_new
from solver.machine_file import write_machine
from solver.pipeline import press_waveforms
from solver.plan.plan import build_plan
from solver.read_scenario import read_scenario
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets
from solver.together.search import search_together


def own_name(loop: int) -> str:
    """The file of one loop's machine by itself."""
    return f"machine-{loop}.json"


def together_names(loops: int) -> tuple[str, ...]:
    """All files that may be written."""
    return (*OUTPUT_NAMES, *(own_name(k) for k in range(1, loops + 1)))


@dataclass(frozen=True)
class TogetherOutcome:
    """A verdict, ready to be written and told."""

    result: Together

    @property
    def verdict(self) -> str:
        """feasible, infeasible or undecided."""
        match self.result:
            case Joined():
                return "feasible"
            case Apart():
                return "infeasible"
            case Open():
                return "undecided"

    def write(self, out_dir: Path, force: bool) -> dict[str, str]:
        """The joint machine with its plan, and each loop's machine in the form for one loop."""
        if not isinstance(self.result, Joined):
            if force:
                # A machine from an earlier run must not stand for this verdict.
                (out_dir / "machine.json").unlink(missing_ok=True)
            return {}
        machine = self.result.machine
        plan = build_plan(machine)
        contents = (
            write_machine(machine),
            write_page(plan),
            write_sheets(plan),
            press_waveforms(machine),
        )
        for name, content in zip(OUTPUT_NAMES, contents, strict=True):
            write_new(out_dir / name, content, force)
        kinds = ("machine", "page", "plan", "waveforms")
        files = {k: str(out_dir / name) for k, name in zip(kinds, OUTPUT_NAMES, strict=True)}
        for k, alone in enumerate(self.result.alone, start=1):
            write_new(out_dir / own_name(k), write_machine(alone), force)
            files[f"machine {k}"] = str(out_dir / own_name(k))
        return files

    def summary(self, files: dict[str, str]) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Joined(machine=machine, score=score):
                loops = ", ".join(str(n) for n in machine.loops)
                return [
                    f"A machine of {len(machine.loops)} loops (of {loops} cells): {_told(score)}.",
                    self._proven(self.result),
                    "One button fires all loops; a full turn was simulated, in all cases."
                    if machine.one_button
                    else "Each button alone and one press of each at every distance in time were "
                    "simulated, in all cases.",
                    *(f"  {kind}: {path}" for kind, path in files.items()),
                ]
            case Apart(reasons=reasons, proof=proof):
                told = [f"  - {reason.text}" for reason in reasons]
                return ["Proven impossible together:", *told, f"Proof: {proof}."]
            case Open(why=why, details=details, lower_bound=bound):
                lines = [f"Undecided: {why}.", *(f"  - {line}" for line in details)]
                return [*lines, *([f"No joint machine is below {_told(bound)}."] if bound else [])]

    def _proven(self, found: Joined) -> str:
        if found.optimal:
            return "Optimal: no loop could have a better machine by itself."
        if not found.lower_bound:
            return "Nothing is proven about better ones."
        bound = _told(found.lower_bound)
        return f"No joint machine is below {bound}, the sum over the loops by themselves."

    def as_json(self, files: dict[str, str]) -> dict[str, object]:
        """The object that `--json` prints."""
        result = self.result
        reasons = result.reasons if isinstance(result, Apart) else ()
        return {
            "verdict": self.verdict,
            "optimal": isinstance(result, Joined) and result.optimal,
            "objective": dict(result.score) if isinstance(result, Joined) else {},
            "lower_bound": {} if isinstance(result, Apart) else dict(result.lower_bound or {}),
            "reasons": [
                {"text": r.text, "requirement": r.requirement, "place": r.place} for r in reasons
            ],
            "files": files,
        }


def _told(values: Mapping[str, int]) -> str:
    return ", ".join(f"{name} {value}" for name, value in values.items())


def solve_together(
    scenarios: Sequence[Scenario],
    budget_s: float,
    seed: int,
    say: Callable[[str], None],
    *,
    one_button: bool = False,
) -> TogetherOutcome:
    """Search, and keep the verdict."""
    deadline = time.monotonic() + budget_s
    return TogetherOutcome(search_together(scenarios, deadline, seed, say, one_button=one_button))


def read_together(paths: Sequence[Path]) -> list[Scenario]:
    """Scenarios of one room and one world. Raises InputError with all faults found."""
    faults: list[Fault] = []
    scenarios: list[Scenario] = []
    for path in paths:
        try:
            scenarios.append(read_scenario(path))
        except InputError as error:
            faults += error.faults
    for other in scenarios[1:]:
        for what, name in (("room", "room.size"), ("rules", "rules")):
            if getattr(other, what) != getattr(scenarios[0], what):
                text = f"its {what} is not that of {scenarios[0].path}"
                remedy = "Loops are put together in one room, under one set of rules."
                faults.append(Fault(str(other.path), 0, 0, f"{name}: {text}", "", remedy))
    if faults:
        raise InputError(faults)
    return scenarios
