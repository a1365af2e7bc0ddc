"""One SVG 1.1 file a layer, each with its own symbols and legend."""

from __future__ import annotations

from models.plan import BuildPlan
from solver.sheets.drawing import sheet


def svg_files(plan: BuildPlan, revision: str) -> dict[str, str]:
    """Names and contents, in the order of the layers."""
    files = {}
    for number, layer in enumerate(plan.layers, start=1):
        level = "front" if layer.level < 0 else str(layer.level)
        name = f"layer-{number:02}-{layer.surface}-{level}.svg"
        files[name] = sheet(plan, layer, revision, alone=True)
    return files
