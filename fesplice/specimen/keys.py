"""Every key of a specimen file, read off the schema: what it may be, what stands when it is left out, what it means.

The page of keys, the verb ``fesplice keys`` and the manual all show these rows, so that none of them can part from
what the reader of specimen files accepts.
"""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from types import UnionType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from fesplice.specimen.ranges import range_of
from fesplice.specimen.schema import Specimen
from fesplice.units import KINDS, show

#: Kinds of value with a reader of their own.
WORDS = {
    "size": 'designation or diameter, e.g. `"29"`, `"No. 9"`, `"phi 28"`', "spacing": 'length above 0, or `"contact"`',
    "bend_angle": "90 or 180 deg", "count": "whole number above 0", "text": "text",
}  # fmt: skip


#: What those of them count that read a number.
NUMBERS = {"spacing": "length", "bend_angle": "angle"}


@dataclass(frozen=True)
class Key:
    """One key: ``path`` as in ``bars.left.depth``; ``allowed``, ``left_out``, ``meaning`` and ``usual`` in words."""

    path: str
    allowed: str
    left_out: str
    meaning: str
    usual: str = ""

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rpartition(".")[2]


@dataclass(frozen=True)
class KeyTable:
    """One table of the file: all ``paths`` at which it may stand ("" is the top), its keys under the first of them."""

    paths: tuple[str, ...]
    meaning: str
    keys: tuple[Key, ...]

    @property
    def title(self) -> str:
        """``[bars.left], [bars.right]``; ``top of the file``."""
        return ", ".join(f"[{path}]" for path in self.paths if path) or "top of the file"


def key_tables(of: type[BaseModel] = Specimen) -> tuple[KeyTable, ...]:
    """All tables of a file of the schema ``of`` that hold keys, in its order."""
    found = []
    for part, paths in _parts(of).items():
        keys = tuple(
            _key(f"{paths[0].strip('[]')}.{name}".lstrip("."), field, paths[0], of)
            for name, field in part.model_fields.items()
            if not _models(field.annotation)
        )  # fmt: skip
        if keys:
            what = (part.__doc__ or "").split("\n\n")[0].replace("\n    ", " ").replace("``", "`").strip()
            found.append(KeyTable(tuple(paths), what, keys))
    return tuple(found)


def _key(path: str, field: FieldInfo, table: str, of: type[BaseModel]) -> Key:
    allowed = _allowed(field.annotation, tuple(field.metadata))
    known = range_of(path) if of is Specimen else None
    if known is None or allowed == "list":
        usual = "" if known is None else known.usual
        return Key(path, allowed, _left_out(field, table), field.description or "", usual)
    # the words of a kind with a reader of its own stay; of the others the table of ranges says the bounds
    kind = allowed.split(", ")[0]
    bounded = kind if kind in KINDS else "whole number" if allowed == WORDS["count"] else ""
    return Key(
        path, f"{bounded}, {known.short}" if bounded else allowed, _left_out(field, table), field.description or "",
        known.usual,
    )  # fmt: skip


def kinds_of(annotation: Any, metadata: tuple[Any, ...] = ()) -> tuple[str, ...]:
    """Kinds (:data:`fesplice.units.KINDS`) of the numbers that a key holds, in their order: ``("length",)`` of a length
    or a list of lengths, ``("strain", "stress")`` of a list of such pairs; none of words, counts and flags.
    """
    for item in metadata:
        if isinstance(item, BeforeValidator):
            read: Any = item.func
            kind = getattr(read, "kind", None) or NUMBERS.get(str(getattr(read, "__name__", "")).strip("_"))
            return (kind,) if kind else ()
    if get_origin(annotation) is typing.Annotated:
        inner, *rest = get_args(annotation)
        return kinds_of(inner, tuple(rest))
    parts = [a for a in get_args(annotation) if a is not Ellipsis and a is not type(None)]
    return tuple(kind for a in parts for kind in kinds_of(a))


def matching(words: Iterable[str]) -> tuple[KeyTable, ...]:
    """The tables with those keys alone in whose path or meaning, or that of their table, every word stands."""
    wanted = [word.strip("[]").lower() for word in words]
    found = []
    for table in key_tables():
        around = " ".join([table.title, table.meaning]).lower()
        keys = tuple(
            k for k in table.keys
            if all(w in f"{k.path} {k.meaning} {k.allowed}".lower() or w in around for w in wanted)
        )  # fmt: skip
        if keys:
            found.append(KeyTable(table.paths, table.meaning, keys))
    return tuple(found)


def _parts(of: type[BaseModel]) -> dict[type[BaseModel], list[str]]:
    """``of`` and every table below it in the order of the schema, each with the paths under which it stands."""
    found: dict[type[BaseModel], list[str]] = {}

    def gather(part: type[BaseModel], path: str) -> None:
        found.setdefault(part, []).append(path)
        for name, field in part.model_fields.items():
            for below in _models(field.annotation):
                named = ".NAME" if get_origin(field.annotation) is dict else ""
                listed = f"[{name}]" if get_origin(field.annotation) is tuple else name
                gather(below, f"{path}.{listed}{named}".lstrip("."))

    gather(of, "")
    return found


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for a in get_args(annotation) for m in _models(a)]


def _allowed(annotation: Any, metadata: tuple[Any, ...] = ()) -> str:
    """What a value may be, in words."""
    for item in metadata:
        if isinstance(item, BeforeValidator):
            read: Any = item.func
            if hasattr(read, "kind"):
                bounds = _short(str(read.allowed))
                return read.kind if "inf" in bounds.split()[0] else f"{read.kind}, {bounds}"
            name = str(read.__name__).strip("_")
            return WORDS.get(name, name.replace("_", " "))
    if get_origin(annotation) is typing.Annotated:
        inner, *rest = get_args(annotation)
        return _allowed(inner, tuple(rest))
    if get_origin(annotation) is Literal:
        return ", ".join(f'`"{a}"`' for a in get_args(annotation) if a != "")
    if get_origin(annotation) in (typing.Union, UnionType):
        return _allowed(next(a for a in get_args(annotation) if a is not type(None)))
    if get_origin(annotation) is tuple:
        return "list"
    plain = {bool: "`true`, `false`", int: "whole number", str: "text", float: "number"}
    return plain.get(annotation, "")


def _short(bounds: str) -> str:
    """The reader's sentence on bounds, as a table says it."""
    if between := re.fullmatch(r"must lie between (.*) and (.*)", bounds):
        return f"{between[1]} to {between[2]}"
    if least := re.fullmatch(r"must not be below (.*)", bounds):
        return f"{least[1]} or more"
    return bounds.removeprefix("must be ")


def _left_out(field: FieldInfo, table: str) -> str:
    """What stands when the key is left out of ``table``; in a list of tables no rule fills it."""
    value = field.default
    if field.is_required():
        return "needed"
    if value in ("", ()):
        return "–"
    if value is None or (isinstance(value, float) and value != value):
        return "–" if table.startswith("[") else "rule"
    if isinstance(value, bool):
        return str(value).lower()
    kinds = [getattr(m.func, "kind", "") for m in field.metadata if isinstance(m, BeforeValidator)]
    if any(kinds) and isinstance(value, float | int):
        return show(value, next(filter(None, kinds)))
    return str(value)
