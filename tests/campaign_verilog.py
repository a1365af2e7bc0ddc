"""Logic without rams against Verilog, half-tick by half-tick, run by iverilog.

python -m tests.campaign_verilog --seed 1 --count 100

Circuits are rows of buffers and inverters behind a wire that gets random pulses. The same list of
delays becomes a machine for the simulator and a module for a simulator of electronics.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from typing import NamedTuple

from models.geometry import Box
from models.machine import ALL_CASES, Machine
from models.parts import Part
from models.rules import Rules
from solver.simulate import Simulation

HALF_TICKS = 60
HAVE_IVERILOG = shutil.which("iverilog") is not None and shutil.which("vvp") is not None


class Row(NamedTuple):
    """Stages by delay in ticks, 0 for an inverter; and in which half-ticks the input changes."""

    stages: tuple[int, ...]
    changes: tuple[int, ...]
    wires: tuple[int, ...]
    """How many wires follow each stage."""


def random_row(rng: Random) -> Row:
    count = rng.randint(1, 8)
    changes = sorted(rng.sample(range(1, HALF_TICKS - 10), 2 * rng.randint(1, 8)))
    stages = tuple(rng.choice((0, 0, 1, 2, 3, 4)) for _ in range(count))
    return Row(stages, tuple(changes), tuple(rng.randint(1, 3) for _ in range(count)))


def machine_of(row: Row) -> tuple[Machine, list[tuple[int, int, int]]]:
    """The row along x on a floor of blocks, and where its stages are."""
    parts, x, at = [Part("wire", (0, 0, -2)), Part("wire", (1, 0, -2))], 2, []
    for delay, wires in zip(row.stages, row.wires, strict=True):
        if delay:
            parts.append(Part("buffer", (x, 0, -2), "+x", delay))
        else:
            parts.append(Part("block", (x, 0, -2)))
            x += 1
            parts.append(Part("inverter", (x, 0, -2), "-x"))
        at.append((x, 0, -2))
        parts += [Part("wire", (x + 1 + i, 0, -2)) for i in range(wires)]
        x += 1 + wires
    parts += [Part("block", (i, 0, -3)) for i in range(x)]
    dug = (Box((-2, -2, -5), (x + 2, 2, -1)),)
    return Machine("row", (2, 2, 2), Rules(), (), tuple(parts), dug), at


def simulated(row: Row) -> list[str]:
    """The outputs of the stages in every half-tick, by our simulator."""
    machine, at = machine_of(row)
    simulation = Simulation(machine, ALL_CASES[0])
    for on, off in zip(row.changes[::2], row.changes[1::2], strict=True):
        simulation.pulse_wire((0, 0, -2), on, off - on)
    driver = {cell: number for _, cell, number in simulation.switches()}
    lines = []
    for _ in range(HALF_TICKS):
        simulation.step()
        lines.append("".join(str(int(simulation.drivers[driver[cell]].on)) for cell in at))
    return lines


STAGE = """
  reg o{i} = {idle}; reg w{i} = 0; integer d{i} = 0; wire in{i} = {source};
  always @(posedge p1) if (!{inverter} && w{i} && d{i} == now) begin
    w{i} <= 0;
    if (!o{i}) begin
      o{i} <= 1;
      if (!in{i}) begin w{i} <= 1; d{i} <= now + {delay}; end
    end else if (!in{i}) o{i} <= 0;
  end
  always @(posedge p2) if ({inverter} && w{i} && d{i} == now) begin w{i} <= 0; o{i} <= !in{i}; end
  always @(posedge p3) if (!w{i} && o{i} != (in{i} ^ {inverter})) begin
    w{i} <= 1; d{i} <= now + {delay};
  end
"""


def verilog_of(row: Row) -> str:
    """The row as a module: three phases a half-tick, as the rules order them."""
    lines = ["module row;", "  reg p1 = 0, p2 = 0, p3 = 0, s = 0; integer now = 0;"]
    idle, source = 0, "s"
    for i, delay in enumerate(row.stages):
        idle = idle if delay else 1 - idle
        lines.append(
            STAGE.format(
                i=i, idle=idle, source=source, inverter=int(not delay), delay=2 * (delay or 1)
            )
        )
        source = f"o{i}"
    times = " || ".join(f"now == {t}" for t in row.changes)
    shown = ", ".join(f"o{i}" for i in range(len(row.stages)))
    lines += [
        f"  always @(posedge p1) if ({times}) s <= !s;",
        f"  initial begin repeat ({HALF_TICKS}) begin",
        "    now = now + 1; #1 p1 = 1; #1 p2 = 1; #1 p3 = 1; #1;",
        f'    $display("{"%b" * len(row.stages)}", {shown});',
        "    p1 = 0; p2 = 0; p3 = 0; #1; end $finish(0); end",
        "endmodule",
    ]
    return "\n".join(lines) + "\n"


def by_iverilog(row: Row, folder: Path) -> list[str]:
    """The same outputs, by iverilog."""
    source, program = folder / "row.v", folder / "row.vvp"
    source.write_text(verilog_of(row))
    subprocess.run(["iverilog", "-o", str(program), str(source)], check=True, timeout=60)
    run = subprocess.run(
        ["vvp", "-n", str(program)], check=True, timeout=60, capture_output=True, text=True
    )
    return [line for line in run.stdout.splitlines() if set(line) <= {"0", "1"} and line]


def difference(row: Row, folder: Path) -> str:
    """The first half-tick in which both differ, or an empty text."""
    ours, theirs = simulated(row), by_iverilog(row, folder)
    for now, (a, b) in enumerate(zip(ours, theirs, strict=True), 1):
        if a != b:
            return f"half-tick {now}: simulation {a}, iverilog {b}: {row}"
    return ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    options = parser.parse_args()
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(options.count):
            said = difference(random_row(Random(f"{options.seed}/{number}")), Path(folder))
            wrong += bool(said)
            if said:
                print(f"row {options.seed}/{number}: {said}")
    print(f"{wrong} disagreements in {options.count} rows, {time.process_time():.0f} s CPU")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
