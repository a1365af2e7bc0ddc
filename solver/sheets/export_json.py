"""The plan as JSON, with the JSON Schemas (2020-12) of the plan and of the machine file."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from models.plan import BuildPlan, Piece, Step
from solver.plan.words import caution_lines, revision, symbol, test_lines

SCHEMAS = ("machine.schema.json", "plan.schema.json")


def json_files(plan: BuildPlan) -> dict[str, str]:
    """Names and contents."""
    return {"plan.json": write_plan_json(plan), **{name: schema(name) for name in SCHEMAS}}


def schema(name: str) -> str:
    """The text of a published schema."""
    return resources.files("solver").joinpath("data", "schema", name).read_text("utf-8")


def write_plan_json(plan: BuildPlan) -> str:
    """The text of `plan.json`."""
    timing = plan.timing
    content = {
        "format": "ringwright-plan",
        "version": 1,
        "title": plan.machine.title,
        "revision": revision(plan),
        "surfaces": plan.surfaces,
        "counts": {count.kind: count.number for count in plan.counts},
        "dug_volume": plan.dug_volume,
        "depth": plan.depth,
        "cautions": caution_lines(plan),
        "timing": timing
        and {
            "press": 2 * timing.press_ticks,
            "flush": timing.flush_half_ticks,
            "rest": timing.rest_half_ticks,
            "interval": timing.interval_half_ticks,
            "skew": timing.skew_half_ticks,
        },
        "openings": [{"cells": o.cells, "spans": o.spans} for o in plan.openings],
        "strokes": [{"at": m.at, "out": m.pushes, "back": m.returns} for m in plan.movers],
        "steps": [_step(step) for step in plan.steps],
    }
    return json.dumps(content, indent=1) + "\n"


def _step(step: Step) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "number": step.number,
        "stage": step.stage,
        "group": step.group,
        "surface": step.surface,
        "level": step.level,
        "dig": [{"min": box.low, "max": box.high} for box in step.boxes],
        "place": [_piece(piece) for piece in step.pieces],
    }
    if step.test:
        entry["test"] = test_lines(step.test)
    return entry


def _piece(piece: Piece) -> dict[str, Any]:
    entry: dict[str, Any] = {"kind": piece.kind, "at": piece.at, "sign": symbol(piece)}
    for key in ("face", "delay", "press", "unit"):
        value = getattr(piece, key)
        if value not in (None, ""):
            entry[key] = value
    return entry
