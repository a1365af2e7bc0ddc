"""Several loops in one room: each is solved round the others, then all are simulated as one.

    reserve   a machine, or a wish  -> what no other machine may have
    join      machines              -> one machine
    search    scenarios             -> verdict
    report    verdict               -> files and words

What judges the joint machine is `solver.simulate.several`.
"""
