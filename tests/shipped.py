"""The machines of the scenarios that ship, made once and kept: for campaigns."""

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
BUDGET_S = 120


def shipped_machine(name: str, folder: Path) -> Machine:
    """The machine of a shipped scenario, from the folder, or made and put there."""
    path = folder / name / "machine.json"
    if not path.exists():
        found = solve_scenario(read_scenario(SCENARIOS[name]), budget_s=BUDGET_S).found
        assert found is not None, f"{name} has no machine within {BUDGET_S} s"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(write_machine(found.machine))
    return read_machine(path)
