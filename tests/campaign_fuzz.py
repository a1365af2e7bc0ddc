"""Broken files by the thousand for every reader.

python -m tests.campaign_fuzz TARGET [--seconds 60] [--seed 1] [--keep DIR]

Targets are scenarios, machines, pictures, the choreographies of patterns, sweep files up to their
cases, pillars, a scenario that is put together with another, and what builders say. (`trigger`
reads nothing but a machine and a scenario.)

Whatever a file holds, its reader returns or names the faults: no other error, no more than 2 s of
processor time, no more than 1 GB of memory. Files that ship, and bad ones of the tests, are broken
at random. Where `atheris` is installed (pip install atheris) it breaks them, guided by what code
they reach; else bytes and stretches are changed blindly.
"""

from __future__ import annotations

import argparse
import importlib
import json
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from random import Random
from typing import NamedTuple

from tests.oracles.ring_builder import build_ring, rectangle

ROOT = Path(__file__).parent.parent
CPU_S = 2.0
MEMORY = 1 << 30
READERS = (
    "solver.machine_file",
    "solver.read_scenario",
    "solver.scenario_file.view",
    "solver.scenario_file.places",
    "solver.scenario_file.maps",
    "solver.scenario_file.loop",
    "solver.scenario_file.drawing",
    "solver.scenario_file.count_loops",
    "solver.pattern.read",
    "solver.pattern.wishes",
    "solver.scenario_file.head",
    "solver.pillar.read",
    "solver.sweep.read",
    "solver.sweep.cases",
    "solver.together.report",
    "solver.faults.seen",
)
PICTURE_ROOM = """[room]
size = [6, 5, 3]
[surfaces.floor]
depth = 6
image = "room.png"
[loop]
direction = "clockwise"
shape = "free"
[legend]
"." = "#ffffff"
"o" = "#000000"
"""


class TooMuchError(Exception):
    """A reader that took too long."""


def _room(folder: Path, _: bytes) -> object:
    from solver.read_scenario import read_scenario

    return read_scenario(folder / "room.toml")


def _machine(folder: Path, _: bytes) -> object:
    from solver.machine_file import read_machine

    return read_machine(folder / "m.json")


def _choreography(folder: Path, _: bytes) -> object:
    from solver.machine_file import parse_machine
    from solver.pattern.read import read_choreography

    return read_choreography(folder / "wishes.toml", parse_machine(RING, "ring"))


def _sweep(folder: Path, _: bytes) -> object:
    from solver.sweep.cases import cases_of
    from solver.sweep.read import read_sweep

    return cases_of(read_sweep(folder / "sweep.toml"), 1.0, 0)


def _pillar(folder: Path, _: bytes) -> object:
    from solver.pillar.read import read_pillar

    return read_pillar(folder / "pillar.toml")


def _together(folder: Path, _: bytes) -> object:
    from solver.together.report import read_together

    return read_together([folder / "room.toml", folder / "other.toml"])


def _sentence(_: Path, said: bytes) -> object:
    from solver.faults.seen import read_seen, settle

    return settle(read_seen(said.decode("utf-8", "surrogateescape")))


class Target(NamedTuple):
    """One sort of file: its name, what reads it, and where there are good ones and bad ones.

    Without a name it is no file.
    """

    file: str
    read: Callable[[Path, bytes], object]
    examples: tuple[str, ...] = ()


TARGETS = {
    "scenario": Target(
        "room.toml",
        _room,
        ("scenarios/*.toml", "tests/data/bad/*.toml", "tests/data/impossible/*.toml"),
    ),
    "machine": Target("m.json", _machine),
    "picture": Target("room.png", _room),
    "choreography": Target("wishes.toml", _choreography, ("scenarios/patterns/*.toml",)),
    "sweep": Target("sweep.toml", _sweep, ("scenarios/sweeps/*.toml",)),
    "together": Target("other.toml", _together, ("scenarios/together/*.toml",)),
    "pillar": Target("pillar.toml", _pillar, ("scenarios/pillar/*.toml",)),
    "sentence": Target("", _sentence),
}
RING = build_ring(rectangle(3, 3))
WISHES = b"""title = "Eight"
marks = "AB."
[palette]
A = "#ffaa00"
[[demand]]
after = [2, 5]
from = [5, 5, -1]
to = [7, 5, -1]
reads = "AB."
[[demand]]
after = "every"
from = [7, 7, -1]
to = [5, 7, -1]
mark = "B"
at_most = 1
"""
SAID = (
    b"after one press cells (3,4,-1) and (3,5,-1) stand proud, (-1,2,7) is empty",
    b"all sank",
    b"(3,4,-1) unsure as planned; [3, 4, -1] did not sink, out before (1,2,3)",
    b"the ram at 3, 4, -1 did not stroke. It never comes to rest",
)


def reader(target: str, folder: Path) -> Callable[[bytes], bool]:
    """Reads bytes as a file of this sort; tells whether they were accepted."""
    from models.fault import InputError

    chosen = TARGETS[target]
    # What the files of the other sorts name, or are read beside.
    first_ring = (ROOT / "scenarios" / "first-ring.toml").read_text()
    (folder / "room.toml").write_text(PICTURE_ROOM if target == "picture" else first_ring)

    def read(data: bytes) -> bool:
        if chosen.file:
            (folder / chosen.file).write_bytes(data)
        start = time.process_time()
        accepted = False
        with suppress(InputError):
            chosen.read(folder, data)
            accepted = True
        took = time.process_time() - start
        if took > CPU_S:
            raise TooMuchError(f"{took:.1f} s")
        return accepted

    return read


def examples(target: str) -> Iterator[bytes]:
    """Files to begin with."""
    for pattern in TARGETS[target].examples:
        for path in sorted(ROOT.glob(pattern)):
            yield path.read_bytes().replace(b"../first-ring.toml", b"room.toml")
    if target == "machine":
        for n in (3, 4):
            yield json.dumps(build_ring(rectangle(n, 3))).encode()
        yield b'{"format": "ringwright-machine", "version": 1, "room": [1, 1, 1], "tape": []}'
    elif target == "together":
        yield (ROOT / "scenarios" / "first-ring.toml").read_bytes()
    elif target == "choreography":
        yield WISHES
    elif target == "sentence":
        yield from SAID
    elif target == "picture":
        yield from _pictures()


def _pictures() -> Iterator[bytes]:
    from io import BytesIO

    from PIL import Image

    for mode in ("RGB", "RGBA", "P", "L", "1", "I;16", "LA"):
        stream = BytesIO()
        Image.new(mode, (6, 5)).save(stream, "PNG")
        yield stream.getvalue()


def broken(data: bytes, other: bytes, rng: Random) -> bytes:
    """A file with a few bytes or stretches changed, maybe by pieces of another one."""
    text = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 3, 8))):
        at = rng.randrange(len(text) + 1)
        length = rng.choice((0, 1, 1, 2, 5, 30))
        start = rng.randrange(len(other))
        piece = rng.choice(
            (
                rng.randbytes(rng.randint(0, 4)),
                other[start : start + rng.randint(1, 40)],
                bytes(text[at : at + length]) * 2,
                rng.choice((b"-1", b"99999999999999999999", b"nan", b"[", b'"""', b"\\ud800")),
            )
        )
        text[at : at + length] = piece
    return bytes(text)


def blindly(target: str, seconds: float, seed: int, folder: Path, keep: Path | None) -> int:
    """Break files at random until the time is over; how many readers failed."""
    read, rng = reader(target, folder), Random(seed)
    files, wrong, count, accepted = list(examples(target)), 0, 0, 0
    end = time.process_time() + seconds
    while time.process_time() < end:
        data = broken(rng.choice(files), rng.choice(files), rng)
        count += 1
        try:
            accepted += read(data)
        except Exception as error:  # noqa: BLE001  any other error is what we look for
            wrong += 1
            print(f"{type(error).__name__}: {error}")
            if keep:
                (keep / f"{target}-{seed}-{count}").write_bytes(data)
    print(f"{wrong} wrong of {count} broken files, {accepted} accepted: {target}, seed {seed}")
    return wrong


def guided(target: str, seconds: float, seed: int, folder: Path, keep: Path | None) -> None:
    """Hand over to atheris; it ends the process, with a status other than 0 if a reader failed."""
    import atheris

    with atheris.instrument_imports(include=list(READERS)):
        for name in READERS:
            importlib.import_module(name)
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, data in enumerate(examples(target)):
        (corpus / str(number)).write_bytes(data)
    read = reader(target, folder)
    options = [f"-max_total_time={int(seconds)}", f"-seed={seed}", "-rss_limit_mb=1024"]
    options += ["-timeout=60", f"-artifact_prefix={keep}/" if keep else "-close_fd_mask=0"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], lambda data: read(data) and None)
    atheris.Fuzz()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for files that a reader fails on")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        given = (options.target, options.seconds, options.seed, Path(folder), options.keep)
        if find_spec("atheris"):
            guided(*given)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        return 1 if blindly(*given) else 0


if __name__ == "__main__":
    sys.exit(main())
