"""Bar schedule, clash list and CAD drawing of specimens.

Sources: hook of a No. 29 bar 17 d_b over all (ACI 318-19 25.3.1: 12 d_b tail, 8 d_b inside bend, one d_b); masses per
metre of ASTM A615 (from memory: 0.560, 0.994, 1.552, 2.235, 5.060 kg/m for sizes 10, 13, 16, 19, 29); arcs by
the length of a circle; 1 in = 25.4 mm, 1 lb = 0.45359237 kg. The DXF is read back with ezdxf itself.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path

import ezdxf
import pytest

from fesplice.cli import main
from fesplice.geometry import bars
from fesplice.geometry.bars import pairs
from fesplice.report.drawing import specimen_drawing
from fesplice.sizing.cage import cage
from fesplice.specimen import read, vary, vary_many

MODELS = Path(__file__).parents[2] / "models"
TIED = read(MODELS / "as29-100-t3.toml")


def piece(s, mark: str):
    return next(p for p in cage(s) if p.mark == mark)


def test_hooked_bar_of_size_29() -> None:
    """Joint face at -280, embedment 510: hook outside at 230; the far end 36 mm inside the beam's end at -2600."""
    a = piece(TIED, "A")
    sides = {k: v for k, _, v in a.dimensions}
    assert sides["a"] == pytest.approx(230 + 2600 - 36)
    assert sides["b"] == pytest.approx(17 * 28.7)
    assert sides["c"] == pytest.approx(12 * 28.7)
    lead = sides["a"] - 5 * 28.7  # outer radius of the bend: 4 d_b inside + one bar
    assert a.cut == pytest.approx(lead + math.pi / 2 * 4.5 * 28.7 + 12 * 28.7)
    # the same along the chords of the analysis
    assert a.cut == pytest.approx(bars.main_shapes(TIED)[0].length, rel=1e-3)
    assert a.number == 2 and piece(TIED, "B").cut == pytest.approx(a.cut)


@pytest.mark.parametrize(
    ("size", "kg_per_m"), [("10", 0.560), ("13", 0.994), ("16", 1.552), ("19", 2.235), ("29", 5.060)]
)
def test_masses(size: str, kg_per_m: float) -> None:
    """Nominal diameters are rounded to 0.1 mm, hence 1 %."""
    s = vary_many(read(MODELS / "as29-cb.toml"), {"bars.left.size": size})
    bar = piece(s, "A")
    assert bar.mass / bar.cut * 1e3 == pytest.approx(kg_per_m, rel=0.01)


def test_closed_stirrup() -> None:
    """600 x 575 less 36 mm all round: 528 x 503; No. 10: 38 mm bend, 75 mm extensions, 540 degrees of arc."""
    s = piece(TIED, "S")
    assert {k: v for k, _, v in s.dimensions} == pytest.approx({"a": 528.0, "b": 503.0, "c": 75.0})
    corner = 38 / 2 + 9.5
    assert s.cut == pytest.approx(2 * (528 + 503 - 4 * corner) + 3 * math.pi * (38 + 9.5) / 2 + 150)
    assert s.number == len(bars.stirrup_positions(TIED)) == 30


def test_ties_stand_off_bars_that_are_thinner_than_their_bend() -> None:
    """A tie round two bars of 28.7 mm at 100 mm: 147.7 mm wide; its bend of 4 x 9.5 = 38 mm is wider than the bar."""
    t = piece(TIED, "T")
    assert {k: v for k, _, v in t.dimensions}["a"] == pytest.approx(100 + 28.7 + 2 * 9.5)
    assert {k: v for k, _, v in t.dimensions}["b"] == pytest.approx(38 + 2 * 9.5)
    assert t.number == 12 and "stands off" in t.notes[0]


def test_odd_cages() -> None:
    u = read(MODELS / "as29-100-u.toml")
    half_turn = piece(vary(u, "bars.left.hook.angle", 180), "A")
    # 180 degrees: height 8 d_b + 2 d_b; tail max(4 d_b, 65)
    sides = {k: v for k, _, v in half_turn.dimensions}
    assert sides["b"] == pytest.approx(10 * 28.7) and sides["c"] == pytest.approx(4 * 28.7)
    lead = sides["a"] - 5 * 28.7
    assert half_turn.cut == pytest.approx(lead + math.pi * 4.5 * 28.7 + 4 * 28.7)
    legs = {p.mark: p for p in cage(vary(u, "stirrups.legs", 4))}
    assert legs["Sx"].number == 2 * legs["S"].number
    assert [p.mark for p in cage(vary_many(u, {"stirrups": None, "compression_bars": None}))] == ["A", "B"]
    straight = piece(read(MODELS / "plain" / "straight-lap.toml"), "A")
    assert straight.shape == "straight" and straight.cut == pytest.approx(straight.dimensions[0][2])
    crossing = piece(read(MODELS / "as29-100-x.toml"), "T")
    assert crossing.number == 2 and "180" in crossing.shape
    # outer bars at 240 mm: 2 (240 + 14.35 + 15.9)
    assert crossing.dimensions[0][2] == pytest.approx(2 * (240 + 14.35 + 15.9))


def test_pairs_use_every_bar_once() -> None:
    assert pairs(TIED) == ((-240.0, -140.0), (140.0, 240.0))
    three = vary_many(TIED, {"bars.left.number": 3, "confinement": None})
    assert len(pairs(three)) == 3 and len({z for p in pairs(three) for z in p}) == 6


def run(monkeypatch, *arguments: str) -> int:
    monkeypatch.setattr(sys, "argv", ["fesplice", *arguments])
    try:
        main()
    except SystemExit as leaving:
        return int(leaving.code or 0)
    return 0


@pytest.mark.parametrize("name", ["as29-100-t3", "as29-100-s3", "as29-100-x", "as29-cb", "plain/straight-lap"])
def test_the_verb_writes_schedule_clashes_and_drawing(name: str, tmp_path: Path, monkeypatch, capsys) -> None:
    assert run(monkeypatch, "schedule", str(MODELS / f"{name}.toml"), "--out", str(tmp_path / "s")) == 0
    told = capsys.readouterr().out
    given = read(MODELS / f"{name}.toml")
    stem = given.name.lower()
    assert "clashes: none" in told and "kg" in told and "lb" in told
    with (tmp_path / "s" / f"{stem}-schedule.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["mark"] for r in rows] == [p.mark for p in cage(given)]
    for row in rows:
        assert float(row["cut_length_in"]) == pytest.approx(float(row["cut_length_mm"]) / 25.4, abs=0.06)
        assert float(row["weight_lb"]) == pytest.approx(float(row["mass_kg"]) / 0.45359237, abs=0.06)
    drawn = ezdxf.readfile(tmp_path / "s" / f"{stem}.dxf")  # type: ignore[attr-defined]
    assert not drawn.audit().errors
    assert drawn.units == 4
    layers = {entity.dxf.layer for entity in drawn.modelspace()}
    assert {"CONCRETE", "BARS-A", "DIMENSIONS", "TEXT"} <= layers
    assert ("CONFINEMENT" in layers) == (given.confinement.kind != "none")
    measured = {round(d.get_measurement(), 1) for d in drawn.modelspace().query("DIMENSION")}
    assert {given.body.width, given.body.depth, given.body.span + 2 * given.body.overhang} <= measured
    if given.bars.splice != "continuous":
        assert {given.bars.lap, given.body.closure} <= measured
    words = " ".join(t.dxf.text for t in drawn.modelspace().query("TEXT"))
    assert "plan" in words and "section" in words and f"A: {given.bars.left.number} x" in words


def test_a_clash_is_listed_and_the_rest_still_written(tmp_path: Path, monkeypatch, capsys) -> None:
    """Compression bars running through the closure at the places of the tails, six of them, cannot all pass."""
    text = vary_many(
        TIED, {"compression_bars.through_closure": True, "compression_bars.number": 16, "compression_bars.size": "25"}
    ).text
    file = tmp_path / "clash.toml"
    file.write_text(text, encoding="utf-8")
    assert run(monkeypatch, "schedule", str(file), "--out", str(tmp_path / "s")) == 1
    assert "clash:" in capsys.readouterr().out
    with (tmp_path / "s" / "as29-100-t3-clashes.csv").open(encoding="utf-8") as listed:
        assert any(row["key"] for row in csv.DictReader(listed))
    assert (tmp_path / "s" / "as29-100-t3.dxf").exists()
    assert run(monkeypatch, "check", str(file)) == 1
    assert "cannot be built" in capsys.readouterr().out


def test_folders_that_cannot_be_written(tmp_path: Path, monkeypatch, capsys) -> None:
    (tmp_path / "taken").write_text("x")
    assert run(monkeypatch, "schedule", str(MODELS / "as29-cb.toml"), "--out", str(tmp_path / "taken" / "s")) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_the_drawing_uses_the_same_places(tmp_path: Path) -> None:
    paths = specimen_drawing(read(MODELS / "as29-100-x.toml"), tmp_path)
    assert {p.suffix for p in paths} >= {".svg", ".pdf", ".png", ".csv"}
