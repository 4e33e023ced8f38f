"""Finds in Python source what a pure room may not do; the self-test is tests/meta/test_purity.py."""

import ast
from collections.abc import Iterator

ALLOWED_MODULES = frozenset(
    {
        "bisect",
        "collections",
        "collections.abc",
        "dataclasses",
        "datetime",
        "enum",
        "functools",
        "itertools",
        "math",
        "numpy",
        "numpy.typing",
        "statistics",
        "typing",
    }
)

# `hash` of a text differs from run to run, and `id` from object to object.
FORBIDDEN_NAMES = frozenset(
    {"open", "print", "input", "eval", "exec", "compile", "breakpoint", "__import__", "globals", "hash", "id"}
)
FORBIDDEN_ATTRIBUTES = frozenset(
    {"environ", "getenv", "load", "loadtxt", "genfromtxt", "fromfile"}
    | {"memmap", "save", "savez", "savez_compressed", "savetxt", "tofile"}
)
CLOCK_READERS = frozenset({"now", "today", "utcnow"})
SEEDED_MAKERS = frozenset({"default_rng", "PCG64", "Philox", "SFC64", "SeedSequence"})


def offences(source: str, allowed_modules: frozenset[str] | set[str]) -> list[str]:
    """Each offence as `line N: what`, in the order of the walk."""
    tree = ast.parse(source)
    walk = _Walk(tree, allowed_modules)
    return [
        f"line {getattr(node, 'lineno', 0)}: {what}" for node in ast.walk(tree) for what in walk.judge(node)
    ]


class _Walk:
    def __init__(self, tree: ast.AST, allowed: frozenset[str] | set[str]) -> None:
        self.allowed = allowed
        self.calls = {id(node.func): node for node in ast.walk(tree) if isinstance(node, ast.Call)}
        self.datetimes = {name for node in ast.walk(tree) for name in _datetime_names(node)}

    def judge(self, node: ast.AST) -> Iterator[str]:
        match node:
            case ast.Import(names=names):
                yield from (f"import {n.name}" for n in names if not _may_import(n.name, self.allowed))
            case ast.ImportFrom():
                yield from _judge_from(node, self.allowed)
            case ast.Name(id=name, ctx=ast.Load()) if name in FORBIDDEN_NAMES:
                yield f"uses {name}"
            case ast.Global(names=names):
                yield f"global {', '.join(names)}"
            case ast.Attribute(ctx=ast.Load()):
                yield from self.judge_attribute(node, self.calls.get(id(node)))

    def judge_attribute(self, node: ast.Attribute, call: ast.Call | None) -> Iterator[str]:
        if node.attr in FORBIDDEN_ATTRIBUTES:
            yield f"uses .{node.attr}"
        elif node.attr in CLOCK_READERS and (call is not None or _first_name(node) in self.datetimes):
            yield f"reads the clock by .{node.attr}"
        elif node.attr == "fromtimestamp" and (call is None or len(call.args) + len(call.keywords) < 2):
            yield "fromtimestamp in the machine's own zone"
        elif node.attr == "astimezone" and (call is None or not (call.args or call.keywords)):
            yield "astimezone to the machine's own zone"
        elif _is_numpy_random(node.value):
            yield from _judge_chance(node.attr, call)


def _datetime_names(node: ast.AST) -> Iterator[str]:
    """Names under which the file knows the datetime module or what it holds."""
    if isinstance(node, ast.Import):
        yield from (n.asname or n.name for n in node.names if n.name == "datetime")
    elif isinstance(node, ast.ImportFrom) and node.module == "datetime":
        yield from (n.asname or n.name for n in node.names)


def _first_name(node: ast.expr) -> str:
    while isinstance(node, ast.Attribute):
        node = node.value
    return node.id if isinstance(node, ast.Name) else ""


def _may_import(module: str, allowed: frozenset[str] | set[str]) -> bool:
    rooms = (own for own in allowed if own.startswith("coldbrood."))
    return module in allowed or any(module.startswith(own + ".") for own in rooms)


def _judge_from(node: ast.ImportFrom, allowed: frozenset[str] | set[str]) -> Iterator[str]:
    module = node.module or ""
    for alias in node.names:
        own = _may_import(f"{module}.{alias.name}", allowed) and module == "coldbrood"
        if node.level or not (own or _may_import(module, allowed)):
            yield f"from {'.' * node.level}{module} import {alias.name}"
        elif module == "numpy" and alias.name in FORBIDDEN_ATTRIBUTES | {"random"}:
            yield f"from numpy import {alias.name}"


def _is_numpy_random(node: ast.AST) -> bool:
    return isinstance(node, ast.Attribute) and node.attr == "random" and isinstance(node.value, ast.Name)


def _judge_chance(name: str, call: ast.Call | None) -> Iterator[str]:
    if name in {"Generator", "BitGenerator"}:
        return
    if name not in SEEDED_MAKERS:
        yield f"uses numpy.random.{name}"
    elif call is None or not _has_seed(call):
        yield f"numpy.random.{name} without a seed"


def _has_seed(call: ast.Call) -> bool:
    given = [*call.args, *(keyword.value for keyword in call.keywords)]
    return bool(given) and not any(isinstance(value, ast.Constant) and value.value is None for value in given)
