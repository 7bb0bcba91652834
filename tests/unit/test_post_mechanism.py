"""Rules that name the governing mechanism, on made cases.

Source: the rules are the module's own (judgement); the cases are made so that each rule decides
once. No published record classifies plane-stress results, so nothing outside the project is used here.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from fesplice import read
from fesplice.geometry import build_mesh, elevation
from fesplice.post.elevation.indicators import side_splitting
from fesplice.post.mechanisms import MECHANISMS, Sign, read_plane
from fesplice.post.plan.indicators import unseen
from fesplice.specimen import vary

MODELS = Path(__file__).resolve().parents[2] / "models"
STRESS = np.array([0.0, 100.0, 200.0, 300.0, 400.0, 330.0])
LOAD = 500.0 * STRESS


def sign(mechanism: str, values: list[float], limit: float = 1.0, growing: bool = True) -> Sign:
    return Sign(mechanism, "measure", np.array(values), limit, "mm", "made case", growing)


def test_what_grew_most_over_the_drop_governs() -> None:
    seen = read_plane(
        "elevation", STRESS, LOAD, 4, 5,
        [sign("bond_splitting", [0, 0, 0.5, 1.2, 1.5, 2.0]), sign("prying", [0, 0, 0, 0.5, 1.1, 9.0])],
    )  # fmt: skip
    assert seen.sure and seen.bar_stress == 400.0 and seen.load == pytest.approx(200e3)
    assert seen.governing is not None and seen.governing.mechanism == "prying"
    assert seen.governing.growth == pytest.approx(7.9) and seen.governing.reached_at == 400.0
    # passed at 300 MPa without being what the drop was: not something that is still to come
    assert seen.next is None and seen.margin == math.inf
    assert next(f for f in seen.findings if f.mechanism == "bond_splitting").reached_at == 300.0


def test_a_mechanism_that_comes_after_the_drop_is_a_consequence() -> None:
    stress, load = np.append(STRESS, [340.0, 350.0]), np.append(LOAD, [1.0, 1.0])
    seen = read_plane(
        "plan", stress, load, 4, 5,
        [sign("tie_yielding", [0, 0, 0, 0, 0.2, 0.5, 5.0, 50.0]), sign("side_thrust", [0, 0, 0, 0, 0.9, 1.3, 2, 3])],
    )  # fmt: skip
    assert seen.governing is not None and seen.governing.mechanism == "side_thrust"
    assert math.isnan(next(f for f in seen.findings if f.mechanism == "tie_yielding").reached_at)


def test_yielding_governs_unless_the_anchorage_went_clearly_earlier() -> None:
    yields = sign("yielding", [0, 0.25, 0.5, 0.75, 1.0, 0.8], growing=False)
    with_late = read_plane("elevation", STRESS, LOAD, 4, 5, [yields, sign("prying", [0, 0, 0, 0.5, 1.0, 4.0])])
    assert with_late.governing is not None and with_late.governing.mechanism == "yielding"
    early = read_plane("elevation", STRESS, LOAD, 4, 5, [yields, sign("prying", [0, 0, 1.0, 2.0, 3.0, 4.0])])
    assert early.governing is not None and early.governing.mechanism == "prying"


def test_bars_that_hardened_were_held_well_enough() -> None:
    hardened = sign("yielding", [0, 0.28, 0.56, 0.84, 1.12, 0.9], growing=False)
    seen = read_plane("plan", STRESS, LOAD, 4, 5, [hardened, sign("side_thrust", [0, 0, 1.0, 2.0, 3.0, 9.0])])
    assert seen.governing is not None and seen.governing.mechanism == "yielding"


def test_without_a_drop_the_nearest_is_named_and_the_strength_is_a_bound() -> None:
    seen = read_plane("elevation", STRESS[:5], LOAD[:5], 4, None, [sign("prying", [0, 0, 0.1, 0.3, 0.8])])
    assert not seen.sure and seen.governing is not None and seen.governing.mechanism == "prying"
    assert "above 400 MPa" in seen.sentence and "nearest" in seen.sentence
    assert math.isnan(seen.governing.reached_at)


def test_joints_follow_everything_and_govern_only_alone() -> None:
    joint = sign("joint_opening", [0, 1, 2, 4, 8, 40.0])
    seen = read_plane("elevation", STRESS, LOAD, 4, 5, [joint, sign("shear", [0, 0, 0, 0.9, 1.1, 1.5])])
    assert seen.governing is not None and seen.governing.mechanism == "shear"
    alone = read_plane("elevation", STRESS, LOAD, 4, 5, [joint])
    assert alone.governing is not None and alone.governing.mechanism == "joint_opening"


def test_the_margin_of_a_mechanism_never_reached_comes_from_its_usage() -> None:
    seen = read_plane(
        "plan", STRESS, LOAD, 4, 5,
        [sign("side_thrust", [0, 0, 0, 0, 1, 2.0]), sign("strut_crushing", [0, 0.1, 0.2, 0.3, 0.4, 0.35])],
    )  # fmt: skip
    assert seen.next is not None and seen.next.mechanism == "strut_crushing"
    assert seen.margin == pytest.approx(2.5)


@pytest.mark.parametrize("mechanism", MECHANISMS)
def test_no_mechanism_is_named_without_evidence(mechanism: str) -> None:
    seen = read_plane("elevation", STRESS, LOAD, 4, 5, [sign(mechanism, [0, 0, 0, 0, 1.0, 2.0])])
    assert seen.governing is not None and seen.governing.evidence
    said = seen.governing.evidence[0]
    assert "limit 1" in said and "made case" in said and "reached at 400 MPa" in said
    assert MECHANISMS[mechanism] in seen.sentence and said in seen.sentence


def test_no_sign_no_mechanism() -> None:
    seen = read_plane("plan", STRESS, LOAD, 4, 5, [], ["side blow-out at the hooks"])
    assert seen.governing is None and "no mechanism" in seen.sentence
    assert seen.unresolved == ("side blow-out at the hooks",)
    with pytest.raises(ValueError, match="no mechanism 'gust'"):
        read_plane("plan", STRESS, LOAD, 4, 5, [sign("gust", [0] * 6)])


# ------------------------------------------------------------------ side splitting by formula
def test_side_splitting_of_hooks_in_their_plane() -> None:
    """AS29-100-U by hand: side cover 600/2 - 240 - 14.35 = 45.65, half of 2 x 240 - 28.7 = 225.65 mm; f_cm 35 MPa,

    6.5 (35/25)^0.25 (25/28.7)^0.2 (45.65/28.7)^0.33 (225.65/45.65)^0.1 = 9.39 MPa over 510 mm of a bar of 645 mm2.
    """
    s = read(MODELS / "as29-100-u.toml")
    tau = 6.5 * 1.4**0.25 * (25 / 28.7) ** 0.2 * (45.65 / 28.7) ** 0.33 * (225.65 / 45.65) ** 0.1
    mesh = build_mesh(elevation(s), s.mesh)
    assert side_splitting(mesh, s) == pytest.approx(tau * np.pi * 28.7 * 510.0 / 645.0, rel=2e-3)
    wide = vary(s, "body.width", "800 mm")
    assert side_splitting(build_mesh(elevation(wide), wide.mesh), wide) >= side_splitting(mesh, s)


def test_bars_without_hooks_have_nothing_to_pry() -> None:
    hooked, straight = (unseen(read(MODELS / name)) for name in ("as29-100-u.toml", "plain/straight-lap.toml"))
    assert any("prying at the hook" in text for text in hooked)
    assert not any("hook" in text for text in straight) and any("lifting of the cover" in text for text in straight)
