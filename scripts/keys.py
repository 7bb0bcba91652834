"""Every key of a specimen file as one page: what it means, what is allowed, what stands when it is left out.

Read off the schema, so that page and reader cannot part; writes models/KEYS.md, or with ``--check`` says whether it
is up to date.
"""

from __future__ import annotations

import re
import sys
import typing
from pathlib import Path
from types import UnionType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from fesplice.specimen import Specimen
from fesplice.specimen.values import Quantity
from fesplice.units import show

#: Kinds of value with a reader of their own.
WORDS = {
    "size": 'designation or diameter, e.g. `"29"`, `"No. 9"`, `"phi 28"`', "spacing": 'length above 0, or `"contact"`',
    "bend_angle": "90 or 180 deg", "count": "whole number above 0", "text": "text",
}  # fmt: skip
PAGE = Path(__file__).resolve().parents[1] / "models" / "KEYS.md"
HEAD = """# Keys of a specimen file

Written by `scripts/keys.py` from the schema. A dimensional value is a text with its unit ("460 mm", "18 in", "5 ksi");
a number without its unit and an unknown key are refused. "rule": left out, the value comes from a named rule, and the
run's page says which and what it gave. Values of `[plan]` and of wedging in `[bond]` that have no source are judgement;
what each does to the strength, but for the grip length, stands in [TRENDS.md](studies/TRENDS.md).

`[as_built]` repeats the shape of the file with what was measured on the specimen as cast (`[as_built.bars.left]
depth = "512 mm"`); its values take the place of the planned ones in everything that is computed. Each is marked
measured, unless `as_built.estimated` or `as_built.calibrated`, lists of key paths, name it.
"""


def parts(of: type[BaseModel]) -> dict[type[BaseModel], list[str]]:
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


def allowed(annotation: Any, metadata: tuple[Any, ...] = ()) -> str:
    """What a value may be, in words."""
    for item in metadata:
        if isinstance(item, BeforeValidator):
            if isinstance(item.func, Quantity):
                return f"{item.func.kind}, {_short(item.func.allowed)}"
            name = item.func.__name__.strip("_")
            return WORDS.get(name, name.replace("_", " "))
    if get_origin(annotation) is typing.Annotated:
        inner, *rest = get_args(annotation)
        return allowed(inner, tuple(rest))
    if get_origin(annotation) is Literal:
        return ", ".join(f'`"{a}"`' for a in get_args(annotation))
    if get_origin(annotation) in (typing.Union, UnionType):
        return allowed(next(a for a in get_args(annotation) if a is not type(None)))
    if get_origin(annotation) is tuple:
        return "list"
    return {bool: "`true`, `false`", int: "whole number", str: "text", float: "number"}.get(annotation, "")


def _short(bounds: str) -> str:
    """The reader's sentence on bounds, as a table says it."""
    if between := re.fullmatch(r"must lie between (.*) and (.*)", bounds):
        return f"{between[1]} to {between[2]}"
    if least := re.fullmatch(r"must not be below (.*)", bounds):
        return f"{least[1]} or more"
    return bounds.removeprefix("must be ")


def default(field: FieldInfo) -> str:
    """What stands when the key is left out."""
    value = field.default
    if field.is_required():
        return "needed"
    if value in ("", ()):
        return "–"
    if value is None or (isinstance(value, float) and value != value):
        return "rule"
    if isinstance(value, bool):
        return str(value).lower()
    kinds = [m.func.kind for m in field.metadata if isinstance(m, BeforeValidator) and isinstance(m.func, Quantity)]
    if kinds and isinstance(value, float | int):
        return show(value, kinds[0])
    return str(value)


def page() -> str:
    """The whole page."""
    out = [HEAD]
    for part, paths in parts(Specimen).items():
        rows = []
        for name, field in part.model_fields.items():
            if _models(field.annotation):
                continue
            may = allowed(field.annotation, tuple(field.metadata))
            cells = (f"`{name}`", may, default(field), field.description or "")
            rows.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
        if rows:
            what = (part.__doc__ or "").split("\n\n")[0].replace("\n    ", " ").replace("``", "`").strip()
            out += ["## " + (", ".join(f"`[{path}]`" for path in paths if path) or "Top") + "\n", what + "\n"]
            out += ["| key | allowed | left out | meaning |", "|---|---|---|---|", *rows, ""]
    return "\n".join(out)


def main() -> int:
    """Write the page, or compare it."""
    text = page()
    if "--check" in sys.argv[1:]:
        same = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == text
        print(f"{PAGE}: {'up to date' if same else 'not up to date, run scripts/keys.py'}")
        return 0 if same else 1
    PAGE.write_text(text, encoding="utf-8")
    print(PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
