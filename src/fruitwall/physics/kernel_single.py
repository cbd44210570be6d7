"""The kernel in single precision, made from the source of the double one.

Numba takes every literal for a double, and one double makes a whole expression double. So the kernel's modules are read
once more with each literal, and each new array, turned into single precision; nothing of the equations stands twice.
Twice as many members fit into a vector: for long replays and large ensembles, where a few thousandths of a kelvin do
not count. `night.simulate(..., precision="single")` uses it.
"""

from __future__ import annotations

import ast
import sys
from functools import cache
from pathlib import Path
from threading import Lock
from types import ModuleType
from typing import Any

import numpy as np

from fruitwall.physics import kernel, kernel_bodies, kernel_lanes

SINGLE = "_SINGLE"


class _Narrow(ast.NodeTransformer):
    """Turn literals and new arrays into single precision, and leave out imports of what is narrowed itself."""

    def __init__(self, given: set[str]) -> None:
        self.given = given

    def visit_Constant(self, node: ast.Constant) -> ast.expr:
        """Wrap a literal."""
        if not isinstance(node.value, float):
            return node
        return ast.copy_location(ast.Call(ast.Name(SINGLE, ast.Load()), [node], []), node)

    def visit_Call(self, node: ast.Call) -> ast.expr:
        """Give ``np.zeros`` and ``np.empty`` their type."""
        self.generic_visit(node)
        made = node.func
        if isinstance(made, ast.Attribute) and made.attr in ("zeros", "empty") and isinstance(made.value, ast.Name):
            node.keywords.append(ast.keyword("dtype", ast.Name(SINGLE, ast.Load())))
        return node

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.ImportFrom | None:
        """Drop the names that are given from outside."""
        node.names = [name for name in node.names if (name.asname or name.name) not in self.given]
        return node if node.names else None


def _narrowed(module: ModuleType, given: dict[str, Any]) -> ModuleType:
    """Run a module's source in single precision; `given` are names that it would import from narrowed modules."""
    path = Path(module.__file__ or "")
    tree = _Narrow(set(given)).visit(ast.parse(path.read_text(encoding="utf-8")))
    ast.fix_missing_locations(tree)
    made = ModuleType(f"{module.__name__}_single")
    made.__file__ = str(path)
    made.__dict__.update(given)
    made.__dict__[SINGLE] = np.float32
    sys.modules[made.__name__] = made  # where Numba looks for it when it loads what it kept on disk
    exec(compile(tree, str(path), "exec"), made.__dict__)
    return made


_MAKING = Lock()
"""CPython 3.11 makes objects of syntax trees in one thread at a time only: two at once end in a SystemError (its issue
106905)."""


def marcher() -> Any:
    """Give the compiled march; its arrays and its step are of single precision.

    Compiled on first use and kept on disk beside that of `kernel.marcher`.
    """
    with _MAKING:
        return _marcher()


@cache
def _marcher() -> Any:
    lanes = _narrowed(kernel_lanes, {})
    shared = ("BARK_SUN", "EPS", "SIGMA", "SMALL2", "ZERO", "apart", "exponential", "lanes")
    bodies = _narrowed(kernel_bodies, {name: getattr(lanes, name) for name in shared})
    made = _narrowed(kernel, {"lane": lanes, "body": bodies})
    made.__dict__["MADE_BY"] = (__file__,)
    return made.__dict__["marcher"]()
