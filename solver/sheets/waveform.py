"""Waveforms of a simulation as a value change dump (VCD, IEEE 1364)."""

from __future__ import annotations

import io

from models.geometry import Cell
from solver.simulate import Simulation


def waveforms(simulation: Simulation) -> str:
    """The VCD text of a recorded simulation. One time unit is a half-tick.

    Wires are 8-bit levels, rams 2-bit stroke states (0 in, 1 extending, 2 out, 3 retracting),
    all else single bits; `tape` scopes hold where each block is (x, y, z) and if it moves.
    """
    from vcd import VCDWriter

    assert simulation.events is not None, "record=True makes events"
    stream = io.StringIO()
    with VCDWriter(
        stream, timescale="1 ns", date="", version="ringwright", comment="1 ns is a half-tick"
    ) as writer:
        wires = [
            writer.register_var("wire", _name(w.at), "wire", size=8, init=0)
            for w in simulation.wires
        ]
        switches = {
            driver: writer.register_var(kind, _name(at), "wire", size=1, init=0)
            for kind, at, driver in simulation.switches()
        }
        rams = [
            writer.register_var("ram", _name(r.at), "wire", size=2, init=0) for r in simulation.rams
        ]
        blocks = [
            [
                writer.register_var(f"tape.block{i}", axis, "integer", size=32, init=value)
                for axis, value in zip("xyz", cell, strict=True)
            ]
            + [writer.register_var(f"tape.block{i}", "moving", "wire", size=1, init=0)]
            for i, cell in enumerate(simulation.machine.tape)
        ]
        for time, what, which, value in simulation.events:
            if isinstance(value, tuple):
                cell, moving = value
                for variable, number in zip(blocks[which], (*cell, int(moving)), strict=True):
                    writer.change(variable, time, number)
            elif what == "wire":
                writer.change(wires[which], time, value)
            elif what == "on":
                writer.change(switches[which], time, value)
            else:
                writer.change(rams[which], time, value)
        writer.close(simulation.now)
    return stream.getvalue()


def _name(cell: Cell) -> str:
    return "at_" + "_".join(f"m{-v}" if v < 0 else str(v) for v in cell)
