"""The rows of a sweep as one table: CSV (RFC 4180) always, Parquet where pyarrow is installed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

from models.scenario import TERMS
from models.sweep import Case, Row, Sweep, Value
from solver.sweep.store import PARQUET, TABLE, Store

Plain = str | int | float | bool | None
Columns = dict[str, list[Plain]]


def columns_of(sweep: Sweep, rows: Sequence[tuple[Case, Row]], store: Store) -> Columns:
    """The table, column by column; None where there is nothing to tell."""
    table: Columns = {
        "case": [case.name for case, _ in rows],
        "room": [case.room for case, _ in rows],
        "rule_set": [case.rule_set for case, _ in rows],
    }
    for axis in sweep.axes:
        table[axis.name] = _alike([case.values[axis.name] for case, _ in rows])
    table["result"] = [row.result for _, row in rows]
    table["optimal"] = [row.optimal if row.score else None for _, row in rows]
    for term in TERMS:
        table[term] = [row.score.get(term) for _, row in rows]
    for term in TERMS:
        table[f"least_{term}"] = [row.lower_bound.get(term) for _, row in rows]
    table["system"] = [row.system or None for _, row in rows]
    table["reasons"] = ["; ".join(row.reasons) or None for _, row in rows]
    table["errors"] = ["; ".join(row.errors) or None for _, row in rows]
    table["seconds"] = [row.seconds for _, row in rows]
    table["cpu_seconds"] = [row.cpu_seconds for _, row in rows]
    table["worker"] = [row.worker or None for _, row in rows]
    table["scenario"] = [_beside(store.scenario(case.name), store) for case, _ in rows]
    table["machine"] = [
        _beside(store.machine(case.name), store) if row.score else None for case, row in rows
    ]
    return table


def _alike(values: Sequence[Value]) -> list[Plain]:
    """Values of one plain type as they are, others as JSON text."""
    kinds = {type(value) for value in values}
    if len(kinds) == 1 and kinds <= {str, int, float, bool}:
        return [value for value in values if not isinstance(value, list | dict)]
    return [word(value) for value in values]


def word(value: Value) -> str:
    """A value in words: texts bare, all else as JSON."""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


def _beside(path: Path, store: Store) -> str:
    return path.relative_to(store.directory).as_posix()


def write_tables(columns: Columns, store: Store) -> list[Path]:
    """Write the table in every form that there is a library for."""
    written = [store.write(TABLE, _csv(columns))]
    parquet = _parquet(columns)
    if parquet is not None:
        written.append(store.write(PARQUET, parquet))
    return written


def _csv(columns: Columns) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(value) for value in row] for row in _lines(columns))
    return stream.getvalue()


def _lines(columns: Columns) -> Iterable[tuple[Plain, ...]]:
    return zip(*columns.values(), strict=True)


def _cell(value: Plain) -> Plain:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else value


def _parquet(columns: Columns) -> bytes | None:
    """The same columns with their types; None without pyarrow."""
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        return None
    table = pyarrow.table(dict(columns))
    sink = pyarrow.BufferOutputStream()
    parquet.write_table(table, sink)
    return bytes(sink.getvalue().to_pybytes())
