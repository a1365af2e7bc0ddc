"""Read a scenario file: every requirement with its place, or every fault in one go."""

from __future__ import annotations

from pathlib import Path

from models.fault import Fault, ScenarioError
from models.geometry import Cell
from models.rules import Rules
from models.scenario import Scenario, cell_requirement
from models.surface import SURFACES, Mark, Surface, SurfaceName, plane_of
from solver.scenario_file.draft import Draft
from solver.scenario_file.drawing import drawing_faults, neighbours
from solver.scenario_file.head import read_rules, read_size, read_title
from solver.scenario_file.loop import read_loop
from solver.scenario_file.maps import Colours, read_legend, read_map
from solver.scenario_file.view import TomlView, read_text

MAX_SIDE = 256
MAX_DEPTH = 64
MAX_BUTTONS = 20
"""So many marks of buttons are looked at one by one."""
MAX_EXACT = 10_000
"""Cells of an exact drawing, at most: they are looked at one by one, several times."""
MARK_TEXT: dict[Mark, str] = {
    "o": "tape must run here",
    "#": "the cover stays: no tape here",
    "=": "untouched: no tape here, nothing dug behind it",
    "@": "the button stands here",
}
_ROOT_KEYS = ("title", "room", "surfaces", "loop", "rules", "legend")
_SURFACE_KEYS = ("depth", "margin", "map", "image")


def read_scenario(path: Path | str) -> Scenario:
    """The scenario in a file. Raises ScenarioError with all faults found."""
    path = Path(path)
    text = read_text(path)
    if isinstance(text, Fault):
        raise ScenarioError([text])
    return parse_scenario(text, path)


def parse_scenario(text: str, path: Path) -> Scenario:
    """The scenario in a text; `path` names it and is where pictures are looked up."""
    view = TomlView(str(path), text)
    if view.faults:
        raise ScenarioError(view.faults)
    if not view.root:
        remedy = "Run `ringwright new FILE` for one to start from."
        raise ScenarioError([Fault(str(path), 1, 1, "the scenario is empty", "", remedy)])
    draft = Draft(view)
    view.table((), _ROOT_KEYS)
    title = read_title(view, path)
    draft.room = _read_room(draft)
    _read_surfaces(draft, read_legend(view))
    button = _read_button(draft)
    loop = read_loop(draft)
    rules = read_rules(view)
    if rules is not None:
        _require_rules(draft, rules)
    if loop is not None and loop.shape == "exact":
        _check_drawing(draft)
    if view.faults:
        raise ScenarioError(view.faults)
    assert draft.room and loop and rules, "a scenario without faults is whole"
    return Scenario(
        title, path, draft.room, button, draft.surfaces, loop, rules, draft.requirements
    )


def _read_room(draft: Draft) -> Cell | None:
    view, path = draft.view, ("room", "size")
    remedy = "Write size = [x, y, z], the cells of air inside."
    if view.table(("room",), ("size", "button")) is None:
        if view.get(("room",)) is None:
            view.missing(("room",), "Add [room] with " + remedy[6:])
        return None
    size = read_size(view, path, 1, MAX_SIDE, remedy)
    if size is None:
        return None
    x, y, z = size
    draft.require("room.size", view.key_place(path), f"the room is {x} x {y} x {z} cells")
    return (x, y, z)


def _read_surfaces(draft: Draft, colours: Colours) -> None:
    view = draft.view
    table = view.table(("surfaces",), SURFACES)
    if not draft.given() and (table is not None or view.get(("surfaces",)) is None):
        remedy = "Add a table such as [surfaces.floor] with depth and map."
        view.fault(view.key_place(("surfaces",)), "no surface is given", "", remedy)
    for name in draft.given():
        _read_surface(draft, name, colours)


def _read_surface(draft: Draft, name: SurfaceName, colours: Colours) -> None:
    view, path = draft.view, ("surfaces", name)
    if view.table(path, _SURFACE_KEYS) is None:
        return
    if view.get((*path, "depth")) is None:
        view.missing((*path, "depth"), "Say how many cells behind the surface may be dug.")
    depth = view.integer((*path, "depth"), 0, MAX_DEPTH)
    margin = view.integer((*path, "margin"), 0, MAX_DEPTH)
    margin = margin or 0
    plane = plane_of(name, draft.room) if draft.room else None
    drawn = read_map(view, path, plane, colours)
    if drawn is None:
        return
    draft.maps[name] = drawn
    if depth is None or plane is None or not drawn.is_sound:
        return
    draft.surfaces[name] = Surface(name, depth, margin, drawn.marks, plane)
    key = ".".join(path)
    place = view.key_place((*path, "depth"))
    draft.require(f"{key}.depth", place, f"the {name} may be dug {depth} cells deep")
    place = view.key_place((*path, "margin"))
    draft.require(f"{key}.margin", place, f"{margin} cells beyond the {name}'s rim may be dug")
    for r, row in enumerate(drawn.marks):
        for c, mark in enumerate(row):
            if mark in MARK_TEXT:
                draft.require(cell_requirement(name, r, c), drawn.place(r, c), MARK_TEXT[mark])


def _read_button(draft: Draft) -> SurfaceName | None:
    """Where the button must stand: by `room.button`, by a mark, or anywhere."""
    view, path = draft.view, ("room", "button")
    name = view.choice(path, SURFACES)
    if name is not None:
        draft.require("room.button", view.key_place(path), f"the button stands on the {name}")
        if name not in draft.given():
            remedy = f"Add [surfaces.{name}] or name a surface that is given."
            view.fault_at(path, "the button's surface is not given", remedy)
    marked = [
        (surface, r, c)
        for surface, drawn in draft.maps.items()
        for r, row in enumerate(drawn.marks)
        for c, mark in enumerate(row)
        if mark == "@"
    ]
    for i, (surface, r, c) in enumerate(marked[: MAX_BUTTONS + 1]):
        place = draft.maps[surface].place(r, c)
        if i == MAX_BUTTONS:
            more = f"and {len(marked) - i} more buttons"
            view.fault(place, more, '"@"', "A machine has one button: keep one mark @.")
        elif i > 0:
            first = draft.maps[marked[0][0]].place(*marked[0][1:])
            what = f"another button; the first one is in line {first.line}, column {first.column}"
            view.fault(place, what, '"@"', "A machine has one button: keep one mark @.")
        if name is not None and surface != name:
            what = f"the button is marked on the {surface}, but room.button is {name}"
            remedy = f'Move the mark or write button = "{surface}".'
            view.fault(place, what, '"@"', remedy)
    return name or (marked[0][0] if marked else None)


def _check_drawing(draft: Draft) -> None:
    """The faults of an exact drawing, once all of its maps could be read."""
    view = draft.view
    sound = {name: drawn for name, drawn in draft.maps.items() if drawn.is_sound}
    if draft.room is None or set(draft.given()) != set(sound):
        return
    drawn_cells = sum(row.count("o") for drawn in sound.values() for row in drawn.marks)
    if drawn_cells > MAX_EXACT:
        what = f"an exact shape of {drawn_cells} cells is more than can be worked with"
        view.fault_at(("loop", "shape"), what, f"Mark at most {MAX_EXACT} cells, or draw it free.")
        return
    planes = {name: plane_of(name, draft.room) for name in sound}
    places = {
        planes[name].cell(r, c): drawn.place(r, c)
        for name, drawn in sound.items()
        for r, row in enumerate(drawn.marks)
        for c, mark in enumerate(row)
        if mark == "o"
    }
    if not places:
        remedy = 'Mark the loop\'s cells with o, or set shape = "free".'
        view.fault_at(
            ("loop", "shape"), "an exact shape needs cells of mark o; there are none", remedy
        )
        return
    near = neighbours(frozenset(places), planes)
    view.faults += drawing_faults({cell: near[cell] for cell in places}, places)


def _require_rules(draft: Draft, rules: Rules) -> None:
    given = draft.view.get(("rules",))
    for name in Rules.model_fields:
        default = "" if isinstance(given, dict) and name in given else " (default)"
        text = f"{name} is {getattr(rules, name)}{default}"
        draft.require(f"rules.{name}", draft.view.key_place(("rules", name)), text)
