"""`ringwright check` on machines that are broken by hand: every fault has its place and remedy."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from models.machine import Machine
from models.parts import Part
from solver.machine_file import write_machine
from solver.pipeline import check_file, solve_scenario
from solver.read_scenario import read_scenario

RING = Path(__file__).parent.parent / "scenarios" / "first-ring.toml"


@cache
def ring() -> Machine:
    found = solve_scenario(read_scenario(RING), budget_s=120).found
    assert found is not None
    return found.machine


def first(kind: str, skip: int = 0) -> Part:
    return [part for part in ring().parts if part.kind == kind][skip]


def without(part: Part) -> Machine:
    return replace(ring(), parts=tuple(p for p in ring().parts if p is not part))


def changed(part: Part, **new: object) -> Machine:
    parts = tuple(p._replace(**new) if p is part else p for p in ring().parts)
    return replace(ring(), parts=parts)


def shoving_ram() -> Part:
    return next(p for p in ring().parts if p.kind == "push_ram" and p.face in ("+x", "-x"))


def check(tmp_path: Path, machine: Machine):
    file = tmp_path / "machine.json"
    file.write_text(write_machine(machine), encoding="utf-8")
    return check_file(file)


BROKEN = {
    "missing support": (lambda: without(first("block", 2)), "no support"),
    "missing wire": (lambda: without(first("wire", 3)), "misplaced"),
    "missing sensor": (lambda: without(first("sensor")), "misplaced"),
    "missing lift": (lambda: without(first("grip_ram", 4)), "misplaced"),
    "missing push ram": (lambda: without(first("push_ram")), "misplaced"),
    "missing button": (lambda: without(first("button")), "no button"),
    "turned ram": (lambda: changed(shoving_ram(), face="-z"), "misplaced"),
    "turned lift": (lambda: changed(first("grip_ram"), face="-z"), "misplaced"),
    "insulator for a block": (lambda: changed(first("block", 4), kind="insulator"), "misplaced"),
    "tape backwards": (lambda: replace(ring(), tape=ring().tape[::-1]), "misplaced"),
    "gap in the tape": (
        lambda: replace(ring(), tape=ring().tape[:3] + ring().tape[4:]),
        "tape gap",
    ),
    "ground not dug": (lambda: replace(ring(), dug=ring().dug[:2]), "not dug"),
    "button out of the room": (
        lambda: changed(first("button"), at=(1, 1, -9), face="-z"),
        "button out of reach",
    ),
    "part in the room": (
        lambda: replace(ring(), parts=(*ring().parts, Part("block", (1, 1, 1)))),
        "part in the room",
    ),
}


def test_a_sound_machine_has_no_fault(tmp_path):
    assert check(tmp_path, ring()).ok


@pytest.mark.parametrize("name", sorted(BROKEN))
def test_a_broken_machine(tmp_path, name):
    make, code = BROKEN[name]
    report = check(tmp_path, make())
    assert not report.ok
    assert code in {fault.code for fault in report.faults}
    for fault in report.faults:
        assert fault.remedy, fault
        assert fault.cells or fault.code in ("no button", "idle oscillates", "never rests"), fault


def test_a_missing_lift_is_named(tmp_path):
    lift = next(p for p in ring().parts if p.kind == "grip_ram" and p.at[2] == -3)
    report = check(tmp_path, without(lift))
    assert any("There is no lift behind" in fault.remedy for fault in report.faults)
