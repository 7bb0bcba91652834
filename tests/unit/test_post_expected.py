"""What is told of a test: no crack that nobody could see, and joints as they stand over the height.

Widths from which a hairline counts as a crack (0.01 mm) and from which the eye sees it (0.05 mm): common practice, no
source.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np

from fesplice.post.elevation.trace import Spot
from fesplice.post.expected import CrackSeen, Expected, Happening, _cracks


def shows(**changes: Any) -> Expected:
    known: dict[str, Any] = {
        "load": 310e3, "deflection": 42.6, "first_crack": 61e3, "visible_crack": 98e3,
        "joint_opening": {"left": 2.63, "right": 2.6}, "service": 186e3, "cracks": (), "gauges": (), "happenings": (),
        "unbalanced": (),
    }  # fmt: skip
    return Expected(**known | changes)


def joint(width: float, x: float = 280.0) -> CrackSeen:
    return CrackSeen("elevation", "joint", width, x, 191.0)


def test_open_joints_are_told_by_their_opening() -> None:
    told = shows(widest_joint=joint(3.0)).joints
    assert told == "joints open at the tension face by left 2.63 mm, right 2.60 mm"


def test_a_joint_closed_at_the_face_and_open_above_is_told_as_such() -> None:
    """-1e-5 mm is the overlap of a contact: closed."""
    shut = shows(joint_opening={"left": -1e-5, "right": 0.004}, widest_joint=joint(3.22))
    assert shut.joints == (
        "joints at the tension face: left closed, right closed, but open above the face by up to 3.22 mm "
        "(x = 280, y = 191 mm)"
    )
    assert shut.joints in shut.sentences[0] and "0.00 mm" not in shut.sentences[0]
    # what was seen to open earlier is not told away
    before = Happening("elevation", "a joint is open by 0.05 mm", 22e3, 76.0, -280.0, 0.0)
    again = shows(joint_opening={"left": 0.0, "right": 0.0}, happenings=(before,)).joints
    assert again.startswith("joints at the tension face: left closed, right closed (one was open there from 22 kN on")
    assert "from 22 kN" not in shows(happenings=(before,)).joints
    # the widest opening stands in the other joint, which is open at its face as well
    half = shows(joint_opening={"left": 0.0, "right": 0.9}, widest_joint=joint(1.1))
    assert half.joints == "joints at the tension face: left closed, right 0.90 mm"
    assert shows(joint_opening={"left": 0.0}, widest_joint=joint(0.002, -280.0)).joints.endswith("left closed")
    assert shows(joint_opening={}).joints == ""


def test_what_is_less_than_a_hairline_is_not_told_as_seen() -> None:
    none = Spot(0.0, 0.0, 0.0)
    snap = SimpleNamespace(
        cracks={"flat": Spot(0.004, 1, 2), "inclined": Spot(0.0099, 3, 4), "upright": Spot(0.16, 5, 6)}, joint=none
    )
    load = np.array([0.0, 186e3])
    laid = SimpleNamespace(joints=(-280.0, 280.0))
    seen: Any = SimpleNamespace(load=load, snapshots=(snap, snap), bar_stress=np.array([0.0, 480.0]), laid=laid)
    across: Any = SimpleNamespace(
        bar_stress=np.array([0.0, 500.0]), splitting=np.array([[0.0], [0.02]]), side_crack=np.array([[0.0, 0.0]] * 2),
        gaps=("A1-B1",),
    )  # fmt: skip
    found = _cracks(seen, across, 186e3)
    assert [(c.what, c.width) for c in found] == [("across the bars", 0.16), ("along the bars A1-B1", 0.02)]
    assert math.isnan(found[1].x) and all("0.00 mm" not in text for text in shows(cracks=found).sentences)
    assert "no crack of 0.01 mm at 186 kN per ram, 0.6 of that load" in shows().sentences
