"""Scenario -> a floor ring with two buttons: one moves it forth by a cell, the other one back.

rings    which rectangles a scenario lets one take
layout   parts as they are put down: lifts, two drives a corner, two triggers
leads    sensors in a row, of one length, from a trigger to drives and line
prove    what the machine must show in every case; knows nothing of the above
counter  tries rings, buttons and leads until a machine proves itself
report   files in, files out
"""
