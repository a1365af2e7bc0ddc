"""The directory of a run: one file a result, each written whole, so that a run can go on.

sweep.json          marks the directory as a run's
cases/NAME.toml     every case as a scenario to run
results/NAME.json   what became of it
machines/NAME.json  the machine found
table.csv, table.parquet, summary.html
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from models.fault import InputError
from models.sweep import Case, Row
from solver.files import check_out_dir, write_new

FORMAT, VERSION = "ringwright-sweep", 1
MARK, TABLE, PARQUET, SUMMARY = "sweep.json", "table.csv", "table.parquet", "summary.html"


@dataclass(frozen=True)
class Kept:
    """What a result file holds."""

    name: str
    row: Row


_KEPT = TypeAdapter(Kept)


class Store:
    """A run's directory."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory

    def begin(self, title: str, cases: Iterable[Case], force: bool) -> None:
        """Make the directory ours and write the scenarios. A run's own directory is gone on with.

        Raises InputError rather than write among other people's files.
        """
        mine = (self.directory / MARK).is_file()
        names = () if mine else (MARK, TABLE, PARQUET, SUMMARY, "cases", "results", "machines")
        if faults := check_out_dir(self.directory, names, force):
            raise InputError(faults)
        head = {"format": FORMAT, "version": VERSION, "title": title}
        self.write(MARK, json.dumps(head) + "\n")
        for case in cases:
            path = self.scenario(case.name)
            if not path.is_file() or path.read_text("utf-8") != case.text:
                write_new(path, case.text, force=True)

    def scenario(self, name: str) -> Path:
        """The file of a case."""
        return self.directory / "cases" / f"{name}.toml"

    def machine(self, name: str) -> Path:
        """The file of a case's machine."""
        return self.directory / "machines" / f"{name}.json"

    def _result(self, name: str) -> Path:
        return self.directory / "results" / f"{name}.json"

    def keep(self, name: str, row: Row) -> None:
        """Write a result. The machine goes first: where there is a result, all of it is there."""
        if row.machine is not None:
            write_new(self.machine(name), row.machine, force=True)
        content = _KEPT.dump_json(Kept(name, replace(row, machine=None)))
        write_new(self._result(name), content + b"\n", force=True)

    def result(self, name: str) -> Row | None:
        """The result of a case, without its machine; None if there is none that can be read."""
        try:
            kept = _KEPT.validate_json(self._result(name).read_bytes())
        except (OSError, ValidationError):
            return None
        return kept.row if kept.name == name else None

    def write(self, name: str, content: bytes | str) -> Path:
        """Write one of the run's own files."""
        write_new(self.directory / name, content, force=True)
        return self.directory / name
