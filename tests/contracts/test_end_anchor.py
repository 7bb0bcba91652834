"""Hooks as end anchors: what every law owes, on the curve of a 25 mm bar and on a made curve that falls."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from fesplice.contracts import Floats, Law
from fesplice.laws import EndAnchor, end_anchor
from fesplice.laws.hook import AnchorCurve

LAWS = {
    "hook": EndAnchor(end_anchor(25.4, 152.4, 305.0, 90.0, 35.0, "good", 510.0, 420.0)),
    "two hooks": EndAnchor(end_anchor(25.4, 152.4, 305.0, 90.0, 35.0, "good", 510.0, 420.0), 2.0),
    "falling": EndAnchor(AnchorCurve((0.0, 0.1, 1.0, 3.0), (0.0, 40e3, 100e3, 50e3))),
}
every = pytest.mark.parametrize("name", LAWS)
LENGTH = np.ones((1, 1))


def follow(law: EndAnchor, path) -> tuple[Floats, dict]:
    """Force (n,) along slips (n,), committed one by one."""
    history, out = law.fresh((1, 1)), []
    for slip in path:
        answer = law.respond(np.full((1, 1, 1), float(slip)), history, LENGTH)
        history = answer.history
        out.append(answer.stress.item())
    return np.array(out), dict(history)


@every
def test_is_a_law_and_meets_its_curve(name: str) -> None:
    law = LAWS[name]
    assert isinstance(law, Law) and law.n_strain == 1
    slips = np.array([0.03, 0.4, 1.3, 2.9])
    assert follow(law, slips)[0] == pytest.approx(law.number * law.curve(slips)[0])


@every
@pytest.mark.parametrize("path", [(0.05, 0.06), (0.8, 0.85), (1.7, 1.75), (0.8, 0.799), (0.6, -0.1), (2.9, 30.0)])
def test_tangent_against_differences(name: str, path: tuple[float, float]) -> None:
    """A ten-thousandth of the first stiffness is kept where the force would not change."""
    law = LAWS[name]
    history = follow(law, [0.5 * path[0], path[0]])[1]
    at = np.full((1, 1, 1), path[1])
    got = law.respond(at, history, LENGTH).tangent.item()
    ahead, behind = (law.respond(at + s * 1e-7, history, LENGTH).stress.item() for s in (1, -1))
    most = float(law.number * law.curve.stiffness)
    assert got == pytest.approx((ahead - behind) / 2e-7, rel=1e-4, abs=1.1e-4 * most)


@every
def test_inputs_are_never_written(name: str) -> None:
    law, strain = LAWS[name], np.full((1, 1, 1), 0.7)
    history = follow(law, [0.5])[1]
    strain.flags.writeable = history["slip"].flags.writeable = False
    before = history["slip"].copy()
    one, two = (law.respond(strain, history, LENGTH) for _ in range(2))
    assert np.array_equal(one.stress, two.stress) and np.array_equal(history["slip"], before)


@every
def test_no_energy_is_gained_and_both_senses_are_alike(name: str) -> None:
    turns = [0.0, 0.05, -0.05, 0.6, 0.0, 0.6, -1.5, 0.0, 2.5, 0.0]
    path = np.concatenate([np.linspace(a, b, 200) for a, b in pairwise(turns)])
    force, _ = follow(LAWS[name], path)
    steps = 0.5 * (force[1:] + force[:-1]) * np.diff(path)
    assert np.cumsum(steps).min() >= -1e-6 * np.abs(steps).sum()
    assert follow(LAWS[name], -path)[0] == pytest.approx(-force, rel=1e-12, abs=1e-9)


@every
def test_unloading_is_stiff(name: str) -> None:
    law = LAWS[name]
    out = follow(law, [0.8, 0.7999])[0]
    assert out[0] - out[1] == pytest.approx(1e-4 * float(law.number * law.curve.stiffness))


def test_secant_share_blends_towards_force_over_slip() -> None:
    law = LAWS["hook"]
    whole = law.respond(np.full((1, 1, 1), 1.0), law.fresh((1, 1)), LENGTH, secant=1.0)
    assert whole.tangent.item() == pytest.approx(whole.stress.item() / 1.0)
