"""Rams alone: whether any, fired in any order, lead tape round a corner of the world."""

from solver.passage.find import fewest_rams, mechanism, pulse_trains

__all__ = ["fewest_rams", "mechanism", "pulse_trains"]
