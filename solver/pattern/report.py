"""Machine and choreography -> a pattern, its pictures and its period; or why there is none."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from models.fault import Fault, InputError
from models.machine import Machine
from models.pattern import Choreography, Designed, NoPattern, OpenPattern, Pattern
from solver.files import check_out_dir, write_new
from solver.machine_file import read_machine
from solver.pattern.design import best_pattern
from solver.pattern.page import pattern_chapter, svg_scene, write_pattern_page
from solver.pattern.picture import draw_scene, list_marks
from solver.pattern.read import read_choreography
from solver.pattern.reason import fewest
from solver.pattern.turn import back_after, period, scene
from solver.plan.plan import build_plan
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets

JSON, PAGE = "pattern.json", "pattern.html"
PLAN = ("plan.html", "plan.txt")
MAX_PICTURES = 200
PROOF = "by CP-SAT and, with other clauses, by a SAT solver"


def design_pattern(machine: Machine, asked: Choreography, budget_s: float) -> Designed:
    """The pattern that is given, one that keeps every wish, or the fewest wishes that clash."""
    if asked.given is not None:
        return Pattern(asked.given)
    deadline = time.monotonic() + budget_s
    spans = machine.spans
    answer, marks = best_pattern(spans, asked.marks, asked.blank, asked.wishes, deadline)
    if marks is not None:
        return Pattern(marks, answer == "best")
    if answer == "none":
        clash = fewest(spans, asked.marks, asked.blank, asked.wishes, deadline)
        if clash is not None:
            return NoPattern(clash)
    return OpenPattern()


@dataclass(frozen=True)
class PatternReport:
    """A pattern, ready to be told and written."""

    machine: Machine
    asked: Choreography
    result: Designed

    @property
    def verdict(self) -> str:
        """feasible, infeasible or undecided."""
        match self.result:
            case Pattern():
                return "feasible"
            case NoPattern():
                return "infeasible"
            case OpenPattern():
                return "undecided"

    def summary(self) -> list[str]:
        """Lines for the terminal."""
        match self.result:
            case Pattern(marks=marks):
                return self._told(marks)
            case NoPattern(wishes=wishes):
                lines = ["No pattern does this. These cannot hold together:"]
                lines += [f"- {wish.place}: {wish.text}" for wish in wishes]
                return [*lines, f"Without any one of them the others can. Proven {PROOF}."]
            case OpenPattern():
                return ["Undecided: the time given ran out."]

    def _told(self, marks: str) -> list[str]:
        spans = self.machine.spans
        lines = [f"{len(marks)} blocks, from the tape's first cell on: {marks}"]
        if self.asked.given is None:
            blanks = marks.count(self.asked.blank)
            proven = "no pattern has more" if self.result == Pattern(marks, True) else "best so far"
            lines.append(f"blank: {blanks} ({proven})")
        lines.append(f"the picture first repeats after {period(marks, spans)} presses")
        lines.append(f"every block is back after {back_after(spans)} presses")
        for presses in self.asked.presses:
            lines += draw_scene(self.machine, scene(marks, self.machine, presses))
        return [*lines, "blocks before the first press:", *list_marks(self.machine, marks)]

    def as_json(self) -> dict[str, object]:
        """The object that `--json` prints, and what pattern.json holds."""
        head: dict[str, object] = {"title": self.asked.title, "verdict": self.verdict}
        match self.result:
            case Pattern(marks=marks, plain=plain):
                return head | {
                    "marks": marks,
                    "colours": {m: self.asked.colours[m] for m in sorted(set(marks))},
                    "most_blanks": plain,
                    "period": period(marks, self.machine.spans),
                    "back_after": back_after(self.machine.spans),
                }
            case NoPattern(wishes=wishes):
                told = [{"text": wish.text, "place": wish.place} for wish in wishes]
                return head | {"reasons": told, "proof": f"proven {PROOF}"}
            case OpenPattern():
                return head

    def names(self) -> list[str]:
        """The files that `write` writes."""
        return [JSON, PAGE, *PLAN, *(self._picture(presses) for presses in self.asked.presses)]

    def _picture(self, presses: int) -> str:
        return f"pattern-{presses}.svg"

    def write(self, out_dir: Path, force: bool) -> list[Path]:
        """Write the pattern, its page, the machine's plan with it, a picture for each moment."""
        if not isinstance(self.result, Pattern):
            return []
        marks = self.result.marks
        plan = build_plan(self.machine)
        chapters = [pattern_chapter(self.machine, self.asked, marks)]
        contents = {
            JSON: json.dumps(self.as_json(), indent=2) + "\n",
            PAGE: write_pattern_page(self.machine, self.asked, marks),
            "plan.html": write_page(plan, chapters=chapters),
            "plan.txt": write_sheets(plan, chapters),
        }
        for presses in self.asked.presses:
            drawn = svg_scene(self.machine, self.asked, scene(marks, self.machine, presses))
            contents[self._picture(presses)] = drawn + "\n"
        for name, content in contents.items():
            write_new(out_dir / name, content, force)
        return [out_dir / name for name in contents]


def pattern_file(
    machine_path: Path,
    choreography: Path,
    presses: Iterable[int],
    out_dir: Path | None,
    *,
    budget_s: float,
    force: bool,
) -> PatternReport:
    """Read both files and design; nothing is begun if the results could not be written."""
    machine = read_machine(machine_path)
    if not machine.tape:
        what, remedy = "the machine has no tape", "Give a machine with one."
        raise InputError([Fault(str(machine_path), 0, 0, what, "", remedy)])
    asked = read_choreography(choreography, machine)
    times = tuple(sorted({*asked.presses, *presses}))[:MAX_PICTURES]
    asked = replace(asked, presses=times)
    report = PatternReport(machine, asked, OpenPattern())
    if out_dir is not None and (faults := check_out_dir(out_dir, report.names(), force)):
        raise InputError(faults)
    return replace(report, result=design_pattern(machine, asked, budget_s))
