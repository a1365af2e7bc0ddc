"""The rules of a route, one function each, posted to a formula.

The one idea: every face is inside or outside the loop, and the tape runs where the two meet. A
loop is then simple by its cells alone but for a pinch (forbidden) and for being in several
pieces, which the turning equation makes rare and cuts end.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from models.route import CornerOption, RouteProblem
from solver.route.formula import (
    FALSE,
    TRUE,
    Formula,
    Sum,
    conjunction,
    difference,
    weighted,
)
from solver.route.topology import PORTS, Topology

Turn = tuple[int, int, int]
"""A corner of the tape: cell, arrival port, leaving port."""


@dataclass(slots=True)
class RouteFormula:
    """A formula together with what its literals mean."""

    problem: RouteProblem
    tables: Topology
    formula: Formula = field(default_factory=Formula)
    face: list[int] = field(default_factory=list)
    """Inside."""
    link: list[int] = field(default_factory=list)
    tape: list[int] = field(default_factory=list)
    turn: dict[Turn, int] = field(default_factory=dict)
    convex: list[tuple[int, int]] = field(default_factory=list)
    """(1 or -1, literal) of every possible corner: -1 where it points into the inside."""
    option: dict[CornerOption, int] = field(default_factory=dict)
    unreached: list[int] = field(default_factory=list)
    """For each reach term: no cell of its set is tape."""
    objective: list[Sum] = field(default_factory=list)


def route_formula(problem: RouteProblem, tables: Topology, allowed: frozenset[int]) -> RouteFormula:
    """All rules but connectedness; `allowed` may be less than the problem's, never more."""
    model = RouteFormula(problem, tables)
    post_sides(model, allowed)
    post_tape(model)
    post_turns(model)
    post_wanted_cells(model)
    post_turning_equation(model)
    post_drives(model)
    post_claims(model)
    post_edges(model)
    post_fold_edges(model)
    post_length(model)
    post_objective(model)
    return model


def post_sides(model: RouteFormula, allowed: frozenset[int]) -> None:
    """One literal for all faces round a cell that can carry no tape: nothing parts them there."""
    tables, problem = model.tables, model.problem
    boss = list(range(len(tables.graph.faces)))

    def top(f: int) -> int:
        while boss[f] != f:
            boss[f] = boss[boss[f]]
            f = boss[f]
        return f

    for cell, sectors in enumerate(tables.sectors):
        if sectors is not None and cell not in allowed:
            for f in sectors[1:]:
                boss[top(f)] = top(sectors[0])
    known = {top(f): TRUE for f in problem.inside_faces}
    for f in problem.outside_faces:
        if known.get(top(f)) == TRUE:
            model.formula.clause()
        known[top(f)] = FALSE
    for f in range(len(boss)):
        if top(f) not in known:
            known[top(f)] = model.formula.new()
    model.face = [known[top(f)] for f in range(len(boss))]


def post_tape(model: RouteFormula) -> None:
    """A link is tape where its two faces differ; a cell where a link is; never a pinch."""
    formula, tables = model.formula, model.tables
    made: dict[tuple[int, int], int] = {}
    for link in tables.links:
        sides = (model.face[link.left], model.face[link.right])
        pair = (min(sides), max(sides))
        if pair not in made:
            made[pair] = difference(formula, *pair)
        model.link.append(made[pair])
    for row, sectors in zip(tables.link_at, tables.sectors, strict=True):
        links = [model.link[i] for i in row if i >= 0]
        model.tape.append(_any(formula, links))
        if sectors is not None:
            a, b, c, d = (model.face[f] for f in sectors)
            formula.clause(-a, b, -c, d)
            formula.clause(a, -b, c, -d)


def _any(formula: Formula, literals: list[int]) -> int:
    return -conjunction(formula, [-lit for lit in literals])


def post_turns(model: RouteFormula) -> None:
    """A corner is where one sector of a cell is on the other side than the remaining three."""
    for cell, sectors in enumerate(model.tables.sectors):
        if sectors is None or model.tape[cell] == FALSE:
            continue
        faces = [model.face[f] for f in sectors]
        for sector in PORTS:
            for sign in (1, -1):
                sides = [sign * (lit if s == sector else -lit) for s, lit in enumerate(faces)]
                literal = conjunction(model.formula, sides)
                if literal == FALSE:
                    continue
                right = (sign > 0) == model.problem.inside_on_right
                ports = (sector, (sector + 1) % 4)
                came, goes = ports if right else ports[::-1]
                model.turn[cell, came, goes] = literal
                model.convex.append((sign, literal))
        _post_cell_balance(model, cell)


def _post_cell_balance(model: RouteFormula, cell: int) -> None:
    """What follows for sums: a tape cell has two links, and one that ends there has a corner."""
    row = model.tables.link_at[cell]
    links = [model.link[i] if i >= 0 else FALSE for i in row]
    formula = model.formula
    pairs = [(1, lit) for lit in links]
    formula.row(weighted([*pairs, (-2, model.tape[cell])]), 0, 0, implied=True)
    for port in PORTS:
        corners = [
            (-1, lit)
            for ports in ((port, (port + 1) % 4), (port, (port + 3) % 4))
            for came, goes in (ports, ports[::-1])
            if (lit := model.turn.get((cell, came, goes))) is not None
        ]
        formula.row(weighted([(1, links[port]), *corners]), 0, None, implied=True)
        ends = [(1, links[port]), (-1, links[(port + 2) % 4]), *corners]
        formula.row(weighted(ends), None, 0, implied=True)


def post_wanted_cells(model: RouteFormula) -> None:
    """Required cells are tape; the cell `around` is inside and is not; some rim is outside."""
    problem = model.problem
    for cell in sorted(problem.required):
        model.formula.clause(model.tape[cell])
    if problem.around is not None:
        sectors = model.tables.sectors[problem.around]
        for f in sectors or ():
            model.formula.clause(model.face[f])
        if sectors is None:
            model.formula.clause()
    if problem.rims:
        model.formula.clause(*(-model.face[f] for f in sorted(problem.rims)))


def post_turning_equation(model: RouteFormula) -> None:
    """Convex minus reflex corners is four, less the defect of the faces inside.

    Hopf's turning theorem on a floor, Gauss and Bonnet's on the inside of a box.
    """
    inside = [
        (defect, lit) for defect, lit in zip(model.tables.defect, model.face, strict=True) if defect
    ]
    model.formula.row(weighted([*model.convex, *inside]), 4, 4)


def post_drives(model: RouteFormula) -> None:
    """Every corner has exactly one drive, and a drive keeps some cells free of tape."""
    by_turn: dict[Turn, list[CornerOption]] = {}
    for option in model.problem.options:
        by_turn.setdefault((option.cell, option.in_port, option.out_port), []).append(option)
    formula = model.formula
    for turn, literal in model.turn.items():
        options = by_turn.get(turn, [])
        literals = [literal] if len(options) == 1 else [formula.new() for _ in options]
        if len(options) != 1:
            formula.clause(-literal, *literals)
            formula.group(literals)
            for lit in literals:
                formula.clause(-lit, literal)
        for option, lit in zip(options, literals, strict=True):
            model.option[option] = lit
            for cell in sorted(option.forbids):
                formula.clause(-lit, -model.tape[cell])


def post_claims(model: RouteFormula) -> None:
    """No two chosen drives hold the same token."""
    holders: dict[int, list[int]] = {}
    for option, literal in model.option.items():
        for token in option.claims:
            holders.setdefault(token, []).append(literal)
    for group in sorted({tuple(lits) for lits in holders.values() if len(lits) > 1}):
        model.formula.group(group)


def post_edges(model: RouteFormula) -> None:
    """No edge between two drives is too long or too short."""
    span, folds = model.problem.limits.drive_drive, model.problem.folds
    for cell, row in enumerate(model.tables.link_at):
        for port in PORTS if span.most < len(model.tape) and cell not in folds else ():
            if row[port] < 0 or model.link[row[port]] == FALSE:
                continue
            links = _run_of(model, cell, port, span.most)
            if links is not None and (cell, port) < links[1]:
                model.formula.clause(*(-lit for lit in links[0]))
    for (cell, _, goes), literal in model.turn.items():
        _post_shortest(model, cell, goes, literal)


def _run_of(
    model: RouteFormula, cell: int, port: int, count: int
) -> tuple[list[int], tuple[int, int]] | None:
    """The links of `count` steps straight on, no fold reached, and the same run's other end."""
    run = model.tables.straight(cell, port, count)
    if len(run) < count or any(there in model.problem.folds for there, _, _ in run):
        return None
    return [model.link[link] for _, _, link in run], run[-1][:2]


def _post_shortest(model: RouteFormula, cell: int, goes: int, corner: int) -> None:
    """A corner that leaves by port `goes` is followed by enough cells before the next end."""
    limits = model.problem.limits
    run = model.tables.straight(cell, goes, max(limits.drive_drive.least, limits.drive_fold.least))
    for count, (there, entered, _) in enumerate(run, start=2):
        if there in model.problem.folds:
            if count < limits.drive_fold.least:
                model.formula.clause(-corner)
            return
        if count >= limits.drive_drive.least:
            return
        onward = model.tables.link_at[there][(entered + 2) % 4]
        model.formula.clause(-corner, model.link[onward] if onward >= 0 else FALSE)


def post_fold_edges(model: RouteFormula) -> None:
    """The parts of a run before, between and behind edge-line cells keep their own limits."""
    for fold in sorted(model.problem.folds):
        for port in PORTS:
            if model.tables.link_at[fold][port] >= 0:
                _post_from_fold(model, fold, port, outward=True)
                _post_from_fold(model, fold, port, outward=False)


def _post_from_fold(model: RouteFormula, fold: int, port: int, *, outward: bool) -> None:
    """The run on one side of a fold, travelled away from it or (`outward` False) towards it."""
    limits = model.problem.limits
    ending = limits.fold_drive if outward else limits.drive_fold
    between = limits.fold_fold
    travelled = _travelled(model, fold, port, outward)
    links: list[int] = []
    for count, (there, entered, link) in enumerate(model.tables.straight(fold, port), start=2):
        links.append(model.link[link])
        off = [-lit for lit in links]
        if there in model.problem.folds:
            if not between.least <= count <= between.most:
                model.formula.clause(*off, -travelled)
            return
        if count > max(ending.most, between.most):
            model.formula.clause(*off, -travelled)
            return
        if not ending.least <= count <= ending.most:
            for other in ((entered + 1) % 4, (entered + 3) % 4):
                turn = (there, entered, other) if outward else (there, other, entered)
                corner = model.turn.get(turn, FALSE)
                model.formula.clause(*off[:-1], -corner)


def _travelled(model: RouteFormula, cell: int, port: int, outward: bool) -> int:
    """Given that the link is tape: a literal for the tape going out of the cell by it (or in)."""
    link = model.tables.links[model.tables.link_at[cell][port]]
    from_tail = (link.tail == cell) == outward
    right = link.right if from_tail else link.left
    return model.face[right] if model.problem.inside_on_right else -model.face[right]


def post_length(model: RouteFormula) -> None:
    """The loop has as many cells as it may."""
    problem = model.problem
    total = weighted((1, lit) for lit in model.tape)
    high = problem.length_max if problem.length_max < len(model.tape) else None
    model.formula.row(total, problem.length_min, high)


def post_objective(model: RouteFormula) -> None:
    """One sum for each term."""
    problem, formula = model.problem, model.formula
    model.unreached = [
        -_any(formula, sorted({model.tape[cell] for cell in reach.cells}))
        for reach in problem.reach_terms
    ]
    fixed = problem.fixed_costs or (0,) * len(problem.terms)
    for t in range(len(problem.terms)):
        costs = problem.cell_costs[t]
        pairs = [(costs[cell], lit) for cell, lit in enumerate(model.tape)]
        pairs += [(option.costs[t], lit) for option, lit in model.option.items()]
        pairs += [
            (reach.penalty[t], lit)
            for reach, lit in zip(problem.reach_terms, model.unreached, strict=True)
        ]
        model.objective.append(weighted(pairs, fixed[t]))
