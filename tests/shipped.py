"""Machines for campaigns, made once and kept: of the scenarios that ship, and of odd rooms."""

from __future__ import annotations

from pathlib import Path

from models.machine import Machine
from solver.machine_file import read_machine, write_machine
from solver.pipeline import solve_scenario
from solver.read_scenario import read_scenario

ROOT = Path(__file__).parent.parent
SCENARIOS = {
    path.stem: path
    for path in sorted((ROOT / "scenarios").glob("*.toml"))
    if not path.stem.startswith(("impossible", "expected"))
}
ODD_ROOMS = {path.stem: path for path in sorted((ROOT / "tests/data/odd_rooms").glob("*.toml"))}
"""Rooms that nothing was made for; the fault finder is measured on their machines too."""
MACHINES = SCENARIOS | ODD_ROOMS
BUDGET_S = 120


def kept_at(name: str, folder: Path) -> Path:
    """Where the machine of a scenario is kept."""
    return folder / name / "machine.json"


def shipped_machine(name: str, folder: Path) -> Machine:
    """The machine of such a scenario, from the folder, or made and put there."""
    path = kept_at(name, folder)
    if not path.exists():
        found = solve_scenario(read_scenario(MACHINES[name]), budget_s=BUDGET_S).found
        assert found is not None, f"{name} has no machine within {BUDGET_S} s"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(write_machine(found.machine))
    return read_machine(path)
