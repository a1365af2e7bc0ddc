"""Logic against Verilog; without iverilog (Debian: apt-get install iverilog) mostly skipped."""

from __future__ import annotations

import pytest

from tests.campaign_verilog import (
    HAVE_IVERILOG,
    INVERTER,
    WIRE,
    Link,
    Network,
    differences,
    idle_outputs,
    kinds,
    named,
    simulated,
)

NEEDED = pytest.mark.skipif(not HAVE_IVERILOG, reason="iverilog is not installed")
RING = Network(2, (Link(0, 1, INVERTER), Link(1, 3, 2), Link(3, 2, 1), Link(2, 0, 1)), ())


def test_a_buffer_stretches_a_short_pulse():
    """Delay 3 ticks, a pulse of 1 tick: on 6 half-ticks after the change, for 6 half-ticks."""
    seen = simulated(Network(2, (Link(0, 1, 3),), ((0, (5, 7)),)))
    assert [now for now, out in enumerate(seen, 1) if out == "1"] == list(range(11, 17))


def test_a_pulse_runs_round_a_ring_of_buffers():
    """Four buffers of one tick: a pulse of one tick comes by every four ticks."""
    links = (Link(0, 1, 1), Link(1, 3, 1), Link(3, 2, 1), Link(2, 0, 1))
    network = Network(2, links, ((0, (1, 3)),))
    assert kinds(network) >= {"ring"}
    first = [now for now, out in enumerate(simulated(network), 1) if out[0] == "1"]
    assert first == [now for now in range(1, 81) if now % 8 in (3, 4)]


def test_a_wire_makes_one_net_of_two_nodes():
    network = Network(3, (Link(0, 1, WIRE), Link(1, 2, 1)), ((0, (1, 3)),))
    assert network.net_of(1) == 0
    assert any(out == "1" for out in simulated(network))


def test_an_odd_ring_has_no_idle_state_and_an_even_one_has():
    assert idle_outputs(RING) != [False] * 4
    links = (Link(0, 1, INVERTER), Link(1, 3, 1), Link(3, 2, INVERTER), Link(2, 0, 1))
    assert idle_outputs(Network(2, links, ())) in (
        [True, True, False, False],
        [False, False, True, True],
    )


@NEEDED
def test_random_networks(tmp_path):
    networks = [named(f"ci/{number}") for number in range(40)]
    seen = set().union(*map(kinds, networks))
    assert seen == {"branches", "joins", "ring", "ring of inverters only"}
    assert not any(differences([RING, *networks], tmp_path))
