"""The page of keys: read off the schema, up to date, and true.

Source: the reader of specimen files itself; nothing outside the project.
"""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from fesplice import read
from fesplice.contracts import InputFault
from fesplice.specimen import vary

ROOT = Path(__file__).resolve().parents[2]


def _keys():
    spec = importlib.util.spec_from_file_location("keys_page", ROOT / "scripts" / "keys.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_up_to_date() -> None:
    keys = _keys()
    assert keys.PAGE.read_text(encoding="utf-8") == keys.page(), "run scripts/keys.py"


def test_every_word_the_page_allows_is_taken_and_another_is_refused() -> None:
    """All words of the table [plan], tried on a specimen."""
    s = read(ROOT / "models" / "as29-100-u.toml")
    table = _keys().page().split("## `[plan]`")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `(\w+)` \| (`\"[^|]*) \|", table, re.MULTILINE)
    assert {name for name, _ in rows} >= {"interface", "tie_ends"}
    for name, words in rows:
        for word in re.findall(r'`"(\w+)"`', words):
            assert getattr(vary(s, f"plan.{name}", word).plan, name) == word
        with pytest.raises(InputFault):
            vary(s, f"plan.{name}", "nothing of the kind")
