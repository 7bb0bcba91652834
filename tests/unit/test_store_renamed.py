"""A run folder with the names of an earlier version reads as one with those of today.

Both hold the same numbers, one under the names of then: what is read must be the same (no source: this is a promise of
the program about its own files).
"""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fesplice.post.record import findings
from fesplice.post.values import to_dict
from fesplice.store import Run, renamed

PLAN = runpy.run_path(str(Path(__file__).with_name("plan_data.py")))
THEN = {new: old for old, new in (renamed.GROUPS | renamed.COLUMNS).items()}


def named_then(name: str) -> str:
    group, slash, quantity = name.partition("/")
    return f"{THEN.get(group, group)}{slash}{quantity}"


def written_then(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """A run whose mesh, steps and curve bear the names of an earlier version."""
    write = PLAN["write_plan"]
    today = dict(write.__globals__)

    def mesh(*given):
        made = today["plan_mesh"](*given)
        return replace(made, groups={named_then(name): group for name, group in made.groups.items()})

    def fields(mesh, share, k):
        known = replace(mesh, groups={renamed.GROUPS.get(name, name): g for name, g in mesh.groups.items()})
        return {named_then(name): values for name, values in today["fields"](known, share, k).items()}

    def columns(*given):
        return {named_then(name): value for name, value in today["columns"](*given).items()}

    for name, function in (("plan_mesh", mesh), ("fields", fields), ("columns", columns)):
        monkeypatch.setitem(write.__globals__, name, function)
    return write(folder)


def test_a_run_of_an_earlier_version_reads_under_the_names_of_today(tmp_path, monkeypatch):
    now = PLAN["write_plan"](tmp_path / "now")
    then = written_then(tmp_path / "then", monkeypatch)
    text = (then.folder / "curve.csv").read_text(encoding="utf-8")
    assert "plane_lost" in text and "interface_lost" not in text
    assert list(then.mesh.groups) == list(now.mesh.groups) and "interface" in then.mesh.groups
    assert list(then.curve) == list(now.curve)
    for step in (0, 3, -1):
        old, new = then.step(step).fields, now.step(step).fields
        assert list(old) == list(new) and any(name.startswith("interface/") for name in old)
        for name in new:
            np.testing.assert_array_equal(old[name], new[name], err_msg=name)
    assert to_dict(findings(then)) == to_dict(findings(now))
