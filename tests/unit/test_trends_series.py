"""The study with the layout of real series and its part of the trends page; what a prediction rests on, said once.

Sources: EN 1992-1-1:2023 (11.13) worked by hand; the layout of bars is geometry; fib MC2010 6.1-19 by structuralcodes.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

import trends_series  # noqa: E402

from fesplice import read  # noqa: E402
from fesplice.post import trust  # noqa: E402
from fesplice.study.cases import cases  # noqa: E402
from fesplice.study.file import read_study  # noqa: E402

STUDIES = ROOT / "models" / "studies"


def made(case: str, spacing: str, stress: float, **more: str) -> dict[str, str]:
    """A row of results, made up."""
    exact = {"prediction_exact": "1", "prediction_mode": "side_thrust", "prediction_plane": "plan"}
    return {"case": case, "spacing": spacing, "prediction_MPa": str(stress), **exact, **more}


@pytest.fixture(scope="module")
def table() -> list[dict[str, str]]:
    """All 40 rows, made up: the stress counts up through kinds and spacings; 19 mm bars a hundred above."""
    rows = []
    for size, base in (("29", 400.0), ("19", 500.0)):
        for k, kind in enumerate(trends_series.KINDS):
            for j, spacing in enumerate(("contact", "75 mm", "100 mm", "125 mm", "150 mm")):
                more = {
                    "s_mm": str((28.7, 75, 100, 125, 150)[j]), "d_b_mm": "28.7", "l_s_mm": "460", "f_cm_MPa": "35",
                    "A_b_mm2": "645", "cover_mm": "45.65", "side_cover_mm": "46", "bars.gap_mm": "101",
                }  # fmt: skip
                rows.append(made(f"{size} {kind}", spacing, base + 40.0 * k - 10.0 * j, **more))
    return rows


def test_ratios_and_bounds(table: list[dict[str, str]]) -> None:
    """400 to 360 MPa is -10 %; a bound on top is "more than", below it "less than", on both sides nothing is known."""
    series = trends_series.Series([table])
    near, far = ("29 none", "contact"), ("29 none", "150 mm")
    assert series.change(far, near) == "-10 %" and series.times(near, far) == "1.11"
    bound = [{**r, "prediction_exact": "0"} if (r["case"], r["spacing"]) == far else r for r in table]
    marked = trends_series.Series([bound])
    assert marked.change(far, near) == ">-10 %" and marked.times(near, far) == "<1.11"
    assert trends_series.Series([[{**r, "prediction_exact": "0"} for r in table]]).change(far, near) == "?-10 %"
    assert series.change(("29 straight", "contact"), near) == "–", "not computed yet"


def test_loops_by_hand(table: list[dict[str, str]]) -> None:
    """sqrt(1 + r^2) - r with r = (150 - 28.7)/460 = 0.26370 is 0.77048, 1 in contact: -23.0 %."""
    rows = {(r["case"], r["spacing"]): r for r in table}
    share = trends_series.loops(rows["29 none", "contact"], rows["29 none", "150 mm"])
    assert share == pytest.approx(0.77048, abs=2e-5)


def test_straight_equations_have_the_model_code_in_them(table: list[dict[str, str]]) -> None:
    """c_min = (101 - 28.7)/2 = 36.15 mm: 6.1-19 gives 285.2 MPa (structuralcodes); ACI 408R-03 and Orangun by hand.

    Orangun in psi: (1.2 + 3 x 1.2596 + 50 x 28.7/460) sqrt(5076.3) = 576.9 psi, 4 x 576.9 x 460/28.7 = 36985 psi, that
    is 255.0 MPa. ACI 408R-03: [59.9 x 18.110 x (1.4232 + 0.56496) + 2400 x 0.99976] x (0.1 x 1.2725 + 0.9) x
    5076.3^0.25/0.99976 = 39510 psi = 272.5 MPa. Mean of the three 270.9 MPa.
    """
    assert trends_series.straight_equations(table[0]) == pytest.approx(270.9, rel=2e-3)


def test_part_of_the_page(table: list[dict[str, str]]) -> None:
    """Both sizes with every spacing, every statement with its source; nothing before the study is computed."""
    assert trends_series.part([], []) == []
    beside = [made("29 straight", "contact", 320.0), made("29 lap +25 %", "contact", 440.0)]
    page = "\n".join(trends_series.part(table, beside))
    assert page.count("| contact |") == page.count("| 150 mm |") == 2
    assert "29 mm: 1.25" in page and "29 mm: +10 %" in page and "Cases without a prediction: none." in page
    for source in ("Judd 1965", "Wang et al. 2024", "Han & Chun 2024", "Lee et al. 2016", "Hwang, Yang & Ma 2022"):
        assert source in page


def test_the_study_is_what_its_name_says() -> None:
    """40 cases, none dropped; bars alternate, the side cover is one, the width follows, steel is far from yielding."""
    every = cases(read_study(STUDIES / "real-series.toml"))
    assert len(every) == 40 and not any(case.dropped for case in every)
    for name in ("al29", "al19", "al29-straight", "al19-straight"):
        s = read(STUDIES / "series" / f"{name}.toml")
        left, right = s.bars.left.positions, s.bars.right.positions
        order = [row for _, row in sorted([*((z, "A") for z in left), *((z, "B") for z in right)])]
        assert order == ["A", "B", "A", "B"] and s.bars.side_cover == pytest.approx(46.0)
        assert s.body.width == pytest.approx(max(right) - min(left) + s.bars.left.diameter + 2 * 46.0)
        assert s.steel["main"].yield_strength >= 1500.0
    assert len(cases(read_study(STUDIES / "real-series-laps.toml"))) == 8


# ------------------------------------------------------------------ what a prediction rests on
def test_three_sentences_are_one_text() -> None:
    """Three sentences, and the manual's page has them as they stand."""
    assert len(trust.SENTENCES) == 3 and all(said.endswith(".") for said in trust.SENTENCES)
    from manual_build import pages

    page = pages.trust_page()
    assert all(said in page for said in trust.SENTENCES)
