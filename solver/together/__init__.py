"""Several loops in one room: each is solved round the others, then all are simulated as one.

    musts       scenario              -> what any machine of it has
    alone       scenarios             -> a proof that they cannot be, or what each is at least
    reserve     a machine             -> what no other machine may have
    search      scenarios             -> verdict
    join        machines              -> one machine
    one_button  machine               -> the same, fired by one button
    report      verdict               -> files and words

What judges the joint machine is `solver.simulate.several`.
"""
