"""The measured clearances: the trade's numbers come out of them, and a sample is measured again."""

from __future__ import annotations

import random

import pytest

from models.geometry import VECTOR
from solver.characterise.bench import Bench, Chain, Kit
from solver.characterise.measure import (
    POSES,
    base_chain,
    corner_chain,
    edges,
    near_wire,
    path_chain,
)
from solver.net import clearance
from solver.net.systems import SYSTEMS


def bench_of(name: str) -> Bench:
    system = SYSTEMS[name]
    return Bench(Kit(system.column, system.drives, VECTOR[system.column.up]))


def test_edges_run_from_2_to_13_cells():
    """Common practice of the trade, no source: at least 2, at most 13."""
    for name in ("trade", "deep", "over"):
        assert edges(bench_of(name), 0, "LL", 3, 3) == list(range(2, 14))


@pytest.mark.parametrize(("name", "least"), [("trade", 5), ("deep", 4), ("over", 5)])
def test_an_edge_between_a_left_and_a_right_turn_is_longer(name, least):
    """Finer than the trade's rule: it depends on the drive, and for one on the edge before."""
    bench = bench_of(name)
    assert edges(bench, 0, "LR", 3, 3)[0] == least
    assert edges(bench, 0, "RL", 3, 3)[0] == least
    if name == "trade":
        assert edges(bench, 0, "LR", 2, 3)[0] == 4


@pytest.mark.parametrize(("name", "width"), [("trade", 6), ("deep", 5), ("over", 5)])
def test_how_wide_a_strip_with_a_drive_in_it_must_be(name, width):
    """The trade: 6 (common practice, no source). The drives found need one cell less."""
    bench, kit = bench_of(name), bench_of(name).kit
    base = base_chain(bench)
    for clear in (False, True):
        # The strip's far row of tape, as many cells behind the drive's own edge.
        row = -(width - 1) if clear else -(width - 2)
        cells = [(kit.centre[0] + x, kit.centre[1] + row, kit.centre[2]) for x in range(-3, 2)]
        assert all(bench.clear([base, Chain((cell,))]) for cell in cells) == clear


@pytest.mark.parametrize("name", ["deep", "over"])
def test_a_sample_of_the_table_is_measured_again(name):
    rng = random.Random(f"sample {name}")
    bench, drive = bench_of(name), SYSTEMS[name].drives[0].name
    base = base_chain(bench)
    forbidden = clearance.offsets(name, drive, "tape")
    for _ in range(12):
        at = (rng.randint(-5, 3), rng.randint(-6, 3))
        cell = (bench.kit.centre[0] + at[0], bench.kit.centre[1] + at[1], bench.kit.centre[2])
        if cell not in base.cells and not clearance_is_joined(cell, base):
            both = all(bench.clear([base, Chain((cell,), (s,))]) for s in (-4, 0, 4))
            assert both == (at not in forbidden), at
    clashing = clearance.clashes(name, drive, drive)
    for pose, x, y in rng.sample(sorted(clashing), 6):
        near = corner_chain(bench, (x, y), *POSES[pose])
        if not set(near.cells) & set(base.cells):
            skews = [corner_chain(bench, (x, y), *POSES[pose], s) for s in (-2, 0, 4)]
            assert not all(bench.clear([base, other]) for other in skews)


def clearance_is_joined(cell, chain):
    return any(abs(cell[0] - c[0]) + abs(cell[1] - c[1]) <= 1 for c in chain.cells)


def test_wires_that_a_drive_would_hear_are_in_the_table(monkeypatch):
    system, near = SYSTEMS["deep"], [(x, y) for x in range(-3, 2) for y in range(-3, 1)]
    monkeypatch.setattr("solver.characterise.measure.offsets", lambda: near)
    measured = set(near_wire(bench_of("deep"), system, 0))
    assert measured == set(near) & clearance.offsets("deep", system.drives[0].name, "wire")
    assert measured


def test_an_edge_of_fourteen_fails_because_of_the_thirteenth_block():
    bench = bench_of("deep")
    assert bench.moves([path_chain(bench.kit, "LL", (3, 13, 3))])
    assert not bench.moves([path_chain(bench.kit, "LL", (3, 14, 3))])


def test_the_trade_s_drive_has_the_parts_and_the_envelope_that_the_trade_states():
    """Common practice of the trade, no source; ours must be no worse."""
    trade = SYSTEMS["trade"].drives[0]
    kinds = [part.kind for part in trade.parts]
    counted = {kind: kinds.count(kind) for kind in set(kinds) - {"block"}}
    assert counted == {
        "push_ram": 2, "grip_ram": 1, "inverter": 2, "buffer": 1, "sensor": 1, "wire": 2,
    }  # fmt: skip
    sides = [{part.at[i] for part in trade.parts} | {c[i] for c in trade.air} for i in range(3)]
    assert [len(side) for side in sides] == [3, 3, 4]
    assert SYSTEMS["trade"].depth == 5
    ours = SYSTEMS["deep"].drives[0]
    assert len(ours.parts) < len(trade.parts)
