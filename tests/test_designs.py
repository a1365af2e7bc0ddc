"""The catalogue of drives: every entry runs in whole machines, and is what it says it is.

Figures of the trade (common practice, no published source): a drive takes 3 x 3 cells and 4 of
depth, one of the wall drives 3 x 4 and 3; a concave corner needs a strip 6 wide; the floor
drive has 11 parts besides its rams.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from importlib.resources import files

import pytest

from models.catalogue import Design
from models.geometry import Cell, Face
from models.machine import Case
from models.parts import Part
from solver.characterise.testbed import Spot, plus, rectangle
from solver.design.fit import GROUNDS, SNUG, as_design, bears, first_unborne, offs, works
from solver.design.generate import RECIPES, Recipe, shapes_for, wiring
from solver.design.search import fewest
from solver.design.task import HEADS
from solver.design.timing import timing_of
from solver.net.catalogue import Entry, entry, load_designs, load_entries, write_entries

ENTRIES = {made.design.name: made for made in load_entries()}
DUG = (Case(False, False), Case(True, False))
BY_NAME = {recipe.name: recipe for recipe in RECIPES}


def partners(made: Entry) -> dict[Face, Design]:
    """The first design of every turn of its system."""
    found: dict[Face, Design] = {}
    for other in load_entries():
        if other.design.system == made.design.system:
            found.setdefault(other.design.up, other.design)
    return found


def long_shapes(made: Entry) -> list[list[Spot]]:
    """Long edges, both ways; walls up to the highest edge that fits the entry."""
    if made.design.system != "wall":
        return [rectangle(13, 3), rectangle(3, 13)]
    return [rectangle(13, 6), rectangle(4, 12)] if made.parity == "even" else [rectangle(4, 13)]


@pytest.mark.parametrize("name", ENTRIES)
def test_every_design_runs_in_whole_machines(name: str) -> None:
    """Rings and pluses, both directions, four cases, rams in either order, snugly dug."""
    made = ENTRIES[name]
    assert works(
        made.design, partners(made), shapes_for(made.design.system, made.parity, made.objective)
    )


@pytest.mark.parametrize("name", ENTRIES)
def test_every_design_runs_on_long_edges(name: str) -> None:
    """Edges of 13 cells."""
    made = ENTRIES[name]
    assert works(made.design, partners(made), long_shapes(made), cases=SNUG, orders=(1,), grounds=1)


@pytest.mark.parametrize("name", BY_NAME)
def test_the_model_accepts_what_is_in_the_catalogue(name: str) -> None:
    """A model that refuses a working drive would give false proofs."""
    problem = BY_NAME[name].problem()
    made = ENTRIES[name]
    parts = wiring(made.design)
    outcome = problem.decide(len(parts), 60.0, given=problem.pin(parts))
    assert outcome.answer == "found"
    assert set(outcome.parts) == set(parts)


@pytest.mark.parametrize("name", ENTRIES)
def test_the_timing_is_what_the_simulation_shows(name: str) -> None:
    """And every drive parts before any feeds, whatever drives are mixed on a surface."""
    made = ENTRIES[name]
    ring = shapes_for(made.design.system, made.parity, made.objective)[0]
    ground = GROUNDS[made.design.system][0]
    timing = timing_of(made.design, partners(made), ground, ring)
    assert timing.as_dict() == made.timing
    assert 5 <= timing.part < timing.shift < timing.feed <= 17
    assert timing.part <= timing.returns < min(e.timing["feed"] for e in ENTRIES.values())


@pytest.mark.parametrize("name", [n for n in BY_NAME if n.startswith("floor")])
def test_the_model_and_the_simulator_agree_on_delays_that_are_off(name: str) -> None:
    """Half a tick either way, every delay: a model that were too strict would give false proofs."""
    made, recipe = ENTRIES[name], BY_NAME[name]
    ring = shapes_for(recipe.system, recipe.parity, recipe.objective)[0]
    for off in offs(made.design, 1):
        problem = recipe.problem()
        problem.bear(off)
        outcome = problem.decide(made.count, 60.0, given=problem.pin(wiring(made.design)))
        assert (outcome.answer == "found") == bears(made.design, {}, ring, off), off


@pytest.mark.parametrize("name", [n for n, made in ENTRIES.items() if made.proofs])
def test_the_margin_is_what_the_simulation_shows(name: str) -> None:
    """And where it is 0, two solvers say that no drive of so few parts has more."""
    made = ENTRIES[name]
    ring = shapes_for(made.design.system, made.parity, made.objective)[0]
    assert first_unborne(made.design, partners(made), ring, made.margin + 1) is not None
    said = {proof.what for proof in made.proofs}
    assert f"no wiring of at most {made.bound - 1} parts" in said
    tight = {what for what in said if what.startswith(f"no wiring of at most {made.count} parts")}
    assert bool(tight) == (made.margin == 0)
    for what in said:
        assert len({proof.engine for proof in made.proofs if proof.what == what}) == 2


def test_parts_and_depth_against_the_trade() -> None:
    """Fewer parts and less depth than the trade's drives, none in a bigger box."""
    assert ENTRIES["floor-worked"].count == 11
    assert ENTRIES["floor-worked"].design.depth == 4
    for name, most in {
        "floor-8": 8,
        "ceiling-8": 8,
        "wall-horizontal-up-8": 8,
        "wall-horizontal-down-9": 9,
        "wall-up-horizontal-9": 9,
        "wall-down-horizontal-8": 8,
    }.items():
        made = ENTRIES[name]
        assert made.count == most == made.bound
        assert len(made.engines) >= 2
        assert envelope(made.design)[2] == 3
        assert envelope(made.design)[:2] in {(3, 2), (3, 3), (3, 4)}


def test_a_floor_drive_two_deep_and_a_strip_of_four() -> None:
    """What the trade has no drive for."""
    assert ENTRIES["floor-shallow-11"].design.depth == 2
    assert ENTRIES["floor-shallow-11"].proven
    assert not works(ENTRIES["floor-8"].design, {}, [plus(4, 5)])
    assert works(ENTRIES["floor-strip-10"].design, {}, [plus(4, 5)], orders=(1,))


def envelope(design: Design) -> Cell:
    """How many cells the drive takes along x, y and z."""
    cells: list[Cell] = [part.at for part in design.parts] + list(HEADS)
    spans = [max(c[i] for c in cells) - min(c[i] for c in cells) + 1 for i in range(3)]
    return (spans[0], spans[1], spans[2])


@pytest.mark.parametrize("name", ["floor-8", "ceiling-8"])
def test_a_strip_of_five_is_wide_enough(name: str) -> None:
    """The trade needs six."""
    assert works(ENTRIES[name].design, {}, [plus(5, 5)])


def test_the_worked_drive_needs_the_strip_of_the_trade() -> None:
    """Six do (dug wide), five do not."""
    assert not works(ENTRIES["floor-worked"].design, {}, [plus(5, 5)])
    assert works(ENTRIES["floor-worked"].design, {}, [plus(7, 5)])


def test_a_sample_is_found_again_and_proven_again() -> None:
    """The floor's drive in the box it really takes, 3 x 2 x 3."""
    recipe = Recipe("sample", "deep", "+z", ((-2, 0), (-2, -1), (-3, -1)), 9)
    found = fewest(recipe.problem(), recipe.start, simulated(recipe), 120.0, lambda _: None)
    assert found.parts is not None
    assert found.proven
    assert found.bound == 8
    again = recipe.problem().decide(7, 60.0, engine="glucose")
    assert again.answer == "none"


def simulated(recipe: Recipe):
    """Whether a wiring runs in a small ring without ground."""

    def judge(parts: Sequence[Part]) -> bool:
        design = as_design("sample", recipe.system, recipe.up, parts, [(-1, -1, -4)])
        return works(design, {}, [rectangle(4, 4)], cases=DUG, orders=(1,))

    return judge


def test_the_model_and_the_simulator_agree_on_mutants() -> None:
    """What the model accepts of a good drive with one part changed, runs."""
    made = entry("floor-8")
    recipe = Recipe("mutants", "deep", "+z", ((-2, 0), (-2, -1), (-3, -1)), 9)
    problem = recipe.problem()
    rng = random.Random(7)
    accepted = 0
    for _ in range(40):
        mutant = mutate(list(wiring(made.design)), problem.world.options, rng)
        outcome = problem.decide(12, 60.0, given=problem.pin(mutant))
        runs = simulated(recipe)(mutant)
        accepted += outcome.answer == "found"
        # The model is the stricter one: it does not let power near the tape, for example.
        assert runs or outcome.answer == "none", mutant
    assert accepted > 0


def mutate(parts: list[Part], options, rng: random.Random) -> list[Part]:
    """One cell of the box filled with something else."""
    cell = rng.choice(sorted(options))
    kind, face = rng.choice(sorted(options[cell], key=str))
    rest = [part for part in parts if part.at != cell]
    if kind == "air":
        return rest
    return [*rest, Part(kind, cell, face, rng.randint(1, 4) if kind == "buffer" else None)]


def test_the_data_file_is_in_its_own_form() -> None:
    """Written by the generator, and nothing else."""
    assert len(load_designs()) == len(load_entries())
    text = files("solver").joinpath("data", "designs.json").read_text(encoding="utf-8")
    assert write_entries(load_entries()) == text
