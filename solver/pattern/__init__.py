"""Choreography: machine and demands -> wishes on blocks -> a pattern or a reason -> pictures.

turn     what a press does to a pattern; when its picture repeats
read     the choreography file, with all its faults at once
wishes   demands on pictures -> wishes on blocks
design   wishes -> a pattern with the most blanks (CP-SAT)
reason   wishes -> the fewest that clash (a SAT solver, and CP-SAT again)
picture  patterns as text
page     patterns as SVG and as a page
report   the whole of it
"""
