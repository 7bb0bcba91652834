"""A beam that cracks or falls under its own weight is told first and never blessed.

Closed form beside the check: moment of a uniform weight at midspan of a simple span, w L^2 / 8 (statics); weight of
concrete from its density and g = 9.81 m/s2.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.report.check import check_text
from fesplice.sizing import check
from fesplice.sizing.statics import statics
from fesplice.specimen import read, vary

MODELS = Path(__file__).resolve().parents[2] / "models"
FILE = MODELS / "as29-100-u.toml"
HEAVY = {"span": ("body.span", "14.8 m"), "gear": ("loading.equipment_weight", "400 kN")}


def own(margins, key: str):
    return next(m for m in margins if m.key == key)


def test_moment_under_own_weight_is_that_of_a_uniform_load() -> None:
    """The overhangs take w o^2 / 2 off; the gear is left out."""
    s = vary(read(FILE), "loading.equipment_weight", "0 kN")
    weight = s.concrete.precast.unit_weight * s.body.width * s.body.depth
    moment, _ = statics(s)["A"].least_under_own_weight
    assert moment == pytest.approx(weight * (s.body.span**2 / 8.0 - s.body.overhang**2 / 2.0), rel=5e-3)


@pytest.mark.parametrize("path", sorted(MODELS.glob("as*.toml")), ids=lambda p: p.stem)
def test_the_demonstration_series_stands(path: Path) -> None:
    found = check(read(path)).margins
    assert own(found, "own strength").met and own(found, "own cracking").met


@pytest.mark.parametrize("what", HEAVY)
def test_what_falls_is_told_first_with_exit_code_1_and_no_negative_load(what: str, tmp_path: Path) -> None:
    s = read(FILE)
    if what == "span":
        s = vary(s, "body.shear_span", "1500 mm")
    s = vary(s, *HEAVY[what])
    file, tree = tmp_path / "s.toml", tmp_path / "check.json"
    file.write_text(s.text)
    shown = CliRunner().invoke(app, ["check", str(file), "--json", str(tree)])
    assert shown.exit_code == 1
    said = shown.stdout.splitlines()
    assert "DOES NOT HOLD BEFORE ANY LOAD" in next(line for line in said if line.startswith("check before casting"))
    margins = said[next(k for k, line in enumerate(said) if line == "Margins") + 1 :]
    assert margins[0].split()[:4] == ["stands", "under", "own", "weight"] and "MISSED" in margins[0]
    assert "-" not in [word[0] for word in shown.stdout.split() if word[1:2].isdigit()], "a negative number was printed"
    assert "Not checked: lifting" in shown.stdout

    def loads(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                if key == "load" or key.endswith("_load"):
                    yield inner
                yield from loads(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from loads(inner)

    kept = json.loads(tree.read_text())
    assert not kept["ok"] and all(v is None or v >= 0.0 for v in loads(kept))


def test_tension_face_up_without_bars_across_the_joints_is_warned_of() -> None:
    up = vary(read(FILE), "loading.tension_face", "up")
    bars = up.compression_bars
    assert bars is None or not bars.through_closure
    shown = check_text(up, check(up))
    assert "WARNING: own weight bends the beam the other way" in shown
    assert own(check(up).margins, "own strength").value > own(check(read(FILE)).margins, "own strength").value
