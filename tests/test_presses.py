"""Presses at awkward moments: held, before rest, one tick apart, at the stated interval."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from models.machine import ALL_CASES
from solver.machine_file import parse_machine
from solver.plan.watch import Timing, timing
from tests import campaign_presses
from tests.campaign_presses import press_faults, pressed
from tests.oracles.ring_builder import build_ring, rectangle
from tests.shipped import shipped_machine

RING = parse_machine(build_ring(rectangle(3, 3)), "ring")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("machines")


@pytest.mark.parametrize("name", ["first-ring", "shallow-floor", "ceiling-rose", "fold-wall-wall"])
def test_shipped_machines(folder, name):
    """Floor deep and flat, ceiling, two walls; all of them: python -m tests.campaign_presses."""
    assert list(press_faults(shipped_machine(name, folder), Random(name))) == []


def test_the_interval_counts_half_ticks(folder):
    """Intervals of whole ticks alone would hide that some of half a tick more are wrong."""
    machine = shipped_machine("first-ring", folder)
    stated = timing(machine).interval_half_ticks
    right = {
        gap: all(campaign_presses._works_at(machine, case, gap) for case in ALL_CASES)
        for gap in range(stated - 1, stated + 14)
    }
    assert [gap for gap in right if not right[gap]] == [stated - 1]


def test_the_skew_of_the_lifts_is_that_of_the_boosters(folder):
    """A line without any fires all in one half-tick; two arms have one each for every tick."""
    assert timing(RING).skew_half_ticks == 0
    machine = shipped_machine("long-200", folder)
    boosters = [part for part in machine.parts if part.kind == "buffer" and part.delay == 1]
    assert len(boosters) > 4
    assert timing(machine).skew_half_ticks == len(boosters) // 2 * 2


@pytest.mark.parametrize("off", [-1, 1])
def test_a_wrong_statement_is_seen(monkeypatch, off):
    real = timing(RING)

    def stated(machine) -> Timing:
        return replace(real, interval_half_ticks=real.interval_half_ticks + off)

    monkeypatch.setattr(campaign_presses, "timing", stated)
    assert list(press_faults(RING, Random(1)))


def test_a_press_too_short_is_no_press_of_this_machine():
    """What `pressed` returns is looked at: a button let go at once leaves the tape down."""
    short = replace(RING, rules=RING.rules)
    assert not campaign_presses.is_right(pressed(short, ALL_CASES[0], (), 2), 1)
