"""Scenario -> a loop that runs both ways, with a button for each way or one that does both.

rings      loops with room for two drives a corner, the best first
layout     parts as they are put down: lifts, two drives a corner, triggers
alternate  the unit that lets one button fire the two ways by turns
prove      what the machine must show in every case; knows nothing of the above
counter    tries loops, buttons, wirings and leads until a machine proves itself
report     files in, files out
"""
