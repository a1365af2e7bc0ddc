"""Machine -> the same machine with logic before its trigger: a clock, or a hold-off.

units        what may be built: parts in a frame of their own, the fewest first
place, lead  where: ground that may be dug, and the way of wires or sensors to the trigger
prove        what the new machine must show in every case; knows nothing of the above
any_presses  every train of presses that a button can get
add          tries sizes and places until a machine proves itself
"""
