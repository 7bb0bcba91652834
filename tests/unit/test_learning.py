"""Predictions that learn: the closed form, its coverage, the record behind it, the file, and what it does to a band.

Sources: the normal-inverse-gamma update and its predictive t as in Gelman et al., Bayesian Data Analysis, section 3.3
(from memory), and scipy.stats for t and multivariate t densities; coverage by simulation with fixed seeds; the record
of published tests (models/validation/RESULTS.csv).
"""

from __future__ import annotations

import csv
import json
import math
import runpy
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fesplice.cli import main
from fesplice.contracts import FolderFault, InputFault
from fesplice.measured import learning
from fesplice.measured.learning import COUPLED, Lesson, Model, corrected, distance, inputs_of, learnt
from fesplice.post import scatter
from fesplice.post.errors import Prior, evidence, leave_one_out, mixed_quantile, predictive, prior_of
from fesplice.specimen import read, read_text, vary

MADE = runpy.run_path(str(Path(__file__).with_name("prediction_data.py")))
MODELS = Path(__file__).parents[2] / "models"
U29 = read(MODELS / "as29-100-u.toml")
BASE = Prior(0.05, 3.5, 3.5 * 0.12**2, 0.8, 0.5, "made")


# ------------------------------------------------------------------ the closed form
def test_one_series_is_the_textbook_update() -> None:
    e = [0.1, -0.05, 0.2, 0.15]
    n, mean = len(e), float(np.mean(e))
    k0, a0, b0, m0 = 1.0 / (BASE.between + BASE.overall), BASE.shape, BASE.rate, BASE.mean
    kn = k0 + n
    centre = (k0 * m0 + n * mean) / kn
    rate = b0 + 0.5 * float(((np.array(e) - mean) ** 2).sum()) + 0.5 * k0 * n * (mean - m0) ** 2 / kn
    shape = a0 + 0.5 * n
    got = predictive(BASE, e, ["s"] * n, "s")
    assert got.freedom == 2.0 * shape and got.centre == pytest.approx(centre)
    assert got.scale == pytest.approx(math.sqrt(rate / shape * (kn + 1.0) / kn))


def test_without_tests_it_is_the_prior_predictive() -> None:
    got = predictive(BASE, (), (), "s")
    assert got.centre == BASE.mean and got.scale == pytest.approx(0.12 * math.sqrt(1.0 + 0.8 + 0.5))
    assert got.quantile(0.5) == pytest.approx(math.exp(0.05)) and got.below(got.quantile(0.3)) == pytest.approx(0.3)


def test_series_share_less_with_each_other_than_within() -> None:
    e, s = [0.3, 0.3, 0.3], ["one"] * 3
    own, other = predictive(BASE, e, s, "one"), predictive(BASE, e, s, "another")
    assert BASE.mean < other.centre < own.centre < 0.3 and other.scale > own.scale


def test_evidence_is_the_density_of_a_multivariate_t() -> None:
    e, s = np.array([0.1, -0.2, 0.05, 0.3]), ["a", "a", "b", "c"]
    same = np.array([[x == y for y in s] for x in s], float)
    v = np.eye(4) + BASE.between * same + BASE.overall
    t = stats.multivariate_t(np.full(4, BASE.mean), BASE.rate / BASE.shape * v, df=2.0 * BASE.shape)
    assert evidence(BASE, e, s) == pytest.approx(float(t.logpdf(e)))
    assert evidence(BASE, (), ()) == 0.0


def test_a_mixture_of_one_and_of_alike_parts_is_that_part() -> None:
    part = predictive(BASE, [0.1, 0.2], ["a", "a"], "a")
    for parts in ([(1.0, 400.0, part)], [(0.3, 400.0, part), (0.7, 400.0, part)]):
        assert mixed_quantile(parts, 0.05) == pytest.approx(400.0 * part.quantile(0.05), rel=1e-6)


@pytest.mark.parametrize("series", [1, 3])
def test_coverage_of_the_90_percent_band_over_1000_synthetic_series(series: int) -> None:
    """Worlds drawn from the record's prior; five tests known, the sixth asked for: 85 to 95 % must lie in the band."""
    rng = np.random.default_rng(series)
    of = scatter.prior("hooks")
    inside = 0
    for _ in range(1000):
        s2 = of.rate / rng.gamma(of.shape)
        overall = of.mean + rng.normal(0.0, math.sqrt(of.overall * s2))
        means = overall + rng.normal(0.0, math.sqrt(of.between * s2), series)
        which = [k % series for k in range(6)]
        e = means[which] + rng.normal(0.0, math.sqrt(s2), 6)
        band = predictive(of, e[:5], [str(k) for k in which[:5]], str(which[5]))
        low, high = (math.log(band.quantile(q)) for q in (0.05, 0.95))
        inside += low <= e[5] <= high
    assert 850 <= inside <= 950


def test_coverage_is_less_where_the_world_is_not_of_the_prior() -> None:
    """A fixed scatter of 15 % and biases between -20 and +20 %, six tests known.

    The record scatters less within a series, so that such a world is covered less than the 90 % that the band
    says: 80 % is what it is, and no less.
    """
    rng = np.random.default_rng(7)
    of, inside = scatter.prior("hooks"), 0
    for _ in range(1000):
        e = rng.uniform(-0.2, 0.2) + rng.normal(0.0, 0.15, 7)
        band = predictive(of, e[:6], ["s"] * 6, "s")
        inside += math.log(band.quantile(0.05)) <= e[6] <= math.log(band.quantile(0.95))
    assert 780 <= inside <= 950


# ------------------------------------------------------------------ the record
def test_the_scatter_is_that_of_the_tests_in_the_record_and_of_no_equation() -> None:
    with (MODELS / "validation" / "RESULTS.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    for name, kept, use in (("hooks", scatter.HOOKS, "indication"), ("beams", scatter.BEAMS, "pass_fail")):
        told = [float(r["test_over_prediction"]) for r in rows if r["series"] == name and r["use"] == use]
        assert sorted(v for values in kept.values() for v in values) == pytest.approx(sorted(told), abs=1e-4)


def test_moments_of_the_prior_by_hand() -> None:
    """Two series: logs of 1, e^0.2 and of e^0.4, e^0.6, e^0.5: s^2 = (0.02 + 0.02)/3, means 0.1 and 0.5."""
    of = prior_of([1.0, math.exp(0.2), math.exp(0.4), math.exp(0.6), math.exp(0.5)], ["a", "a", "b", "b", "b"], "x")
    within, size = 0.04 / 3.0, 2.0 / (1.0 / 2.0 + 1.0 / 3.0)
    between = (0.08 - within / size) / within
    assert of.mean == pytest.approx(0.3) and of.rate / of.shape == pytest.approx(within)
    assert of.between == pytest.approx(between) and of.overall == pytest.approx((between + 1.0 / size) / 2.0)
    with pytest.raises(ValueError, match="two series"):
        prior_of([1.0, 1.1, 1.2, 0.9, 1.0], ["a"] * 5, "x")


def test_leave_one_out_counts_what_lies_in_the_band_of_the_others() -> None:
    assert leave_one_out(BASE, [0.0, 0.02, -0.01, 3.0], ["s"] * 4) == (True, True, True, False)


# ------------------------------------------------------------------ lessons and predictions
def lesson(name: str, share: float = 0.8, series: str = "", s=U29) -> Lesson:
    said = learning.said_by(s, MADE["made"]())
    inputs, splice, confinement = inputs_of(s)
    return Lesson(name, s.name, s.digest, series, share * said[COUPLED], said, inputs, splice, confinement)


def test_tests_move_the_median_and_narrow_the_band() -> None:
    found = MADE["made"]()
    wide = found.band
    model = learnt([lesson(f"t{k}", 0.8 + 0.02 * k) for k in range(5)])
    assert sum(model.weights.values()) == pytest.approx(1.0) and model.weights[COUPLED] > 0.2
    got = corrected(model, U29, found)
    assert not got.far and got.distance == 0.0 and got.tests == 5
    assert 0.75 * 400.0 < got.median < 0.95 * 400.0
    assert wide[0] < got.low < got.median < got.high < wide[1]
    told = replace(found, learned=got)
    assert told.band == (got.low, got.high) and "learnt from 5 tests" in told.band_text
    assert told.answer()["learned"]["median"] == got.median


def test_a_model_that_predicted_well_weighs_more() -> None:
    good = [lesson(f"t{k}", 1.0) for k in range(4)]
    bad = [replace(n, said={**n.said, "poor": n.stress * (0.3 if k % 2 else 3.0)}) for k, n in enumerate(good)]
    weights = learnt(bad).weights
    assert weights["poor"] < 0.01 and weights[COUPLED] > 10.0 * weights["poor"]


def test_an_extrapolation_is_refused_as_a_narrow_band() -> None:
    model = learnt([lesson(f"t{k}", 1.0 + 0.01 * k) for k in range(6)])
    far = vary(U29, "concrete.closure.strength", "50 MPa")
    inputs, splice, confinement = inputs_of(far)
    assert distance(model.lessons[0], inputs, splice, confinement) == pytest.approx(15.0 / 10.0)
    near, there = corrected(model, U29, MADE["made"]()), corrected(model, far, MADE["made"]())
    assert there.far and "extrapolation" in there.text and there.high / there.low > 1.5 * near.high / near.low
    tied = read(MODELS / "as29-100-t3.toml")
    assert corrected(model, tied, MADE["made"]()).far


def test_the_file_gives_the_model_back_and_a_changed_one_is_refused(tmp_path: Path) -> None:
    model = learnt([lesson("a", 0.9), lesson("b", 1.1, "two")])
    path = tmp_path / "model.json"
    path.write_text(model.to_json(), encoding="utf-8")
    assert Model.read(path) == model
    tree = json.loads(path.read_text())
    tree["lessons"][0]["stress"] *= 1.2
    path.write_text(json.dumps(tree))
    with pytest.raises(FolderFault, match="was changed since it was learnt"):
        Model.read(path)
    for text in ("", "[]", '{"kind": "x"}', '{"kind": "fesplice learned model", "edition": 1, "lessons": [1]}'):
        path.write_text(text)
        with pytest.raises(FolderFault):
            Model.read(path)


def test_what_teaches_nothing_is_refused() -> None:
    with pytest.raises(InputFault, match="at least one test"):
        learnt([])
    with pytest.raises(InputFault, match="one name"):
        learnt([lesson("a"), lesson("a")])


def test_a_model_not_known_for_every_test_has_no_part() -> None:
    alone = replace(lesson("b"), said={k: v for k, v in lesson("b").said.items() if k != COUPLED})
    model = learnt([lesson("a"), alone])
    assert COUPLED not in model.weights and any("--prediction" in line for line in model.remarks)


# ------------------------------------------------------------------ from folders
def test_learn_reads_tests_and_predictions(tmp_path: Path, monkeypatch, capsys) -> None:
    compare = runpy.run_path(str(Path(__file__).with_name("test_compare.py")))
    home = tmp_path / "p"
    compare["WRITTEN"]["write_run"](home / "elevation")
    MADE["write"](home, MADE["made"]())
    test = compare["reduced"](tmp_path, home, 'series = "one"\n')
    out = tmp_path / "model.json"
    call = ["fesplice", "learn", str(test), "--out", str(out), "--prediction", str(home)]
    monkeypatch.setattr(sys, "argv", call)
    with pytest.raises(SystemExit) as end:
        main()
    assert not end.value.code
    told = capsys.readouterr().out
    assert told.splitlines()[0].strip() == "1 test, 1 series"
    model = Model.read(out)
    from fesplice import Test

    stress = max(b.fibre for b in Test.read(test).bar_stress if b.share >= 1.0)
    assert model.lessons[0].stress == pytest.approx(stress) and model.lessons[0].said[COUPLED] == 400.0
    assert model.series == ("one",) and f"{stress / 400.0:.2f}" in told
    s = read_text((test / "specimen.toml").read_text())
    assert corrected(model, s, MADE["made"]()).nearest == "test"
    MADE["write"](tmp_path / "q", MADE["made"](specimen="Other"))
    monkeypatch.setattr(sys, "argv", [*call, "--prediction", str(tmp_path / "q")])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 2 and "no test is of Other" in capsys.readouterr().err


def test_a_standing_prediction_takes_the_band_of_a_model_and_gives_it_back(tmp_path: Path, monkeypatch) -> None:
    """No run is computed anew for another band; a frozen prediction is refused it."""
    from fesplice import Prediction, predict
    from fesplice.pipeline import both
    from fesplice.store.freeze import freeze

    home = MADE["write"](tmp_path / "p", MADE["made"]())
    monkeypatch.setattr(both, "_standing", lambda s, home, chosen: Prediction.read(home))
    monkeypatch.setattr(both, "_gauged", lambda s, home: True)
    path = tmp_path / "model.json"
    model = learnt([lesson("a", 0.9), lesson("b", 0.8)])
    path.write_text(model.to_json(), encoding="utf-8")
    plain = predict(U29, home)
    told = predict(U29, home, learned=path)
    assert told.learned == corrected(model, U29, plain) and Prediction.read(home) == told
    assert any(s.startswith("band: learnt from 2 tests") for s in told.sentences)
    assert predict(U29, home).learned is None and Prediction.read(home).learned is None
    freeze(home, {"specimen": "x"})
    assert predict(U29, home) == plain
    with pytest.raises(FolderFault, match="is frozen"):
        predict(U29, home, learned=model)
