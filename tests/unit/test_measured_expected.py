"""What gauges should read: by hand formulas, by a run, as a reduced test keeps it.

By hand: cracked section of the demonstration series (lever arm 0.928 d, hand check in its notes). The run is written by
hand (``report_data``): 360 MPa at the joint face at its largest load, falling evenly over 400 mm.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import FolderFault, InputFault
from fesplice.measured import reduce, replay
from fesplice.measured.computed import from_run
from fesplice.measured.expected import ByHand, Tabulated
from fesplice.sizing.statics import statics
from fesplice.specimen import Gauge, read_text

WRITTEN = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
DATA = runpy.run_path(str(Path(__file__).with_name("measured_data.py")))


def gauge(kind: str, **where) -> Gauge:
    return Gauge.model_validate({"id": "g", "kind": kind, **where})


FACE, IN = gauge("bar_strain", bar="A1", from_joint="0 mm"), gauge("bar_strain", bar="A1", from_joint="200 mm")
TAIL = gauge("bar_strain", bar="B2", station="tail")
MID, SUPPORT = gauge("deflection", x="0 mm"), gauge("deflection", x="-2400 mm")
JOINT = gauge("joint_opening", joint="left")


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory):
    return WRITTEN["write_run"](tmp_path_factory.mktemp("run") / "elevation")


def test_by_hand_the_bar_at_the_face_and_along_the_lap() -> None:
    s = read_text(WRITTEN["SPECIMEN"])
    hand = ByHand(s, statics(s), 100e3)
    strain = 100e3 * 1500.0 / (1290.0 * 0.928 * 515.0) / 200e3
    # the own weight's part is deducted: the section is not cracked by it, so less than its cracked share
    assert strain < hand.reading(FACE) < 1.2 * strain
    assert 0.5 * hand.reading(FACE) < hand.reading(IN) < hand.reading(FACE)
    assert hand.reading(TAIL) < 0.2 * hand.reading(FACE) and not hand.sure(TAIL) and hand.sure(FACE)
    assert hand.reading(SUPPORT) < 0.1 * hand.reading(MID) and hand.like(FACE) != hand.like(IN)


def test_a_run_is_read_at_the_load(run) -> None:
    s = read_text(WRITTEN["SPECIMEN"])
    found = from_run(run.folder)(s, statics(s), 79e3)
    # third step, half of the largest state
    assert found.reading(FACE) == pytest.approx(0.5 * 360.0 / 2e5, rel=0.03)
    assert found.reading(IN) == pytest.approx(0.25 * 360.0 / 2e5, rel=0.06)
    assert found.reading(MID) == pytest.approx(4.0) and found.reading(JOINT) == pytest.approx(0.15)
    assert found.reading(SUPPORT) == ByHand(s, statics(s), 79e3).reading(SUPPORT)
    assert found.sure(FACE) and not found.sure(TAIL) and "run elevation" in found.source
    # beyond its largest load a run says nothing
    assert isinstance(from_run(run.folder)(s, statics(s), 140e3), ByHand)


def test_the_folder_of_a_prediction_gives_its_elevation_and_others_are_refused(run, tmp_path: Path) -> None:
    s = read_text(WRITTEN["SPECIMEN"])
    assert from_run(run.folder.parent)(s, statics(s), 79e3).reading(MID) == pytest.approx(4.0)
    with pytest.raises(FolderFault):
        from_run(tmp_path)
    other = read_text(WRITTEN["SPECIMEN"].replace("R-100-U", "Another"))
    with pytest.raises(InputFault, match="is a run of R-100-U"):
        from_run(run.folder)(other, statics(other), 79e3)


def test_a_test_keeps_by_what_it_was_judged_and_replays_with_it(run, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(WRITTEN["SPECIMEN"], encoding="utf-8")
    t = np.arange(400.0)
    share = np.interp(t, [40.0, 399.0], [0.0, 1.0])
    log = DATA["write_log"](tmp_path / "a.csv", t, {"P": 120.0 * share, "mid": -8.0 * share})
    gauges = DATA["gauge"]("P", "load") + DATA["gauge"]("mid", "deflection", x='"0 mm"')
    channels = {"P": 'unit = "kN"', "mid": 'unit = "mm"'}
    rig = DATA["write_rig"](tmp_path / "r.toml", "R-100-U", channels, gauges)
    test = reduce([log], rig, tmp_path / "s.toml", tmp_path / "out", expect=from_run(run.folder))
    assert [(s.channel, s.fault) for s in test.suspects] == [("mid", "wrong sign")]
    assert "run elevation" in test.judged.source and test.judged.load == pytest.approx(0.65 * 120e3)
    kept = {e.gauge: e.reading for e in test.judged.expected}
    assert kept["mid"] == pytest.approx(4.0)
    assert replay(tmp_path / "out") == ()
    table = Tabulated("x", 1.0, {"length": 4.0}, {"g": (4.0, True, "")})
    assert table.reading(MID) == 4.0 and table.sure(MID) and table.scale("strain") == 0.0
