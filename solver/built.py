"""A machine that was built by another command than `solve` -> its files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from models.machine import Machine
from solver.files import write_new
from solver.machine_file import write_machine
from solver.plan.plan import build_plan
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets

NAMES = ("machine.json", "plan.html", "plan.txt")
"""The files of one machine, in the order in which they are written."""


def write_built(
    machines: Iterable[Machine], out_dir: Path, names: Sequence[str], force: bool
) -> list[Path]:
    """Machine, page and sheets of each; nothing is written before all are made."""
    contents: list[str] = []
    for machine in machines:
        plan = build_plan(machine)
        contents += [write_machine(machine), write_page(plan), write_sheets(plan)]
    for name, content in zip(names, contents, strict=True):
        write_new(out_dir / name, content, force)
    return [out_dir / name for name in names]
