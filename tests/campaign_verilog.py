"""Logic without rams against Verilog, half-tick by half-tick, run by iverilog.

python -m tests.campaign_verilog --seed 1 --count 1000 [--processes 2] [--log FILE]

Circuits are lattices of wires with buffers and inverters between the nodes: they branch, join
and run in rings, and some wires get random pulses. The same list of links becomes a machine for
the simulator and a module for a simulator of electronics.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from random import Random
from typing import NamedTuple

import networkx

from models.geometry import Box, Cell, Face
from models.machine import ALL_CASES, Machine
from models.parts import Part
from models.rules import Rules
from solver.simulate import Simulation
from tests.campaign_runner import Result, cpu_s, parser, run

HALF_TICKS = 80
PITCH = 6
"""Cells from node to node: two wires, a stage of one or two cells, wires again."""
WIRE, INVERTER = -1, 0
HAVE_IVERILOG = shutil.which("iverilog") is not None and shutil.which("vvp") is not None


class Link(NamedTuple):
    """From one node to a neighbouring one."""

    source: int
    target: int
    delay: int
    """Of a buffer, in ticks; or INVERTER; or WIRE, which makes one net of both nodes."""


class Network(NamedTuple):
    """A lattice of nodes, the links between neighbours, and where pulses come in."""

    width: int
    links: tuple[Link, ...]
    inputs: tuple[tuple[int, tuple[int, ...]], ...]
    """(node, the half-ticks in which its forced power changes)."""

    @property
    def stages(self) -> list[Link]:
        """Buffers and inverters, in the order of the parts list."""
        return [link for link in self.links if link.delay != WIRE]

    def net_of(self, node: int) -> int:
        """The least node on the same net. No net has more than two nodes: wires reach 15 cells."""
        joined = [link for link in self.links if link.delay == WIRE and node in link[:2]]
        return min([node, *(n for link in joined for n in link[:2])])


def random_network(rng: Random) -> Network:
    width, height = rng.choice(((5, 1), (2, 2), (2, 2), (3, 2), (3, 3), (4, 3), (4, 4)))
    one_way = rng.random() < 0.6  # Streets that are one-way in turn make rings.
    sorts = (INVERTER,) if rng.random() < 0.2 else (WIRE, *(INVERTER,) * 4, 1, 1, 2, 3, 4)
    links: list[Link] = []
    joined: set[int] = set()
    for node in range(width * height):
        for other in [node + 1] * (node % width < width - 1) + [node + width]:
            if other >= width * height or rng.random() < 0.15:
                continue
            delay = rng.choice(sorts)
            if delay == WIRE and {node, other} & joined:
                delay = INVERTER
            joined |= {node, other} if delay == WIRE else set()
            street = node // width + 1 if other == node + 1 else node % width
            onward = street % 2 == 1 if one_way else rng.random() < 0.5
            ends = (node, other) if onward else (other, node)
            links.append(Link(*ends, delay))
    rng.shuffle(links)
    inputs = []
    for node in rng.sample(range(width * height), rng.randint(1, 3)):
        changes = sorted(rng.sample(range(1, HALF_TICKS - 10), 2 * rng.randint(1, 6)))
        inputs.append((node, tuple(changes)))
    return Network(width, tuple(links), tuple(inputs))


def kinds(network: Network) -> set[str]:
    """What sort of circuit this is."""
    graph = networkx.MultiDiGraph()
    for link in network.stages:
        graph.add_edge(network.net_of(link.source), network.net_of(link.target), link=link)
    found = set()
    if any(n > 1 for _, n in graph.out_degree()):
        found.add("branches")
    if any(n > 1 for _, n in graph.in_degree()):
        found.add("joins")
    for ring in networkx.strongly_connected_components(graph):
        inside = [d["link"] for _, _, d in graph.subgraph(ring).edges(data=True)]
        if inside:
            found.add("ring")
        if inside and all(link.delay == INVERTER for link in inside):
            found.add("ring of inverters only")
    return found


# ---- ours ------------------------------------------------------------------------------------


def machine_of(network: Network) -> tuple[Machine, list[Cell]]:
    """The lattice on a floor of blocks, and where its stages are."""
    parts: dict[Cell, Part] = {}
    stages: list[Cell] = []
    nodes = {n for link in network.links for n in link[:2]} | {n for n, _ in network.inputs}
    for node in nodes:
        cell = _cell(network, node)
        parts[cell] = Part("wire", cell)
    for link in network.links:
        start, end = _cell(network, link.source), _cell(network, link.target)
        way = tuple((b - a) // PITCH for a, b in zip(start, end, strict=True))
        face: Face = "+x" if way[0] > 0 else "-x" if way[0] < 0 else "+y" if way[1] > 0 else "-y"
        for k in range(1, PITCH):
            cell = (start[0] + k * way[0], start[1] + k * way[1], start[2])
            parts[cell] = _part_of(link, k, cell, face)
            if parts[cell].kind in ("buffer", "inverter"):
                stages.append(cell)
    floor = [Part("block", (x, y, z - 1)) for x, y, z in parts]
    low, high = (-2, -2, -5), (PITCH * network.width + 2, PITCH * 5 + 2, -1)
    machine = Machine("net", (2, 2, 2), Rules(), (), (*parts.values(), *floor), (Box(low, high),))
    return machine, stages


def _cell(network: Network, node: int) -> Cell:
    return (PITCH * (node % network.width), PITCH * (node // network.width), -2)


def _part_of(link: Link, k: int, cell: Cell, face: Face) -> Part:
    """What stands `k` cells from the source of a link."""
    if link.delay > 0 and k == 3:
        return Part("buffer", cell, face, link.delay)
    if link.delay == INVERTER and k == 3:
        return Part("block", cell)
    if link.delay == INVERTER and k == 4:
        back: dict[Face, Face] = {"+x": "-x", "-x": "+x", "+y": "-y", "-y": "+y"}
        return Part("inverter", cell, back[face])
    return Part("wire", cell)


def simulated(network: Network) -> list[str]:
    """The outputs of the stages in every half-tick, by our simulator."""
    machine, at = machine_of(network)
    simulation = Simulation(machine, ALL_CASES[0])
    for node, changes in network.inputs:
        for on, off in zip(changes[::2], changes[1::2], strict=True):
            simulation.pulse_wire(_cell(network, node), on, off - on)
    driver = {cell: number for _, cell, number in simulation.switches()}
    lines = []
    for _ in range(HALF_TICKS):
        simulation.step()
        lines.append("".join(str(int(simulation.drivers[driver[cell]].on)) for cell in at))
    return lines


# ---- theirs ----------------------------------------------------------------------------------


def idle_outputs(network: Network) -> list[bool]:
    """The state to start from: inverters lit and buffers off take what they read, all together,
    or if that does not end, one after another; or after one such sweep if that does not end."""
    stages, rounds = network.stages, 2 * len(network.stages) + 2

    def wanted(outputs: Sequence[bool], stage: Link) -> bool:
        net = network.net_of(stage.source)
        fed = any(
            on and network.net_of(other.target) == net
            for on, other in zip(outputs, stages, strict=True)
        )
        return fed != (stage.delay == INVERTER)

    def sweep(outputs: list[bool]) -> bool:
        before = list(outputs)
        for i, stage in enumerate(stages):
            outputs[i] = wanted(outputs, stage)
        return outputs != before

    start = [stage.delay == INVERTER for stage in stages]
    together = list(start)
    for _ in range(rounds):
        following = [wanted(together, stage) for stage in stages]
        if following == together:
            return together
        together = following
    in_turn = list(start)
    if any(not sweep(in_turn) for _ in range(rounds)):
        return in_turn
    sweep(start)
    return start


STAGE = """
  reg o{i} = {idle}; reg w{i} = 0; integer d{i} = 0; wire in{i} = n{source};
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


def verilog_of(network: Network, number: int = 0) -> str:
    """The network as a module: three phases a half-tick, as the rules order them."""
    feeds: dict[int, list[str]] = {}
    lines = [f"module net{number};", "  reg p1 = 0, p2 = 0, p3 = 0; integer now = 0;"]
    for i, (node, changes) in enumerate(network.inputs):
        times = " || ".join(f"now == {t}" for t in changes)
        lines.append(f"  reg s{i} = 0; always @(posedge p1) if ({times}) s{i} <= !s{i};")
        feeds.setdefault(network.net_of(node), []).append(f"s{i}")
    stages = network.stages
    for i, link in enumerate(stages):
        feeds.setdefault(network.net_of(link.target), []).append(f"o{i}")
        feeds.setdefault(network.net_of(link.source), [])
    lines += [f"  wire n{net};" for net in feeds]
    for i, (link, idle) in enumerate(zip(stages, idle_outputs(network), strict=True)):
        source, inverter = network.net_of(link.source), int(link.delay == INVERTER)
        delay = 2 * (link.delay or 1)
        lines.append(
            STAGE.format(i=i, idle=int(idle), source=source, inverter=inverter, delay=delay)
        )
    lines += [f"  assign n{net} = {' | '.join(who) or '0'};" for net, who in feeds.items()]
    shown = ", ".join(f"o{i}" for i in range(len(stages)))
    lines += [
        f"  initial begin #1 p3 = 1; #1 p3 = 0; repeat ({HALF_TICKS}) begin",
        "    now = now + 1; #1 p1 = 1; #1 p2 = 1; #1 p3 = 1; #1;",
        f'    $display("{number} {"%b" * len(stages)}", {shown});',
        "    p1 = 0; p2 = 0; p3 = 0; #1; end end",
        "endmodule",
    ]
    return "\n".join(lines) + "\n"


def by_iverilog(networks: Sequence[Network], folder: Path) -> list[list[str]]:
    """The same outputs, by iverilog: all networks in one run."""
    source, program = folder / "nets.v", folder / "nets.vvp"
    source.write_text("".join(verilog_of(network, i) for i, network in enumerate(networks)))
    tops = [word for i in range(len(networks)) for word in ("-s", f"net{i}")]
    subprocess.run(["iverilog", *tops, "-o", str(program), str(source)], check=True, timeout=120)
    told = subprocess.run(
        ["vvp", "-n", str(program)], check=True, timeout=120, capture_output=True, text=True
    )
    lines: list[list[str]] = [[] for _ in networks]
    for line in told.stdout.splitlines():
        number, outputs = line.split()
        lines[int(number)].append(outputs)
    return lines


def differences(networks: Sequence[Network], folder: Path) -> list[str]:
    """Of each network the first half-tick in which both differ, or an empty text."""
    return [
        _first_difference(network, simulated(network), theirs)
        for network, theirs in zip(networks, by_iverilog(networks, folder), strict=True)
    ]


def _first_difference(network: Network, ours: list[str], theirs: list[str]) -> str:
    for now, (a, b) in enumerate(zip(ours, theirs, strict=True), 1):
        if a != b:
            return f"half-tick {now}: simulation {a}, iverilog {b}: {network}"
    return ""


# ---- the campaign ----------------------------------------------------------------------------


def judge(names: Sequence[str]) -> list[Result]:
    """The networks of these names."""
    start = cpu_s()
    networks = [named(name) for name in names]
    with tempfile.TemporaryDirectory() as folder:
        told = differences(networks, Path(folder))
    each = round((cpu_s() - start) / len(names), 4)
    return [
        Result(name, (said,) if said else (), dict(Counter(kinds(network))), each)
        for name, network, said in zip(names, networks, told, strict=True)
    ]


def named(name: str) -> Network:
    """The network of a name; a few of them have no stage and are drawn again."""
    rng = Random(name)
    while not (network := random_network(rng)).stages:
        pass
    return network


def main() -> int:
    options = parser(__doc__, count=1000).parse_args()
    return run(judge, options, what="networks", batch=50)


if __name__ == "__main__":
    sys.exit(main())
