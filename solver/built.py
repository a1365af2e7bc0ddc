"""A machine that was built by another command than `solve` -> its files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from models.machine import Machine
from models.plan import BuildPlan
from solver.files import write_new
from solver.machine_file import write_machine
from solver.plan.plan import build_plan
from solver.sheets.chapter import Chapter
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets

NAMES = ("machine.json", "plan.html", "plan.txt")
"""The files of one machine, in the order in which they are written."""


def write_built(
    machines: Iterable[Machine],
    out_dir: Path,
    names: Sequence[str],
    force: bool,
    plan_of: Callable[[Machine], BuildPlan] = build_plan,
    chapters: Sequence[Chapter] = (),
) -> list[Path]:
    """Machine, page and sheets of each; nothing is written before all are made."""
    contents: list[str] = []
    for machine in machines:
        plan = plan_of(machine)
        page, sheets = write_page(plan, chapters=chapters), write_sheets(plan, chapters)
        contents += [write_machine(machine), page, sheets]
    for name, content in zip(names, contents, strict=True):
        write_new(out_dir / name, content, force)
    return [out_dir / name for name in names]
