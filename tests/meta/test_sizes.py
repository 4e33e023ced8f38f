"""No module and no function runs away: modules stay at or under 350 lines, functions at or under 60."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "daemon" / "coldbrood"
MODULE_LINES = 350
FUNCTION_LINES = 60


def module_sizes() -> list[tuple[int, str]]:
    """Lines of each module, largest first."""
    files = SOURCE.rglob("*.py")
    sizes = [(len(path.read_text(encoding="utf-8").splitlines()), path.name) for path in files]
    return sorted(sizes, reverse=True)


def function_sizes() -> list[tuple[int, str]]:
    """Lines of each function and method, largest first."""
    return sorted((size for path in SOURCE.rglob("*.py") for size in _functions(path)), reverse=True)


def _functions(path: Path) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert node.end_lineno is not None
            yield node.end_lineno - node.lineno + 1, f"{path.name}:{node.name}"


def test_modules_stay_small() -> None:
    sizes = module_sizes()
    assert sizes
    print("largest modules:", sizes[:5])
    assert [size for size in sizes if size[0] > MODULE_LINES] == []


def test_functions_stay_small() -> None:
    sizes = function_sizes()
    assert sizes
    print("largest functions:", sizes[:5], "median:", sizes[len(sizes) // 2][0])
    assert [size for size in sizes if size[0] > FUNCTION_LINES] == []
