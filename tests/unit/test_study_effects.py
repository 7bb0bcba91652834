"""Readings of a table against published examples.

Sources: Box, Hunter & Hunter, "Statistics for Experimenters", 2^3 pilot plant: effects T 23, C -5, K 1.5, TK 10
(from memory; the means are checked by hand); rank correlation of ten pairs -29/165 (example of an open
encyclopaedia, "Spearman's rank correlation coefficient"); Newcombe (1998), Statistics in Medicine 17,
interval of Wilson for 81/263: 0.2553 to 0.3662 (from memory).
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import InputFault
from fesplice.report import trends
from fesplice.study.effects import (
    Interaction,
    by_group,
    effects,
    known,
    modes,
    ratios,
    response,
    spread,
    tornado,
)
from fesplice.study.readings import MOST_LINES, _both_modes, _turned, _unbroken

PLANT = [60, 72, 54, 68, 52, 83, 45, 80]
ROWS = [{"T": k & 1, "C": (k >> 1) & 1, "K": ("a", "b")[k >> 2], "y": float(v)} for k, v in enumerate(PLANT)]


def y(row) -> float:
    return row.get("y", math.nan)


def test_effects_of_the_pilot_plant():
    main, pairs = effects(ROWS, ["T", "C", "K"], y)
    gain = {e.factor: e.spreads[1].mean - e.spreads[0].mean for e in main}
    assert gain == {"T": 23.0, "C": -5.0, "K": 1.5}
    # sums of squares are 8 (effect/2)^2
    total = sum(8 * (e / 2) ** 2 for e in (23.0, -5.0, 1.5, 1.5, 10.0, 0.0, 0.5))
    assert total == pytest.approx(((np.array(PLANT) - np.mean(PLANT)) ** 2).sum())
    shares = {e.factor: e.share for e in main} | {p.factors: p.share for p in pairs}
    assert shares["T"] == pytest.approx(8 * 11.5**2 / total)
    assert shares["T", "K"] == pytest.approx(8 * 5.0**2 / total)
    assert shares["C", "K"] == pytest.approx(0.0, abs=1e-12)
    tk = next(p for p in pairs if p.factors == ("T", "K"))
    assert tk.levels == ((0, 1), ("a", "b"))
    assert tk.means.tolist() == [[57.0, 48.5], [70.0, 81.5]]


def test_an_empty_cell_is_a_gap_and_no_number():
    main, pairs = effects([*ROWS[:3], *ROWS[4:7], {"T": 1, "C": 1, "K": "a"}], ["T", "C"], y)
    assert math.isnan(pairs[0].means[1, 1]) and [e.spreads[1].n for e in main] == [2, 2]
    assert effects([], ["T"], y)[0][0].levels == ()


def test_rank_correlation():
    iq, hours = [106, 100, 86, 101, 99, 103, 97, 113, 112, 110], [7, 27, 2, 50, 28, 29, 20, 12, 6, 17]
    rows = [{"iq": a, "y": float(b), "same": 1.0, "word": "x", "up": b**3} for a, b in zip(iq, hours)]
    found = tornado(rows, ["iq", "same", "word", "up"], y)
    assert [s.column for s in found] == ["up", "iq"]
    assert found[0].correlation == pytest.approx(1.0)
    assert found[1].correlation == pytest.approx(-29 / 165) and found[1].chance == pytest.approx(0.627, abs=2e-3)


def test_interval_of_a_share():
    rows = [{"plan_mode": "splitting"}] * 81 + [{"plan_mode": "yielding"}] * 182 + [{"plan_mode": None}] * 5
    found = modes(rows, "plan")
    assert [m.mode for m in found] == ["yielding", "splitting"]
    assert (found[1].low, found[1].high) == (pytest.approx(0.2553, abs=2e-4), pytest.approx(0.3662, abs=2e-4))


def test_strengths_of_a_case():
    row = {"elevation_drop_MPa": 300.0, "elevation_peak_MPa": 410.0, "elevation_bond_loss_MPa": None,
           "plan_peak_MPa": 280.0, "plan_drop_MPa": None}  # fmt: skip
    assert response(row, "first") == 300.0 and response(row, "peak") == 410.0
    assert response(row, "first", views=("elevation", "plan")) == 280.0
    assert response({"prediction_kN": 120.0}, "predicted", "kN") == 120.0 and math.isnan(response(row, "predicted"))
    assert math.isnan(response(row, "bond_loss")) and math.isnan(response(row, "peak", "kN"))
    with pytest.raises(InputFault, match="there are bond_loss, first, peak, predicted"):
        response(row, "strength")


def test_percentiles_and_groups():
    rows = [{"s": s, "y": float(s + k)} for s in (100, 150) for k in range(101)] + [{"s": None, "y": 3.0}]
    groups = by_group(rows, ["s"], y)
    assert (groups[100,].p5, groups[100,].p50, groups[100,].p95) == (105.0, 150.0, 195.0)
    assert groups[150,].n == 101 and spread(np.zeros(0)).n == 0
    assert len(known(rows, ["s"], y)[0]) == 202


def test_test_over_prediction():
    rows = [{"label": "a", "measured_MPa": 110.0, "y": 100.0}, {"label": "b", "measured_MPa": 180.0, "y": 200.0},
            {"label": "c", "measured_MPa": None, "y": 1.0}]  # fmt: skip
    found = ratios(rows, y)
    assert found.values == {"a": 1.1, "b": 0.9} and found.mean == pytest.approx(1.0)
    assert found.cov == pytest.approx(math.sqrt(0.02)) and (found.low, found.high) == (0.9, 1.1)
    assert ratios([], y).values == {}


def test_lower_bounds_are_known_and_drawn_hollow(tmp_path: Path) -> None:
    """A plane whose load never fell, and a prediction told as "at least"; the table beside the figure says which."""
    assert _unbroken("plan, strength", {"plan_exact": 0, "plan_peak_MPa": 800.0})
    assert not _unbroken("plan, strength", {"plan_exact": 1, "plan_peak_MPa": 800.0})
    assert _unbroken("both views read together", {"prediction_exact": 0, "plan_exact": 1})
    assert not _unbroken("both views read together", {"prediction_mode_words": "of a table without the column"})
    line = trends.Line("ties", np.array([1.0, 2.0]), np.array([500.0, 800.0]), bound=np.array([False, True]))
    trends.lines(tmp_path, "strength", [trends.Panel("plan", (line,))], "spacing (mm)", "bar stress (MPa)")
    with (tmp_path / "strength.csv").open(encoding="utf-8") as table:
        assert [row["lower_bound"] for row in csv.DictReader(table)] == ["0", "1"]


def test_marks_of_lines_differ() -> None:
    """As many lines as a panel may hold are told apart by their marks, in grey too."""
    marks = [look["marker"] for look in trends.looks()]
    assert len(set(marks)) == len(marks) >= MOST_LINES


# ------------------------------------------------------------------ figures
def test_a_curve_ends_where_its_case_fails() -> None:
    """A straight line: 15 kN and 20 MPa per mm, so that 250 MPa stand at 12.5 mm and 187.5 kN."""
    x = np.linspace(0.0, 20.0, 21)
    ended, load, failed = trends.until(x, 15.0 * x, 20.0 * x, 250.0)
    assert failed and (ended[-1], load[-1]) == (pytest.approx(12.5), pytest.approx(187.5))
    assert ended[:-1].tolist() == x[:13].tolist()
    for never in (math.nan, 401.0):
        whole, _, failed = trends.until(x, 15.0 * x, 20.0 * x, never)
        assert not failed and len(whole) == len(x)


def test_only_a_sample_has_percentiles_of_its_curves() -> None:
    curves = tuple((np.array([0.0, 10.0]), np.array([0.0, k])) for k in (80.0, 90.0, 100.0))
    assert len(trends.Curves("grid", ("a", "b", "c"), curves).band()[0]) == 0
    at, band = trends.Curves("sample", ("a", "b", "c"), curves, sampled=True).band(points=2)
    assert at.tolist() == [0.0, 10.0] and band[1].tolist() == [0.0, 90.0]


def test_panels_with_lines_of_different_names_have_keys_of_their_own(tmp_path: Path, monkeypatch) -> None:
    seen = {}

    def keep(figure, folder, name, tables=None):
        figure.draw_without_rendering()
        seen[name] = figure
        return []

    monkeypatch.setattr(trends.style, "save", keep)
    at = np.array([0.0, 1.0])
    one, other = (trends.Line(word, at, at) for word in ("ties", "bond wedges"))
    panels = [trends.Panel("spacing (mm) with confinement of any kind", (one,)), trends.Panel("b", (other,))]
    trends.lines(tmp_path, "apart", panels, "x", "y (MPa)")
    keys = [axes.get_legend() for axes in seen["apart"].axes if axes.get_legend()]
    assert [[t.get_text() for t in key.get_texts()] for key in keys] == [["ties"], ["bond wedges"]]
    assert not seen["apart"].legends
    titles = [axes._left_title.get_window_extent() for axes in seen["apart"].axes if axes.get_title(loc="left")]
    assert len(titles) == 2 and titles[0].x1 < titles[1].x0
    trends.lines(tmp_path, "alike", [trends.Panel("a", (one,)), trends.Panel("b", (one,))], "x", "y (MPa)")
    assert len(seen["alike"].legends) == 1


def test_test_over_prediction_has_a_line_at_one(tmp_path: Path, monkeypatch) -> None:
    seen = {}
    monkeypatch.setattr(trends.style, "save", lambda figure, folder, name, tables=None: seen.update({name: figure}))
    notes = ("prying", "side thrust\npredicted: prying")
    shown = {"test / prediction": trends.Bars(("T-1", "T-2"), np.array([0.9, 1.2]), notes=notes)}
    trends.bars(tmp_path, "ratios", shown, "test / prediction", one=1.0)
    axes = seen["ratios"].axes[0]
    assert any(line.get_xdata()[0] == 1.0 for line in axes.get_lines())
    assert [t.get_text() for t in axes.texts] == list(notes)


def test_the_mode_of_a_test_stands_beside_another_that_was_predicted() -> None:
    class Both:
        views, runs = ("elevation", "plan", "prediction"), ("elevation", "plan")

    row = {"measured_mode": "prying", "prediction_mode": "side_thrust"}
    assert _both_modes(Both(), row) == "prying at the hook\npredicted: side thrust at the edge bars"
    assert _both_modes(Both(), row | {"prediction_mode": "prying"}) == "prying at the hook"
    assert _both_modes(Both(), {"prediction_mode": "prying"}) == ""


def test_many_levels_lie_along_the_axis_and_few_are_lines() -> None:
    class Words:
        @staticmethod
        def numeric(column: str) -> bool:
            return False

    many = tuple(map(str, range(17)))
    pair = Interaction(("case", "value"), (("a", "b"), many), np.arange(34.0).reshape(2, 17), 0.1)
    turned = _turned(Words(), pair)
    assert turned is not None and turned.levels == (many, ("a", "b")) and turned.means[3].tolist() == [3.0, 20.0]
    assert _turned(Words(), Interaction(("a", "b"), (many, many), np.zeros((17, 17)), 0.0)) is None
