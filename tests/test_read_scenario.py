"""The reader: good scenarios keep their places, bad ones list all their faults."""

from __future__ import annotations

import random
import time
import tomllib
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from models.fault import ScenarioError
from models.geometry import VECTOR, step
from models.surface import BEHIND, SURFACES, Surface, SurfaceName, plane_of
from solver.read_scenario import parse_scenario, read_scenario
from solver.scenario_file.count_loops import count_loops
from solver.scenario_file.draw import draw_png, legend_text
from solver.scenario_file.drawing import neighbours
from solver.scenario_file.places import locate

BAD = sorted((Path(__file__).parent / "data" / "bad").glob("*.toml"))
GOOD = """\
title = "Lantern court"

[room]
size = [12, 5, 3]
button = "floor"

[surfaces.floor]
depth = 6
margin = 2
map = \"\"\"
............
.##..oo.....
............
....=....@..
............
\"\"\"

[surfaces.north]
depth = 3
map = '''
............
..o.........
............'''

[loop]
direction = "clockwise"
shape = "free"
length = { min = 8, max = 41 }
around = ["north", 5, 2]
minimise = ["length", "parts"]

[rules]
press = 15
"""


def parse(text: str):
    return parse_scenario(text, Path("court.toml"))


def faults_of(text: str):
    with pytest.raises(ScenarioError) as caught:
        parse(text)
    return caught.value.faults


# --- what a good scenario says


def test_values_of_a_good_scenario():
    scenario = parse(GOOD)
    assert scenario.title == "Lantern court"
    assert scenario.room == (12, 5, 3)
    assert list(scenario.surfaces) == ["floor", "north"]
    assert scenario.surfaces["floor"].margin == 2
    assert scenario.surfaces["north"].margin == 0
    assert scenario.required() == {(5, 3, -1), (6, 3, -1), (2, 5, 1)}
    assert scenario.button() == ("floor", 3, 9, (9, 1, -1))
    assert scenario.loop.around == (5, 5, 2)
    assert (scenario.loop.min_length, scenario.loop.max_length) == (8, 41)
    assert scenario.loop.minimise == ("length", "parts")
    assert scenario.rules.press == 15
    assert scenario.mark_at((4, 1, -1)) == "="
    assert scenario.mark_at((4, 1, 0)) is None


def test_every_place_points_at_what_it_names():
    lines = GOOD.splitlines()
    scenario = parse(GOOD)
    for name, place, _ in scenario.requirements.values():
        rest = lines[place.line - 1][place.column - 1 :]
        if ".map[" in name:
            surface = scenario.surfaces[name.split(".")[1]]
            row, column = map(int, name[name.index("[") + 1 : -1].split(","))
            assert rest[0] == surface.marks[row - 1][column - 1]
        elif place.line != lines.index("[rules]") + 1:  # a default stands at its table
            key = name.split(".")[-1]
            assert rest.startswith((key, "[surfaces.north]")), (name, rest)
    wanted = {"loop.length.min", "loop.around", "loop.direction", "rules.press", "rules.reach"}
    assert wanted <= set(scenario.requirements)
    assert sum(".map[" in name for name in scenario.requirements) == 7


def test_a_scenario_does_not_depend_on_line_ends_or_a_byte_order_mark(tmp_path):
    file = tmp_path / "court.toml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    other = read_scenario(file)
    plain = parse(GOOD)
    assert other.surfaces == plain.surfaces
    assert {n: r.place[1:] for n, r in other.requirements.items()} == {
        n: r.place[1:] for n, r in plain.requirements.items()
    }


def test_without_button_and_around_nothing_is_fixed():
    text = GOOD.replace('button = "floor"\n', "").replace("@", ".").replace("free", "exact")
    # Exact needs a whole drawing; here two pieces do not make one.
    assert any("separate pieces" in f.what for f in faults_of(text))
    lone = text[: text.index("[surfaces.north]")] + text[text.index("[loop]") :]
    lone = lone.replace("exact", "free").replace('around = ["north", 5, 2]\n', "")
    scenario = parse(lone)
    assert scenario.button_surface is None
    assert scenario.button() is None
    assert scenario.loop.around is None


# --- maps and the world


@pytest.mark.parametrize(
    ("name", "left_top", "right_top", "left_bottom"),
    [
        ("floor", (0, 8, -1), (11, 8, -1), (0, 0, -1)),
        ("ceiling", (0, 8, 5), (11, 8, 5), (0, 0, 5)),
        ("north", (0, 9, 4), (11, 9, 4), (0, 9, 0)),
        ("south", (11, -1, 4), (0, -1, 4), (11, -1, 0)),
        ("east", (12, 8, 4), (12, 0, 4), (12, 8, 0)),
        ("west", (-1, 0, 4), (-1, 8, 4), (-1, 0, 0)),
    ],
)
def test_corners_of_each_map(name, left_top, right_top, left_bottom):
    plane = plane_of(name, (12, 9, 5))
    assert plane.cell(0, 0) == left_top
    assert plane.cell(0, plane.columns - 1) == right_top
    assert plane.cell(plane.rows - 1, 0) == left_bottom


@pytest.mark.parametrize("name", SURFACES)
@pytest.mark.parametrize("room", [(1, 1, 1), (12, 9, 5), (3, 7, 2)])
def test_there_and_back(name: SurfaceName, room):
    plane = plane_of(name, room)
    cells = {plane.cell(r, c) for r in range(plane.rows) for c in range(plane.columns)}
    assert len(cells) == plane.rows * plane.columns
    for r in range(plane.rows):
        for c in range(plane.columns):
            assert plane.spot(plane.cell(r, c)) == (r, c)
            # The cell before it is air of the room.
            front = step(plane.cell(r, c), plane.behind, -1)
            assert all(0 <= a < s for a, s in zip(front, room, strict=True))
    assert plane.spot(plane.cell(-1, 0)) is None
    assert plane.spot(step(plane.cell(0, 0), plane.behind)) is None


def test_only_the_ceiling_is_mirrored():
    """Right x down = the way one looks, except where one sees through from above."""
    for name in SURFACES:
        plane = plane_of(name, (4, 5, 6))
        (a, b, c), (d, e, f) = VECTOR[plane.right], VECTOR[plane.down]
        cross = (b * f - c * e, c * d - a * f, a * e - b * d)
        assert (cross == VECTOR[BEHIND[name]]) == (name != "ceiling")


# --- bad scenarios, as data


def test_the_bad_scenarios_are_there():
    assert len(BAD) >= 50


@pytest.mark.parametrize("file", BAD, ids=lambda f: f.stem)
def test_bad_scenario(file: Path):
    lines = file.read_bytes().decode("latin-1").splitlines()
    expected = [line[3:] for line in lines if line.startswith("#! ")]
    with pytest.raises(ScenarioError) as caught:
        read_scenario(file)
    found = caught.value.faults
    assert [f"{f.line}:{f.column}" for f in found] == [e.split(" ", 1)[0] for e in expected]
    for fault, line in zip(found, expected, strict=True):
        assert fault.file == str(file)
        assert fault.what and fault.remedy.endswith((".", "?", ")"))
        for words in line.split(" ", 1)[1].split("|"):
            assert words.strip() in str(fault)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "no such file"),
        (lambda p: p.mkdir(), "is a directory"),
        (lambda p: p.write_bytes(b""), "empty"),
        (lambda p: p.write_bytes(b"# only a comment\n"), "empty"),
        (lambda p: p.write_bytes(b"#" * 4_000_001), "larger than"),
        (lambda p: p.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100)), "not text"),
        (lambda p: p.write_bytes(b'title = "\x00"'), "not valid TOML"),
        (lambda p: p.symlink_to(p), "cannot be read"),
    ],
)
def test_files_that_are_no_scenario(tmp_path, make, words):
    path = tmp_path / "room.toml"
    make(path)
    with pytest.raises(ScenarioError) as caught:
        read_scenario(path)
    (fault,) = caught.value.faults
    assert words in fault.what
    assert fault.file == str(path)
    assert fault.remedy


def test_names_that_no_file_can_have():
    for name in ("a\0b", "x" * 5000):
        with pytest.raises(ScenarioError):
            read_scenario(name)


def test_many_wrong_marks_are_not_listed_one_by_one():
    rows = "\n".join(["x" * 12] * 5)
    head, tail = GOOD.split("............\n.##", 1)
    text = head + rows + tail[tail.index('\n"""') :]
    found = faults_of(text)
    assert len(found) == 21
    assert "40 more" in found[-1].what


# --- exact drawings


def exact(*rows: str) -> str:
    body = "\n".join(rows)
    return (
        f'title = "t"\n[room]\nsize = [{len(rows[0])}, {len(rows)}, 3]\n'
        f'[surfaces.floor]\ndepth = 6\nmap = """\n{body}\n"""\n'
        '[loop]\ndirection = "clockwise"\nshape = "exact"\nminimise = ["parts"]\n'
    )


@pytest.mark.parametrize(
    "rows",
    [
        ["ooo", "o.o", "ooo"],
        ["oo", "oo"],
        ["ooooo", "ooooo"],  # two wide: one loop only
        ["ooooo"] * 5,  # no loop at all, but that is to be proven by the search
        ["ooo.ooo", "o.o.o.o", "o.ooo.o", "o.....o", "ooooooo"],
    ],
)
def test_drawings_that_are_no_fault(rows):
    assert len(parse(exact(*rows)).required()) == "".join(rows).count("o")


def test_a_loop_over_an_edge_of_the_room_is_one_piece():
    floor = ["..o.o.", "..ooo.", "......"]
    wall = ["......", "..ooo.", "..o.o."]
    text = exact(*floor).replace(
        "[loop]", '[surfaces.north]\ndepth = 4\nmap = """\n' + "\n".join(wall) + '\n"""\n[loop]'
    )
    assert len(parse(text).required()) == 10
    found = faults_of(text.replace("..o.o.\n..ooo.", "......\n..ooo."))
    assert found


def loops(rows: list[str]) -> int:
    """Loops through all `o`, by trying every way: the slow twin of `count_loops`."""
    cells = [(r, c) for r, row in enumerate(rows) for c, mark in enumerate(row) if mark == "o"]
    near = {
        (r, c): [n for n in ((r, c + 1), (r + 1, c), (r, c - 1), (r - 1, c)) if n in set(cells)]
        for r, c in cells
    }
    start, total = cells[0], 0

    def walk(cell, seen):
        nonlocal total
        if len(seen) == len(cells):
            total += len(cells) > 2 and start in near[cell]
            return
        for other in near[cell]:
            if other not in seen:
                walk(other, seen | {other})

    walk(start, {start})
    return total // 2


def test_loops_through_all_cells_against_trying_every_way():
    rng = random.Random(7)
    seen = set()
    for _ in range(500):
        width, height = rng.randint(2, 5), rng.randint(2, 5)
        rows = [
            "".join("o" if rng.random() < 0.92 else "." for _ in range(width))
            for _ in range(height)
        ]
        if not any("o" in row for row in rows):
            continue
        scenario_cells = frozenset(
            (c, -r, -1) for r, row in enumerate(rows) for c, mark in enumerate(row) if mark == "o"
        )
        found = count_loops(neighbours(scenario_cells, {}))
        assert found == min(2, loops(rows))
        seen.add(found)
    assert seen == {0, 1, 2}


@pytest.mark.parametrize(("side", "expected"), [(2, 1), (4, 2), (6, 2), (5, 0), (7, 0)])
def test_full_squares(side, expected):
    """OEIS A003763: 1, 6, 1072 loops through all cells of 2n x 2n; none if the side is odd."""
    cells = frozenset((x, y, -1) for x in range(side) for y in range(side))
    assert count_loops(neighbours(cells, {})) == expected


def test_counting_gives_up_in_time():
    cells = frozenset((x, y, -1) for x in range(100) for y in range(100))
    start = time.process_time()
    assert count_loops(neighbours(cells, {})) in (2, None)
    assert time.process_time() - start < 5


# --- pictures


def picture_scenario(tmp_path: Path, image: Image.Image) -> Path:
    image.save(tmp_path / "floor.png")
    map_text = GOOD[GOOD.index("map = ") : GOOD.index("\n\n[surfaces.north]")]
    file = tmp_path / "room.toml"
    text = GOOD.replace(map_text, 'image = "floor.png"')
    file.write_text(text + "\n" + legend_text() + "\n")
    return file


def as_image(surface: Surface) -> Image.Image:
    return Image.open(BytesIO(draw_png(surface)))


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "P"])
def test_a_drawn_picture_reads_back_as_the_same_map(tmp_path, mode):
    floor = parse(GOOD).surfaces["floor"]
    scenario = read_scenario(
        picture_scenario(tmp_path, as_image(floor).convert(mode, palette=Image.Palette.ADAPTIVE))
    )
    assert scenario.surfaces["floor"] == floor
    place = scenario.place_of("surfaces.floor.map[2,6]")
    assert place == (str(tmp_path / "floor.png"), 2, 6)


def test_unknown_colours_are_named_with_their_pixel(tmp_path):
    image = as_image(parse(GOOD).surfaces["floor"]).convert("RGBA")
    image.putpixel((7, 2), (1, 2, 3, 255))
    image.putpixel((8, 4), (1, 2, 3, 255))
    image.putpixel((0, 3), (255, 255, 255, 10))
    with pytest.raises(ScenarioError) as caught:
        read_scenario(picture_scenario(tmp_path, image))
    solid, clear = caught.value.faults
    assert solid[:3] == (str(tmp_path / "floor.png"), 3, 8)
    assert "pixel x 7, y 2" in solid.what
    assert solid.value == "#010203, in 2 pixels"
    assert "not opaque" in clear.value


@pytest.mark.parametrize("size", [(11, 5), (12, 6), (5, 12), (3000, 3000)])
def test_a_picture_of_the_wrong_size(tmp_path, size):
    with pytest.raises(ScenarioError) as caught:
        read_scenario(picture_scenario(tmp_path, Image.new("1", size)))
    (fault,) = caught.value.faults
    assert f"{size[0]} x {size[1]} pixels, not 12 x 5" in fault.what


def test_a_broken_picture(tmp_path):
    file = picture_scenario(tmp_path, as_image(parse(GOOD).surfaces["floor"]))
    whole = (tmp_path / "floor.png").read_bytes()
    for length in range(0, len(whole), 7):
        (tmp_path / "floor.png").write_bytes(whole[:length])
        try:
            read_scenario(file)
        except ScenarioError as error:
            assert "picture" in str(error)


# --- places in TOML


@st.composite
def toml_values(draw, depth: int = 0):
    """A value as (TOML text, whether it spans lines)."""
    simple = st.sampled_from(
        ["1", "-3.5", "true", '"a # b"', "'x]'", '"q\\"q"', "1979-05-27 07:32:00", "nan",
         '"""\na\n# b"""', "'''c\nd'''", '""""e"""""']
    )  # fmt: skip
    if depth == 2:
        return draw(simple)
    kind = draw(st.sampled_from(["simple", "simple", "array", "table"]))
    if kind == "simple":
        return draw(simple)
    inner = draw(st.lists(toml_values(depth + 1), max_size=3))
    if kind == "array":
        return "[\n # note ]\n" + ",\n".join(inner) + "\n]"
    return "{ " + ", ".join(f'k{i}."x y" = {v}' for i, v in enumerate(inner)) + " }"


@given(st.lists(toml_values(), min_size=1, max_size=5), st.booleans())
@settings(max_examples=150, deadline=None)
def test_all_items_are_located_where_they_stand(values, in_tables):
    """Each value, cut out where its place says, reads as that value again."""
    text = ""
    for i, value in enumerate(values):
        text += f"[[t.'{i}']]\n v = {value} # end\n" if in_tables else f"v{i} = {value}\n"
    places = locate(text)
    lines = text.split("\n")
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line) + 1)

    def items(value, path):
        yield path, value
        if isinstance(value, dict):
            for key, inner in value.items():
                yield from items(inner, (*path, key))
        if isinstance(value, list):
            for i, inner in enumerate(value):
                yield from items(inner, (*path, i))

    for path, value in list(items(tomllib.loads(text), ()))[1:]:
        place = places[path]
        at = starts[place.value_line - 1] + place.value_column - 1
        if isinstance(value, str):
            assert text[at] in "\"'"
        elif isinstance(value, bool):
            assert text[at:].startswith(str(value).lower())
        elif isinstance(value, int):
            assert text[at:].startswith(str(value))


# --- whatever comes in


def survives(data: bytes, path: Path) -> None:
    path.write_bytes(data)
    start = time.process_time()
    try:
        read_scenario(path)
    except ScenarioError as error:
        assert error.faults and str(error)
    assert time.process_time() - start < 2


@given(data=st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_bytes(tmp_path_factory, data):
    survives(data, tmp_path_factory.getbasetemp() / "bytes.toml")


EDITS = ["", "o", "@", "x", "\n", '"', '"""', "[", "]", "{", "}", "=", ".", "-1", "0", "99999",
         "0xffffffffffffffffffffffffffffffff", "1e999", "nan", "#", "\t", "\\", "\u00e9", "\0",
         "true", '"floor"', "[[", "1979-05-27", ",", " ", "'''", "exact", "[]", "{}"]  # fmt: skip


@given(
    st.lists(
        st.tuples(st.integers(0, len(GOOD)), st.integers(0, 12), st.sampled_from(EDITS)),
        min_size=1,
        max_size=6,
    )
)
@settings(max_examples=400, deadline=None)
def test_any_edit_of_a_good_scenario(tmp_path_factory, edits):
    text = GOOD
    for at, removed, added in edits:
        text = text[:at] + added + text[at + removed :]
    survives(text.encode(), tmp_path_factory.getbasetemp() / "edited.toml")


@given(st.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_lines_swapped_and_doubled(tmp_path_factory, rng):
    lines = GOOD.splitlines()
    for _ in range(rng.randint(1, 4)):
        a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
        lines[a], lines[b] = (lines[b], lines[a]) if rng.random() < 0.5 else (lines[b],) * 2
    survives("\n".join(lines).encode(), tmp_path_factory.getbasetemp() / "swapped.toml")


def test_the_largest_room_reads_in_time(tmp_path):
    rows = "\n".join(["o" * 256] * 256)
    text = (
        'title = "t"\n[room]\nsize = [256, 256, 256]\n[surfaces.floor]\ndepth = 64\n'
        f'map = """\n{rows}\n"""\n[loop]\ndirection = "clockwise"\nshape = "free"\n'
    )
    survives(text.encode(), tmp_path / "large.toml")


def test_faults_come_in_the_order_of_the_file():
    for file in BAD:
        with pytest.raises(ScenarioError) as caught:
            read_scenario(file)
        assert all(a[:3] <= b[:3] for a, b in pairwise(caught.value.faults))
