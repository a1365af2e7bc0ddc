"""Makes the catalogue of drives: `ringwright design --out solver/data/designs.json --force`.

For each recipe: the wiring of fewest parts, the bound proven by two solvers, the cells to dig,
and a run of whole machines. The floor's worked drive of the trade comes first, for comparison.
"""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from models.catalogue import Design
from models.geometry import Cell, Face
from models.parts import Part
from solver.characterise.testbed import Spot, plus, rectangle
from solver.design.fit import GROUNDS, as_design, first_unborne, fit_air, shelled, works
from solver.design.search import Best, Problem, fewest
from solver.design.surroundings import LED_SURFACES, led, surrounded
from solver.design.task import HEADS, Off, box
from solver.design.timing import timing_of
from solver.net.catalogue import Entry, Proof, write_entries
from solver.net.worked import FLOOR_DRIVE

Log = Callable[[str], None]
Span = tuple[int, int]


@dataclass(frozen=True)
class Recipe:
    """What to search for."""

    name: str
    system: str
    up: Face
    box: tuple[Span, Span, Span]
    start: int
    """The number of parts to begin the descent with."""
    parity: str = "any"
    behind: int | None = None
    """Where another edge runs past, for narrow strips."""
    last_feed: int = 17
    """The later a drive may feed, the narrower its margin."""
    objective: str = "fewest parts"
    led: Cell | None = None
    """Where a lead ends that fires it; None: it watches the lift beside it."""

    def problem(self) -> Problem:
        """The question in clauses."""
        xs, ys, zs = (range(low, high + 1) for low, high in self.box)
        cells = box(xs, ys, zs)
        if self.led is not None:
            task, *others = led(self.name, cells, self.led, LED_SURFACES[self.system])
            return Problem(task, tuple(others))
        return Problem(
            surrounded(
                self.name,
                self.system,
                self.up,
                cells,
                self.parity,
                self.behind,
                watch_own=True,
                last_feed=self.last_feed,
            )
        )


CUBE: tuple[Span, Span, Span] = ((-2, 0), (-3, -1), (-3, -1))
FLAT: tuple[Span, Span, Span] = ((-2, 0), (-2, -1), (-3, -1))
STACK: tuple[Span, Span, Span] = ((-2, 0), (-2, -1), (-4, -1))
SHALLOW: tuple[Span, Span, Span] = ((-2, 0), (-4, -1), (-2, -1))
LONG: tuple[Span, Span, Span] = ((-2, 0), (-4, -1), (-3, -1))
STRIP: tuple[Span, Span, Span] = ((-4, 1), (-2, -1), (-3, -1))
RECIPES: tuple[Recipe, ...] = (
    Recipe("floor-8", "deep", "+z", CUBE, 9),
    Recipe("ceiling-8", "over", "-z", CUBE, 9),
    Recipe("wall-horizontal-up-8", "wall", "+y", CUBE, 9),
    Recipe("wall-horizontal-down-9", "wall", "-y", LONG, 10),
    Recipe("wall-up-horizontal-9", "wall", "+x", CUBE, 10),
    Recipe("wall-down-horizontal-8", "wall", "-x", CUBE, 9),
    Recipe("wall-horizontal-down-10", "wall", "-y", CUBE, 11),
    Recipe("wall-up-horizontal-6", "wall", "+x", CUBE, 7, parity="odd"),
    Recipe("wall-up-horizontal-8", "wall", "+x", CUBE, 9, parity="even"),
    Recipe(
        "wall-horizontal-down-strip-10", "wall", "-y", STRIP, 11, objective="strips beside the loop"
    ),
    Recipe("floor-strip-10", "deep", "+z", FLAT, 11, behind=-3, objective="strips of four"),
    Recipe("floor-shallow-11", "deep", "+z", SHALLOW, 12, objective="least depth"),
    Recipe("floor-early-11", "deep", "+z", FLAT, 12, last_feed=13, objective="earliest feed"),
    Recipe("ceiling-early-8", "over", "-z", FLAT, 9, last_feed=13, objective="earliest feed"),
    Recipe("led-along-9", "led", "+z", CUBE, 10, led=(-3, -2, -2)),
    Recipe("led-across-9", "led", "+z", CUBE, 10, led=(-1, -4, -2)),
    Recipe("led-across-10", "led", "+z", CUBE, 11, led=(-1, -4, -3)),
    Recipe("led-behind-10", "led", "+z", CUBE, 11, led=(-1, -3, -4)),
    Recipe("led-floor-behind-8", "led-floor", "+z", FLAT, 9, led=(-1, -2, -4)),
    Recipe("led-floor-along-8", "led-floor", "+z", FLAT, 9, led=(-3, -2, -2)),
    Recipe("led-floor-high-8", "led-floor", "+z", FLAT, 9, led=(-3, -2, -1)),
    Recipe("led-floor-across-9", "led-floor", "+z", STACK, 10, led=(-1, -3, -4)),
)


def shapes_for(system: str, parity: str, objective: str = "") -> list[list[Spot]]:
    """Machines on which air is fitted and a design is proven."""
    if objective == "strips of four":
        return [rectangle(3, 3), rectangle(4, 5), plus(4, 5)]
    if system in LED_SURFACES:
        return [rectangle(6, 6), rectangle(7, 8), plus(9, 7)]
    if system != "wall":
        return [rectangle(3, 3), rectangle(4, 5), plus(7, 5)]
    if parity == "odd":
        return [rectangle(4, 5), rectangle(5, 7), plus(7, 6)]
    if parity == "even":
        return [rectangle(4, 4), rectangle(5, 6)]
    return [rectangle(4, 4), rectangle(5, 5), plus(7, 6)]


def synthesize(
    recipe: Recipe, accept: Callable[[tuple[Part, ...]], bool], budget_s: float, log: Log
) -> tuple[Best, tuple[Proof, ...]]:
    """How the descent went, and what two solvers say on their own: nothing smaller exists."""
    problem = recipe.problem()
    best = fewest(problem, recipe.start, accept, budget_s, log)
    if not best.proven:
        return best, ()
    return best, confirmed(problem, best.bound - 1, "", best.seconds, budget_s, log)


def confirmed(
    problem: Problem, most: int, more: str, seconds: float, budget_s: float, log: Log
) -> tuple[Proof, ...]:
    """That there is no wiring of so many parts: CaDiCaL said so, and another solver must too."""
    outcome = problem.decide(most, budget_s, engine="glucose")
    log(f"{problem.task.name}: at most {most}{more}: Glucose: {outcome.answer}")
    assert outcome.answer == "none", f"{problem.task.name}: the solvers disagree"
    what, refused = f"no wiring of at most {most} parts{more}", len(problem.refused)
    return (
        Proof(what, "CaDiCaL", round(seconds), refused),
        Proof(what, "Glucose", round(outcome.seconds), refused),
    )


def sturdiest(
    recipe: Recipe,
    design: Design,
    others: dict[Face, Design],
    shapes: list[list[Spot]],
    budget_s: float,
    log: Log,
) -> tuple[Design, int, tuple[Proof, ...]]:
    """A drive of no more parts whose delays may each be off by half a tick, or none exists.

    Returns the drive, its margin in half-ticks, and the proofs where the margin is 0. Delays
    that a drive turns out not to bear are asked for one by one.
    """
    problem, parts, end = recipe.problem(), wiring(design), time.monotonic() + budget_s
    tried: Design | None = design
    while True:
        off = first_unborne(tried, others, shapes[0], 1) if tried is not None else None
        if tried is not None and off is None:
            return tried, 1, ()
        if off is None or off in problem.borne:
            problem.refuse(parts)
        else:
            log(f"{recipe.name}: does not bear {off}")
            problem.bear(off)
        if time.monotonic() > end:
            return design, 0, ()
        outcome = problem.decide(len(wiring(design)), budget_s)
        log(f"{recipe.name}: with a margin: {outcome.answer}, {outcome.seconds:.0f} s")
        if outcome.answer == "none":
            asked = " and ".join(tell_off(off) for off in problem.borne)
            more = f" bears {asked}"
            least = len(wiring(design))
            return design, 0, confirmed(problem, least, more, outcome.seconds, budget_s, log)
        parts = outcome.parts
        bare = bare_design(recipe, parts)
        tried = fit_air(bare, others, shapes)
        if tried is not None and not works(tried, others, shapes):
            tried = None


def bare_design(recipe: Recipe, parts: Sequence[Part]) -> Design:
    """A wiring with its rams."""
    return replace(as_design(recipe.name, recipe.system, recipe.up, parts), led=recipe.led)


def wiring(design: Design) -> tuple[Part, ...]:
    """The parts of a drive without its rams."""
    return tuple(part for part in design.parts if not part.kind.endswith("ram"))


def tell_off(off: Off) -> str:
    """A delay that is off, in words."""
    what = f"the {off.kind} at {off.at}" if off.at is not None else f"all {off.kind}s"
    return f"{what} {abs(off.half_ticks)} half-tick {'late' if off.half_ticks > 0 else 'early'}"


def worked_entry() -> Entry:
    """The trade's own floor drive."""
    design = replace(FLOOR_DRIVE, name="floor-worked", system="deep")
    spans = ((-2, 0), (-3, -1), (-4, -1))
    return Entry(design, "any", "worked example of the trade", spans, 0, (), "", {})


def make(recipes: tuple[Recipe, ...], budget_s: float, log: Log) -> list[Entry]:
    """All entries; each is proven by simulation in whole machines."""
    today = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    found: list[tuple[Recipe, Design, Best, tuple[Proof, ...]]] = []
    for recipe in recipes:
        partners = _partners([(r.system, d) for r, d, _, _ in found], recipe)
        shapes = shapes_for(recipe.system, recipe.parity, recipe.objective)

        def accept(
            parts: tuple[Part, ...],
            recipe: Recipe = recipe,
            partners: dict[Face, Design] = partners,
            shapes: list[list[Spot]] = shapes,
        ) -> bool:
            bare = bare_design(recipe, parts)
            if recipe.system == "wall" and len(partners) < 3:
                return True  # No whole machine yet; judged with the others in the end.
            wide = _widely_dug(partners, bare, shapes)
            return works(shelled(bare, wide, shapes), wide, shapes)

        best, proofs = synthesize(recipe, accept, budget_s, log)
        assert best.parts is not None, f"{recipe.name}: nothing from {recipe.start} parts on"
        bare = bare_design(recipe, best.parts)
        found.append((recipe, bare, best, proofs))
    entries = [worked_entry()]
    for recipe, bare, best, proofs in found:
        partners = _partners([(r.system, d) for r, d, _, _ in found], recipe)
        shapes = shapes_for(recipe.system, recipe.parity, recipe.objective)
        wide = _widely_dug(partners, bare, shapes)
        design = fit_air(bare, wide, shapes)
        assert design is not None, f"{recipe.name}: refused by the simulator"
        design, margin, more = sturdiest(recipe, design, wide, shapes, budget_s, log)
        log(
            f"{recipe.name}: {len(wiring(design))} parts, air {design.air[len(HEADS) :]}, "
            f"margin {margin}"
        )
        entries.append(
            Entry(
                design,
                recipe.parity,
                recipe.objective,
                recipe.box,
                best.bound if best.proven else 0,
                tuple(proof.engine for proof in proofs),
                today,
                {},
                margin,
                (*proofs, *more),
            )
        )
    return [_timed(made, _prove(made, entries)) for made in entries]


def _widely_dug(
    partners: dict[Face, Design], design: Design, shapes: list[list[Spot]]
) -> dict[Face, Design]:
    """The partners with air all round, so that only the design's own air is on trial."""
    every = {**partners, design.up: design}
    return {up: shelled(other, every, shapes) for up, other in partners.items()}


def _partners(designs: list[tuple[str, Design]], recipe: Recipe) -> dict[Face, Design]:
    """The first design found for each other turn of the system."""
    partners: dict[Face, Design] = {}
    for system, design in designs:
        if system == recipe.system and design.up != recipe.up:
            partners.setdefault(design.up, design)
    return partners


def _prove(made: Entry, entries: list[Entry]) -> dict[Face, Design]:
    """Run whole machines of a design and the first partner of each turn, as they will be used."""
    partners: dict[Face, Design] = {}
    for other in entries:
        if other.design.system == made.design.system:
            partners.setdefault(other.design.up, other.design)
    shapes = shapes_for(made.design.system, made.parity, made.objective)
    assert works(made.design, partners, shapes), f"{made.design.name}: refused"
    return partners


def _timed(made: Entry, partners: dict[Face, Design]) -> Entry:
    """The entry with what a simulation tells of its timing."""
    system = made.design.system
    ring = shapes_for(system, made.parity, made.objective)[0]
    timing = timing_of(made.design, partners, GROUNDS[system][0], ring)
    return replace(made, timing=timing.as_dict())


def designs_text(only: Sequence[str], budget_s: float, log: Log) -> str:
    """The text of a data file with these recipes, or all; a system's designs go together."""
    systems = {recipe.system for recipe in RECIPES if recipe.name in only}
    wall = "wall" in systems
    chosen = tuple(
        r for r in RECIPES if not only or r.name in only or (wall and r.system == "wall")
    )
    return write_entries(make(chosen, budget_s, log))
