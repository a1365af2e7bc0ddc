"""Files of a front: a directory for each machine, and the page that compares them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from models.fault import Fault
from models.front import TIME, Front
from models.outcome import Feasible
from models.plan import BuildPlan
from models.scenario import Scenario
from solver.files import OUTPUT_NAMES, check_out_dir, write_new
from solver.front.page import Offer, write_front

PAGE = "front.html"
_DIRECTORY = "front-"
Write = Callable[[Feasible, Path], BuildPlan]
"""Writes a machine with its plan into a directory."""


def check_front_dirs(out_dir: Path, force: bool) -> list[Fault]:
    """What would keep a front from being written into a directory."""
    faults = check_out_dir(out_dir, [PAGE], force)
    if faults:
        return faults
    return [f for old in _directories(out_dir) for f in check_out_dir(old, OUTPUT_NAMES, force)]


def _directories(out_dir: Path) -> list[Path]:
    """Those of an earlier front."""
    if not out_dir.is_dir():
        return []
    return sorted(p for p in out_dir.iterdir() if _number(p.name) is not None)


def _number(name: str) -> int | None:
    digits = name.removeprefix(_DIRECTORY)
    return int(digits) if digits != name and digits.isascii() and digits.isdigit() else None


def remove_old_front(out_dir: Path) -> None:
    """Machines of an earlier front must not stand among those of this one."""
    (out_dir / PAGE).unlink(missing_ok=True)
    for old in _directories(out_dir):
        for name in OUTPUT_NAMES:
            (old / name).unlink(missing_ok=True)
        with suppress(OSError):  # it holds something else, or is a file
            old.rmdir()


def write_choice(
    scenario: Scenario, front: Front, best: Feasible, out_dir: Path, force: bool, write: Write
) -> dict[str, str]:
    """Write all machines and the page; names and paths of what was written."""
    if force:
        remove_old_front(out_dir)
    offers, files = [], {"front": str(out_dir / PAGE)}
    chosen = ""
    for number, found in enumerate(front.machines, start=1):
        name = f"{_DIRECTORY}{number}"
        offers.append(Offer(name, dict(found.score), write(found, out_dir / name)))
        files[name] = str(out_dir / name)
        asked = scenario.loop.minimise
        if asked and not chosen and all(found.score[t] == best.score[t] for t in asked):
            chosen = name
    write_new(out_dir / PAGE, write_front(scenario.title, front, offers, chosen), force)
    return files


def front_json(front: Front, files: Mapping[str, str]) -> dict[str, object]:
    """What `--json` says of a front."""
    machines = []
    for number, found in enumerate(front.machines, start=1):
        directory = files.get(f"{_DIRECTORY}{number}")
        path = {"machine": str(Path(directory) / "machine.json")} if directory else {}
        machines.append(
            {"objective": _in_ticks(found.score), "system": found.system, "files": path}
        )
    return {
        "front": machines,
        "front_terms": list(front.terms),
        "front_complete": front.complete,
        "front_gaps": list(front.gaps),
        "front_least": _in_ticks(front.least),
    }


def _in_ticks(score: Mapping[str, int]) -> dict[str, float]:
    """Figures as people know them: times in ticks."""
    return {term: value / 2 if term == TIME else value for term, value in score.items()}
