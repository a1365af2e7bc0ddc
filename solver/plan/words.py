"""The words and symbols of a plan, the same on the sheets and on the page."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from models.geometry import VECTOR, Cell, Face, add, sub
from models.margin import Margin, Margins
from models.plan import BuildPlan, Layer, Mover, Opening, Piece, PieceKind, StageTest, Step
from models.surface import SurfaceName
from solver.machine_file import write_machine

LETTER: dict[PieceKind, str] = {
    "tape": "T",
    "cover": "C",
    "block": "B",
    "insulator": "I",
    "wire": "W",
    "buffer": "D",
    "inverter": "V",
    "sensor": "S",
    "push_ram": "P",
    "grip_ram": "G",
    "button": "K",
}
WAY: dict[Face, str] = {"+x": "e", "-x": "w", "+y": "n", "-y": "s", "+z": "u", "-z": "d"}
WAY_NAME: dict[Face, str] = {
    "+x": "east",
    "-x": "west",
    "+y": "north",
    "-y": "south",
    "+z": "up",
    "-z": "down",
}
AIR, GROUND = ".", "/"
MEANING: dict[PieceKind, str] = {
    "tape": "block of the tape; letter: the way it travels",
    "cover": "cover, a fixed block of the visible surface",
    "block": "block, passes power",
    "insulator": "insulator, a full block that passes no power",
    "wire": "wire",
    "buffer": "delay buffer; letter: its output; number: delay in ticks",
    "inverter": "inverter; letter: towards the block it is mounted on",
    "sensor": "sensor; letter: the cell it watches (its output is opposite)",
    "push_ram": "push ram; letter: the way it pushes",
    "grip_ram": "grip ram (lift); letter: the way it pushes",
    "button": "button; letter: towards the block it hangs on; number: ticks it stays pressed",
}
VIEW: dict[SurfaceName, str] = {
    "floor": "seen from the room, looking down: north at the top, west at the left",
    "ceiling": "seen from the room, looking up: north at the top, east at the left",
    "north": "seen from the room, looking north: up at the top, west at the left",
    "south": "seen from the room, looking south: up at the top, east at the left",
    "east": "seen from the room, looking east: up at the top, north at the left",
    "west": "seen from the room, looking west: up at the top, south at the left",
}
AXIS = {"+x": "x", "-x": "x", "+y": "y", "-y": "y", "+z": "z", "-z": "z"}
GROUP_TITLE = {
    "dig": "Dig",
    "early": "What the rest would close the way to",
    "supports": "Supports",
    "line": "Wires, buffers and sensors",
    "rams": "Rams",
    "power": "What gives them power",
    "tape": "Tape",
    "covers": "Covers",
    "trigger": "Trigger",
}


def revision(plan: BuildPlan) -> str:
    """Eight letters that change with the machine."""
    return hashlib.sha256(write_machine(plan.machine).encode()).hexdigest()[:8]


def symbol(piece: Piece) -> str:
    """The sign of a piece: its letter, its facing, its number."""
    number = piece.delay if piece.kind == "buffer" else piece.press
    way = WAY[piece.face] if piece.face else ""
    return f"{LETTER[piece.kind]}{way}{'' if number is None else number}"


def name_of(kind: PieceKind, number: int = 1) -> str:
    """The name of a kind, in the plural where there are several."""
    if kind == "tape":
        return "tape block" if number == 1 else "tape blocks"
    return kind.replace("_", " ") + ("" if number == 1 else "s")


def count_of(kinds: Iterable[PieceKind]) -> str:
    """Such as "4 wires, 1 buffer"."""
    found = Counter(kinds)
    return ", ".join(f"{n} {name_of(kind, n)}" for kind, n in found.items())


def ticks(half_ticks: int) -> str:
    """Half-ticks as ticks."""
    return f"{half_ticks // 2}.5" if half_ticks % 2 else str(half_ticks // 2)


def at(cell: Cell) -> str:
    """The coordinates of a cell."""
    return "({},{},{})".format(*cell)


def runs(cells: Sequence[Cell]) -> list[str]:
    """Cells in their order; straight rows of them as "from to"."""
    rows: list[list[Cell]] = []
    for cell in cells:
        if rows and _goes_on(rows[-1], cell):
            rows[-1].append(cell)
        else:
            rows.append([cell])
    return [at(r[0]) if len(r) == 1 else f"{at(r[0])} to {at(r[-1])}" for r in rows]


def _goes_on(row: list[Cell], cell: Cell) -> bool:
    way = sub(cell, row[-1])
    if sum(map(abs, way)) != 1:
        return False
    return len(row) == 1 or add(row[-1], sub(row[-1], row[-2])) == cell


def rows(cells: Iterable[Cell]) -> list[str]:
    """Cells in any order, as few straight rows as come of taking the longest from each corner."""
    left, found = set(cells), []
    for cell in sorted(left):
        if cell not in left:
            continue
        row = max((_row(cell, way, left) for way in VECTOR.values()), key=len)
        left.difference_update(row)
        found.append(row)
    return [at(r[0]) if len(r) == 1 else f"{at(r[0])} to {at(r[-1])}" for r in found]


def _row(cell: Cell, way: Cell, among: set[Cell]) -> list[Cell]:
    row = [cell]
    while add(row[-1], way) in among:
        row.append(add(row[-1], way))
    return row


# ------------------------------------------------------------------ layers and steps


def level_name(surface: SurfaceName, level: int) -> str:
    """Where a layer lies, in words."""
    side = surface if surface in ("floor", "ceiling") else f"{surface} wall"
    if level == 0:
        return f"{side}, the surface itself"
    if level < 0:
        return f"{side}, {-level} in front of the surface"
    return f"{side}, level {level} behind the surface"


def layer_plane(layer: Layer) -> str:
    """The coordinate that all cells of a layer share, such as "z = -3"."""
    fixed = next(i for i in range(3) if AXIS[layer.right] != "xyz"[i] != AXIS[layer.down])
    return f"{'xyz'[fixed]} = {layer.origin[fixed]}"


def step_title(step: Step) -> str:
    """What a step is about."""
    title = GROUP_TITLE[step.group]
    where = step.surface if step.surface in ("floor", "ceiling") else f"{step.surface} wall"
    if step.stage == "behind":
        return f"{title}: {where}, level {step.level}"
    return f"{title}: {where}"


def placing(step: Step) -> list[str]:
    """The pieces of a step in order, with their facing; equal ones in a row together."""
    if step.group in ("early", "trigger"):
        return [f"{symbol(piece)} {at(piece.at)}" for piece in step.pieces]
    groups: dict[str, list[Cell]] = defaultdict(list)
    for piece in step.pieces:
        groups[symbol(piece)].append(piece.at)
    return [f"{sign} {', '.join(rows(cells))}" for sign, cells in groups.items()]


def digging(step: Step) -> list[str]:
    """The boxes of a digging step."""
    return [
        f"{at(box.low)} to {at(box.high)}: {box.volume()}" if box.volume() > 1 else at(box.low)
        for box in step.boxes
    ]


def step_notes(step: Step) -> list[str]:
    """What to mind in a step."""
    notes = []
    if step.stage == "dig":
        notes.append("Take up the surface over these cells and where the tape runs; then dig.")
    if step.group == "power":
        notes.append("Rams move as soon as this is in: keep clear of their fronts.")
    if step.group == "early" and any(piece.kind == "inverter" for piece in step.pieces):
        notes.append(
            "An inverter is power: rams placed beside it later put their head out at once."
        )
    if step.stage == "tape":
        notes.append("Lay the tape without a gap, every block flush.")
    if step.sealed:
        cells = ", ".join(rows(step.sealed))
        notes.append(
            f"Not to be reached from the room through the dug cells: {cells}. Work from "
            "behind, or dig a way in from the side (digging more does no harm)."
        )
    return notes


# ------------------------------------------------------------------ tests


def test_lines(test: StageTest) -> list[str]:
    """What to do and what must be seen."""
    lines = []
    if test.how == "pulse":
        assert test.pulse_at is not None
        lines.append(
            f"Pulse: power the wire at {at(test.pulse_at)} for one tick (a spare sensor with its "
            "output on that wire and one change in front of it). Nobody in the dig."
        )
    elif test.how == "press":
        lines.append("Press the button once, with everyone off the tape and out of the dig.")
    else:
        lines.append("Look: nothing may move.")
    before = "Before: lit" if test.how != "look" else "Lit"
    lines.append(f"{before}: {_those(test.lit)}. Out at rest: {_those(test.extended)}.")
    lines += [f"Must stroke: {line}" for line in stroke_lines(test.movers)]
    if test.how != "look":
        lines.append(f"Must stay still: {_those(test.still)}.")
    if test.moved_blocks:
        lines.append(
            f"At rest after {ticks(test.half_ticks)} ticks: {test.moved_blocks} tape blocks one "
            "cell on, all flush."
        )
    return lines


def _those(pieces: Sequence[Piece]) -> str:
    if not pieces:
        return "none"
    kinds = defaultdict(list)
    for piece in pieces:
        kinds[piece.kind].append(piece.at)
    return "; ".join(
        f"{name_of(kind, len(cells))} {', '.join(rows(cells))}" for kind, cells in kinds.items()
    )


def stroke_lines(movers: Sequence[Mover]) -> list[str]:
    """Rams that stroke at the same times, together."""
    groups: dict[tuple[str, PieceKind, tuple[int, ...], tuple[int, ...]], list[Mover]]
    groups = defaultdict(list)
    for mover in movers:
        role = mover.unit.split(" ")[0]
        groups[role, mover.kind, mover.pushes, mover.returns].append(mover)
    lines = []
    for (role, kind, pushes, returns), group in groups.items():
        times = sorted([(time, "out") for time in pushes] + [(time, "back") for time in returns])
        strokes = ", ".join(f"{way} {ticks(time)}" for time, way in times)
        who = f"{len(group)} {name_of(kind, len(group))}"
        units = unit_words(role, [mover.unit for mover in group])
        lines.append(f"{who}{units}: {strokes}")
    return lines


def unit_words(role: str, units: Sequence[str]) -> str:
    """Such as " (lift 0-13, 21)"."""
    # Machines from elsewhere name their units as they like: what is no number is left out.
    words = {word for unit in units for word in unit.split(" ")[1:2]}
    numbers = sorted({int(word) for word in words if word.isascii() and word.isdigit()})
    if not role:
        return ""
    if not numbers:
        return f" ({role})"
    spans: list[list[int]] = []
    for number in numbers:
        if spans and spans[-1][-1] == number - 1:
            spans[-1] = [spans[-1][0], number]
        else:
            spans.append([number])
    text = ", ".join("-".join(map(str, span)) for span in spans)
    return f" ({role} {text})"


# ------------------------------------------------------------------ times and cautions


def time_lines(plan: BuildPlan) -> list[str]:
    """The times of a press."""
    timing = plan.timing
    if timing is None:
        return ["This machine could not be pressed, or did not come to rest, in the simulation."]
    lines = [
        f"Button pressed for {timing.press_ticks} ticks.",
        f"All lifts fire within {ticks(timing.skew_half_ticks)} ticks."
        if timing.skew_half_ticks
        else "All lifts fire in one half-tick.",
        f"Flush again {ticks(timing.flush_half_ticks)} ticks after the press.",
        f"At rest {ticks(timing.rest_half_ticks)} ticks after the press.",
    ]
    if timing.interval_half_ticks is None:
        lines.append("Between presses: wait for rest; no shorter interval was found safe.")
    else:
        lines.append(f"Between presses: at least {ticks(timing.interval_half_ticks)} ticks.")
    return lines + (margin_lines(plan.margins) if plan.margins else [])


def margin_lines(margins: Margins) -> list[str]:
    """How far times may be off, and both sides of the interval between presses."""
    lines = []
    if (interval := margins.interval_half_ticks) is not None:
        other = "any less is too soon, as the tape is not flush or the button is still pressed"
        if sooner := margins.sooner:
            other = f"at {ticks(sooner.half_ticks)} ticks it goes wrong: {sooner.why}"
        lines.append(f"Simulated: two presses {ticks(interval)} ticks apart are right; {other}.")
    if least := margins.least:
        lines.append(
            f"Least margin: {least.delay.name} may be {_off(least.shrink, least)} shorter or "
            f"{_off(least.grow, least)} longer before a press goes wrong."
        )
    return lines


def margin_table(margins: Margins) -> list[str]:
    """Every delay with its margins."""
    return [
        f"{m.delay.name}, {ticks(m.delay.half_ticks)} ticks: {_off(m.shrink, m)} shorter, "
        f"{_off(m.grow, m)} longer"
        for m in margins.margins
    ]


def _off(half_ticks: int, margin: Margin) -> str:
    more = " or more" if half_ticks == margin.limit else ""
    return f"{ticks(half_ticks)} ticks{more}"


def opening_lines(openings: Iterable[Opening]) -> list[str]:
    """Which cells are open from when to when."""
    lines = []
    for opening in openings:
        spans = " and ".join(f"{ticks(a)} to {ticks(b)}" for a, b in opening.spans)
        cells = ", ".join(runs(opening.cells))
        lines.append(f"open from tick {spans} after the press: {cells}")
    return lines


def caution_lines(plan: BuildPlan) -> list[str]:
    """What can hurt, before anything else. The open cells are listed apart."""
    lines = []
    if "floor" in plan.surfaces:
        lines.append(
            "Keep off. While the tape is sunk its surface is open; whoever or whatever stands on "
            "it falls in, and is crushed when it rises."
        )
    if plan.machine.covered:
        lines.append(
            "Keep off all sides that the tape runs round. While it is drawn in they are open; "
            "whoever or whatever is in an opening is crushed when it comes back."
        )
    elif set(plan.surfaces) - {"floor"}:
        sides = " and ".join(name for name in plan.surfaces if name != "floor")
        lines.append(
            f"Keep off the {sides} side. While the tape is drawn in its surface is open; whoever "
            "or whatever is in the opening is crushed when it comes back."
        )
    lines += [
        f"In a press, heads and tape blocks move into {len(plan.crushing)} cells, most of them "
        "behind the surface. Nobody may be in the dug space while the button can be pressed.",
    ]
    if plan.timing and plan.timing.interval_half_ticks is not None:
        interval = ticks(plan.timing.interval_half_ticks)
        lines.append(f"Never press again sooner than {interval} ticks after the last press.")
    if (least := plan.margins.least if plan.margins else None) and not least.least:
        ways = [w for w, by in (("quicker", least.shrink), ("slower", least.grow)) if not by]
        lines.append(
            f"No slack: with {least.delay.name} half a tick {' or '.join(ways)} a press goes "
            "wrong. Build it only where delays are exact."
        )
    if sum(part.kind == "button" for part in plan.machine.parts) > plan.machine.triggers:
        lines.append(
            "A second button runs the tape back. Times and pictures are those of the first. Press "
            "neither before all is at rest after the other."
        )
    if plan.machine.one_button:
        lines.append(
            "One button moves all loops, one after the other: they may sink and rise at different "
            "times."
        )
    elif plan.machine.loops:
        lines.append(
            "Each button moves its own loop and no other. The times and pictures of a press are "
            "those of all buttons pressed at once; simulated were each button alone, and one press "
            "of each button at every distance in time, from rest."
        )
    lines += [
        "While building, a ram moves as soon as it gets power. Keep clear of its front.",
        "The times come from a simulation of these parts under the rules in the machine file. "
        "Try every stage before the next.",
        "Local codes, the owner's rules and licensed practice come before this plan. Have it "
        "checked by whoever is licensed to do so.",
    ]
    return lines


def tape_lines(plan: BuildPlan) -> list[str]:
    """Every tape: how long it is, which way it runs, and, of several, by which button."""
    machine = plan.machine
    if not machine.loops:
        return [f"A tape of {len(machine.tape)} blocks runs {travel_words(plan)}."]
    buttons = [at(part.at) for part in machine.parts if part.kind == "button"]
    rest = buttons if machine.one_button else ["no place, there is none"]
    buttons += rest * len(machine.loops)
    return [
        f"Loop {k + 1}: a tape of {len(span)} blocks runs {travel_words(plan, k)}; its button is "
        f"at {buttons[k]}."
        for k, span in enumerate(machine.spans)
    ]


def travel_words(plan: BuildPlan, loop: int = 0) -> str:
    """Which way a tape runs."""
    span = plan.machine.spans[loop]
    tape = plan.machine.tape[span.start : span.stop]
    if not tape:
        return "no tape"
    start = f"from {at(tape[0])} to {at(tape[1 % len(tape)])} and on"
    planes = {layer.surface for layer in plan.layers if any(p.kind == "tape" for p in layer.pieces)}
    if len(planes) != 1:
        return start
    layer = next(x for x in plan.layers if any(p.kind == "tape" for p in x.pieces))
    spot = {
        layer.cell(row, column): (column, row)
        for row in range(layer.rows)
        for column in range(layer.columns)
    }
    if any(cell not in spot for cell in tape):
        return start  # round a pillar: what it looks like depends on the side
    area = 0
    for here, there in zip(tape, (*tape[1:], tape[0]), strict=True):
        (a, b), (c, d) = spot[here], spot[there]
        area += a * d - c * b
    # Rows count downwards, so a positive area is clockwise.
    return f"{'clockwise' if area > 0 else 'anticlockwise'} seen from inside the room, {start}"
