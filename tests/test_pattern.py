"""Patterns: turning, periods, design against enumeration, reasons, files, the page."""

from __future__ import annotations

import json
import math
import random
import re
from collections import Counter
from itertools import product

import pytest

from models.fault import InputError
from models.machine import ALL_CASES, Machine
from models.pattern import Choreography, NoPattern, Pattern, Period, Pin, Share, Wish
from models.surface import plane_of
from solver.machine_file import parse_machine, write_machine
from solver.pattern.read import read_choreography
from solver.pattern.report import PatternReport, design_pattern
from solver.pattern.turn import back_after, period, scene
from solver.simulate import Simulation
from tests.browser import against_guidelines, open_browser
from tests.oracles.ring_builder import build_ring, rectangle
from tests.test_cli_input import refused, ringwright
from tests.test_together import joined, ring

RING = parse_machine(build_ring(rectangle(4, 3)), "ring")
"""Ten blocks."""


def choreography(tmp_path, text, machine=RING):
    path = tmp_path / "dance.toml"
    path.write_text(text)
    return read_choreography(path, machine)


def designed(tmp_path, text, machine=RING):
    return design_pattern(machine, choreography(tmp_path, text, machine), 60)


# ------------------------------------------------------------------ turning


def test_the_pictures_are_those_of_the_simulated_machine():
    marks = "ABCDEFGHIJ"
    simulation = Simulation(RING, ALL_CASES[0])
    for presses in range(4):
        now = {cell: marks[block] for cell, block in simulation.tape.items()}
        assert scene(marks, RING, presses).shows == now
        simulation.press()
        assert simulation.run_to_rest()
    assert not simulation.faults
    assert scene(marks, RING, 10).shows == scene(marks, RING, 0).shows


@pytest.mark.parametrize(
    ("letters", "known"),
    [
        # OEIS A000031 and A001867 from n = 1 on, from memory.
        (2, [2, 3, 4, 6, 8, 14, 20, 36, 60, 108]),
        (3, [3, 6, 11, 24, 51, 130, 315]),
    ],
)
def test_periods_count_the_necklaces(letters, known):
    """A pattern with period d is one of d turns of a necklace; so necklaces are sums of 1/d."""
    for n, necklaces in enumerate(known, start=1):
        periods = Counter(
            period("".join(w), [range(n)]) for w in product("ABC"[:letters], repeat=n)
        )
        assert sum(count // d for d, count in periods.items()) == necklaces
        assert all(n % d == 0 and count % d == 0 for d, count in periods.items())
        # Burnside's lemma over the n turns of a ring.
        assert necklaces * n == sum(letters ** math.gcd(n, turn) for turn in range(n))


def test_the_period_is_the_first_turn_that_changes_nothing():
    for word in map("".join, product("AB", repeat=8)):
        turns = [t for t in range(1, 9) if word[t:] + word[:t] == word]
        assert period(word, [range(8)]) == turns[0]
        # Two turns that change nothing come from a common one (Fine and Wilf 1965, on a ring).
        assert all(t % turns[0] == 0 for t in turns)


def test_several_loops_turn_each_by_itself():
    machine = Machine("two", RING.room, RING.rules, RING.tape, (), loops=(6, 4))
    word = now = "AB.AB.CC.C"
    for presses in range(13):
        assert "".join(scene(word, machine, presses).shows[c] for c in machine.tape) == now
        now = pressed(now, machine)
    assert back_after(machine.spans) == 12
    assert period(word, machine.spans) == naive_period(word, machine) == 12
    assert period("AB.AB.CCCC", machine.spans) == 3


# ------------------------------------------------------------------ design


def pressed(word, machine):
    """What the cells show after one press, when they show `word` now."""
    shown = list(word)
    for at, following in enumerate(machine.following):
        shown[following] = word[at]
    return "".join(shown)


def naive_period(word, machine):
    now = pressed(word, machine)
    presses = 1
    while now != word:
        now, presses = pressed(now, machine), presses + 1
    return presses


def holds(word, rule, machine):
    match rule:
        case Pin(block, mark):
            return word[block] == mark
        case Share(blocks, marks, low, high):
            return low <= sum(word[b] in marks for b in blocks) <= high
        case Period(presses):
            return naive_period(word, machine) == presses


def some_wish(draw, n, marks):
    kind = draw.random()
    if kind < 0.5:
        rule = Pin(draw.randrange(n), draw.choice(marks))
    elif kind < 0.85:
        blocks = frozenset(draw.sample(range(n), draw.randint(1, n)))
        low = draw.randint(0, len(blocks))
        chosen = "".join(draw.sample(marks, draw.randint(1, 2)))
        rule = Share(blocks, chosen, low, draw.randint(low, n))
    else:
        rule = Period(draw.randint(1, n))
    return Wish(rule, str(rule), "")


def some_case(seed):
    """A tape in one loop or several, marks, and wishes."""
    draw = random.Random(seed)
    n, loops = draw.choice([(4, ()), (6, ()), (6, ()), (6, (4, 2)), (5, (3, 2))])
    marks = draw.choice([".A", ".AB"])
    machine = Machine("part of a ring", RING.room, RING.rules, RING.tape[:n], (), loops=loops)
    wishes = tuple(some_wish(draw, n, marks) for _ in range(draw.randint(1, 5)))
    return machine, marks, wishes, ["".join(w) for w in product(marks, repeat=n)]


@pytest.mark.parametrize("seed", range(120))
def test_design_against_enumeration(seed):
    machine, marks, wishes, words = some_case(seed)
    asked = Choreography("x", {}, ".", marks, None, wishes, (0,))
    good = [w for w in words if all(holds(w, wish.rule, machine) for wish in wishes)]
    result = design_pattern(machine, asked, 60)
    if isinstance(result, Pattern):
        assert result.plain
        assert result.marks in good
        assert result.marks.count(".") == max(w.count(".") for w in good)
        return
    assert not good
    assert isinstance(result, NoPattern)
    rules = [wish.rule for wish in result.wishes]
    assert not any(all(holds(w, rule, machine) for rule in rules) for w in words)
    for spare in range(len(rules)):
        rest = rules[:spare] + rules[spare + 1 :]
        assert any(all(holds(w, rule, machine) for rule in rest) for w in words)


def test_both_answers_come_up_in_the_enumeration():
    """The test above would say little if all its wishes could be kept, or none."""
    kept = 0
    for seed in range(120):
        machine, _, wishes, words = some_case(seed)
        kept += any(all(holds(w, wish.rule, machine) for wish in wishes) for w in words)
    assert 30 <= kept <= 90


def test_a_word_stands_where_it_must(tmp_path):
    row = [cell for cell in RING.tape if cell[1] == RING.tape[0][1]][:4]
    start, end = min(row), max(row)
    result = designed(tmp_path, f"""
        [[demand]]
        after = [3, 13]
        from = {list(start)}
        to = {list(end)}
        reads = "L?MP"
    """)  # fmt: skip
    assert isinstance(result, Pattern)
    assert result.marks.count(".") == 7
    for presses in (3, 13, 23):
        shows = scene(result.marks, RING, presses).shows
        assert [shows[start[0] + i, start[1], start[2]] for i in (0, 2, 3)] == list("LMP")


def test_the_clash_names_block_and_both_demands(tmp_path):
    cell, next_cell = list(RING.tape[4]), list(RING.tape[6])
    asked = choreography(tmp_path, f"""
        [[demand]]
        after = 1
        from = {cell}
        to = {cell}
        reads = "A"
        [[demand]]
        after = 2
        from = {cell}
        to = {cell}
        reads = "C"
        [[demand]]
        after = 3
        from = {next_cell}
        to = {next_cell}
        reads = "B"
    """)  # fmt: skip
    result = design_pattern(RING, asked, 60)
    assert isinstance(result, NoPattern)
    assert [wish.place.rsplit(":")[-2] for wish in result.wishes] == ["2", "12"]
    assert all("block 3 is" in wish.text for wish in result.wishes)
    told = PatternReport(RING, asked, result).summary()
    assert "demand 1" in told[1]
    assert "demand 3" in told[2]


def test_a_map_a_count_and_a_period_at_once(tmp_path):
    plane = plane_of("floor", RING.room)
    row, column = plane.spot(RING.tape[7])
    drawn = "\\n".join([*["." * (column + 1)] * row, "?" * column + "A"]).replace(".", " ")
    result = designed(tmp_path, f"""
        [[demand]]
        after = 2
        surface = "floor"
        map = "{drawn}"
        [[demand]]
        after = "every"
        mark = "AB"
        exactly = 4
        [[demand]]
        period = 5
    """)  # fmt: skip
    assert isinstance(result, Pattern)
    assert period(result.marks, RING.spans) == 5
    assert scene(result.marks, RING, 2).shows[RING.tape[7]] == "A"
    assert sum(mark in "AB" for mark in result.marks) == 4


def test_a_period_that_does_not_divide_is_refused_alone(tmp_path):
    result = designed(tmp_path, """
        marks = "AB"
        [[demand]]
        period = 5
        [[demand]]
        period = 4
    """)  # fmt: skip
    assert isinstance(result, NoPattern)
    assert len(result.wishes) == 1
    assert "does not divide the 10 of all turns" in result.wishes[0].text


# ------------------------------------------------------------------ files and page


def test_all_faults_of_a_choreography_at_once(tmp_path):
    with pytest.raises(InputError) as caught:
        choreography(tmp_path, 'titel = "x"\nblank = "ab"\n[[demand]]\nafter = 1.5\nreads = "A"\n')
    told = str(caught.value)
    for words in ('Did you mean "title"', "dance.toml:2:9", '"after" must be a number of presses'):
        assert words in told
    with pytest.raises(InputError) as caught:
        choreography(tmp_path, """
            given = "AB"
            [palette]
            A = "no-such-colour"
            [[demand]]
            after = 1
            [[demand]]
            reads = "AB"
            after = -1
            from = [0, 0, 9]
            to = [0, 0, 9]
            [[demand]]
            after = "every"
            mark = "A"
            from = [90, 90, 90]
            to = [91, 91, 91]
        """)  # fmt: skip
    told = str(caught.value)
    for words in (
        "the tape has 10 blocks",
        "unknown colour",
        "marks are given and demanded",
        "demand 1 must ask for one thing",
        "2 letters",
        "no tape runs here",
        "how many is not clear",
    ):
        assert words in told


def test_the_command_and_the_page(tmp_path):
    (tmp_path / "machine.json").write_text(json.dumps(build_ring(rectangle(4, 3))))
    (tmp_path / "given.toml").write_text('given = "AB.<.AB.<."\n[palette]\nA = "navy"\n')
    done = ringwright("pattern", tmp_path, tmp_path / "given.toml", "--after", "2",
                      "--out", tmp_path / "out", "--json")  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["period"], told["back_after"], told["colours"]["A"]) == (5, 10, "#000080")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    pictures = ["pattern-0.svg", "pattern-2.svg"]
    assert names == [*pictures, "pattern.html", "pattern.json", "plan.html", "plan.txt"]
    again = ringwright("pattern", tmp_path, tmp_path / "given.toml", "--out", tmp_path / "out")
    refused(again, "exists")
    with open_browser() as browser:
        for page in ("pattern.html", "plan.html"):
            browser.get((tmp_path / "out" / page).as_uri())
            for presses in (1, 2):
                # By the script: on the plan the button may lie below the window.
                browser.execute_script("document.getElementById('turn-on').click()")
                assert shown_by(browser) == marks_after("AB.<.AB.<.", presses)
            assert "after 2 presses" in browser.find_element("id", "turn-told").text
            asked = browser.execute_script("return performance.getEntriesByType('resource').length")
            assert asked == 0
            assert not [e for e in browser.get_log("browser") if e["level"] == "SEVERE"]


def marks_after(word, presses, machine=RING):
    """What each cell of the tape shows, from the naive turning; blanks show nothing."""
    now = word
    for _ in range(presses):
        now = pressed(now, machine)
    return [mark.replace(".", "") for mark in now]


def shown_by(browser):
    """What the picture that turns shows, cell by cell."""
    cells = browser.find_elements("css selector", "#turning [data-cell]")
    found = {int(c.get_attribute("data-cell")): c.get_property("textContent") for c in cells}
    return [found[j] for j in sorted(found)]


@pytest.fixture(scope="module")
def marked_plan(tmp_path_factory):
    """A plan of two loops with a pattern on them."""
    folder = tmp_path_factory.mktemp("marked")
    first, second = ring(6), ring(24, clockwise=True)
    machine = joined(first, second)
    (folder / "machine.json").write_text(write_machine(machine))
    (folder / "given.toml").write_text('given = "AB.<.AB.<.C<&\\"DEFGHI"\nblank = "."\n')
    done = ringwright("pattern", folder, folder / "given.toml", "--after", "3",
                      "--out", folder / "out")  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder / "out"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_plan_with_a_pattern_keeps_to_the_guidelines(marked_plan, theme):
    with open_browser() as browser:
        browser.get((marked_plan / "plan.html").as_uri())
        assert against_guidelines(browser, theme) == []


def test_the_text_plan_lists_the_marks(marked_plan):
    """Every block once; and the picture after three presses, each loop turned by itself."""
    text = (marked_plan / "plan.txt").read_text()
    chapter = text[text.index("\nPATTERN\n") :]
    assert sum(map(int, re.findall(r"  (\d+) blocks?: ", chapter))) == 20
    assert "at the start, floor:" in chapter
    assert "after 3 presses, floor:" in chapter
