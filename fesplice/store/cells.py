"""Text of a table that a spreadsheet would take for a formula, written so that it stays text.

Spreadsheets compute a cell that begins with = + - or @, also behind blanks (CWE-1236, "improper neutralization of
formula elements in a CSV file"). An apostrophe before it makes it text; what is a number stays a number.
"""

from __future__ import annotations

import re

_FORMULA = re.compile(r"\s*[=+\-@]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|-?inf|nan")


def harmless(text: str) -> str:
    """``text`` as a cell may hold it: "=1+1" -> "'=1+1"; "-1.5" stays."""
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def meant(cell: str) -> str:
    """What :func:`harmless` made ``cell`` from."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell[1:]) else cell
