"""Tests laid over a prediction: ratios put in come out, sentences are judged, the freeze and dates are told.

The run is written by hand (``report_data``: 132 kN, 2 mm of deflection a step, 360 MPa at the joint face); the log is
made from its own readings, so that every ratio is known. A measured curve from outside: the load-CMOD envelope of
half-notched beams (Gregoire, Rojas-Solano & Pijaudier-Cabot 2013, tests/data) on the beam computed here; largest loads
of the repeats 933 to 1114 N (the paper).
"""

from __future__ import annotations

import csv
import json
import runpy
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fesplice import Comparison, compare
from fesplice.cli import main
from fesplice.contracts import FolderFault, InputFault
from fesplice.measured import reduce
from fesplice.measured.claims import FAILED, HELD, OPEN
from fesplice.measured.comparison import older
from fesplice.measured.comparison_text import SHORT, comparison_text
from fesplice.measured.courses import Course, Seen, agreement, over_load, thinned
from fesplice.post.expected import CrackSeen, Expected, Happening
from fesplice.post.prediction import Made
from fesplice.report.compare.curves import overlay
from fesplice.store.folder import is_frozen
from fesplice.store.freeze import freeze

WRITTEN = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
PLAN = runpy.run_path(str(Path(__file__).with_name("plan_data.py")))
MADE = runpy.run_path(str(Path(__file__).with_name("prediction_data.py")))
DATA = runpy.run_path(str(Path(__file__).with_name("measured_data.py")))
CURVE = Path(__file__).parents[1] / "data" / "notched-beam-load-cmod.csv"
#: The test is this much stronger in deflection and strain than the run.
MORE, STRAIN = 1.10, 1.20
SHOWS = Expected(
    110e3, 6.0, 60e3, 70e3, {"left": 0.2, "right": 0.2}, 66e3,
    (CrackSeen("elevation", "inclined", 0.3, 900.0, 0.0),), (),
    (Happening("elevation", "a joint is open by 0.05 mm", 20e3, 60.0, 280.0, 0.0),
     Happening("elevation", "bars A and B yield at the joint face", 118e3, 725.0),
     Happening("plan", "steel across the bars yields", 100e3, 300.0)), (),
)  # fmt: skip
GAUGES = (
    DATA["gauge"]("P", "load") + DATA["gauge"]("mid", "deflection", x='"0 mm"')
    + DATA["gauge"]("face", "bar_strain", bar='"A1"', from_joint='"0 mm"')
    + DATA["gauge"]("in", "bar_strain", bar='"A1"', from_joint='"200 mm"')
    + DATA["gauge"]("joint", "joint_opening", joint='"left"')
)  # fmt: skip
CHANNELS = {
    "P": 'unit = "kN"', "mid": 'unit = "mm"', "face": 'unit = "um/m"', "in": 'unit = "um/m"', "joint": 'unit = "mm"',
}  # fmt: skip
CRACKS = """face,crack,x [mm],y [mm],load [kN]
N,1,-300,0,100
N,1,-280,150,100
tension,2,-100,-50,100
tension,2,100,-60,100
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("compare") / "p"
    WRITTEN["write_run"](folder / "elevation")
    PLAN["write_plan"](folder / "plan-pass-1")
    PLAN["write_plan"](folder / "plan-pass-2")
    made = Made("2031-05-01T08:00:00+00:00", "0", "0", "0", "0" * 64)
    # read where the run carries it: 110 kN per ram
    return MADE["write"](folder, MADE["made"](load=110e3, expected=SHOWS, made=made))


def reduced(place: Path, home: Path, head: str = "", name: str = "test", more: float = MORE) -> Path:
    """A test whose readings are those of the run times a factor, up to its largest load, which is 120 kN."""
    from fesplice import Run

    curve = Run(home / "elevation").curve
    (place / "s.toml").write_text(WRITTEN["SPECIMEN"], encoding="utf-8")
    (place / "cracks.csv").write_text(CRACKS, encoding="utf-8")
    t = np.arange(600.0)
    load = np.interp(t, [40.0, 560.0, 599.0], [0.0, 120.0, 60.0])
    rise, at = curve["load_N"][:5] / 1e3, np.minimum(load, 120.0)
    moved = more * np.interp(at, rise, curve["deflection_mm"][:5])
    share = np.interp(at, rise, [0.0, 0.25, 0.5, 0.75, 1.0])
    strain = STRAIN * 360.0 / 2e5 * 1e6 * share
    columns = {"P": load, "mid": moved, "face": strain, "in": 0.5 * strain, "joint": 0.3 * share}
    log = DATA["write_log"](place / "a.csv", t, columns)
    rig = DATA["write_rig"](
        place / "r.toml", "R-100-U", CHANNELS, GAUGES + '[[cracks]]\nfile = "cracks.csv"\n', head
    )  # fmt: skip
    reduce([log], rig, place / "s.toml", place / name)
    return place / name


@pytest.fixture(scope="module")
def compared(home: Path, tmp_path_factory) -> tuple[Comparison, Path]:
    place = tmp_path_factory.mktemp("tests")
    head = 'date = "2031-05-14"\nmode = "side_thrust"\nmode_evidence = "side face off over the hooks"\n'
    test = reduced(place, home, head)
    return compare(test, home, place / "out"), place


def test_ratios_are_those_that_were_put_in(compared) -> None:
    found, _ = compared
    by = {r.quantity: r for r in found.tests[0].ratios}
    assert by["largest load per ram"].ratio == pytest.approx(120.0 / 110.0, rel=1e-3)
    assert by["mid at 120 kN"].ratio == pytest.approx(MORE, rel=0.02)
    assert by["face at 120 kN"].ratio == pytest.approx(STRAIN, rel=0.04)
    assert by["joint at 120 kN"].ratio == pytest.approx(1.0, rel=0.01)
    assert by["stiffness"].ratio == pytest.approx(1.0 / MORE, rel=0.02)
    # 0.8 to 1.2 of the load: 120/110 lies inside
    assert by["largest load per ram"].inside


def test_bar_stress_along_the_bar_has_computed_and_measured_points(compared) -> None:
    """Strain x 200 GPa below yield; gauges are zeroed under own weight, which step 0 of the run does not strain."""
    found, _ = compared
    last = [a for a in found.tests[0].along if a.line == "A"][-1]
    points = {p.gauge: p for p in last.points}
    share = np.interp(120.0, [110.0, 132.0], [0.75, 1.0])
    assert points["face"].stress == pytest.approx(STRAIN * 360.0 * share, rel=0.01)
    assert points["face"].arc == 0.0 and points["in"].arc == 200.0
    assert points["face"].uncertainty == pytest.approx(0.015 * points["face"].stress, rel=0.05)
    assert np.interp(0.0, last.arc, last.stress) == pytest.approx(360.0 * share, rel=0.04)


def test_sentences_are_judged_by_what_the_test_shows(compared) -> None:
    found, _ = compared
    by = {c.sentence: c for c in found.tests[0].claims}
    first = next(iter(by.values()))
    assert "test" in first.why and first.verdict in (HELD, FAILED)
    deflection = next(c for s, c in by.items() if s.startswith("at 110 kN"))
    # the run moves 6 mm at 110 kN, the test 6.6: within 0.8 to 1.2 of it
    assert deflection.verdict == HELD and "6.6 mm" in deflection.why
    joint = next(c for s, c in by.items() if "joint is open" in s)
    # 0.3 mm x share = 0.05 at a share of 1/6: 26.7 kN, outside 16 to 24 kN
    assert joint.verdict == FAILED and "27 kN" in joint.why
    assert next(c for s, c in by.items() if "yield at the joint" in s).verdict == OPEN
    assert next(c for s, c in by.items() if "steel across" in s).why == "no instrument of the test shows it"


def test_mode_against_mode_with_what_the_laboratory_says(compared) -> None:
    mode = compared[0].tests[0].mode
    assert mode.verdict == HELD and mode.seen == mode.computed == "side thrust at the edge bars"
    assert mode.seen_evidence[0] == "side face off over the hooks"


def test_page_figures_numbers_and_terminal_say_the_same(compared) -> None:
    found, place = compared
    page = (place / "out" / "comparison.html").read_text()
    numbers = json.loads((place / "out" / "comparison.json").read_text())
    text = comparison_text(found)
    for claim in found.tests[0].claims:
        assert claim.verdict in page and claim.why in page and claim.why in text
    # a sentence too long for its line ends at a word and says that it goes on
    long = [c.sentence for c in found.tests[0].claims if len(c.sentence) > SHORT]
    cuts = [line.split(" …")[0].split("  ")[-1] for line in text.splitlines() if " …" in line]
    assert len(cuts) == len(long) > 0
    assert all(s.startswith(f"{cut} ") for s, cut in zip(long, cuts, strict=True))
    rows = list(csv.DictReader((place / "out" / "figures" / "ratios.csv").open()))
    told = {r["quantity"]: r["ratio"] for r in numbers["tests"][0]["ratios"]}
    assert {r["quantity"]: float(r["ratio"]) for r in rows} == pytest.approx(told, rel=1e-5)
    for name in ("load-deflection", "bar-stress", "bar-strain", "displacements", "cracks", "events", "ratios"):
        for kind in ("svg", "pdf", "png", "csv"):
            assert (place / "out" / "figures" / f"{name}.{kind}").stat().st_size > 0, name
    traced = list(csv.DictReader((place / "out" / "figures" / "cracks-traced.csv").open()))
    assert [float(r["x_mm"]) for r in traced] == [-300.0, -280.0, -100.0, 100.0]


def test_the_same_comparison_replaces_itself_and_nothing_of_somebody(compared, home: Path, tmp_path: Path) -> None:
    _, place = compared
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(FolderFault, match="nothing was written"):
        compare(place / "test", home, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_whether_the_prediction_was_older_and_frozen_is_told(compared, home: Path, tmp_path: Path) -> None:
    import shutil

    found, place = compared
    assert found.age == ("test: the prediction of 2031-05-01 is older than the test of 2031-05-14",)
    assert "was not frozen" in found.frozen
    other = tmp_path / "frozen"
    shutil.copytree(home, other)
    kept = freeze(other, {"specimen": "x"})
    assert is_frozen(other)
    held = compare(place / "test", other)
    assert "no byte changed" in held.frozen and kept.digest[:12] in held.frozen
    (other / "prediction.json").chmod(0o644)
    text = (other / "prediction.json").read_text()
    (other / "prediction.json").write_text(text + " ")
    assert "does NOT hold: 1 files differ (prediction.json)" in compare(place / "test", other).frozen


@pytest.mark.parametrize(
    ("day", "says"),
    [("2031-05-14", "is older than"), ("2031-04-30", "is NOT older than"), ("2031-05-01", "on the day of the test"),
     ("", "gives no date"), ("May 14", "is no YYYY-MM-DD")],
)  # fmt: skip
def test_dates_are_compared_by_the_day(day: str, says: str) -> None:
    assert says in older("2031-05-01T08:00:00+00:00", day)


def test_a_test_of_another_specimen_is_refused(compared, home: Path, tmp_path: Path, monkeypatch, capsys) -> None:
    from fesplice import Prediction

    other = MADE["write"](tmp_path / "other", replace(Prediction.read(home), specimen="B-1"))
    WRITTEN["write_run"](other / "elevation")
    PLAN["write_plan"](other / "plan-pass-2")
    with pytest.raises(InputFault, match="is a test of R-100-U; the prediction is of B-1"):
        compare(compared[1] / "test", other)
    out = str(tmp_path / "c")
    monkeypatch.setattr(sys, "argv", ["fesplice", "compare", str(tmp_path), "--prediction", str(home), "--out", out])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 2 and "holds no reduced test" in capsys.readouterr().err
    assert not (tmp_path / "c").exists()


# ------------------------------------------------------------------ a curve measured elsewhere
def test_agreement_of_curves_of_known_ratio() -> None:
    x = np.linspace(0.0, 10.0, 101)
    computed = Course("c", "k", "x", "y", x, x, 0.9 * x, 1.1 * x, ())
    got = agreement(computed, Seen("t", x[::5], 1.05 * x[::5]))
    assert got.inside == 1.0 and got.ratio == pytest.approx(1.05)
    out = agreement(computed, Seen("t", x[::5], 1.2 * x[::5]))
    assert out.inside == pytest.approx(1.0 / 21.0)  # the origin alone
    band = agreement(computed, Seen("e", x[1::5], x[1::5], 0.98 * x[1::5], 1.01 * x[1::5]))
    assert band.within == 1.0 and band.over_upper == pytest.approx(1 / 1.01)
    assert band.over_lower == pytest.approx(1 / 0.98)
    assert agreement(computed, Seen("far", x + 50.0, x)).points == 0


def test_where_the_computed_curve_cancels_there_is_no_ratio_of_areas() -> None:
    """Areas in closed form: x - c over 0 to 10 has the net area 50 - 10 c, which vanishes at c = 5."""
    x = np.linspace(0.0, 10.0, 101)
    nothing = np.full(len(x), np.nan)
    ratios = [
        agreement(Course("c", "k", "x", "y", x, x - c, nothing, nothing, ()), Seen("t", x, 1.1 * x)).ratio
        for c in (0.0, 2.0, 4.9, 5.0)
    ]
    assert ratios[:2] == pytest.approx([1.1, 55.0 / 30.0])
    assert np.isnan(ratios[2:]).all()


def test_a_measured_load_cmod_envelope_lies_over_the_computed_notched_beam(tmp_path: Path) -> None:
    """Largest loads of the repeats 933 to 1114 N: the overlay shows how far the computed beam lies above them.

    Its peak is 6 % above the upper one and its tail carries too much (models/validation says the same): the fracture
    energy was not measured and is the program's own estimate, and nothing is fitted here.
    """
    sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
    from validation import notched, plain
    from validation.case import Settings
    from validation.notched import Beam, Fineness

    beam = Beam(50.0, 50.0, 125.0, 175.0, 25.0, 20.0)
    law = plain.concrete(Settings(), 42.3, modulus=37e3, tensile=3.9)
    path = plain.bend(beam, law, Fineness(2.5), Settings(step=2.0), 0.3)[1]
    assert notched.body(beam, Fineness(2.5), 2.5) is not None
    lines = [line for line in CURVE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    mouth, low, high = np.array([[float(v) for v in row] for row in csv.reader(lines[1:])]).T
    assert 933.0 - 10.0 <= low.max() <= high.max() <= 1114.0
    nothing = np.full(len(path.held), np.nan)
    seen = Seen("envelope of repeats", mouth, 0.5 * (low + high), low, high)
    course = Course("half-notched beam", "cmod", "CMOD (mm)", "load (N)", np.asarray(path.held), np.asarray(path.load),
                    nothing, nothing, (seen,))  # fmt: skip
    got = agreement(course, seen)
    assert got.points == len(mouth) and path.peak == pytest.approx(1114.0, rel=0.10)
    # up to the largest load the curve lies on the envelope; behind it above
    rise = Seen("rise", mouth[:9], seen.y[:9], low[:9], high[:9])
    assert agreement(course, rise).ratio == pytest.approx(1.0, abs=0.15)
    assert got.over_lower > 1.0 and 1.2 < got.over_upper < 1.5 and got.ratio < 0.85
    files = overlay([course], tmp_path, "overlay")
    assert {f.suffix for f in files} == {".png", ".pdf", ".svg", ".csv"}
    rows = list(csv.DictReader((tmp_path / "overlay.csv").open()))
    assert [float(r["high"]) for r in rows if r["series"] != "computed"] == pytest.approx(list(high))


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=200), st.integers(1, 40))
def test_middles_of_blocks_are_medians(values: list[float], places: int) -> None:
    """Held against the median of numpy, block by block."""
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    seen = thinned(x, y, places)
    blocks = np.array_split(np.arange(len(y)), places) if len(y) > places else np.arange(len(y))[:, None]
    assert seen[0].tolist() == [np.median(x[b]) for b in blocks]
    assert seen[1].tolist() == [np.median(y[b]) for b in blocks]
    load = np.abs(y)
    at, middle = over_load(load, x, len(y) - 1, places)
    bins = np.clip((places * load / load.max()).astype(int), 0, places - 1) if load.max() > 0.0 else np.zeros(0)
    assert at.tolist() == [np.median(load[bins == k]) for k in np.unique(bins)]
    assert middle.tolist() == [np.median(x[bins == k]) for k in np.unique(bins)]
