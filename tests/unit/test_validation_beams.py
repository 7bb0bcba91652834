"""The series of beams: layers, areas and steel of the specimens against the tables, and the rules for modes.

Sources: layers 64 and 128 mm above the soffit and bar areas as the tables in models/validation/data quote
Vecchio & Shim (2004) and Bresler & Scordelis (1963); centroids by hand. No prediction is checked here.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import beams, frame  # noqa: E402
from validation.case import Settings  # noqa: E402
from validation.evidence import judged  # noqa: E402

ROWS = {b.name: b for file in beams.FILES for b in beams.read_rows(frame.DATA / file)}


def test_layers_make_the_stated_centroid() -> None:
    """d of the table within 2 mm: (1400 x 64 + 1000 x 128)/2400 = 90.7 mm above the soffit of 552 mm."""
    stated = {"VS-OA1": 461.0, "VS-A2": 467.0, "VS-C1": 488.0, "BS-OA1": 461.0, "BS-B3": 461.0, "BS-C1": 464.0}
    for name, d in stated.items():
        beam = ROWS[name]
        area = sum(b.number * b.area for b in beam.layers)
        level = sum(b.number * b.area * b.y for b in beam.layers) / area
        assert beam.depth - level == pytest.approx(d, abs=2.0)
    assert sum(b.number * b.area for b in ROWS["BS-B3"].layers) == pytest.approx(3225.0)
    assert [b.y for b in ROWS["VS-OA1"].layers] == [64.0, 128.0]


@pytest.mark.parametrize("name", sorted(ROWS))
def test_plane_carries_the_steel_of_the_table(name: str) -> None:
    beam = ROWS[name]
    s = beams.specimen_of(beam, Settings())
    plane = beams.plane_of(beam, s)
    main = [p for p in plane.paths if p.role == "main"]
    assert [p.points[0, 1] for p in main] == [b.y for b in beam.layers]
    assert [p.steel for p in main] == [f"layer{k}" for k in range(len(main))]
    top = [p for p in plane.paths if p.role == "compression"]
    assert sum(p.area for p in top) == pytest.approx(beam.top_area, rel=1e-3)
    legs = [p for p in plane.paths if p.role == "stirrup"]
    if beam.spacing:
        x = np.array([p.points[0, 0] for p in legs])
        assert np.diff(x)[1:-1] == pytest.approx(beam.spacing) or len(x) > 4
        assert {round(p.area, 3) for p in legs} == {round(2.0 * beam.leg_area, 3)}
    else:
        assert not legs


def test_settings_reach_the_specimen() -> None:
    s = beams.specimen_of(ROWS["VS-C1"], Settings(mesh=2.0, step=0.5, crack="fixed", stiffening=False, bond="perfect"))
    plain = beams.specimen_of(ROWS["VS-C1"], Settings())
    assert s.mesh.splice == pytest.approx(2.0 * plain.mesh.splice)
    assert s.analysis.step == pytest.approx(0.5 * plain.analysis.step, rel=1e-4)  # type: ignore[operator]
    assert s.analysis.crack_model == "fixed" and not s.analysis.tension_stiffening and not s.bond.slip
    assert plain.concrete.precast.tensile_strength == pytest.approx(0.9 * 2.37, rel=1e-3)


def state(bars: float, legs: float, diagonal: float, upright: float) -> dict[str, float]:
    return {"bars_strain": bars, "legs_strain": legs, "diagonal_mm": diagonal, "upright_mm": upright}


def test_rules_for_modes() -> None:
    still = state(0.0, 0.0, 0.0, 0.0)
    assert judged(state(0.8, 0.0, 0.9, 0.3), still) == "DT"
    assert judged(state(1.2, 1.5, 0.5, 0.9), still) == "VC"
    assert judged(state(1.2, 0.8, 0.5, 0.9), state(1.2, 4.0, 0.5, 0.9)) == "VC"
    assert judged(state(1.2, 0.8, 1.5, 0.9), still) == "VC"
    assert judged(state(4.0, 0.6, 0.2, 1.5), state(6.0, 0.6, 0.2, 2.5)) == "FC"
