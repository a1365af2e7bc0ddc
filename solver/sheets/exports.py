"""The files that `ringwright sheets` writes beside a machine."""

from __future__ import annotations

from pathlib import Path

from models.fault import Fault, InputError
from models.plan import BuildPlan
from solver.files import check_out_dir, write_new
from solver.machine_file import read_machine
from solver.plan.plan import build_plan
from solver.plan.words import revision
from solver.sheets.export_csv import csv_files
from solver.sheets.export_gltf import write_gltf
from solver.sheets.export_json import json_files
from solver.sheets.export_pdf import find_browser, print_pdf
from solver.sheets.export_svg import svg_files
from solver.sheets.page import write_page
from solver.sheets.text import write_sheets

FORMS = ("page", "text", "pdf", "svg", "csv", "gltf", "json")


def export(place: Path, forms: tuple[str, ...], paper: str, force: bool) -> list[Path]:
    """Write the forms that are asked for beside the machine; the paths of the files."""
    path = place / "machine.json" if place.is_dir() else place
    if "pdf" in forms:
        find_browser()
    plan = build_plan(read_machine(path))
    contents: dict[str, str | bytes] = {}
    for form in forms:
        contents.update(_contents(plan, form, paper))
    if faults := check_out_dir(path.parent, contents, force):
        raise InputError(faults)
    for name, content in contents.items():
        write_new(path.parent / name, content, force)
    return [path.parent / name for name in contents]


def _contents(plan: BuildPlan, form: str, paper: str) -> dict[str, str | bytes]:
    match form:
        case "page":
            return {"plan.html": write_page(plan, paper)}
        case "text":
            return {"plan.txt": write_sheets(plan)}
        case "pdf":
            return {"plan.pdf": print_pdf(write_page(plan, paper))}
        case "svg":
            return {**svg_files(plan, revision(plan))}
        case "csv":
            return {**csv_files(plan)}
        case "gltf":
            return {"machine.gltf": write_gltf(plan)}
        case "json":
            return {**json_files(plan)}
    raise InputError([Fault("--as", 0, 0, "unknown form", form, f"One of: {', '.join(FORMS)}.")])
