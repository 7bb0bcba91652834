"""Small functions about TOML text: the line of a key, and writing a tree of tables."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from numbers import Integral, Real
from typing import Any

_HEADER = re.compile(r"\s*\[(\[?)\s*((?:[\w.\- ]|\"[^\"]*\"|'[^']*')+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"\s*((?:[\w.\-]|\"[^\"]*\"|'[^']*')+)\s*=")
_QUOTED = re.compile(r"\"([^\"]*)\"|'([^']*)'|( )")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


#: Where a fault tells the line of its own file, at its end.
LINE = re.compile(r" \(line (\d+)\)$")


def lines(text: str) -> dict[str, int]:
    """Key path -> line number, for plain keys and headers (keys of inline tables have none).

    Tables of a list are numbered: ``[[gauges]]`` gives "gauges[0]", "gauges[1]", ...
    """
    table, found, counts = "", {}, dict[str, int]()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.fullmatch(line):
            table = _bare(header[2])
            if header[1]:
                found.setdefault(table, number)
                counts[table] = counts.get(table, -1) + 1
                table = f"{table}[{counts[table]}]"
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            name = _bare(key[1])
            found.setdefault(f"{table}.{name}" if table else name, number)
    return found


def _bare(path: str) -> str:
    """A key path without its quotes, and without blanks between its parts."""
    return _QUOTED.sub(lambda m: m[1] or m[2] or "", path)


def dump(tree: Mapping[str, Any], path: tuple[str, ...] = ()) -> str:
    """TOML text of a tree of tables, texts, numbers, flags and lists."""
    own = [f"{_key(key)} = {_value(value)}\n" for key, value in tree.items() if not isinstance(value, Mapping)]
    header = f"\n[{'.'.join(map(_key, path))}]\n" if path and (own or not tree) else ""
    inner = [dump(value, (*path, key)) for key, value in tree.items() if isinstance(value, Mapping)]
    return header + "".join(own) + "".join(inner)


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _quoted(key)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return repr(float(value))
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    raise TypeError(f"a {type(value).__name__} has no place in a specimen file")
