"""The order in which to build: what stands on what comes first, rams before their power."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from models.geometry import FACES, VECTOR, Cell, add, step
from models.machine import Case, Machine
from models.parts import FULL, RAMS
from models.plan import STAGES, Group, Piece, StageName, StageTest, Step
from models.surface import SURFACES
from solver.plan.layers import Home, Homes, pieces_of
from solver.plan.watch import look_test, partial, press_test, pulse_test
from solver.simulate import Simulation, Stroke

Key = tuple[int, int, int, int]
"""Stage, surface, place of the level in the order, group; steps come in this order."""
GROUPS: tuple[Group, ...] = (
    "dig",
    "early",
    "supports",
    "line",
    "rams",
    "power",
    "tape",
    "covers",
    "trigger",
)
_GROUP_OF: dict[str, Group] = {
    "block": "supports",
    "insulator": "supports",
    "cover": "supports",
    "sensor": "line",
    "wire": "line",
    "buffer": "line",
    "push_ram": "rams",
    "grip_ram": "rams",
    "inverter": "power",
    "button": "trigger",
}
TRIES = 4
"""How often to look for an order that closes no way in."""
LAST = 10_000
"""Beyond every level."""
NEAR = 4
"""Cells around a ram that can have a part in its idle power."""


def support_of(piece: Piece) -> Cell | None:
    """The cell that must hold a full block before the piece can be placed."""
    if piece.kind in ("wire", "buffer"):
        return step(piece.at, "-z")
    if piece.kind in ("inverter", "button") and piece.face is not None:
        return step(piece.at, piece.face)
    return None


def build_steps(machine: Machine, homes: Homes, line_wire: Cell | None) -> tuple[Step, ...]:
    """Digging, then every piece of the machine, in an order in which each can be placed."""
    pieces = {piece.at: piece for piece in pieces_of(machine)}
    closing = _closing_pieces(machine, pieces)
    early: frozenset[Cell] = frozenset()
    steps = _place_steps(machine, pieces, homes, closing, early)
    for _ in range(TRIES):
        sealed = {cell for step_ in steps for cell in step_.sealed} - early
        if not sealed:
            break
        # A way in counts for more than the ram that stands before its power: it is still empty
        # in front of the ram, so it only puts its head out.
        early |= sealed
        closing = {cell: rams for cell, rams in closing.items() if cell not in early}
        steps = _place_steps(machine, pieces, homes, closing, early)
    steps = _as_one(steps, "trigger")
    numbered = [
        replace(step_, number=number)
        for number, step_ in enumerate(_dig_steps(machine, homes) + steps, start=1)
    ]
    return _with_tests(machine, numbered, line_wire)


def _dig_steps(machine: Machine, homes: Homes) -> list[Step]:
    boxes = defaultdict(list)
    for box in machine.dug:
        name, level = min(homes[box.low], homes[box.high], key=lambda home: home[1])
        boxes[name].append((level, box))
    return [
        Step(0, "dig", "dig", name, 1, boxes=tuple(box for _, box in sorted(boxes[name])))
        for name in homes.surfaces
        if boxes[name]
    ]


# ------------------------------------------------------------------ the order


@dataclass(frozen=True)
class _Needs:
    """What must be there before each piece."""

    before: Mapping[Cell, frozenset[Cell]]
    after: Mapping[Cell, frozenset[Cell]]


def _place_steps(
    machine: Machine,
    pieces: Mapping[Cell, Piece],
    homes: Homes,
    closing: Mapping[Cell, frozenset[Cell]],
    early: frozenset[Cell],
) -> list[Step]:
    needs = _needs(pieces, closing)
    keys = _keys(pieces, homes, closing, needs, early)
    waiting = {cell: len(needs.before[cell]) for cell in pieces}
    ready: dict[Key, list[Cell]] = defaultdict(list)
    for cell, count in waiting.items():
        if count == 0:
            ready[keys[cell]].append(cell)
    free = set(machine.dug_cells) | set(pieces)
    steps = []
    while ready:
        key = min(ready)
        way = _flood(machine, free)
        placed = _take(key, ready, waiting, needs, keys, way)
        sealed = []
        for cell in placed:
            if cell not in way and not machine.in_room(cell):
                sealed.append(cell)
            free.discard(cell)
            if GROUPS[key[3]] in ("early", "trigger"):
                # What stands on a piece of the same step can close the way to itself.
                way = _flood(machine, free)
        steps.append(_step(key, [pieces[cell] for cell in placed], tuple(sealed), homes))
    assert not any(waiting.values()), "supports go round in a ring"
    return steps


def _take(
    key: Key,
    ready: dict[Key, list[Cell]],
    waiting: dict[Cell, int],
    needs: _Needs,
    keys: Mapping[Cell, Key],
    way: Mapping[Cell, int],
) -> list[Cell]:
    """Everything of one key that can be placed now, also what that makes possible.

    The farthest from the room comes first, so that no piece closes the way to the next.
    """
    placed: list[Cell] = []
    while key in ready:
        for cell in sorted(ready.pop(key), key=lambda c: (-way.get(c, 0), c[2], c[1], c[0])):
            placed.append(cell)
            for later in needs.after[cell]:
                waiting[later] -= 1
                if waiting[later] == 0:
                    ready[keys[later]].append(later)
    return placed


def _step(key: Key, pieces: list[Piece], sealed: tuple[Cell, ...], homes: Homes) -> Step:
    level = homes[pieces[0].at][1]
    return Step(
        0, STAGES[key[0]], GROUPS[key[3]], SURFACES[key[1]], level, tuple(pieces), sealed=sealed
    )


def _as_one(steps: list[Step], stage: StageName) -> list[Step]:
    """All steps of a stage as a single one."""
    own = [step_ for step_ in steps if step_.stage == stage]
    if not own:
        return steps
    pieces = tuple(piece for step_ in own for piece in step_.pieces)
    sealed = tuple(cell for step_ in own for cell in step_.sealed)
    whole = replace(own[0], pieces=pieces, sealed=sealed)
    return [s for s in steps if s.stage != stage] + [whole]


def _needs(pieces: Mapping[Cell, Piece], closing: Mapping[Cell, frozenset[Cell]]) -> _Needs:
    before: dict[Cell, set[Cell]] = {cell: set() for cell in pieces}
    for cell, piece in pieces.items():
        mount = support_of(piece)
        if mount is not None and mount in pieces and pieces[mount].kind in FULL:
            before[cell].add(mount)
    for cell, rams in closing.items():
        before[cell] |= rams
    after: dict[Cell, set[Cell]] = {cell: set() for cell in pieces}
    for cell, earlier in before.items():
        for other in earlier:
            after[other].add(cell)
    return _Needs(
        {cell: frozenset(found) for cell, found in before.items()},
        {cell: frozenset(found) for cell, found in after.items()},
    )


def _keys(
    pieces: Mapping[Cell, Piece],
    homes: Homes,
    closing: Mapping[Cell, frozenset[Cell]],
    needs: _Needs,
    early: frozenset[Cell],
) -> dict[Cell, Key]:
    """The key of every piece; a support is never later than what it carries."""
    trigger = _trigger_cells(pieces)
    keys = {
        cell: _own_key(piece, homes[cell], cell in trigger, _group(piece, closing, early))
        for cell, piece in pieces.items()
    }
    carried = [
        cell
        for cell, piece in pieces.items()
        if support_of(piece) in pieces and cell not in trigger
    ]
    for cell in sorted(carried, key=lambda c: keys[c]):
        for other in needs.before[cell]:
            if pieces[other].kind in FULL and other not in closing:
                stage, surface, level, _ = keys[cell]
                group = "early" if early & {cell, other} else "supports"
                keys[other] = min(keys[other], (stage, surface, level, GROUPS.index(group)))
    return keys


def _trigger_cells(pieces: Mapping[Cell, Piece]) -> frozenset[Cell]:
    """The trigger: what its unit names, the buttons, and the covers that they hang on."""
    cells = {cell for cell, piece in pieces.items() if piece.unit.split(" ")[0] == "trigger"}
    for cell, piece in pieces.items():
        if piece.kind == "button":
            cells.add(cell)
            mount = support_of(piece)
            if mount is not None and mount in pieces and pieces[mount].kind == "cover":
                cells.add(mount)
    return frozenset(cells)


def _group(piece: Piece, closing: Collection[Cell], early: Collection[Cell]) -> Group:
    if piece.at in early:
        return "early"
    return "power" if piece.at in closing else _GROUP_OF.get(piece.kind, "tape")


def _own_key(piece: Piece, home: Home, trigger: bool, group: Group) -> Key:
    surface, level = home
    # Gravity: a ceiling is built from its surface upwards, all else from the deepest level.
    depth = level if surface == "ceiling" else -level
    if trigger:
        # Its button comes last of all, and before it the cover that it hangs on.
        depth = -LAST if group == "early" else depth
        depth = {"cover": LAST, "button": LAST + 1}.get(piece.kind, depth)
        return (STAGES.index("trigger"), SURFACES.index(surface), depth, GROUPS.index("trigger"))
    if piece.kind == "tape":
        return (STAGES.index("tape"), SURFACES.index(surface), 0, GROUPS.index("tape"))
    if piece.kind == "cover":
        return (STAGES.index("covers"), SURFACES.index(surface), 0, GROUPS.index("covers"))
    return (STAGES.index("behind"), SURFACES.index(surface), depth, GROUPS.index(group))


# ------------------------------------------------------------------ rams before their power


def _closing_pieces(machine: Machine, pieces: Mapping[Cell, Piece]) -> dict[Cell, frozenset[Cell]]:
    """For rams that are powered at rest: the piece that closes the way of the power last.

    Found by taking pieces away, one at a time, in a simulation of the ram's surroundings.
    """
    closing: dict[Cell, set[Cell]] = defaultdict(set)
    full = Simulation(machine, Case(overhead=False, ground=False))
    for ram in full.rams:
        if ram.state != Stroke.IN:
            cell = _closing_piece(machine, pieces, ram.at)
            if cell is not None:
                closing[cell].add(ram.at)
    return {cell: frozenset(rams) for cell, rams in closing.items()}


def _closing_piece(machine: Machine, pieces: Mapping[Cell, Piece], ram: Cell) -> Cell | None:
    around = [piece for piece in pieces.values() if _near(piece.at, ram, NEAR)]
    candidates = [
        piece.at
        for piece in around
        if _near(piece.at, ram, 2) and piece.kind not in RAMS and piece.kind != "tape"
    ]
    # The nearest to the room is the easiest to place last; among those the nearest to the ram.
    candidates.sort(key=lambda c: (_to_room(machine, c), _steps(c, ram), c))
    needed = (cell for cell in candidates if not _powered_without(machine, around, ram, cell))
    return next(needed, None)


def _powered_without(machine: Machine, around: Iterable[Piece], ram: Cell, without: Cell) -> bool:
    kept = [piece for piece in around if piece.at != without and piece.kind != "tape"]
    local = replace(machine, tape=(), loops=(), parts=tuple(piece.part() for piece in kept), dug=())
    simulation = Simulation(local, Case(overhead=False, ground=False))
    return any(r.count > 0 for r in simulation.rams if r.at == ram)


def _near(a: Cell, b: Cell, reach: int) -> bool:
    return all(abs(p - q) <= reach for p, q in zip(a, b, strict=True))


def _steps(a: Cell, b: Cell) -> int:
    return sum(abs(p - q) for p, q in zip(a, b, strict=True))


def _to_room(machine: Machine, cell: Cell) -> int:
    return max(max(-a, a - size + 1, 0) for a, size in zip(cell, machine.room, strict=True))


# ------------------------------------------------------------------ can it be reached?


def _flood(machine: Machine, free: Collection[Cell]) -> dict[Cell, int]:
    """The free cells that are joined to the room, and in how many steps."""
    way = {cell: 1 for cell in free if _at_room(machine, cell)}
    queue = deque(way)
    while queue:
        here = queue.popleft()
        for face in FACES:
            cell = add(here, VECTOR[face])
            if cell in free and cell not in way:
                way[cell] = way[here] + 1
                queue.append(cell)
    return way


def _at_room(machine: Machine, cell: Cell) -> bool:
    return not machine.in_room(cell) and any(
        machine.in_room(add(cell, VECTOR[face])) for face in FACES
    )


# ------------------------------------------------------------------ tests between steps


def _with_tests(machine: Machine, steps: list[Step], line_wire: Cell | None) -> tuple[Step, ...]:
    """A test after each step that switches power on, and after each stage."""
    placed: list[Piece] = []
    done = []
    for index, step_ in enumerate(steps):
        placed += step_.pieces
        last = index + 1 == len(steps) or steps[index + 1].stage != step_.stage
        done.append(replace(step_, test=_test(machine, step_, placed, last, line_wire)))
    return tuple(done)


def _test(
    machine: Machine, step_: Step, placed: list[Piece], last: bool, line_wire: Cell | None
) -> StageTest | None:
    if step_.stage == "dig":
        return None
    built = partial(machine, placed)
    if last and step_.stage == "trigger":
        return press_test(built)
    if last and step_.stage == "behind" and line_wire is not None:
        return pulse_test(built, line_wire)
    return look_test(built) if last or step_.group == "power" else None
