"""What `ringwright sheets` writes, read back by readers that are not ours."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from models.parts import KINDS
from solver.cli import cli
from solver.machine_file import parse_machine, write_machine
from solver.plan.plan import build_plan
from solver.sheets.export_csv import csv_files
from solver.sheets.export_gltf import write_gltf
from solver.sheets.export_json import schema, write_plan_json
from solver.sheets.export_svg import svg_files
from tests.oracles.ring_builder import build_ring, rectangle
from tests.test_plan import on_every_surface


@pytest.fixture(scope="module")
def plan():
    return build_plan(parse_machine(build_ring(rectangle(3, 3), snug=True), "ring"))


@pytest.fixture(scope="module")
def six():
    return build_plan(on_every_surface())


def test_csv_lists_hold_everything(plan):
    files = csv_files(plan)
    for text in files.values():
        assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    order = list(csv.DictReader(io.StringIO(files["order.csv"], newline=""), strict=True))
    cells = {(int(row["x"]), int(row["y"]), int(row["z"])): row for row in order}
    assert len(cells) == len(order) == len(plan.pieces)
    for part in plan.machine.parts:
        row = cells[part.at]
        assert row["kind"] == part.kind and row["face"] == (part.face or "")
        assert row["delay"] == str(part.delay or "")
    parts = list(csv.DictReader(io.StringIO(files["parts.csv"], newline="")))
    assert sum(int(row["count"]) for row in parts) == len(order)
    dug = list(csv.DictReader(io.StringIO(files["digging.csv"], newline="")))
    assert len(dug) == len(plan.machine.dug)


@pytest.mark.parametrize("which", ["plan", "six"])
def test_svg_sheets_are_sound_xml(which, request):
    plan = request.getfixturevalue(which)
    files = svg_files(plan, "0123abcd")
    assert len(files) == len(plan.layers)
    drawn = 0
    for text in files.values():
        root = ElementTree.fromstring(text)
        names = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(names) == len(set(names))
        uses = [e.get("href")[1:] for e in root.iter() if e.tag.endswith("}use")]
        assert set(uses) <= set(names)
        drawn += sum(not use.startswith("k-") for use in uses)
        assert "north" in text or "up" in text
    assert drawn == len(plan.pieces)


def test_gltf_opens_in_another_reader(plan, six, tmp_path):
    pygltflib = pytest.importorskip("pygltflib")
    for index, made in enumerate((plan, six)):
        path = tmp_path / f"{index}.gltf"
        path.write_text(write_gltf(made), encoding="utf-8")
        scene = pygltflib.GLTF2().load(str(path))
        pieces = [node for node in scene.nodes if node.extras.get("kind")]
        assert len(pieces) == len(made.pieces)
        assert {tuple(map(int, node.translation)) for node in pieces} == {
            piece.at for piece in made.pieces
        }


def test_gltf_passes_the_validator(plan, six, tmp_path):
    """The validator of the format's makers; `.ci/run` installs it."""
    script = (
        "const v=require('gltf-validator'),fs=require('fs');"
        "v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[1])))"
        ".then(r=>console.log(JSON.stringify(r.issues)))"
    )
    node = shutil.which("node")
    if (
        not node
        or subprocess.run([node, "-e", "require('gltf-validator')"], capture_output=True).returncode
    ):
        pytest.skip("needs node and its package gltf-validator (NODE_PATH)")
    for made in (plan, six):
        path = tmp_path / "machine.gltf"
        path.write_text(write_gltf(made), encoding="utf-8")
        done = subprocess.run([node, "-e", script, str(path)], capture_output=True, check=True)
        issues = json.loads(done.stdout)
        assert issues["numErrors"] == issues["numWarnings"] == 0, issues


def test_json_files_fit_their_schemas(plan, six):
    jsonschema = pytest.importorskip("jsonschema")
    for made in (plan, six):
        for text, name in (
            (write_machine(made.machine), "machine.schema.json"),
            (write_plan_json(made), "plan.schema.json"),
        ):
            wanted = json.loads(schema(name))
            jsonschema.Draft202012Validator.check_schema(wanted)
            jsonschema.Draft202012Validator(wanted).validate(json.loads(text))


def test_the_machine_schema_refuses_what_the_reader_refuses():
    jsonschema = pytest.importorskip("jsonschema")
    wanted = json.loads(schema("machine.schema.json"))
    check = jsonschema.Draft202012Validator(wanted)
    assert wanted["$defs"]["part"]["properties"]["kind"]["enum"] == list(KINDS)
    good = build_ring(rectangle(3, 3))
    assert check.is_valid(good)
    for change in (
        {"format": "else"},
        {"room": [1, 2]},
        {"tape": [[1, 2, "3"]]},
        {"parts": [{"kind": "buffer", "at": [0, 0, 0], "face": "+x"}]},
        {"parts": [{"kind": "sensor", "at": [0, 0, 0]}]},
        {"parts": [{"kind": "inverter", "at": [0, 0, 0], "face": "+z"}]},
        {"parts": [{"kind": "rope", "at": [0, 0, 0]}]},
    ):
        assert not check.is_valid({**good, **change}), change


def test_the_command_writes_what_is_asked_for(tmp_path):
    machine = tmp_path / "machine.json"
    machine.write_text(json.dumps(build_ring(rectangle(3, 3))))
    run = CliRunner().invoke
    done = run(cli, ["sheets", str(tmp_path), "--csv", "--text", "--page"], standalone_mode=False)
    assert done.exit_code == 0, done.output
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {
        *("machine.json", "plan.html", "plan.txt"),
        *("parts.csv", "order.csv", "digging.csv"),
    }
    again = run(cli, ["sheets", str(machine), "--csv"], standalone_mode=False)
    assert "exists already" in str(again.exception)


def test_the_command_prints(tmp_path):
    if not shutil.which("chromium"):
        pytest.skip("needs chromium: apt-get install chromium")
    (tmp_path / "machine.json").write_text(json.dumps(build_ring(rectangle(3, 3))))
    done = CliRunner().invoke(cli, ["sheets", str(tmp_path), "--pdf"], standalone_mode=False)
    assert done.exit_code == 0, done.output
    data = (tmp_path / "plan.pdf").read_bytes()
    assert data.startswith(b"%PDF") and len(data) < 3_000_000


def test_without_a_browser_the_command_says_what_to_do(tmp_path, monkeypatch):
    (tmp_path / "machine.json").write_text(json.dumps(build_ring(rectangle(3, 3))))
    monkeypatch.setenv("PATH", str(tmp_path))
    done = CliRunner().invoke(cli, ["sheets", str(tmp_path), "--pdf"], standalone_mode=False)
    assert "Install chromium" in str(done.exception)
    assert not (tmp_path / "plan.pdf").exists()
