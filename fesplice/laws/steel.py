"""Reinforcing steel: plastic bars along the curve of :mod:`fesplice.formulas.steel`, and bending of hooked ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, History, Response
from fesplice.formulas.steel import Curve


@dataclass(frozen=True)
class Bar:
    """Axial law of bars: follows the curve, unloads with the elastic modulus (isotropic hardening).

    History: ``plastic`` (.., 2) = plastic strain and largest total strain measure reached.
    """

    curve: Curve
    n_strain: int = 1

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Virgin steel."""
        return {"plastic": np.zeros((*shape, 2))}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Stress [MPa] for axial strain (n_e, n_q, 1)."""
        s, d, plastic = plastic_uniaxial(self.curve, strain[..., 0], history["plastic"], secant)
        return Response(s[..., None], d[..., None, None], {"plastic": plastic})


def plastic_uniaxial(curve: Curve, strain: Floats, plastic: Floats, secant: float) -> tuple[Floats, Floats, Floats]:
    """Return mapping in one dimension on a monotonic curve given over total strain."""
    e = curve.modulus
    ep, reached = plastic[..., 0], plastic[..., 1]
    trial = e * (strain - ep)
    # the strength now is the curve at the largest strain measure so far; the measure grows with
    # the plastic strain, so the elastic part of the trial beyond the strength extends it
    reached = np.maximum(reached, curve.strain[0])
    strength, _ = curve(reached)
    over = np.abs(trial) - strength
    flows = over > 1e-9
    ahead = reached + np.where(flows, over, 0.0) / e
    limit, slope = curve(ahead)
    s = np.where(flows, np.sign(trial) * limit, trial)
    d = np.where(flows, np.maximum(slope, 1e-4 * e), e)
    if secant > 0.0:
        big = np.abs(strain) > 1e-12
        d = (1.0 - secant) * d + secant * np.where(big, np.abs(s / np.where(big, strain, 1.0)), e)
    new = np.stack([np.where(flows, strain - s / e, ep), ahead], axis=-1)
    return s, d, new


@dataclass(frozen=True)
class BentBar:
    """Axial force and bending of ``number`` round bars of ``diameter``: (N, M) from (strain, curvature).

    Elastic bending stiffness E pi d^4/64; the moment is capped at the plastic moment f_y d^3/6
    of a round section (textbook plasticity). Axial force and moment do not interact.
    """

    curve: Curve
    diameter: float
    number: int
    area: float
    n_strain: int = 2

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Virgin steel."""
        return {"plastic": np.zeros((*shape, 2)), "bent": np.zeros((*shape, 1))}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """N [N] and M [N mm] for axial strain and curvature [1/mm]."""
        s, d, plastic = plastic_uniaxial(self.curve, strain[..., 0], history["plastic"], secant)
        stiff = self.curve.modulus * np.pi * self.diameter**4 / 64.0 * self.number
        cap = self.curve.stress[0] * self.diameter**3 / 6.0 * self.number
        bent = history["bent"][..., 0]
        trial = stiff * (strain[..., 1] - bent)
        moment = np.clip(trial, -cap, cap)
        flows = np.abs(trial) > cap
        stress = np.stack([self.area * s, moment], axis=-1)
        tangent = np.zeros((*strain.shape, 2))
        tangent[..., 0, 0] = self.area * d
        tangent[..., 1, 1] = np.where(flows, 1e-3 * stiff, stiff)
        return Response(stress, tangent, {"plastic": plastic, "bent": (strain[..., 1] - moment / stiff)[..., None]})
