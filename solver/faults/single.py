"""Fault injection: every single mistake a builder can make, and whether the machine shows it.

A mistake is told by the static check, or by a full turn in every case that goes wrong; or else it
is proven harmless, as every press of a full turn in every case is right in spite of it.
Only what can be built counts: no two things in one cell, no face that a part cannot have. A part
put into ground is taken to have its cell dug for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from models.geometry import FACES, HORIZONTAL, Box, Cell, Face, step
from models.machine import Case, Machine
from models.parts import FULL, Kind, Part
from models.single_fault import FaultTable, Judged, SingleFault, Stage
from solver.check import check_machine
from solver.faults.unchanged import Bystanders
from solver.simulate import prove_case
from solver.simulate.several import prove_alone, prove_apart

LOOKS_LIKE: dict[Kind, tuple[Kind, ...]] = {
    "block": ("insulator",),
    "cover": ("insulator",),
    "insulator": ("block",),
    "wire": ("buffer", "inverter"),
    "inverter": ("wire", "buffer"),
    "buffer": ("wire", "inverter"),
    "sensor": ("block", "push_ram", "grip_ram"),
    "push_ram": ("grip_ram", "block", "sensor"),
    "grip_ram": ("push_ram", "block", "sensor"),
    "button": (),
}
"""What a builder may place by mistake for a kind."""
FACES_OF: dict[Kind, tuple[Face, ...]] = {
    "inverter": (*HORIZONTAL, "-z"),
    "buffer": HORIZONTAL,
    "sensor": FACES,
    "push_ram": FACES,
    "grip_ram": FACES,
    "button": FACES,
}
"""The faces that a kind can have; kinds without a face are left out."""
BUFFER_DEFAULT = 1
Say = Callable[[str], None]


def single_faults(machine: Machine) -> Iterator[SingleFault]:
    """Every single mistake, part by part, then every block too many."""
    taken = {part.at for part in machine.parts} | set(machine.tape)
    for part in machine.parts:
        yield SingleFault("wire cut" if part.kind == "wire" else "missing", part, None)
        for face in FACES_OF.get(part.kind, ()):
            if face != part.face:
                yield SingleFault("turned", part, part._replace(face=face))
        for way in FACES:
            if step(part.at, way) not in taken:
                yield SingleFault("shifted", part, part._replace(at=step(part.at, way)))
        yield from _wrong_kinds(part)
        yield from _wrong_numbers(part, machine)
    yield from _extra_blocks(machine, taken)


def _wrong_kinds(part: Part) -> Iterator[SingleFault]:
    for kind in LOOKS_LIKE[part.kind]:
        faces = FACES_OF.get(kind)
        delay = BUFFER_DEFAULT if kind == "buffer" else None
        if faces is None:
            yield SingleFault("wrong kind", part, Part(kind, part.at, unit=part.unit))
            continue
        for face in (part.face,) if part.face in faces else faces:
            yield SingleFault("wrong kind", part, Part(kind, part.at, face, delay, unit=part.unit))


def _wrong_numbers(part: Part, machine: Machine) -> Iterator[SingleFault]:
    if part.kind == "buffer":
        delay = part.delay or BUFFER_DEFAULT
        for wrong in (delay - 1, delay + 1):
            if wrong in machine.rules.buffer_delays:
                yield SingleFault("delay off", part, part._replace(delay=wrong))
    if part.kind == "button":
        press = part.press or machine.rules.press
        for wrong in sorted({1, press // 2, press - 1} - {0, press}):
            yield SingleFault("short press", part, part._replace(press=wrong))


def _extra_blocks(machine: Machine, taken: set[Cell]) -> Iterator[SingleFault]:
    """Blocks in dug air beside a part or the tape."""
    beside = {step(cell, face) for cell in taken for face in FACES}
    for cell in sorted((beside & machine.dug_cells) - taken):
        yield SingleFault("extra block", None, Part("block", cell))


def as_built(machine: Machine, fault: SingleFault) -> Machine:
    """The machine with the fault in it."""
    if fault.planned is None:
        assert fault.built is not None, "a block too many is there"
        return replace(machine, parts=(*machine.parts, fault.built))
    built = fault.built
    parts = tuple(
        found
        for part in machine.parts
        if (found := built if part == fault.planned else part) is not None
    )
    dug = machine.dug
    if built is not None and built.at not in machine.dug_cells and not machine.in_room(built.at):
        dug = (*dug, Box(built.at, built.at))
    return replace(machine, parts=parts, dug=dug)


def fallen(machine: Machine, case: Case) -> Machine:
    """What stays up: without the parts that have nothing full to stand on or hang from."""
    while True:
        full = {part.at for part in machine.parts if part.kind in FULL}
        kept = tuple(p for p in machine.parts if _holds(p, full, machine, case))
        if len(kept) == len(machine.parts):
            return machine
        machine = replace(machine, parts=kept)


def _holds(part: Part, full: set[Cell], machine: Machine, case: Case) -> bool:
    if part.kind in ("wire", "buffer"):
        mount = step(part.at, "-z")
    elif part.kind in ("inverter", "button") and part.face is not None:
        mount = step(part.at, part.face)
    else:
        return True
    ground = mount not in machine.dug_cells and mount not in machine.tape
    return mount in full or (case.ground and ground and not machine.in_room(mount))


def judge(machine: Machine, fault: SingleFault, bystanders: Bystanders | None = None) -> Judged:
    """Static check first; then a full turn in each case, until one goes wrong.

    With `bystanders` of a machine that works, worlds in which it cannot matter are left out.
    """
    built = as_built(machine, fault)
    if wrong := check_machine(built):
        return Judged(fault, "static", wrong[0].code, wrong[0].text)
    for case in bystanders.worlds(fault, built) if bystanders else machine.cases:
        result = prove_case(built, case)
        if not result.ok:
            first = result.faults[0]
            stage: Stage = "press" if result.simulated else "idle"
            return Judged(fault, stage, first.code, first.text, case, result.simulated)
        # Pressed all at once, loops do not show which button moves which.
        if wrong := prove_alone(built, case):
            return Judged(fault, "press", wrong[0].code, wrong[0].text, case, 1)
    return Judged(fault, "harmless")


def fault_table(
    machine: Machine, say: Say = lambda line: None, only: Iterable[SingleFault] | None = None
) -> FaultTable:
    """Every single fault judged, or only those given. The machine itself must be right."""
    judged = []
    bystanders = Bystanders(machine)
    for number, fault in enumerate(single_faults(machine) if only is None else only, 1):
        judged.append(judge(machine, fault, bystanders))
        if number % 500 == 0:
            say(f"{number} single faults judged")
    return FaultTable(machine.title, tuple(judged))


def is_sound(machine: Machine) -> bool:
    """Whether the machine as planned is accepted: faults are only measured against that."""
    worlds = machine.cases
    turns = not check_machine(machine) and all(prove_case(machine, c).ok for c in worlds)
    return turns and not prove_apart(machine, worlds)
