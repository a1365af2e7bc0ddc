"""The rule set: its numbers as the trade states them (common practice, no source), its limits."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from models.rules import Rules

STATED = {
    "reach": (15, 1, 64),
    "push_limit": (12, 1, 64),
    "press": (10, 1, 200),
    "stroke_half_ticks": (3, 1, 20),
    "inverter_delay": (1, 1, 10),
    "sensor_delay": (1, 1, 10),
    "sensor_pulse": (1, 1, 10),
}
"""Field: usual value, least, most."""


def test_the_usual_world():
    rules = Rules()
    assert {name: getattr(rules, name) for name in STATED} == {k: v[0] for k, v in STATED.items()}
    assert rules.buffer_delays == (1, 2, 3, 4)
    assert rules.overhead_pickup is None


@pytest.mark.parametrize("name", STATED)
def test_limits(name):
    _, least, most = STATED[name]
    for value in (least, most):
        assert getattr(Rules(**{name: value}), name) == value
    for value in (least - 1, most + 1, None, "x"):
        with pytest.raises(ValidationError):
            Rules(**{name: value})


def test_delays_of_buffers():
    assert Rules(buffer_delays=(1, 64)).buffer_delays == (1, 64)
    assert Rules(buffer_delays=(3,)).buffer_delays == (3,)
    assert len(Rules(buffer_delays=tuple(range(1, 65))).buffer_delays) == 64
    for wrong in ((), (0,), (65,), (*range(1, 65), 1)):
        with pytest.raises(ValidationError):
            Rules(buffer_delays=wrong)


def test_a_rule_set_does_not_change_and_knows_its_fields():
    rules = Rules()
    with pytest.raises(ValidationError):
        rules.press = 3
    with pytest.raises(ValidationError):
        Rules(presses=3)
    assert Rules(overhead_pickup=False).overhead_pickup is False
