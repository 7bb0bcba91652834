"""Reinforced concrete at a point against equilibrium: what bars can carry across a crack bounds all averages.

Sources: equilibrium of a cracked element, sum rho_i (f_yi - f_si) cos^2 theta_i at the crack (Vecchio &
Collins, ACI Journal 83-2, 1986); f_t/(1 + sqrt(500 e)) between cracks (Collins & Mitchell 1987), both from
memory; the strength rho f_y of an element with equal bars both ways in pure shear is Mohr's circle alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fesplice.contracts import Floats
from fesplice.formulas.steel import idealised
from fesplice.laws import ReinforcedConcrete, SmearedBars, SmearedCrack

E, FT, FY, ES = 30e3, 3.0, 450.0, 200e3
CONCRETE = SmearedCrack(E, 0.2, FT, 0.12, 38.0, 2.2e-3, 50.0)
STEEL = idealised(ES, FY, FY, FY / ES, 0.2)
SIZE = np.array([[[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]]) / 200.0


def free_sides(law: ReinforcedConcrete, strains: Floats, held: int, load: Floats) -> Floats:
    """Stress paths (n, 3) with component ``held`` of the strain given and the rest in equilibrium with the
    ratio ``load`` of the stresses (the entry of ``held`` is the measure)."""
    history, e, out = law.fresh((1, 1)), np.zeros((1, 1, 3)), []
    others = [i for i in range(3) if i != held]
    for value in strains:
        e[..., held] = value
        for _ in range(100):
            answer = law.respond(e, history, SIZE)
            s, d = answer.stress[0, 0], answer.tangent[0, 0]
            rows = [d[i] - load[i] * d[held] for i in others]
            miss = np.array([s[i] - load[i] * s[held] for i in others])
            if np.abs(miss).max() < 1e-8:
                break
            e[0, 0, others] -= np.linalg.solve(np.array([[r[j] for j in others] for r in rows]), miss)
        assert np.abs(miss).max() < 1e-5, f"no equilibrium at {value:.3g}"
        history = answer.history
        out.append(answer.stress[0, 0].copy())
    return np.array(out)


def test_tie_carries_what_concrete_adds_and_never_more_than_the_bars_yield_at() -> None:
    """Bars along x: mean stress is rho f_s plus Collins & Mitchell until the bars at the crack yield at rho f_y."""
    rho = 0.02
    law = ReinforcedConcrete(CONCRETE, (SmearedBars(rho, 0.0, STEEL),))
    strains = np.concatenate([np.linspace(0, 2e-4, 81), np.linspace(2e-4, 6e-3, 200)[1:]])
    stress = free_sides(law, strains, 0, np.array([1.0, 0.0, 0.0]))[:, 0]
    expected = np.minimum(rho * ES * strains + FT / (1 + np.sqrt(500 * np.maximum(strains - FT / E, 0))), rho * FY)
    cracked = strains > 8e-4  # from here the mean curve is above what softening alone bridges
    assert stress[cracked] == pytest.approx(expected[cracked], rel=2e-3)
    assert stress[strains > 2e-3] == pytest.approx(rho * FY, rel=1e-3)
    without = replace(law, stiffening=0.0)
    bare = free_sides(without, strains, 0, np.array([1.0, 0.0, 0.0]))[:, 0]
    wide = strains > 3e-3
    assert bare[wide] == pytest.approx(rho * np.minimum(ES * strains, FY)[wide], rel=1e-2)


@pytest.mark.parametrize("angle", [0.0, 0.4])
@pytest.mark.parametrize("crack", ["rotating", "fixed"])
def test_equal_bars_both_ways_yield_in_shear_at_rho_f_y(angle: float, crack: str) -> None:
    """Isotropic mats carry v = rho f_y when both directions yield, wherever their axes are (Mohr's circle)."""
    rho = 0.01
    law = ReinforcedConcrete(
        replace(CONCRETE, crack=crack), (SmearedBars(rho, angle, STEEL), SmearedBars(rho, angle + 0.5 * np.pi, STEEL))
    )
    strains = np.concatenate([np.linspace(0, 4e-4, 161), np.linspace(4e-4, 12e-3, 600)[1:]])
    shear = free_sides(law, strains, 2, np.array([0.0, 0.0, 1.0]))[:, 2]
    assert shear[-1] == pytest.approx(rho * FY, rel=0.01)
    # before both yield, cracks not at 45 degrees to the bars may carry a few percent more on the way
    assert shear[strains > 4e-3].max() <= rho * FY * (1.002 if angle == 0.0 else 1.05)


def test_weak_bars_leave_only_what_softening_bridges() -> None:
    """Below rho f_y = f_t the tie falls after cracking to rho f_y: nothing is carried that the crack cannot pass on."""
    rho = 0.002
    law = ReinforcedConcrete(CONCRETE, (SmearedBars(rho, 0.0, STEEL),))
    strains = np.concatenate([np.linspace(0, 4e-4, 321), np.linspace(4e-4, 4e-3, 400)[1:]])
    stress = free_sides(law, strains, 0, np.array([1.0, 0.0, 0.0]))[:, 0]
    assert stress.max() == pytest.approx(FT + rho * ES * FT / E, rel=0.01)
    # at 3.5e-3 the crack is (3.5e-3 - f_t/E) 100 mm = 0.34 mm wide, beyond 5.14 G_F/f_t = 0.21 mm
    assert stress[strains > 3.5e-3] == pytest.approx(rho * FY, rel=5e-3)


def test_reads_of_the_concrete_pass_through() -> None:
    """Readers of fields ask a law for modulus, Poisson's ratio and strength of its concrete."""
    law = ReinforcedConcrete(CONCRETE, (SmearedBars(0.01, 0.3, STEEL),))
    assert (law.modulus, law.poisson, law.tensile_strength) == (E, 0.2, FT)
