"""``[as_built]``: what was measured on the specimen as cast, in place of what was planned.

The table repeats the shape of the file (``[as_built.bars.left] depth = "512 mm"``) and is laid over it before
anything is checked, so that a run, a check and a reduction all see the specimen that was built. Every value is
marked measured, unless the lists ``estimated`` or ``calibrated`` name its key path.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

KEY = "as_built"
MARKS = ("measured", "estimated", "calibrated")
#: Of these only one may stand in a table: the built one takes the planned one's place.
_EITHER = (("depth", "cover"), ("size", "diameter"), ("positions", "side_cover"))


@dataclass(frozen=True)
class Built:
    """One value as built: its key path, what was ``planned`` (None if left to a rule), what is, and its mark."""

    path: str
    planned: Any
    value: Any
    mark: str


def lay_over(tree: dict[str, Any], report: Any) -> tuple[dict[str, Any], tuple[Built, ...]]:
    """The tree with its ``[as_built]`` laid over the rest, and what was changed by it."""
    given = tree.get(KEY)
    if given is None:
        return tree, ()
    out = {k: deepcopy(v) for k, v in tree.items() if k != KEY}
    if not isinstance(given, dict):
        report(KEY, "must be a table: [as_built], with the shape of the file below it")
        return out, ()
    given = deepcopy(given)
    marks: dict[str, str] = {}
    for mark in MARKS[1:]:
        listed = given.pop(mark, [])
        if not isinstance(listed, list) or not all(isinstance(p, str) for p in listed):
            report(f"{KEY}.{mark}", f'a list of key paths, e.g. {mark} = ["joint.tensile_strength"]')
            continue
        marks |= dict.fromkeys(listed, mark)
    _mirror(out, given)
    found = tuple(Built(p, _planned(out, p), v, marks.pop(p, MARKS[0])) for p, v in _leaves(given))
    for path, mark in marks.items():
        report(f"{KEY}.{mark}", f"names {path!r}, which [as_built] does not give")
    for entry in found:
        if entry.path.split(".")[0] in ("name", "note", "gauges"):
            report(f"{KEY}.{entry.path}", "not a thing that is built: leave it out")
        else:
            _put(out, entry.path, entry.value)
    return out, found


def _mirror(tree: dict[str, Any], given: Mapping[str, Any]) -> None:
    """Right bars that the plan mirrors get a table of their own before one of their values changes."""
    built, bars = given.get("bars"), tree.get("bars")
    if isinstance(built, dict) and isinstance(bars, dict) and "right" in built and "left" in bars:
        bars.setdefault("right", {k: v for k, v in deepcopy(bars["left"]).items() if k != "positions"})


def _leaves(tree: Mapping[str, Any], head: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in tree.items():
        path = f"{head}.{key}" if head else key
        if isinstance(value, dict):
            yield from _leaves(value, path)
        else:
            yield path, value


def _planned(tree: Any, path: str) -> Any:
    for step in path.split("."):
        tree = tree.get(step) if isinstance(tree, dict) else None
    return tree


def _put(tree: dict[str, Any], path: str, value: Any) -> None:
    *tables, key = path.split(".")
    for table in tables:
        below = tree.setdefault(table, {})
        if not isinstance(below, dict):
            return
        tree = below
    for pair in _EITHER:
        if key in pair:
            tree.pop(pair[1 - pair.index(key)], None)
    if key == "positions" and tables == ["bars", "left"]:
        tree.pop("spacing", None)
    tree[key] = value


def forget(tree: dict[str, Any], path: str) -> None:
    """Take one value out of the tree's ``[as_built]``: a key that is varied must not be covered by it."""
    place: Any = tree.get(KEY)
    *tables, key = path.split(".")
    for table in tables:
        place = place.get(table) if isinstance(place, dict) else None
    if isinstance(place, dict):
        place.pop(key, None)
