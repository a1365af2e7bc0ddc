"""Mutation testing of what judges machines: rules, simulator, static check.

python -m tests.campaign_mutants [--sample 300] [--processes 2] [--log FILE] [--only solver.check]

Each mutant is one small change to a module's syntax tree (see `variants`). It is loaded in place of
the module in a process of its own, nothing is written. Fast tests run against it, then circuits
beside the naive twin. A mutant that none of them tells from the original has survived. Those that
cannot be told, because they do the same, are listed with the reason in tests/data/mutants.toml.
"""

from __future__ import annotations

import ast
import contextlib
import copy
import importlib.abc
import importlib.util
import os
import resource
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cache, partial
from pathlib import Path
from random import Random
from types import CodeType, ModuleType
from typing import NamedTuple

import numpy  # noqa: F401  loaded once here, not in every process
import pydantic  # noqa: F401
import pytest

from tests.campaign_runner import one_by_one, parser, run

ROOT = Path(__file__).parent.parent
EQUIVALENT = ROOT / "tests" / "data" / "mutants.toml"
SIMULATOR = [f"solver.simulate.{path.stem}" for path in sorted(ROOT.glob("solver/simulate/*.py"))]
ELSEWHERE = ("__init__", "several")
"""Several loops in one world are tested in whole machines only, too slow for this."""
MODULES = ["models.rules", "solver.check", *(m for m in SIMULATOR if not m.endswith(ELSEWHERE))]
TESTS = {
    "models.rules": ["tests/test_rules.py"],
    "solver.check": ["tests/test_check.py"],
}
SIMULATOR_TESTS = ["tests/test_press_reports.py", "tests/test_simulator.py"]
FIRST_CIRCUITS, CIRCUITS = 40, 250
"""Circuits beside the twin before the other tests, as most mutants differ there, and in all."""
CPU_LIMIT_S = 60
"""A mutant that takes longer hangs: that tells it too."""
MEMORY_LIMIT = 3 << 30
KILLED, SURVIVED = 1, 0


# ---- what is changed -------------------------------------------------------------------------

SWAPS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Add,),
    ast.Mod: (ast.Add,),
    ast.BitOr: (ast.BitAnd,),
    ast.BitAnd: (ast.BitOr,),
    ast.BitXor: (ast.BitOr,),
    ast.LShift: (ast.RShift,),
}
QUIET = (ast.Assert, ast.JoinedStr, ast.Import, ast.ImportFrom)
"""Not changed inside: checks for the type checker, words for people, imports."""


def variants(node: ast.AST) -> Iterator[tuple[str, ast.AST | None]]:
    """Every way to change one node, each with a name; None removes a statement."""
    yield from _other_operators(node)
    yield from _other_values(node)
    yield from _other_ways(node)
    if isinstance(node, ast.AugAssign) or _acts(node):
        yield "left out", None


def _other_operators(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    match node:
        case ast.Compare(ops=[op]):
            for other in SWAPS.get(type(op), ()):
                yield _swapped(node, "ops", [other()], op, other)
        case ast.BoolOp(op=op, values=values):
            for other in SWAPS[type(op)]:
                yield _swapped(node, "op", other(), op, other)
            for i in range(len(values)):
                kept = values[:i] + values[i + 1 :]
                left = kept[0] if len(kept) == 1 else ast.BoolOp(op, kept)
                yield f"without `{ast.unparse(values[i])}`", left
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield "without not", operand
        case ast.BinOp(op=op) | ast.AugAssign(op=op):
            for other in SWAPS.get(type(op), ()):
                yield _swapped(node, "op", other(), op, other)


def _other_values(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    match node:
        case ast.Constant(value=bool() as value):
            yield f"{value} -> {not value}", ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield f"{value} -> {value + 1}", ast.Constant(value + 1)
        case ast.Constant(value=str() as value) if value:
            yield f"{value!r} -> other", ast.Constant(value + "?")
        case ast.Return(value=ast.expr() as value) if not _is_none(value):
            yield "returns None", ast.Return(ast.Constant(None))


def _other_ways(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    changed: ast.AST
    match node:
        case ast.IfExp(test=test, body=body, orelse=orelse):
            yield "branches swapped", ast.IfExp(test, orelse, body)
        case ast.If() | ast.While():
            changed = copy.copy(node)
            changed.test = ast.UnaryOp(ast.Not(), node.test)
            yield "condition turned round", changed
        case ast.comprehension(ifs=[_, *_]):
            changed = copy.copy(node)
            changed.ifs = []
            yield "all taken", changed
        case ast.Continue():
            yield "break", ast.Break()
        case ast.Break():
            yield "continue", ast.Continue()


def _swapped(
    node: ast.AST, field: str, value: object, old: ast.AST, new: type[ast.AST]
) -> tuple[str, ast.AST]:
    changed = copy.copy(node)
    setattr(changed, field, value)
    return f"{type(old).__name__} -> {new.__name__}", changed


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _acts(node: ast.AST) -> bool:
    """Whether it is a statement that does something to something else."""
    if isinstance(node, ast.Expr):
        return isinstance(node.value, (ast.Call, ast.YieldFrom))
    return isinstance(node, ast.Assign) and isinstance(
        node.targets[0], (ast.Attribute, ast.Subscript)
    )


class Mutant(NamedTuple):
    """One change: where, and which."""

    module: str
    place: int
    """Of the node among all nodes of the module that are looked at."""
    variant: int
    line: str
    what: str

    @property
    def name(self) -> str:
        """Such as "solver.check: if len(tape) < 4: [Lt -> LtE]"."""
        return f"{self.module}: {self.line} [{self.what}]"


def _nodes(tree: ast.AST) -> Iterator[ast.AST]:
    """The nodes that may be changed, in a fixed order."""
    yield tree
    for field, value in ast.iter_fields(tree):
        if field in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        children = value if isinstance(value, list) else [value]
        for child in children:
            if isinstance(child, QUIET) or not isinstance(child, ast.AST):
                continue
            if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
                continue  # A docstring.
            if not _is_text(child):
                yield from _nodes(child)


def _is_text(node: ast.AST) -> bool:
    """Whether it only makes up words for people."""
    if isinstance(node, ast.Assign):
        target = node.targets[0]
        return isinstance(target, ast.Name) and target.id in ("text", "what", "remedy")
    spoken = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return spoken and len(node.value.split()) > 3


@cache
def _source(module: str) -> tuple[ast.Module, list[str]]:
    text = ROOT.joinpath(*module.split(".")).with_suffix(".py").read_text(encoding="utf-8")
    return ast.parse(text), text.splitlines()


def mutants(module: str) -> list[Mutant]:
    """All of a module."""
    tree, lines = _source(module)
    found = []
    for place, node in enumerate(_nodes(tree)):
        line = lines[node.lineno - 1].strip() if hasattr(node, "lineno") else ""
        for i, (what, _) in enumerate(variants(node)):
            found.append(Mutant(module, place, i, line, what))
    return found


def mutated(mutant: Mutant) -> CodeType:
    """The module with the change in it."""
    tree = copy.deepcopy(_source(mutant.module)[0])
    node = list(_nodes(tree))[mutant.place]
    _, change = list(variants(node))[mutant.variant]
    new = ast.Pass() if change is None else change

    class Put(ast.NodeTransformer):
        def visit(self, here: ast.AST) -> ast.AST:
            return ast.copy_location(new, here) if here is node else self.generic_visit(here)

    path = str(ROOT.joinpath(*mutant.module.split(".")).with_suffix(".py"))
    return compile(ast.fix_missing_locations(Put().visit(tree)), path, "exec")


# ---- what tells it ---------------------------------------------------------------------------


class _Loader(importlib.abc.Loader):
    """Loads one module from code at hand."""

    def __init__(self, code: CodeType) -> None:
        self.code = code

    def exec_module(self, module: ModuleType) -> None:
        exec(self.code, module.__dict__)


class _Finder(importlib.abc.MetaPathFinder):
    """Finds one module before anyone else does."""

    def __init__(self, name: str, code: CodeType) -> None:
        self.name, self.code = name, code

    def find_spec(self, name: str, *_: object) -> object:
        return (
            importlib.util.spec_from_loader(name, _Loader(self.code)) if name == self.name else None
        )


def survives(module: str, code: CodeType) -> bool:
    """Whether no test tells the code from the module it stands for; in a process of its own."""
    known = {name for name in sys.modules if name.split(".")[0] in ("models", "solver")}
    assert not known, "the originals are loaded already"
    child = os.fork()
    if child == 0:
        status = KILLED
        with contextlib.suppress(BaseException):
            resource.setrlimit(resource.RLIMIT_CPU, (CPU_LIMIT_S, CPU_LIMIT_S))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT, MEMORY_LIMIT))
            status = _try_all(module, code)
        os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == SURVIVED


def unchanged(module: str) -> CodeType:
    """The module as it is: it must survive, or the tests fail for another reason."""
    tree, _ = _source(module)
    return compile(tree, module, "exec")


def _try_all(module: str, code: CodeType) -> int:
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # They take longer than the tests.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    sys.meta_path.insert(0, _Finder(module, code))
    tests = [str(ROOT / test) for test in TESTS.get(module, SIMULATOR_TESTS)]
    if module not in TESTS and _differs_from_the_twin(0, FIRST_CIRCUITS):
        return KILLED
    options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", str(ROOT)]
    if pytest.main([*options, *tests]) != 0:
        return KILLED
    if module not in TESTS and _differs_from_the_twin(FIRST_CIRCUITS, CIRCUITS):
        return KILLED
    return SURVIVED


def _differs_from_the_twin(first: int, end: int) -> bool:
    from tests.circuits import compare, load, random_experiment

    kept = sorted((ROOT / "tests" / "data" / "circuits").glob("*.json")) if first == 0 else []
    return any(compare(load(path)) for path in kept) or any(
        compare(random_experiment(Random(f"mutants/{n}"))) for n in range(first, end)
    )


# ---- the campaign ----------------------------------------------------------------------------


def equivalent() -> dict[str, str]:
    """The mutants that do the same as the original, each with the reason."""
    listed = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["same"]
    return {name: entry["why"] for entry in listed for name in entry["mutants"]}


def judge(
    name: str, seen: Counter[str], every: dict[str, Mutant], same: dict[str, str]
) -> list[str]:
    """One mutant; wrong if it survives and is not known to do the same."""
    mutant = every[name]
    if name in same:
        seen[f"{mutant.module}: does the same"] += 1
        return []
    survived = survives(mutant.module, mutated(mutant))
    seen[f"{mutant.module}: {'survived' if survived else 'killed'}"] += 1
    return ["survived"] if survived else []


def named(modules: Sequence[str]) -> dict[str, Mutant]:
    """All mutants by name; where a line holds two alike, they are numbered."""
    found: dict[str, Mutant] = {}
    for module in modules:
        for mutant in mutants(module):
            name, number = mutant.name, 2
            while name in found:
                name, number = f"{mutant.name} {number}", number + 1
            found[name] = mutant
    return found


def main() -> int:
    made = parser(__doc__, count=0)
    made.add_argument("--sample", type=int, default=0, help="so many of them; all by default")
    made.add_argument("--only", action="append", help="modules, instead of all")
    options = made.parse_args()
    modules = options.only or MODULES
    tests = {str(TESTS.get(module, SIMULATOR_TESTS)): module for module in modules}
    for module in tests.values():
        assert survives(module, unchanged(module)), f"tests fail on {module} as it is"
    every = named(modules)
    names = list(every)
    if options.sample and options.sample < len(names):
        names = Random(options.seed).sample(names, options.sample)
    judged = partial(one_by_one, partial(judge, every=every, same=equivalent()))
    return run(judged, options, what="mutants", names=names)


if __name__ == "__main__":
    sys.exit(main())
