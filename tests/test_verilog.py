"""Rows of logic against Verilog; without iverilog (Debian: apt-get install iverilog) skipped."""

from __future__ import annotations

from random import Random

import pytest

from tests.campaign_verilog import HAVE_IVERILOG, Row, difference, random_row, simulated

NEEDED = pytest.mark.skipif(not HAVE_IVERILOG, reason="iverilog is not installed")


def test_a_buffer_stretches_a_short_pulse():
    """Delay 3 ticks, a pulse of 1 tick: on 6 half-ticks after the change, for 6 half-ticks."""
    seen = simulated(Row((3,), (5, 7), (1,)))
    assert [now for now, out in enumerate(seen, 1) if out == "1"] == list(range(11, 17))


@NEEDED
@pytest.mark.parametrize("number", range(10))
def test_random_rows(number, tmp_path):
    assert difference(random_row(Random(f"ci/{number}")), tmp_path) == ""
