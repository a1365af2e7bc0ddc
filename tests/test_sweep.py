"""Sweeps: the cases, the rows, going on after a kill, and workers that die."""

from __future__ import annotations

import csv
import glob
import json
import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from pathlib import Path

import pytest

from models.fault import InputError
from models.sweep import Row
from solver.read_scenario import parse_scenario
from solver.sweep import pools
from solver.sweep.cases import cases_of
from solver.sweep.read import read_sweep
from solver.sweep.run import left_to_do, work_off
from solver.sweep.store import Store
from solver.sweep.sweep import Workers, sweep_file
from tests.browser import open_browser
from tests.test_cli_input import ROOT, refused, ringwright

RING = (ROOT / "scenarios" / "first-ring.toml").read_text("utf-8")
QUICK = """
title = "Quick"
rooms = ["ring.toml"]
[vary]
"surfaces.floor.depth" = [4, 5, 6]
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "ring.toml").write_text(RING)
    (tmp_path / "quick.toml").write_text(QUICK)
    return tmp_path


def sweep(folder, text=QUICK):
    path = folder / "sweep.toml"
    path.write_text(text)
    return read_sweep(path)


def solve(folder, name="quick.toml", out="run", workers=None, say=lambda line: None):
    return sweep_file(
        folder / name, folder / out, workers or Workers(1),
        budget_s=120, seed=0, force=False, say=say,
    )  # fmt: skip


def table(folder, out="run"):
    with (folder / out / "table.csv").open(newline="") as stream:
        return list(csv.DictReader(stream))


# ------------------------------------------------------------------ what is asked


def test_every_combination_is_a_case_that_reads_as_asked(folder):
    (folder / "two.toml").write_text(RING)
    asked = sweep(folder, """
        rooms = ["ring.toml", "t*.toml"]
        [vary]
        "loop.direction" = ["clockwise", "anticlockwise"]
        "loop.length" = [{ max = 8 }, { min = 8, max = 12 }, { min = 4 }]
        [rule_sets.usual]
        [rule_sets.weak]
        push_limit = 6
    """)  # fmt: skip
    cases = cases_of(asked, 10, 0)
    assert len(cases) == 2 * 2 * 3 * 2
    seen = set()
    for case in cases:
        scenario = parse_scenario(case.text, folder / "ring.toml")
        length = case.values["loop.length"]
        assert scenario.loop.direction == case.values["loop.direction"]
        assert scenario.loop.min_length == length.get("min")
        assert scenario.loop.max_length == length.get("max")
        assert scenario.rules.push_limit == {"usual": 12, "weak": 6}[case.rule_set]
        seen.add((case.room, case.rule_set, str(case.values)))
    assert len(seen) == len(cases)


def test_a_case_keeps_the_lines_of_its_room(folder):
    case = cases_of(sweep(folder), 10, 0)[0]
    before, after = RING.splitlines(), case.text.splitlines()
    assert [a for a, b in zip(before, after, strict=True) if a != b] == ["depth = 6"]


def test_a_result_counts_for_the_very_same_question_only(folder):
    names = {c.name for c in cases_of(sweep(folder), 10, 0)}
    assert len(names) == 3
    assert not names & {c.name for c in cases_of(sweep(folder), 11, 0)}
    assert not names & {c.name for c in cases_of(sweep(folder), 10, 1)}
    assert names == {c.name for c in cases_of(sweep(folder), 10, 0)}


def test_another_picture_is_another_question(folder):
    text = RING.split('map = """')[0] + 'image = "floor.png"\n[loop]\n' + RING.split("[loop]")[1]
    (folder / "ring.toml").write_text(text)
    names = []
    for content in (b"one", b"two"):
        (folder / "floor.png").write_bytes(content)
        case = cases_of(sweep(folder), 10, 0)[0]
        assert str((folder / "floor.png").resolve()) in case.text
        names.append(case.name)
    assert names[0] != names[1]


def test_a_wrong_sweep_file_tells_all_its_faults(folder):
    with pytest.raises(InputError) as caught:
        sweep(folder, """
            rooms = ["none-such-*.toml"]
            colour = "red"
            [vary]
            "surfaces.floor.depth" = 4
            [rule_sets]
            usual = 3
        """)  # fmt: skip
    told = str(caught.value)
    for words in ("no file has such a name", "unknown key", "list of values", "must be a table"):
        assert words in told


def test_patterns_are_seen_from_the_sweep_file_whatever_its_folder_is_called(tmp_path):
    folder = tmp_path / "odd [name]*"
    (folder / "rooms").mkdir(parents=True)
    for name in ("b", "a"):
        (folder / "rooms" / f"{name}.toml").write_text(RING)
    (folder / "rooms" / "sweeps").mkdir()
    asked = sweep(folder / "rooms" / "sweeps", 'rooms = ["../?.toml", "../a.toml"]')
    assert asked.rooms == tuple(str(folder / "rooms" / name) for name in ("a.toml", "b.toml"))
    far = sweep(folder, f'rooms = ["{glob.escape(str(folder))}/rooms/?.toml"]')
    assert far.rooms == asked.rooms


# ------------------------------------------------------------------ what comes out


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    """A run over rooms of which some are wrong."""
    folder = tmp_path_factory.mktemp("mixed")
    (folder / "ring.toml").write_text(RING)
    (folder / "torn.toml").write_text(RING.replace("size = [9, 9, 4]", "size = [9, 9"))
    (folder / "wall.toml").write_text(RING.replace("surfaces.floor", "surfaces.north"))
    (folder / "mixed.toml").write_text("""
        rooms = ["gone.toml", "torn.toml", "ring.toml", "wall.toml"]
        [vary]
        "surfaces.floor.depth" = [4, 5, "deep"]
    """)
    report = solve(folder, "mixed.toml")
    assert report.counts() == {"feasible": 1, "infeasible": 1, "wrong": 10}
    return folder


def test_rows_tell_verdicts_and_a_wrong_scenario_is_a_row(mixed):
    rows = {(Path(r["room"]).name, r["surfaces.floor.depth"]): r for r in table(mixed)}
    assert len(rows) == 12
    found = rows["ring.toml", "5"]
    assert (found["result"], found["optimal"], found["parts"]) == ("feasible", "true", "89")
    machine = json.loads((mixed / "run" / found["machine"]).read_text())
    assert machine["format"] == "ringwright-machine"
    assert "depth 4" in rows["ring.toml", "4"]["reasons"]
    assert "whole number" in rows["ring.toml", "deep"]["errors"]
    assert "no such file" in rows["gone.toml", "4"]["errors"]
    assert "not valid TOML" in rows["torn.toml", "4"]["errors"]
    assert "no [surfaces.floor]" in rows["wall.toml", "4"]["errors"]


def test_parquet_holds_the_same_table(mixed):
    parquet = pytest.importorskip("pyarrow.parquet")
    kept = parquet.read_table(mixed / "run" / "table.parquet").to_pylist()
    rows = table(mixed)
    assert [list(row) for row in kept] == [list(row) for row in rows]
    for typed, text in zip(kept, rows, strict=True):
        assert ("" if typed["parts"] is None else str(typed["parts"])) == text["parts"]
        assert isinstance(typed["seconds"], float)
        assert typed["optimal"] in (None, True)


def test_the_summary_asks_for_nothing_and_shows_every_case(mixed):
    with open_browser() as browser:
        browser.get((mixed / "run" / "summary.html").as_uri())
        cells = browser.find_elements("css selector", ".grid td")
        signs = [" ".join(cell.text.split()) for cell in cells]
        ring = ["✕ infeasible", "● 89* feasible", "! wrong"]
        assert signs == ["! wrong"] * 6 + ring + ["! wrong"] * 3
        assert "no such file" in browser.find_element("tag name", "main").text
        assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0


def test_the_command(folder):
    refused(ringwright("sweep", folder / "none.toml", "--out", folder / "run"), "no such file")
    (folder / "run").mkdir()
    (folder / "run" / "table.csv").write_text("mine")
    refused(ringwright("sweep", folder / "quick.toml", "--out", folder / "run"), "exists")
    (folder / "quick.toml").write_text(QUICK.replace("[4, 5, 6]", "[]"))
    refused(ringwright("sweep", folder / "quick.toml", "--out", folder / "run"), "list of values")
    assert (folder / "run" / "table.csv").read_text() == "mine"


# ------------------------------------------------------------------ going on


def results(folder, out="run"):
    return {path.name: path.stat().st_mtime_ns for path in (folder / out / "results").glob("*")}


def running_sweep(folder):
    call = [sys.executable, "-m", "solver", "sweep", folder / "quick.toml", "--out", folder / "run"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [*map(str, call), "--workers", "1", "--budget", "120"],
        env=environment, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip


def worker_of(pid):
    """The process in which a sweep's cases run: the child that is no resource tracker."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):  # it may have ended
            parent = (process / "stat").read_text().rpartition(")")[2].split()[1]
            if int(parent) == pid and b"spawn_main" in (process / "cmdline").read_bytes():
                found.append(int(process.name))
    (worker,) = found
    return worker


def test_a_killed_run_goes_on_where_it_was_and_outlives_its_worker(folder):
    with running_sweep(folder) as running:
        assert running.stderr.readline().startswith("1/3 ")
        os.killpg(running.pid, signal.SIGKILL)
    kept = results(folder)
    assert 1 <= len(kept) < 3
    some = folder / "run" / "results" / min(kept)
    assert json.loads(some.read_text())["row"]["result"] in ("feasible", "infeasible")
    told, killed = [], False
    with running_sweep(folder) as running:
        for line in running.stderr:
            told.append(line.strip())
            if not killed and line.startswith("2/3 "):
                os.kill(worker_of(running.pid), signal.SIGKILL)
                killed = True
    assert running.returncode == 0
    assert killed or len(kept) == 2
    assert f"{len(kept)} of 3 cases have results already" in told
    assert sorted(row["result"] for row in table(folder)) == ["feasible", "feasible", "infeasible"]
    after = results(folder)
    assert len(after) == 3
    assert {name: after[name] for name in kept} == kept


def test_a_result_that_cannot_be_read_is_made_again(folder):
    cases = cases_of(sweep(folder), 120, 0)
    store = Store(folder / "run")
    store.begin("x", cases, force=False)
    for case in cases:
        store.keep(case.name, Row("infeasible"))
    broken = store.directory / "results" / f"{cases[0].name}.json"
    broken.write_text('{"name": "half')
    other = store.directory / "results" / f"{cases[1].name}.json"
    other.write_text(other.read_text().replace(cases[1].name, cases[2].name))
    run = left_to_do(cases, store, 120, 0, lambda line: None)
    assert {job.name for job in run.waiting} == {cases[n].name for n in (0, 1)}
    assert run.done == 1
    store.keep(cases[2].name, Row("failed", errors=("lost",)))
    assert not left_to_do(cases, store, 120, 0, lambda line: None).done


# ------------------------------------------------------------------ workers that die


class Brittle:
    """Breaks, with all it is at, whenever it is given a poisoned case."""

    def __init__(self, poison):
        self.poison, self.broken, self.renewed, self.out = poison, False, 0, []

    def submit(self, job):
        if self.broken:
            raise BrokenProcessPool
        future = Future()
        self.out.append((future, job))
        if job.name == self.poison:
            self.broken = True
            for waiting, _ in self.out:
                waiting.set_exception(BrokenProcessPool())
            self.out.clear()
        elif len(self.out) > 1 or self.renewed:
            for waiting, known in self.out:
                waiting.set_result(Row("infeasible", worker=known.name))
            self.out.clear()
        return future

    def at_once(self):
        return 2

    def renew(self):
        self.broken = False
        self.renewed += 1

    def close(self):
        pass


@pytest.mark.parametrize("poisoned", range(3))
def test_only_the_case_that_breaks_workers_fails(folder, poisoned):
    cases = cases_of(sweep(folder), 120, 0)
    store = Store(folder / "run")
    store.begin("x", cases, force=False)
    pool = Brittle(cases[poisoned].name)
    work_off(left_to_do(cases, store, 120, 0, lambda line: None), pool)
    found = [store.result(case.name) for case in cases]
    assert [row.result for row in found].count("failed") == 1
    assert found[poisoned].result == "failed"
    assert "died twice" in found[poisoned].errors[0]
    assert pool.renewed == 2


def test_a_cluster_that_loses_a_worker_finishes(folder):
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    )
    with cluster, distributed.Client(cluster, set_as_default=False) as client:
        workers = list(client.run(os.getpid).values())
        assert len(set(workers)) == 2
        first = threading.Event()

        def kill():
            first.wait(120)
            os.kill(workers[0], signal.SIGKILL)

        killer = threading.Thread(target=kill)
        killer.start()
        report = solve(
            folder,
            workers=Workers(cluster=cluster.scheduler_address),
            say=lambda line: first.set() if line.startswith("1/") else None,
        )
        killer.join()
        deadline = time.monotonic() + 60
        while workers[0] in client.run(os.getpid).values() and time.monotonic() < deadline:
            time.sleep(0.1)
        assert workers[0] not in client.run(os.getpid).values()
    assert report.counts() == {"feasible": 2, "infeasible": 1}
    assert not any(row.worker.endswith(f":{os.getpid()}") for _, row in report.rows)


def test_a_worker_beside_another_models_finds_ours(tmp_path):
    """python-sat installs a script models.py into the folder that the script `dask` is in."""
    (tmp_path / "models.py").write_text("raise SystemExit('not ours')")
    code = f"""
import sys
sys.path[:0] = [{str(tmp_path)!r}, {str(ROOT)!r}]
from solver.sweep.remote import solve_plain
print(solve_plain("x", sys.stdin.read(), "ring.toml", 100.0, 0).result)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], input=RING, capture_output=True, text=True, check=True
    )
    assert done.stdout == "feasible\n"


def test_no_cluster_there(folder, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(pools, "CONNECT_S", 0.5)
    with pytest.raises(InputError, match="no scheduler"):
        solve(folder, workers=Workers(cluster="tcp://127.0.0.1:9"))
