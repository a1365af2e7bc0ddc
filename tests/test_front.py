"""The Pareto front: the search against a naive one, the files, the page."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from random import Random
from types import SimpleNamespace

import html5lib
import pytest

from models.front import Front, unbeaten
from models.machine import Machine
from models.outcome import Feasible, Infeasible, Undecided
from models.rules import Rules
from models.scenario import TERMS
from solver.front import front as under_test
from solver.front.front import FrontSoFar, search_front
from solver.front.page import Offer, write_front
from solver.front.press_time import by_time
from solver.machine_file import parse_machine
from solver.net.systems import systems_over
from solver.plan.plan import build_plan
from solver.plan.watch import rest_after_press
from solver.read_scenario import read_scenario
from tests.browser import open_browser
from tests.oracles.ring_builder import build_ring, rectangle
from tests.rooms import random_scenario_room, solve_room, solve_text
from tests.test_cli_input import ROOT, refused, ringwright

RING = ROOT / "scenarios" / "first-ring.toml"
CHOICE = ROOT / "tests" / "data" / "short-or-plain.toml"
NOTHING = Machine("", (9, 9, 3), Rules(), (), ())


def made(system="deep", **score):
    return Feasible(NOTHING, score, True, score, system)


def naive_front(machines, terms):
    """The values of the machines that no other one beats, by comparing all with all."""
    values = {tuple(m.score[t] for t in terms) for m in machines}
    return {
        v
        for v in values
        if not any(w != v and all(a <= b for a, b in zip(w, v, strict=True)) for w in values)
    }


def values_of(front):
    return {tuple(f.score[t] for t in front.terms) for f in front.machines}


def world(seed, systems=("deep", "flat")):
    """Machines of made-up systems: even lengths, one depth a system."""
    draw = random.Random(seed)
    return {
        name: [
            made(
                name,
                parts=draw.randint(10, 30),
                depth=5 - 2 * k,
                length=2 * draw.randint(2, 12),
                corners=2 * draw.randint(2, 5),
                dug=draw.randint(10, 30),
            )
            for _ in range(draw.randint(0 if k else 1, 25))
        ]
        for k, name in enumerate(systems)
    }


@pytest.fixture
def fake(monkeypatch):
    """The front of made-up machines; `spoil` may turn the verdict of a search into another."""
    scenario = read_scenario(RING)

    def run(machines, terms, spoil=lambda verdict: verdict, budget_s=60.0):
        systems = tuple(SimpleNamespace(name=n, depth=5 - 2 * k, least_depth=5 - 2 * k,
                                        surfaces={})
                        for k, n in enumerate(machines))  # fmt: skip

        def search_system(problem, system, deadline, seed, say, state):
            loop = problem.scenario.loop
            most = loop.max_length or 1000
            fitting = [m for m in machines[system.name] if m.score["length"] <= most]
            if not fitting:
                return Infeasible((), "counted")
            best = min(fitting, key=lambda m: [m.score[t] for t in loop.minimise])
            return spoil(best)

        monkeypatch.setattr(under_test, "search_system", search_system)
        monkeypatch.setattr(under_test, "systems_over", lambda surfaces, rules: systems)
        so_far = FrontSoFar(scenario, terms)
        search_front(so_far, time.monotonic() + budget_s, 0, lambda line: None)
        return so_far.front()

    return run


@pytest.mark.parametrize("terms", [("parts", "length"), TERMS, ("depth", "dug")])
def test_nothing_in_a_front_is_beaten_and_nothing_is_missing(terms):
    for seed in range(30):
        machines = [m for group in world(seed).values() for m in group]
        front = unbeaten(machines, terms, ("parts",))
        assert {tuple(m.score[t] for t in terms) for m in front} == naive_front(machines, terms)
        assert len(front) == len(naive_front(machines, terms))


@pytest.mark.parametrize(
    "terms",
    [
        ("parts", "depth", "length"),
        ("length", "parts"),
        ("dug", "length"),
        ("length", "depth"),
        ("parts", "depth"),
        ("depth",),
    ],
    ids=",".join,
)
def test_with_one_term_beside_length_and_depth_the_front_is_complete(fake, terms):
    for seed in range(40):
        machines = world(seed)
        front = fake(machines, terms)
        assert front.complete, front.gaps
        everything = [m for group in machines.values() for m in group]
        assert values_of(front) == naive_front(everything, terms)
        for term in terms:
            assert front.least[term] == min(m.score[term] for m in everything)


@pytest.mark.parametrize("terms", [("parts", "dug", "length"), ("parts", "corners"), TERMS])
def test_with_more_terms_complete_is_said_only_where_it_is_so(fake, terms):
    said = set()
    for seed in range(60):
        machines = world(seed)
        front = fake(machines, terms)
        everything = [m for group in machines.values() for m in group]
        wanted = naive_front(everything, terms)
        said.add(front.complete)
        assert not front.complete or values_of(front) == wanted
        assert all(tuple(m.score[t] for t in terms) in wanted for m in front.machines[:1])
    assert False in said
    one = made(parts=9, depth=5, length=8, corners=4, dug=9)
    assert fake({"deep": [one]}, TERMS).complete


def test_what_is_not_proven_is_a_gap(fake):
    def unproven(best):
        return Feasible(best.machine, best.score, False, {"parts": 3}, best.system)

    def late(best):
        return Undecided(best, {"parts": 3})

    def nothing(best):
        return Undecided(None, {}, "no trigger net fits", timed_out=False)

    machines = {"deep": [made(parts=9, depth=5, length=8), made(parts=12, depth=5, length=6)]}
    terms = ("parts", "length")
    for spoil in (unproven, late):
        front = fake(machines, terms, spoil)
        assert not front.complete
        assert values_of(front) == {(9, 8), (12, 6)}
        assert "parts between 3 and 9" in front.gaps[0]
        assert front.least["parts"] == 3
    front = fake(machines, terms, nothing)
    assert front.machines == () and not front.complete
    assert "no trigger net fits" in front.gaps[0]


@pytest.mark.parametrize("terms", [("parts", "length"), ("parts", "dug", "length"), TERMS])
def test_complete_is_never_said_in_vain(fake, terms):
    """Searches that prove less than they might, or find nothing: bounds alone must carry it."""
    said = []
    for seed in range(80):
        draw = random.Random(seed)

        def spoil(best, draw=draw):
            bound = {t: n - draw.choice((0, 0, 0, 1)) for t, n in best.score.items()}
            kind = draw.randrange(4)
            if kind == 0:
                return Undecided(None, bound)
            if kind == 1:
                return Undecided(best, {t: best.score[t] for t in best.score})
            return Feasible(best.machine, best.score, kind == 2, bound if kind == 3 else best.score,
                            best.system)  # fmt: skip

        machines = {k: group[:3] for k, group in world(seed).items()}
        front = fake(machines, terms, spoil)
        said.append(front.complete)
        if front.complete:
            everything = [m for group in machines.values() for m in group]
            assert values_of(front) == naive_front(everything, terms), seed
    assert 0 < sum(said) < len(said)


def test_a_gap_that_a_known_machine_covers_is_none(fake):
    """Not proven least, but the bounds leave nothing better."""
    best = made(parts=9, depth=5, length=8)

    def late(found):
        return Undecided(found, found.score)

    front = fake({"deep": [best, made(parts=12, depth=5, length=10)]}, ("parts", "length"), late)
    assert front.complete and len(front.machines) == 1


def test_time_that_ran_out_is_a_gap(fake):
    machines = {"deep": [made(parts=p, depth=5, length=40 - 2 * p) for p in range(5, 16)]}
    front = fake(machines, ("parts", "length"), budget_s=-1.0)
    assert not front.complete
    assert "time ran out" in " ".join(front.gaps)
    assert values_of(front) == {(5, 30), (15, 10)}, "both ends come first"


def test_a_search_that_was_stopped_is_not_complete():
    so_far = FrontSoFar(read_scenario(RING), ("parts",))
    so_far.found.append(made(parts=9, depth=5))
    assert not so_far.front().complete
    assert so_far.front().least == {}


# ------------------------------------------------------------------ the command


@pytest.fixture(scope="module")
def chosen(tmp_path_factory):
    """A room in which the shortest loop has more corners, hence more parts."""
    out = tmp_path_factory.mktemp("front") / "out"
    terms = "parts,depth,length"
    done = ringwright("solve", CHOICE, "--out", out, "--front", terms, "--json", "--budget", 400)
    return done, out


def test_the_front_of_a_real_room(chosen):
    done, out = chosen
    assert done.returncode == 0, done
    told = json.loads(done.stdout)
    assert told["front_complete"] is True, told["front_gaps"]
    assert told["front_terms"] == ["parts", "depth", "length"]
    scores = [m["objective"] for m in told["front"]]
    assert len(scores) == 2
    assert scores[0]["parts"] < scores[1]["parts"] and scores[0]["length"] > scores[1]["length"]
    assert told["objective"] == scores[0], "the best by `minimise`"
    assert (out / "machine.json").read_bytes() == (out / "front-1" / "machine.json").read_bytes()
    for machine, score in zip(told["front"], scores, strict=True):
        data = json.loads(Path(machine["files"]["machine"]).read_text())
        assert len(data["tape"]) == score["length"]
    html5lib.HTMLParser(strict=True).parse((out / "front.html").read_text())


def test_the_time_of_a_press_is_a_term(tmp_path):
    out = tmp_path / "out"
    done = ringwright("solve", RING, "--out", out, "--front", "length,time", "--json")
    told = json.loads(done.stdout)
    [machine] = told["front"]
    report = json.loads(ringwright("simulate", machine["files"]["machine"], "--json").stdout)
    slowest = max(p["half_ticks"] for case in report["cases"] for p in case["presses"])
    assert machine["objective"]["time"] == slowest / 2
    assert told["front_complete"] is True and not told["front_gaps"]
    assert told["front_least"]["time"] == slowest / 2
    assert "Time of a press until rest, ticks" in (out / "front.html").read_text()


def test_nothing_is_dug_less_nor_pressed_shorter_than_said():
    """Machines that were made for other ends keep the bounds of digging and time."""
    kept = 0
    for seed in range(40, 46):
        room = random_scenario_room(Random(seed), 6, 8)
        outcome = solve_room(replace(room, minimise=("dug",)), 30)
        if outcome.found is None:
            continue
        scenario = outcome.scenario
        assert outcome.found.lower_bound["dug"] > 0
        levels = {
            system.name: by_time(scenario, system, 0)
            for system in systems_over(scenario.surfaces, scenario.rules)
        }
        for order in ("parts", "corners"):
            found = solve_room(replace(room, minimise=(order,)), 30).found
            assert found is not None
            assert found.score["dug"] >= outcome.found.lower_bound["dug"]
            assert rest_after_press(found.machine) >= levels[found.system][0][0]
            kept += 1
    assert kept >= 6


ONE_RECTANGLE = """
title = "Moss gallery"
[room]
size = [14, 11, 4]
[surfaces.floor]
depth = 6
margin = 2
map = '''
..............
..o......#....
......##......
......##......
.......#....o.
....#.........
..............
.........##...
...#..........
.....o........
..............
'''
[loop]
direction = "anticlockwise"
shape = "free"
minimise = ["parts", "dug"]
"""


def test_the_least_digging_is_proven_where_bounds_of_other_systems_suffice():
    found = solve_text(ONE_RECTANGLE, 60).found
    assert found is not None and found.optimal and found.system == "flat"


def test_an_earlier_front_is_kept_or_goes_as_a_whole(chosen):
    _, out = chosen
    (out / "front-2" / "mine.txt").write_text("mine")
    before = (out / "front.html").read_bytes()
    args = ("solve", RING, "--out", out, "--front", "length")
    refused(ringwright(*args), "exists", "--force")
    assert (out / "front.html").read_bytes() == before
    done = ringwright(*args, "--force", "--quiet")
    assert done.returncode == 0
    assert "Proven complete" in done.stdout and "front-1" in done.stdout
    assert [p.name for p in (out / "front-2").iterdir()] == ["mine.txt"]
    assert (out / "front-1" / "plan.html").exists()


def test_an_impossible_room_has_an_empty_front(tmp_path):
    out = tmp_path / "out"
    (out / "front-1").mkdir(parents=True)
    (out / "front-1" / "machine.json").write_text("old")
    impossible = ROOT / "scenarios" / "impossible-parity.toml"
    args = ("solve", impossible, "--out", out, "--front", "parts", "--json", "--force")
    done = ringwright(*args)
    assert done.returncode == 3
    told = json.loads(done.stdout)
    assert told["front"] == [] and told["front_complete"] is True
    assert list(out.iterdir()) == []


def test_ctrl_c_leaves_what_was_found(tmp_path):
    """Solvers of other makers must not take the signal for themselves."""
    out = tmp_path / "out"
    terms = "dug,length,corners,parts"
    call = [sys.executable, "-m", "solver", "solve", CHOICE, "--out", out, "--front", terms]
    with subprocess.Popen(
        call,
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # Started from a shell's background, the signal would be ignored from the start.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as running:
        for line in running.stderr:
            if "least dug" in line and "accepted" in line:
                running.send_signal(signal.SIGINT)
                break
        told = running.communicate(timeout=300)[0]
    assert running.returncode == 130
    assert "interrupted" in told and "Not proven complete" in told
    assert (out / "machine.json").exists() and (out / "front-1" / "machine.json").exists()


@pytest.mark.parametrize("terms", ["", "parts,", "times", "parts,parts", "Parts"])
def test_wrong_terms(tmp_path, terms):
    done = ringwright("solve", RING, "--out", tmp_path / "out", "--front", terms)
    refused(done, "--front", "parts, depth, length, corners, dug, time")
    assert list(tmp_path.iterdir()) == []


# ------------------------------------------------------------------ the page


@pytest.fixture(scope="module")
def page():
    machines = [parse_machine(build_ring(rectangle(w, 3), snug=True), "ring") for w in (4, 6)]
    score = dict.fromkeys(TERMS, 7)
    found = [
        Feasible(m, {**score, "parts": 9 - k, "length": len(m.tape)}, True, {}, "deep")
        for k, m in enumerate(machines)
    ]
    front = Front(("parts", "length"), tuple(found), {"parts": 5}, ("parts <between> 5 and 8",))
    offers = [
        Offer(f"front-{k}", dict(f.score), build_plan(f.machine))
        for k, f in enumerate(found, start=1)
    ]
    return write_front("<b>&\"'", front, offers, "front-2")


def test_the_page_compares_side_by_side(page):
    html5lib.HTMLParser(strict=True).parse(page)
    assert "<b>" not in page and "&lt;b&gt;&amp;" in page
    assert page.count('href="front-1/plan.html"') == page.count('href="front-2/plan.html"') == 1
    assert page.count(' class="asked"') == 2
    assert "front-2 (best as the scenario asks)" in page
    assert "Not proven complete" in page and "parts &lt;between&gt; 5 and 8" in page
    assert "http" not in page.replace("http-equiv", "")


def test_the_page_in_a_browser(page, tmp_path):
    path = tmp_path / "front.html"
    path.write_text(page, encoding="utf-8")
    browser = open_browser(400, 900)
    try:
        browser.get(path.as_uri())
        assert browser.get_log("browser") == []
        width = "return document.documentElement.scrollWidth <= innerWidth"
        assert browser.execute_script(width)
        drawn = (
            "return [...document.querySelectorAll('td use')].filter(u => u.getBBox().width).length"
        )
        assert browser.execute_script(drawn) > 20
        axe = Path(os.environ.get("NODE_PATH", ""), "axe-core", "axe.min.js")
        if axe.exists():  # `.ci/run` installs it
            browser.execute_script(axe.read_text(encoding="utf-8"))
            found = browser.execute_async_script("axe.run().then(arguments[0])")
            assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
    finally:
        browser.quit()
