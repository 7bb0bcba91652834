"""Moments of own weight and loading gear, and the forces the model takes for them, against statics.

Simply supported beam with overhangs: M = q a (L/2 - x) - q (a - x)^2 / 2 with a = L/2 + overhang; point loads P
at the shear span: P x shear span; one central load: P/2 x distance. Lifting rams carry what weighs on them.
"""

from __future__ import annotations

import pytest

from fesplice.formulas.section import moment_at
from fesplice.geometry import build_mesh, elevation
from fesplice.model.build import elevation_model
from fesplice.model.estimate import dead_moment
from fesplice.specimen import Specimen, read, vary_many

COARSE = {"mesh.splice": "50 mm", "mesh.elsewhere": "150 mm"}


def specimen(face: str, central: bool = False) -> Specimen:
    changes = {"loading.equipment_weight": "12 kN", "loading.tension_face": face}
    name = "models/plain/cracked-section.toml" if central else "models/as29-100-u.toml"
    s = read(name)
    if central:
        changes["body.shear_span"] = f"{0.5 * s.body.span} mm"
    return vary_many(s, COARSE | changes)


@pytest.mark.parametrize("face", ["down", "up"])
@pytest.mark.parametrize("x", [0.0, 280.0, 1000.0, 2000.0])
def test_four_point_beam_agrees_with_the_hand_formula(face: str, x: float) -> None:
    s = specimen(face)
    by_hand = moment_at(
        x, 0.0, span=s.body.span, shear_span=s.body.shear_span, overhang=s.body.overhang, gear=12e3, tension_face=face,
        weight=s.body.width * s.body.depth * s.concrete.precast.unit_weight,
    )  # fmt: skip
    assert dead_moment(s, x) == pytest.approx(by_hand)


def test_half_of_a_central_gear_goes_to_each_support() -> None:
    s = vary_many(specimen("down", central=True), {"loading.self_weight": False})
    assert dead_moment(s, 0.0) == pytest.approx(0.5 * 12e3 * 0.5 * s.body.span)


@pytest.mark.parametrize("face", ["down", "up"])
def test_the_model_carries_gear_and_weight_the_same_way(face: str) -> None:
    s = specimen(face)
    model = elevation_model(s, build_mesh(elevation(s), s.mesh))
    beam = s.body.span + 2.0 * s.body.overhang
    weight = s.body.width * s.body.depth * beam * s.concrete.precast.unit_weight
    sense = -1.0 if face == "down" else 1.0
    assert model._all_dead[1::2].sum() == pytest.approx(sense * (weight + 2 * 12e3), rel=1e-6)
