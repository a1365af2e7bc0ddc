"""Hostile machine files, and a process that is killed while it writes."""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import sys
import time
import xml.etree.ElementTree
import zlib
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.fault import InputError
from models.machine import Machine
from models.outcome import Feasible
from models.surface import SURFACES
from models.sweep import Axis, Case, Row, Sweep
from solver.cli import cli
from solver.files import OUTPUT_NAMES
from solver.machine_file import MAX_BYTES, parse_machine, read_machine, write_machine
from solver.pipeline import Outcome, check_file, simulate_file, write_outcome
from solver.plan.plan import build_plan
from solver.read_scenario import parse_scenario, read_scenario
from solver.sheets.export_json import json_files
from solver.sheets.export_svg import svg_files
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets
from solver.sweep.page import write_summary
from tests.campaign_fuzz import TARGETS, WISHES, blindly
from tests.campaign_interrupts import CALL
from tests.oracles.ring_builder import build_ring, rectangle

RING = json.loads(json.dumps(build_ring(rectangle(3, 3))))
SLOW = settings(
    max_examples=150, deadline=5000, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
SIMULATED = settings(SLOW, max_examples=40, deadline=10_000)

numbers = st.one_of(
    st.integers(-6, 12), st.integers(), st.floats(), st.just(10**400), st.booleans()
)
scalars = st.one_of(st.none(), numbers, st.text(max_size=8), st.sampled_from(["+x", "-z", "wire"]))
anything = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=6), inner, max_size=4)
    ),
    max_leaves=12,
)


def places(value: object, path: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
    """Every place inside a JSON value."""
    found = [path]
    items: list[tuple[object, object]] = []
    if isinstance(value, dict):
        items = list(value.items())
    elif isinstance(value, list):
        items = list(enumerate(value))[:12]
    for key, inner in items:
        found += places(inner, (*path, key))
    return found


PLACES = [p for p in places(RING) if p]


def changed(path: tuple[object, ...], value: object) -> dict[str, object]:
    content = json.loads(json.dumps(RING))
    target = content
    for key in path[:-1]:
        target = target[key]
    target[path[-1]] = value
    return content


@SLOW
@given(st.sampled_from(PLACES), anything)
def test_one_wrong_value_is_read_or_named(path, value):
    with suppress(InputError):
        assert isinstance(parse_machine(changed(path, value), "m"), Machine)


@SLOW
@given(anything)
def test_any_json_is_read_or_named(value):
    with suppress(InputError):
        assert isinstance(parse_machine(value, "m"), Machine)


@SLOW
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_named(tmp_path, data):
    path = tmp_path / "machine.json"
    path.write_bytes(data)
    with suppress(InputError):
        read_machine(path)


@SLOW
@given(st.data())
def test_a_damaged_file_is_read_or_named(tmp_path, data):
    text = bytearray(json.dumps(RING).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text) - 1))
        text[start : start + data.draw(st.integers(0, 9))] = data.draw(st.binary(max_size=6))
    path = tmp_path / "machine.json"
    path.write_bytes(bytes(text))
    with suppress(InputError):
        read_machine(path)


@SIMULATED
@given(st.sampled_from(PLACES), anything)
def test_whatever_is_read_can_be_simulated_and_written(tmp_path, path, value):
    file = tmp_path / "machine.json"
    try:
        file.write_text(json.dumps(changed(path, value)))
        machine = read_machine(file)
    except (InputError, ValueError, UnicodeEncodeError):
        return
    simulate_file(file, presses=1).summary()
    check_file(file).summary()
    assert parse_machine(json.loads(write_machine(machine)), "m") == machine


def test_deep_nesting_and_a_long_number(tmp_path):
    path = tmp_path / "machine.json"
    for text in ("[" * 100_000, '{"a":' * 50_000, "9" * 100_000, "", "null", "\ufeff{}"):
        path.write_text(text)
        with suppress(InputError):
            read_machine(path)
            raise AssertionError(text[:20])


def test_killed_at_any_moment_the_old_or_the_new_file_is_whole(tmp_path):
    path = tmp_path / "machine.json"
    texts = ["a" * 400_000, "b" * 400_000]
    code = (
        "import sys; from pathlib import Path; from solver.files import write_new\n"
        "print('ready', flush=True)\n"
        "for i in range(10**6): write_new(Path(sys.argv[1]), 'ab'[i % 2] * 400_000, True)\n"
    )
    root = Path(__file__).parent.parent
    for moment in range(12):
        call = [sys.executable, "-c", code, str(path)]
        with subprocess.Popen(call, cwd=root, stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(0.002 + 0.003 * moment)
            writer.send_signal(signal.SIGKILL)
        if path.exists():
            assert path.read_text() in texts
    assert path.exists()


@pytest.mark.parametrize("module", ["solver.cli", "ortools.sat.python.cp_model"])
def test_ctrl_c_while_modules_are_loaded_is_not_lost(tmp_path, module):
    """Python drops what is raised in some places of an import; here the import interrupts."""
    (tmp_path / "sitecustomize.py").write_text(
        "import os, signal, sys\n"
        "class Stopper:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        f"        if name == {module!r}:\n"
        "            try: os.kill(os.getpid(), signal.SIGINT)\n"
        "            except KeyboardInterrupt: pass\n"
        "sys.meta_path.insert(0, Stopper())\n"
    )
    root = Path(__file__).parent.parent
    told = subprocess.run(
        [*CALL, "--out", str(tmp_path / "out")],
        cwd=root,
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert (told.returncode, "Traceback" in told.stderr) == (130, False)


def test_a_pit_too_large_to_work_with_is_refused():
    content = changed(("dug",), [{"min": [0, 0, -1000], "max": [100, 100, -1]}])
    with suppress(InputError):
        parse_machine(content, "m")
        raise AssertionError("ten million cells")


# --- what is no file, and files made to be too much


def readers(path: Path) -> list[object]:
    """What each reader says of a path."""
    said: list[object] = []
    for read in (read_machine, read_scenario):
        with suppress(InputError):
            read(path)
            raise AssertionError(f"{path} was read")
        said.append(read)
    return said


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_pipes_and_devices_are_refused_at_once(tmp_path):
    """Nobody writes to the pipe: opening it in the plain way would wait for ever."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, *filter(Path.exists, map(Path, ("/dev/zero", "/dev/null", "/dev/tty")))):
        assert readers(path)
        scenario = picture_room(tmp_path, path)
        with pytest.raises(InputError, match=r"no picture: (this is not a regular|the file)"):
            read_scenario(scenario)


def picture_room(folder: Path, picture: Path, side: object = 4) -> Path:
    scenario = folder / "room.toml"
    scenario.write_text(
        f"[room]\nsize = [{side}, {side}, 3]\n[surfaces.floor]\ndepth = 6\n"
        f'image = "{picture}"\n[loop]\ndirection = "clockwise"\nshape = "free"\n'
        '[legend]\n"." = "#ffffff"\n"o" = "#000000"\n'
    )
    return scenario


def chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk of a PNG (W3C PNG specification, 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, data: bytes, extra: bytes = b"") -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = chunk(b"IHDR", head) + extra + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks


def test_pictures_that_unpack_to_far_too_much(tmp_path):
    bomb, picture = zlib.compress(bytes(30_000_000)), tmp_path / "room.png"
    pictures = {
        "too large": [(50_000, 50_000, b"", b""), (2**31 - 1, 2**31 - 1, b"", b"")],
        "cannot be read": [(4, 4, bomb, chunk(b"zTXt", b"a\0\0" + bomb))],
        "not a PNG": [(0, 0, b"", b"")],
    }
    for words, made in pictures.items():
        for content in made:
            picture.write_bytes(png(*content))
            for side in (4, '"four"'):  # Without a room the size is not known beforehand.
                with pytest.raises(InputError, match=words):
                    read_scenario(picture_room(tmp_path, picture, side))
    picture.write_bytes(png(4, 4, bomb))
    assert read_scenario(picture_room(tmp_path, picture)).required()


def test_a_machine_file_too_large_to_hold(tmp_path):
    path = tmp_path / "machine.json"
    path.write_bytes(b"[" + b"[]," * (MAX_BYTES // 3) + b"1]")
    with pytest.raises(InputError, match="larger than"):
        read_machine(path)


NASTY = "</script><b onload=x>&\"'\ud800\0\n\x1b[31m\u202e" + "x" * 10_000


def test_titles_and_units_say_nothing_that_acts(tmp_path):
    """Everything that is written from a machine with a title and units from hell."""
    machine = parse_machine(
        RING | {"title": NASTY, "parts": [p | {"unit": NASTY} for p in RING["parts"]]}, "m"
    )
    plan = build_plan(machine)
    page = write_page(plan)
    texts = {"page": page, "text": write_sheets(plan), **svg_files(plan, "1"), **json_files(plan)}
    for name, text in texts.items():
        text.encode()
        assert not {"\0", "\x1b", "\u202e"} & set(text), name
        if name.endswith((".svg", "page")):
            assert "<b onload" not in text, name
        if name.endswith(".svg"):
            xml.etree.ElementTree.fromstring(text)
    assert page.count("</script>") == write_page(build_plan(parse_machine(RING, "m"))).count(
        "</script>"
    )


MARKUP = "</script><script>alert(1)</script><img src=x>"


def pages(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.suffix in (".html", ".svg")]


def test_pages_of_patterns_escape_titles(tmp_path):
    (tmp_path / "machine.json").write_text(json.dumps(RING))
    (tmp_path / "wishes.toml").write_text(WISHES.decode().replace("Eight", MARKUP))
    call = ["pattern", str(tmp_path), str(tmp_path / "wishes.toml"), "--out", str(tmp_path / "out")]
    assert CliRunner().invoke(cli, call).exit_code == 0
    assert pages(tmp_path)
    for page in pages(tmp_path):
        assert "<script>alert" not in page.read_text()
        assert "<img src=x" not in page.read_text()


def test_the_summary_of_a_sweep_escapes_all_names():
    sweep = Sweep(MARKUP, (MARKUP,), (Axis(MARKUP, (MARKUP,)),), {MARKUP: {}, "other": {}})
    case = Case(MARKUP, MARKUP, {MARKUP: MARKUP}, MARKUP, "", (MARKUP,))
    page = write_summary(sweep, [(case, Row("wrong", reasons=(MARKUP,), errors=(MARKUP,)))])
    assert "&lt;script&gt;alert" in page
    assert "<script>alert" not in page
    assert "<img src=x" not in page


def test_numbers_must_be_numbers():
    for key, value in (("press", True), ("reach", "15"), ("buffer_delays", []), ("press", 1e308)):
        with pytest.raises(InputError, match=key):
            parse_machine(changed(("rules",), {key: value}), "m")
    with pytest.raises(InputError, match="buffer_delays"):
        parse_machine(changed(("rules",), {"buffer_delays": [1] * 65}), "m")


@pytest.mark.parametrize("target", list(TARGETS))
def test_broken_files(target, tmp_path):
    """Minutes of it, also guided by coverage: python -m tests.campaign_fuzz."""
    assert blindly(target, 0.7, 5, tmp_path, None) == 0


def test_the_fuzzer_sees_a_reader_that_fails(monkeypatch, tmp_path):
    monkeypatch.setattr("solver.machine_file.MAX_COORDINATE", None)
    assert blindly("machine", 0.3, 5, tmp_path, None) > 0


def test_stopped_while_the_plan_is_made_the_machine_stays(monkeypatch, tmp_path):
    """Ctrl-C after the search: the machine is there, an older plan is not left beside it."""
    scenario = read_scenario(Path(__file__).parent.parent / "scenarios" / "first-ring.toml")
    machine = parse_machine(RING, "m")
    found = Feasible(machine, {}, False, {}, "deep")

    def stopped(machine: Machine) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("solver.pipeline.build_plan", stopped)
    for name in OUTPUT_NAMES:
        (tmp_path / name).write_text("old")
    with pytest.raises(KeyboardInterrupt):
        write_outcome(Outcome(scenario, found), tmp_path, force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["machine.json"]
    assert read_machine(tmp_path / "machine.json").parts == machine.parts


def full_room(mark: str, shape: str) -> str:
    """The largest room there may be, every cell of its six surfaces marked alike."""
    rows = "\n".join([mark * 256] * 256)
    surfaces = [
        f'[surfaces.{name}]\ndepth = 64\nmargin = 64\nmap = """\n{rows}\n"""\n' for name in SURFACES
    ]
    return (
        "[room]\nsize = [256, 256, 256]\n" + "".join(surfaces) + f'[loop]\nshape = "{shape}"\n'
        'direction = "clockwise"\naround = ["floor", 5, 4]\n'
    )


@pytest.mark.parametrize(
    ("mark", "shape", "words"),
    [("o", "exact", "more than can be worked with"), ("@", "free", "and 393196 more buttons")],
)
def test_the_largest_room_is_read_in_time(tmp_path, mark, shape, words):
    start = time.process_time()
    with pytest.raises(InputError, match=words) as caught:
        parse_scenario(full_room(mark, shape), tmp_path / "room.toml")
    assert len(caught.value.faults) < 50
    assert time.process_time() - start < 10, "a few seconds where nothing else runs"
