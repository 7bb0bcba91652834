"""Properties of concrete that were not measured.

Sources: fib Model Code for Concrete Structures 2010 (2013), 5.1-3, 5.1-9, 5.1-21, Table 5.1-8, with
published check values of G_F (f_cm 42.3 MPa: 143.2 N/m, 38 MPa: 140.5 N/m); the open library
structuralcodes as a second witness; Nakamura & Higai 2001 for the crushing energy (from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest
import structuralcodes.codes.mc2010 as mc2010

from fesplice.specimen import estimates, read, vary

LAPPED = Path(__file__).parents[2] / "models" / "as29-100-u.toml"
STRENGTHS = [20.0, 28.0, 33.0, 42.3, 58.0, 66.0, 88.0, 118.0]


@pytest.mark.parametrize(("f_cm", "g_f"), [(42.3, 143.2e-3), (38.0, 140.5e-3)])
def test_fracture_energy(f_cm: float, g_f: float) -> None:
    assert estimates.fracture_energy(f_cm) == pytest.approx(g_f, rel=5e-4)


@pytest.mark.parametrize("f_cm", STRENGTHS)
def test_second_witness(f_cm: float) -> None:
    f_ck = f_cm - 8.0
    assert estimates.fracture_energy(f_cm) * 1e3 == pytest.approx(mc2010.Gf(f_ck), rel=1e-3)
    assert estimates.tensile_strength(f_cm)[0] == pytest.approx(mc2010.fctm(f_ck), rel=1e-3)
    assert estimates.peak_strain(f_cm) == pytest.approx(abs(mc2010.eps_c1(f_ck)), rel=1e-3)
    for aggregate in ("basalt", "quartzite", "limestone", "sandstone"):
        tangent = mc2010.Eci(f_cm, aggregate)
        share = min(1.0, 0.8 + 0.2 * f_cm / 88.0)
        assert estimates.elastic_modulus(f_cm, aggregate) == pytest.approx(share * tangent, rel=1e-3)


def test_hand_values() -> None:
    """f_cm 38: f_ctm = 0.3 x 30^(2/3) = 2.896; G_c = 8.8 x sqrt(36) = 52.8; peak strain 2.3 permille."""
    assert estimates.tensile_strength(38.0)[0] == pytest.approx(2.896, rel=1e-3)
    assert estimates.crushing_energy(36.0) == pytest.approx(52.8)
    assert estimates.peak_strain(38.0) == pytest.approx(2.3e-3)


def test_weak_concrete_has_a_tensile_strength_too() -> None:
    """0.33 sqrt(f_c), Vecchio & Collins 1986: 16 MPa -> 1.32 MPa. The report says that it was used."""
    value, source = estimates.tensile_strength(16.0)
    assert value == pytest.approx(1.32)
    assert "Vecchio" in source


def test_measured_values_stay_and_estimates_are_named() -> None:
    s = read(LAPPED)
    closure, precast = s.concrete.closure, s.concrete.precast
    assert closure is not None
    assert (closure.elastic_modulus, closure.tensile_strength) == (27800.0, 1.95)
    assert set(closure.estimated) == {"fracture_energy", "crushing_energy", "peak_strain"}
    assert set(precast.estimated) == set(closure.estimated) | {"elastic_modulus", "tensile_strength"}
    assert all("MC2010" in text or "Nakamura" in text for text in precast.estimated.values())
    measured = vary(s, "concrete.closure.fracture_energy", "120 N/m").concrete.closure
    assert measured is not None
    assert measured.fracture_energy == pytest.approx(0.12)
    assert "fracture_energy" not in measured.estimated
