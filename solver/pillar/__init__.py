"""A tape round the outside of a pillar: over its edges on pulses alone.

    Pillar -> the passage at an outer edge -> four of them and the rows between -> leads -> machine

| module | does |
|---|---|
| `read.py` | a TOML file -> `models.pillar.Pillar`, or every fault in it |
| `edge.py` | the mechanism at an outer edge, sought anew each time by `solver/passage/` |
| `layout.py` | mechanisms, lifts and the lines of the rows, put down |
| `build.py` | leads from the button to all of them, and the proof |
| `report.py` | files and words |
"""
