"""Machine code for the loops over points, elements and fronts, where numpy would run out of cache.

numba translates a function when it is first called and keeps the result beside the source (or
in the user's cache), so that only the very first start waits for it. A stored translation is
renewed when its own file changes and not when another does: therefore a compiled function calls
compiled functions of its own module only.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from numba import njit

F = TypeVar("F", bound=Callable)


def compiled(function: F) -> F:
    """Decorator: machine code with numpy's rules for numbers (1/0 is infinite, no exception)."""
    return _translated(function, False)


def compiled_sums(function: F) -> F:
    """The same where sums may be taken in any order, so that they fill the vector registers."""
    return _translated(function, {"reassoc", "contract"})


def _translated(function: F, fastmath: bool | set[str]) -> F:
    options = {"error_model": "numpy", "fastmath": fastmath}
    try:
        return njit(cache=True, **options)(function)  # type: ignore[return-value]
    except RuntimeError:  # no folder in which a translation could be kept
        return njit(**options)(function)  # type: ignore[return-value]
