"""Strict reading of TOML into frozen tables: every fault of a file at once, in the words of the trade.

Faulty values are taken out one by one and the rest is still checked, so that the report holds
all faults of a file at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from copy import deepcopy
from difflib import get_close_matches
from os import PathLike
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from fesplice.contracts import Fault, InputFault
from fesplice.specimen.renamed import RENAMED
from fesplice.specimen.values import MENDED, Part, Quantity

LARGEST = 1_000_000  # bytes; a specimen file has a few thousand
LONGEST = 10_000  # characters of a line; the parser takes the square of a dotted key's length

T = TypeVar("T", bound=Part)


def toml_text(path: str | PathLike[str], noun: str) -> str:
    """Text of the TOML file ``path`` of a kind called ``noun``; :class:`InputFault` if it cannot be one."""
    file = Path(path)
    try:
        if file.is_dir():
            raise InputFault(str(file), f"is a directory; give a {noun} file (TOML)")
        if file.exists() and not file.is_file():
            raise InputFault(str(file), f"is not a file on disk; give a {noun} file (TOML)")
        with file.open("rb") as stream:
            data = stream.read(LARGEST + 1)
    except FileNotFoundError:
        raise InputFault(str(file), "no such file") from None
    except (OSError, ValueError) as fault:
        raise InputFault(str(file), f"cannot be read: {getattr(fault, 'strerror', None) or fault}") from None
    if len(data) > LARGEST:
        raise InputFault(str(file), f"too large for a {noun} file (limit 1 MB)")
    if b"\0" in data:
        raise InputFault(str(file), f"a binary file; a {noun} file is TOML text")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputFault(str(file), f"not UTF-8 text (byte {fault.start}); a {noun} file is TOML text") from None
    return text


# ------------------------------------------------------------------ faults
class Report:
    """Collects faults and adds what the file said at that place, and where."""

    def __init__(self, tree: dict[str, Any], numbers: dict[str, int]):
        self.tree, self.numbers = tree, numbers
        self.faults: list[Fault] = []
        self.over: dict[str, str] = {}

    def lay(self, tree: dict[str, Any], paths: list[str], of: str = "as_built") -> None:
        """Judge ``tree`` from now on, whose values at ``paths`` stand in the table ``of`` of the file."""
        self.tree, self.over = tree, {path: f"{of}.{path}" for path in paths}

    def __call__(self, path: str, allowed: str) -> None:
        place, given, where = self.locate(path)
        self.faults.append(Fault(place, given, allowed + where))

    def locate(self, path: str) -> tuple[str, Any, str]:
        """Where the file says the value at ``path``: key path, value, " (line 12)"."""
        place = self.over.get(path.split("[")[0], "") or path
        number = self.numbers.get(place, self.numbers.get(place.split("[")[0]))
        return place, self._given(path), f" (line {number})" if number else ""

    def _given(self, path: str) -> Any:
        """The value in the file, short enough to show; None for tables and absent keys."""
        value: Any = self.tree
        for step in _steps(path):
            try:
                value = value[step]
            except (KeyError, IndexError, TypeError):
                return None
        if isinstance(value, dict):
            return None
        try:
            shown = repr(value)
        except ValueError:  # an integer with thousands of digits
            return "a very long number"
        return value if len(shown) <= 60 else shown[:57] + "..."


def _steps(path: str) -> Iterator[str | int]:
    for name in path.split("."):
        name, *indices = name.replace("]", "").split("[")
        yield name
        yield from map(int, indices)


def _dotted(loc: tuple[str | int, ...]) -> str:
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in loc).removeprefix(".")


# ------------------------------------------------------------------ text -> tree -> parts
def parsed(text: str, source: str, noun: str = "specimen") -> dict[str, Any]:
    """The tree of a TOML ``text``; :class:`InputFault` where it is none."""
    if any(len(line) > LONGEST for line in text.splitlines()):
        raise InputFault(source, f"not a {noun} file: a line is longer than {LONGEST} characters")
    try:
        tree = tomllib.loads(text)
    except RecursionError:
        raise InputFault(source, f"not a {noun} file: nested too deeply") from None
    except ValueError as fault:
        raise InputFault(source, f"not valid TOML: {fault}") from None
    if not tree:
        raise InputFault(source, "the file is empty; models/ holds commented examples")
    return tree


def validated(tree: dict[str, Any], report: Report, of: type[T]) -> T | None:
    """The parts of the tree. Faulty values are reported, taken out, and the rest is tried again."""
    mended = deepcopy(tree)
    renamed: set[tuple[str | int, ...]] = set()
    for attempt in range(4):
        try:
            return of.model_validate(mended)
        except ValidationError as fault:
            errors = fault.errors(include_url=False)
        meant = {error["loc"]: place for error in errors if (place := _meant(error, mended, of))}
        for error in errors:
            loc = error["loc"]
            # a key with a slip of the pen is one fault, not an unknown and a missing key
            fresh = attempt == 0 or any(loc[: len(place)] == place for place in renamed)
            if fresh and loc not in meant.values():
                report(_dotted(loc), _allowed(error, of))
            if loc not in meant.values():
                _mend(mended, error, meant.get(loc))
        renamed = set(meant.values())
    return None


def _meant(error: Any, tree: Any, of: type[Part]) -> tuple[str | int, ...] | None:
    """The place a misspelt key most likely meant, unless something stands there already."""
    *steps, key = error["loc"]
    near = None
    if error["type"] == "extra_forbidden":
        new = RENAMED.get(_dotted(error["loc"]), "").rpartition(".")[2]
        near = new or _nearest(str(key), _place(error["loc"], of)[0])
    for step in steps:
        tree = tree[step]
    return (*steps, near) if near and near not in tree else None


def _mend(tree: Any, error: Any, meant: tuple[str | int, ...] | None) -> None:
    """Move a misspelt key, take a faulty value out; where a value is needed, leave a sign that one was there."""
    *steps, key = error["loc"]
    try:
        for step in steps:
            tree = tree[step]
        if meant:
            tree[meant[-1]] = tree.pop(key)
        elif error["type"] == "literal_error" and (near := get_close_matches(str(tree[key]), _choices(error), n=1)):
            tree[key] = near[0]
        elif error["type"] in ("extra_forbidden", "literal_error", "bool_type", "string_pattern_mismatch"):
            del tree[key]
        else:
            tree[key] = MENDED
    except (KeyError, IndexError, TypeError):
        return


def _choices(error: Any) -> list[str]:
    """The words a literal_error allows, e.g. from "'a', 'b' or 'c'"."""
    return str(error["ctx"]["expected"]).replace("'", "").replace(" or ", ", ").split(", ")


def _allowed(error: Any, of: type[Part]) -> str:
    """What is allowed at the place of a validation error, in the words of the trade."""
    loc, context = error["loc"], error.get("ctx", {})
    part, field = _place(loc, of)
    match error["type"]:
        case "value_error":
            return str(context["error"])
        case "missing":
            return f"missing; {_meaning(field)}"
        case "extra_forbidden":
            new = RENAMED.get(_dotted(loc))
            return f"is now called {new}" if new else _unknown(str(loc[-1]), part)
        case "literal_error":
            near = get_close_matches(str(error["input"])[:40], _choices(error), n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            return f"{hint}allowed: {context['expected']}"
        case "int_type":
            return "a whole number"
        case "bool_type":
            return "true or false"
        case "string_type":
            return "a text in quotes"
        case "greater_than_equal":
            return f"at least {context['ge']}"
        case "less_than_equal":
            return f"at most {context['le']}"
        case "string_pattern_mismatch":
            return "letters, digits, blanks and . , ( ) + - only, at most 80, beginning with a letter or digit"
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"must be a table: [{_dotted(loc)}]"
        case "tuple_type":
            return f"must be a list: {_meaning(field)}"
    return str(error["msg"])


def _meaning(field: FieldInfo | None) -> str:
    """What a value means, with an example, from its description in the schema."""
    if field is None:
        return "one more value is needed here"
    part = _part_in(field.annotation)
    if part:
        return f"table needed: {(part.__doc__ or '').strip().splitlines()[0].replace('`', '')}"
    examples = [m.func.example for m in field.metadata if isinstance(getattr(m, "func", None), Quantity)]
    return ", e.g. ".join([field.description or "needed", *examples])


def _nearest(key: str, part: type[Part] | None) -> str | None:
    return next(iter(get_close_matches(key[:40].lower(), part.model_fields, n=1)), None) if part else None


def _unknown(key: str, part: type[Part] | None) -> str:
    near = _nearest(key, part)
    hint = f"did you mean {near!r}? " if near else ""
    return f"unknown key; {hint}known here: {', '.join(part.model_fields) if part else 'none'}"


def _place(loc: tuple[str | int, ...], of: type[Part]) -> tuple[type[Part] | None, FieldInfo | None]:
    """The part whose keys stand at the end of ``loc``, and the field there (None if unknown)."""
    part: type[Part] | None = of
    field: FieldInfo | None = None
    steps = list(loc)
    while steps and part is not None:
        step = steps.pop(0)
        field = part.model_fields.get(str(step))
        if field is None or not steps:
            return part, field
        if field.annotation is not None and getattr(field.annotation, "__origin__", None) is dict:
            steps.pop(0)  # the user's own key
            if not steps:
                return None, field
        part = _part_in(field.annotation)
    return None, None


def _part_in(annotation: Any) -> type[Part] | None:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return annotation
    return next((found for arg in get_args(annotation) if (found := _part_in(arg))), None)
