"""Machine -> the same machine with logic before its trigger: a clock, or a hold-off.

units    what may be built: parts in a frame of their own, the fewest first
place    where: ground that may be dug, and the way of a wire to the trigger's ram
prove    what the new machine must show in every case; knows nothing of the above
add      tries sizes and places until a machine proves itself
"""
