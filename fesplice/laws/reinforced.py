"""Reinforced concrete at a point: smeared-crack concrete and smeared layers of bars, perfectly bonded on average.

Between cracks concrete goes on pulling (tension stiffening); at a crack the bars alone carry what
the concrete carries on average, so that the average can be no more than the bars have left,
sum rho_i (f_yi - f_si) cos^2 theta_i. Source: Vecchio & Collins, ACI Journal 83-2 (1986) 219-231
(crack check, there with shear on the crack; here without), mean tension by Collins & Mitchell (1987),
both from memory. What the softening curve alone bridges across the crack is never taken away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fesplice.algebra import principal_strain
from fesplice.contracts import Floats, History, Response
from fesplice.laws.concrete import SmearedCrack
from fesplice.laws.steel import Bar, Curve

#: Of the history of the concrete, what concrete without tension stiffening has of its own.
APART = ("tension", "compression")


@dataclass(frozen=True)
class SmearedBars:
    """Bars of one direction: steel area per area of concrete, angle from x [rad], stress-strain curve."""

    ratio: float
    angle: float
    curve: Curve

    @property
    def along(self) -> Floats:
        """(3,) row that picks the strain along the bars from (exx, eyy, gxy)."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        return np.array([c * c, s * s, c * s])


@dataclass(frozen=True)
class ReinforcedConcrete:
    """Concrete with any number of layers; ``stiffening`` (0..1) is the share of tension stiffening.

    The ``stiffening`` of ``concrete`` itself is not used. History: the concrete's, and per layer
    k ``steel<k>`` (see :class:`fesplice.laws.steel.Bar`); ``plain_tension`` and ``plain_compression`` (.., 2) are the
    largest strains of the concrete that nothing stiffens, which the stress across makes a little different.
    """

    concrete: SmearedCrack
    layers: tuple[SmearedBars, ...]
    stiffening: float = 1.0
    n_strain: int = 3

    def __post_init__(self) -> None:
        if self.concrete.alone:
            raise ValueError("cracks that bars cross do not run alone: concrete.alone must be False")

    @property
    def modulus(self) -> float:
        """Of the concrete [MPa]."""
        return self.concrete.modulus

    @property
    def poisson(self) -> float:
        """Of the concrete."""
        return self.concrete.poisson

    @property
    def tensile_strength(self) -> float:
        """Of the concrete [MPa]."""
        return self.concrete.tensile_strength

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Virgin concrete and steel."""
        steel = {f"steel{k}": Bar(layer.curve).fresh(shape)["plastic"] for k, layer in enumerate(self.layers)}
        plain = {f"plain_{key}": np.zeros((*shape, 2)) for key in APART} if self.stiffening > 0.0 else {}
        return self.concrete.fresh(shape) | steel | plain

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; ``size`` as for :class:`SmearedCrack`."""
        full = replace(self.concrete, stiffening=self.stiffening).respond(strain, history, size, secant=secant)
        stress, tangent, new = full.stress.copy(), full.tangent.copy(), dict(full.history)
        left = []
        for k, layer in enumerate(self.layers):
            row = layer.along
            plastic = {"plastic": history[f"steel{k}"]}
            bar = Bar(layer.curve).respond((strain @ row)[..., None], plastic, size, secant=secant)
            new[f"steel{k}"] = bar.history["plastic"]
            stress += layer.ratio * bar.stress * row
            tangent += layer.ratio * bar.tangent * np.outer(row, row)
            free = layer.curve.stress[0] - bar.stress[..., 0]
            slope = np.where(free > 0.0, -bar.tangent[..., 0, 0], 0.0)
            left.append((layer, np.maximum(free, 0.0), slope))
        if self.stiffening > 0.0:
            apart = {**history, **{key: history[f"plain_{key}"] for key in APART}}
            plain = replace(self.concrete, stiffening=0.0).respond(strain, apart, size, secant=secant)
            new |= {f"plain_{key}": plain.history[key] for key in APART}
            self._check_cracks(strain, history, full, plain, left, stress, tangent, secant)
        return Response(stress, tangent, new)

    def _check_cracks(self, strain, history, full, plain, left, stress, tangent, secant) -> None:
        """Take from ``stress`` (and ``tangent``) the stiffening that the bars cannot carry across the cracks."""
        e1, e2, cos2, sin2 = principal_strain(strain)
        # turn of the axes by the strains: half the shear strain in crack axes over e1 - e2
        turn = np.stack([-sin2, sin2, cos2], axis=-1) / (2.0 * np.maximum(e1 - e2, 1e-8))[..., None]
        if self.concrete.crack == "fixed":
            axes = history["axes"]
            frozen = np.any(axes != 0.0, axis=-1)
            cos2, sin2 = np.where(frozen, axes[..., 0], cos2), np.where(frozen, axes[..., 1], sin2)
            turn = np.where(frozen[..., None], 0.0, turn)
        for c2, s2 in ((cos2, sin2), (-cos2, -sin2)):  # across both axes
            unit = np.stack([0.5 * (1.0 + c2), 0.5 * (1.0 - c2), 0.5 * s2], axis=-1)  # n n: stress 1 along the axis
            by_angle = np.stack([-s2, s2, c2], axis=-1)
            read = unit * np.array([1.0, 1.0, 2.0])  # picks the normal stress out of (xx, yy, xy)
            s_full, s_plain = np.sum(read * full.stress, axis=-1), np.sum(read * plain.stress, axis=-1)
            limit, d_limit = _capacity(c2, s2, turn, left)
            bridged = s_plain > limit
            over = s_full - np.where(bridged, s_plain, limit)
            binds = over > 1e-12
            over = np.where(binds, over, 0.0)
            # both concretes are coaxial with the axes, so that a turn does not change the stress along them
            d_plain = np.einsum("eqi,eqij->eqj", read, plain.tangent)
            d_over = np.einsum("eqi,eqij->eqj", read, full.tangent) - np.where(bridged[..., None], d_plain, d_limit)
            cut = unit[..., :, None] * np.where(binds[..., None], d_over, 0.0)[..., None, :]
            cut += over[..., None, None] * by_angle[..., :, None] * turn[..., None, :]
            if secant > 0.0:
                e = np.sum(unit * strain, axis=-1)
                stiff = np.where(e > 1e-9, over / np.maximum(e, 1e-9), 0.0)
                cut = (1.0 - secant) * cut + secant * stiff[..., None, None] * unit[..., :, None] * unit[..., None, :]
            stress -= over[..., None] * unit
            tangent -= cut


def _capacity(c2: Floats, s2: Floats, turn: Floats, left: list) -> tuple[Floats, Floats]:
    """What the bars can add at a crack whose normal is at angle t (cos 2t, sin 2t), and its slope by the strain."""
    limit, slope = np.zeros(c2.shape), np.zeros(turn.shape)
    for layer, free, by_strain in left:
        cb, sb = np.cos(2.0 * layer.angle), np.sin(2.0 * layer.angle)
        share = layer.ratio * 0.5 * (1.0 + c2 * cb + s2 * sb)
        limit = limit + share * free
        slope = slope + (share * by_strain)[..., None] * layer.along
        slope = slope + (layer.ratio * free * (c2 * sb - s2 * cb))[..., None] * turn
    return limit, slope
