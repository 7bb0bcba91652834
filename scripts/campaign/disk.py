"""The calls by which a program changes the disk, counted, and something done in place of one of them."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from typing import Any

#: All of them that the program uses, through os.
CALLS = ("write", "fsync", "replace", "ftruncate", "unlink", "mkdir", "chmod")


@contextlib.contextmanager
def nth_call(number: int, act: Callable[[], None]) -> Iterator[list[int]]:
    """Do ``act`` in place of the ``number``-th call that changes the disk; a write does half its work first."""
    count = [0]
    true = {name: getattr(os, name) for name in CALLS}

    def watched(name: str) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            count[0] += 1
            if count[0] == number:
                if name == "write":
                    true["write"](args[0], args[1][: len(args[1]) // 2])
                act()
            return true[name](*args, **kwargs)

        return call

    for name in CALLS:
        setattr(os, name, watched(name))
    try:
        yield count
    finally:
        for name, function in true.items():
            setattr(os, name, function)
