"""The scenarios that ship: each reads, draws, reads back from its drawing, and is expected."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from solver.read_scenario import read_scenario
from solver.scenario_file.draw import draw_png, draw_text, legend_text

FOLDER = Path(__file__).parent.parent / "scenarios"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))
FILES = sorted(f for f in FOLDER.glob("*.toml") if f.name != "expected.toml")


def test_each_scenario_has_an_expectation_and_the_other_way_round():
    assert sorted(EXPECTED) == [f.stem for f in FILES]
    assert {e["verdict"] for e in EXPECTED.values()} <= {"feasible", "infeasible", "undecided"}
    assert len(FILES) >= 10
    assert sum(e["verdict"] == "infeasible" for e in EXPECTED.values()) >= 3


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_it_reads_and_its_picture_reads_back(tmp_path, file):
    scenario = read_scenario(file)
    assert scenario.title in draw_text(scenario)
    text = file.read_text(encoding="utf-8")
    for name, surface in scenario.surfaces.items():
        (tmp_path / f"{name}.png").write_bytes(draw_png(surface))
        start = text.index('map = """', text.index(f"[surfaces.{name}]"))
        end = text.index('"""', start + 9) + 3
        text = f'{text[:start]}image = "{name}.png"{text[end:]}'
    again = tmp_path / file.name
    again.write_text(f"{text}\n{legend_text()}\n", encoding="utf-8")
    other = read_scenario(again)
    assert other.surfaces == scenario.surfaces
    assert other.loop == scenario.loop


def test_known_lengths_of_the_drawn_loops():
    lengths = {f.stem: len(read_scenario(f).required()) for f in FILES}
    assert lengths["first-ring"] == 8
    assert lengths["long-gallery"] == 28
    assert lengths["two-wide"] == 20
    assert lengths["plus"] == 60
    assert lengths["long-200"] == 200
