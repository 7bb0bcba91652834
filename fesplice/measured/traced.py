"""Cracks traced as a drawing: polylines, lines and straight paths of an SVG file -> polylines on a face.

SVG 2 (W3C): ``points`` of a polyline, ``x1`` to ``y2`` of a line, ``d`` of a path with its commands M, L, H, V, Z in
either case, ``transform`` as translate, scale, rotate or matrix. x of a drawing goes to the right, y downwards; on the
face y goes up.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as tree
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from fesplice.contracts import Fault, InputFault
from fesplice.measured.tables import LARGEST
from fesplice.store.folder import reason
from fesplice.units import UnitFault, parse

#: Points of a drawing in its own units, and what its element says of itself.
Drawn = tuple[np.ndarray, dict[str, str]]
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_STEP = re.compile(rf"([A-Za-z])|({_NUMBER})|([\s,]+)")
_TURN = re.compile(r"\s*(translate|scale|rotate|matrix)\s*\(([^)]*)\)[\s,]*")


def polylines(path: Path) -> Iterator[Drawn]:
    """Every line of a drawing: points (n, 2) in its units, and ``id``, ``face``, ``load``, ``width`` as texts.

    ``face`` is the ``id`` of the nearest group above that has one; load and width are ``data-load`` and
    ``data-width`` of the element or the nearest group above. :class:`InputFault` for what is no such drawing.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise InputFault(str(path), f"too large for a tracing (limit {LARGEST / 1e6:.0f} MB)")
        root = tree.parse(path).getroot()
    except OSError as error:
        raise InputFault(str(path), f"cannot be read: {reason(error)}") from None
    except (tree.ParseError, ValueError) as error:
        raise InputFault(str(path), f"is no SVG drawing: {reason(error)}") from None
    if _kind(root) != "svg":
        raise InputFault(str(path), f"is no SVG drawing: its first element is {_kind(root)[:40]!r}")
    # a list rather than calls in calls: a drawing may be as deep as it likes
    waiting: list[tuple[tree.Element, np.ndarray, dict[str, str]]] = [(root, np.eye(3), {})]
    while waiting:
        element, placed, said = waiting.pop()
        kind, own = _kind(element), dict(said)
        if kind in ("defs", "clipPath", "mask", "symbol", "pattern", "marker"):
            continue
        own |= {key: text for key in ("load", "width") if (text := element.get(f"data-{key}"))}
        if kind == "g" and element.get("id"):
            own["face"] = element.get("id", "")
        placed = placed @ _transform(path, element)
        waiting += [(below, placed, own) for below in reversed(element)]
        if kind in _READERS:
            name = element.get("id") or element.get("{http://www.w3.org/2000/svg}id") or ""
            for k, points in enumerate(_READERS[kind](path, element)):
                turned = np.column_stack([points, np.ones(len(points))]) @ placed.T
                yield turned[:, :2], own | {"id": name if not k else f"{name}-{k + 1}"}


def value(path: Path, text: str, kind: str, key: str) -> float:
    """A length or force that the drawing says; nan where it says none."""
    if not text:
        return math.nan
    try:
        return parse(text, kind)
    except UnitFault as fault:
        raise InputFault(str(path), [Fault(f"data-{key}", text[:40], str(fault))]) from None


def _kind(element: tree.Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _numbers(path: Path, element: tree.Element, text: str) -> np.ndarray:
    found = re.findall(_NUMBER, text)
    if re.sub(_NUMBER, "", text).strip(" ,\t\r\n"):
        raise _fault(path, element, text, "numbers")
    return np.array(found, float)


def _fault(path: Path, element: tree.Element, text: str, allowed: str) -> InputFault:
    name = element.get("id") or "without an id"
    return InputFault(str(path), [Fault(f"{_kind(element)} {name}", text[:40], allowed)])


def _pairs(path: Path, element: tree.Element) -> list[np.ndarray]:
    text = element.get("points") or ""
    numbers = _numbers(path, element, text)
    if len(numbers) < 4 or len(numbers) % 2:
        raise _fault(path, element, text, "at least two points, x and y of each")
    return [numbers.reshape(-1, 2)]


def _line(path: Path, element: tree.Element) -> list[np.ndarray]:
    ends = [_numbers(path, element, element.get(key) or "0") for key in ("x1", "y1", "x2", "y2")]
    if any(len(end) != 1 for end in ends):
        raise _fault(path, element, "", "one number each for x1, y1, x2, y2, without a unit")
    return [np.concatenate(ends).reshape(2, 2)]


def _path(path: Path, element: tree.Element) -> list[np.ndarray]:
    """The straight pieces of a path; one that bends is a fault: its editor can flatten it."""
    text = element.get("d") or ""
    words = [m[1] or float(m[2]) for m in _STEP.finditer(text) if m[1] or m[2]]
    if sum(len(m[0]) for m in _STEP.finditer(text)) != len(text):
        raise _fault(path, element, text, "commands and numbers")
    pieces: list[list[tuple[float, float]]] = []
    at, command, k = (0.0, 0.0), "", 0
    while k < len(words):
        if isinstance(word := words[k], str):
            command, k = word, k + 1
            if command not in "MmLlHhVvZz":
                raise _fault(path, element, text, f"straight lines only, {command!r} bends: M, L, H, V, Z")
            if command in "Zz":
                if not pieces:
                    raise _fault(path, element, text, "a path begins with M")
                at = pieces[-1][0]
                pieces[-1].append(at)
                pieces.append([at])
            continue
        wanted = 1 if command in "HhVv" else 2
        given = words[k : k + wanted]
        if command in ("", "Z", "z") or len(given) < wanted or any(isinstance(v, str) for v in given):
            raise _fault(path, element, text, "x and y after M and L, one number after H and V")
        x, y = float(given[0]), float(given[-1])
        from_x, from_y = at if command.islower() else (0.0, 0.0)
        at = (at[0] if command in "Vv" else from_x + x, at[1] if command in "Hh" else from_y + y)
        if command in "Mm":
            pieces.append([at])
            command = "l" if command == "m" else "L"
        elif not pieces:
            raise _fault(path, element, text, "a path begins with M")
        else:
            pieces[-1].append(at)
        k += wanted
    return [np.array(piece) for piece in pieces if len(piece) > 1]


_READERS: dict[str, Callable[[Path, tree.Element], list[np.ndarray]]] = {
    "polyline": _pairs, "polygon": _pairs, "line": _line, "path": _path,
}  # fmt: skip


def _transform(path: Path, element: tree.Element) -> np.ndarray:
    """The matrix (3, 3) of an element's own ``transform``."""
    text, out, end = element.get("transform") or "", np.eye(3), 0
    for found in _TURN.finditer(text):
        if found.start() != end:
            break
        end = found.end()
        v = _numbers(path, element, found[2]).tolist()
        match found[1], len(v):
            case "translate", 1 | 2:
                own = np.array([[1, 0, v[0]], [0, 1, v[1] if len(v) > 1 else 0.0], [0, 0, 1]])
            case "scale", 1 | 2:
                own = np.diag([v[0], v[-1], 1.0])
            case "rotate", 1 | 3:
                c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
                about = np.array(v[1:] or [0.0, 0.0])
                turn = np.array([[c, -s], [s, c]])
                own = np.eye(3)
                own[:2, :2], own[:2, 2] = turn, about - turn @ about
            case "matrix", 6:
                own = np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0, 0, 1]])
            case _:
                raise _fault(path, element, text, "translate, scale, rotate or matrix with its numbers")
        out = out @ own
    if text[end:].strip():
        raise _fault(path, element, text, "translate, scale, rotate or matrix")
    return out
