"""The lists of a plan as CSV (RFC 4180): comma, CRLF, quotes doubled, a heading in line 1."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from models.plan import BuildPlan
from solver.plan.words import symbol


def csv_files(plan: BuildPlan) -> dict[str, str]:
    """Names and contents: what to buy, what to place in which order, what to dig."""
    return {"parts.csv": _parts(plan), "order.csv": _order(plan), "digging.csv": _digging(plan)}


def _parts(plan: BuildPlan) -> str:
    rows = [(count.kind, count.number, *count.stacks) for count in plan.counts]
    return _text(("kind", "count", "stacks", "rest"), rows)


def _order(plan: BuildPlan) -> str:
    head = ("step", "stage", "surface", "level", "kind", "x", "y", "z", "face", "delay", "press")
    rows = [
        (
            step.number,
            step.stage,
            step.surface,
            step.level,
            piece.kind,
            *piece.at,
            piece.face or "",
            "" if piece.delay is None else piece.delay,
            "" if piece.press is None else piece.press,
            piece.unit,
            symbol(piece),
        )
        for step in plan.steps
        for piece in step.pieces
    ]
    return _text((*head, "unit", "sign"), rows)


def _digging(plan: BuildPlan) -> str:
    head = ("x_min", "y_min", "z_min", "x_max", "y_max", "z_max", "cells")
    return _text(head, [(*box.low, *box.high, box.volume()) for box in plan.machine.dug])


def _text(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows(rows)
    return stream.getvalue()
