"""Reads the layers of a `plan.txt` back. Knows the legend, and nothing of the code that draws."""

from __future__ import annotations

import re

KINDS = {
    "C": "cover",
    "B": "block",
    "I": "insulator",
    "W": "wire",
    "D": "buffer",
    "V": "inverter",
    "S": "sensor",
    "P": "push_ram",
    "G": "grip_ram",
    "K": "button",
    "T": "tape",
}
WAYS = {"n": "+y", "e": "+x", "s": "-y", "w": "-x", "u": "+z", "d": "-z"}
HEAD = re.compile(r"LAYER (\w+) (-?\d+): ([xyz]) = (-?\d+)")
AXES = re.compile(r"  columns: ([xyz]), rows: ([xyz])")
ROW = re.compile(r" *(-?\d+) \| (.*?)\| (-?\d+)")
SIGN = re.compile(r"([A-Z])([neswud]?)(\d*)")


def read_layers(text):
    """Two dicts by cell: (kind, face, number) of the pieces, and "dug" or "ground" elsewhere."""
    pieces, bare = {}, {}
    fixed = axes = columns = None
    for line in text.splitlines():
        if head := HEAD.fullmatch(line):
            fixed, axes, columns = (head[3], int(head[4])), None, None
        elif fixed and (found := AXES.fullmatch(line)):
            axes = (found[1], found[2])
        elif axes and (row := ROW.fullmatch(line)):
            assert row[1] == row[3], line
            for column, sign in zip(columns, row[2].split(), strict=True):
                where = {fixed[0]: fixed[1], axes[0]: column, axes[1]: int(row[1])}
                cell = (where["x"], where["y"], where["z"])
                if sign in "./":
                    bare[cell] = "dug" if sign == "." else "ground"
                    continue
                parsed = SIGN.fullmatch(sign)
                assert parsed and cell not in pieces, (sign, cell)
                number = int(parsed[3]) if parsed[3] else None
                pieces[cell] = (KINDS[parsed[1]], WAYS.get(parsed[2]), number)
        elif axes and re.fullmatch(r" +-?\d[-\d ]*", line):
            columns = [int(word) for word in line.split()]
    return pieces, bare
