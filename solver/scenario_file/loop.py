"""The `[loop]` table: direction, shape, length, what to run around, what to minimise."""

from __future__ import annotations

from typing import NamedTuple

from models.geometry import Cell, step
from models.scenario import DIRECTIONS, SHAPES, TERMS, Loop, Term
from models.surface import BEHIND, SURFACES, SurfaceName, plane_of
from solver.scenario_file.draft import Draft
from solver.scenario_file.view import TomlView, closest, show

MAX_LENGTH = 1_000_000
DEFAULT_MINIMISE: tuple[Term, ...] = ("parts", "depth")
_LOOP_KEYS = ("direction", "shape", "length", "around", "minimise")


class _Around(NamedTuple):
    surface: SurfaceName
    cell: Cell


def read_loop(draft: Draft) -> Loop | None:
    view, path = draft.view, ("loop",)
    table = view.table(path, _LOOP_KEYS)
    if table is None:
        if view.get(path) is None:
            view.missing(path, "Add [loop] with direction and shape.")
        return None
    for key, options in (("direction", DIRECTIONS), ("shape", SHAPES)):
        if key not in table:
            view.missing((*path, key), "Use one of: " + ", ".join(options) + ".")
    direction = view.choice((*path, "direction"), DIRECTIONS)
    shape = view.choice((*path, "shape"), SHAPES)
    if direction:
        draft.require("loop.direction", view.key_place((*path, "direction")), f"runs {direction}")
    if shape:
        text = "no tape but on the o cells" if shape == "exact" else "any loop through the o cells"
        draft.require("loop.shape", view.key_place((*path, "shape")), text)
    low, high = _read_length(draft)
    around = _read_around(draft, shape == "free")
    minimise = _read_minimise(view)
    if direction is None or shape is None:
        return None
    return Loop(
        direction,
        shape,
        low,
        high,
        around.cell if around else None,
        around.surface if around else None,
        minimise,
    )


def _read_length(draft: Draft) -> tuple[int | None, int | None]:
    view, path = draft.view, ("loop", "length")
    if view.table(path, ("min", "max")) is None:
        return None, None
    low = view.integer((*path, "min"), 4, MAX_LENGTH)
    high = view.integer((*path, "max"), 4, MAX_LENGTH)
    if low is not None:
        draft.require("loop.length.min", view.key_place((*path, "min")), f"at least {low} cells")
    if high is not None:
        draft.require("loop.length.max", view.key_place((*path, "max")), f"at most {high} cells")
    if low is not None and high is not None and low > high:
        place, what = view.value_place((*path, "min")), "the least length exceeds the greatest"
        view.fault(place, what, f"min {low}, max {high}", "Make min the smaller one.")
    return low, high


def _read_around(draft: Draft, is_free: bool) -> _Around | None:
    view, path = draft.view, ("loop", "around")
    value = view.get(path)
    if value is None:
        given = draft.given()
        if is_free and len(given) > 1:
            remedy = f'Name a cell that ends up inside the loop, such as ["{given[0]}", 0, 0].'
            what = '"loop.around" is missing: with several surfaces a free loop needs it'
            view.fault(view.key_place(("loop",)), what, "", remedy)
        return None
    axes = "x, y on floor and ceiling, x, z on north and south, y, z on east and west"
    remedy = f"Write [surface, a, b] with the cell's coordinates: {axes}."
    if not isinstance(value, list) or len(value) != 3:
        view.fault_at(path, '"loop.around" must name a surface and a cell of it', remedy)
        return None
    name = next((n for n in SURFACES if n == value[0]), None)
    if name is None:
        word = value[0] if isinstance(value[0], str) else ""
        place = view.value_place((*path, 0))
        view.fault(place, '"loop.around" names no surface', show(value[0]), closest(word, SURFACES))
        return None
    return _around_cell(draft, name)


def _around_cell(draft: Draft, name: SurfaceName) -> _Around | None:
    view, path = draft.view, ("loop", "around")
    if name not in draft.given():
        place, remedy = view.value_place((*path, 0)), f"Add [surfaces.{name}] or name another."
        view.fault(place, "the surface of loop.around is not given", show(name), remedy)
        return None
    if draft.room is None:
        return None
    plane = plane_of(name, draft.room)
    axes = [i for i, part in enumerate(step((0, 0, 0), BEHIND[name])) if part == 0]
    numbers = [
        view.array_number(path, i + 1, 0, draft.room[axis] - 1) for i, axis in enumerate(axes)
    ]
    cell = list(plane.origin)
    for axis, number in zip(axes, numbers, strict=True):
        if number is None:
            return None
        cell[axis] = number
    around = _Around(name, (cell[0], cell[1], cell[2]))
    text = f"the cell {around.cell} of the {name} lies inside the loop"
    draft.require("loop.around", view.key_place(path), text)
    if name in draft.surfaces and draft.surfaces[name].mark_at(around.cell) == "o":
        what = "the cell of loop.around must carry tape, so it cannot lie inside the loop"
        view.fault_at(path, what, "Name a cell beside the tape.")
    return around


def _read_minimise(view: TomlView) -> tuple[Term, ...]:
    path = ("loop", "minimise")
    value = view.get(path)
    if value is None:
        return DEFAULT_MINIMISE
    if not isinstance(value, list) or not value:
        remedy = "List one or more of: " + ", ".join(TERMS) + "."
        view.fault_at(path, '"loop.minimise" must be a list of terms', remedy)
        return DEFAULT_MINIMISE
    terms: list[Term] = []
    for i, word in enumerate(value):
        place, term = view.value_place((*path, i)), next((t for t in TERMS if t == word), None)
        if term is None:
            remedy = closest(word, TERMS) if isinstance(word, str) else "Put it between quotes."
            view.fault(place, "unknown term in loop.minimise", show(word), remedy)
        elif term in terms:
            view.fault(place, "loop.minimise names a term twice", show(word), "Name it once.")
        else:
            terms.append(term)
    return tuple(terms)
