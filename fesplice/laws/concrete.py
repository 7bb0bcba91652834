"""Smeared-crack concrete in plane stress: total strain, rotating or fixed crack axes.

The law is a frame that turns the strain into crack axes, applies uniaxial curves there and
turns the answer back. Sources: crack band Bazant & Oh (1983), direction-dependent band
Oliver (1989), softening Hordijk (1991), compression softening Vecchio & Collins (1986),
coaxial shear term Willam, Pramono & Sture (1989).

History (committed values, per point):
    tension, compression (.., 2)  largest equivalent strain so far along each axis
    band (.., 2)                  crack-band width frozen at first cracking and at first crushing [mm]
    poisson (.., 1)               Poisson's ratio, fading with cracking
    axes (.., 2)                  cos 2t, sin 2t of a fixed crack; zeros while free to rotate
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fesplice.algebra import coaxial_shear, principal_strain
from fesplice.contracts import Floats, History, Response
from fesplice.laws import curves

_CHUNK = 4096  # points per pass: keeps temporaries in cache (halves the time at 100k unknowns)


@dataclass(frozen=True)
class SmearedCrack:
    """Concrete law with mean properties; MPa, N/mm, mm.

    ``stiffening`` (0..1, scalar or per element) mixes Collins-Mitchell tension stiffening
    into the softening curve; 0 where bond-slip of the bars is modelled explicitly.
    """

    modulus: float
    poisson: float
    tensile_strength: float
    fracture_energy: float
    strength: float
    peak_strain: float
    crushing_energy: float
    crack: str = "rotating"
    curve: str = "hordijk"
    softening_floor: float = 0.4
    stiffening: float | Floats = 0.0
    n_strain: int = 3

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Virgin history at (n_e, n_q) points."""
        pair = (*shape, 2)
        return {
            "tension": np.zeros(pair),
            "compression": np.zeros(pair),
            "band": np.zeros(pair),
            "poisson": np.full((*shape, 1), self.poisson),
            "axes": np.zeros(pair),
        }

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; ``size`` = centroid gradients (n_e, n_k, 2) [1/mm]."""
        n_e, n_q = strain.shape[:2]
        stress = np.empty_like(strain)
        tangent = np.empty((n_e, n_q, 3, 3))
        new = {key: np.empty_like(value) for key, value in history.items()}
        weight = np.broadcast_to(np.asarray(self.stiffening, float), (n_e,))
        step = max(1, _CHUNK // n_q)
        for i in range(0, n_e, step):
            part = slice(i, i + step)
            old = {key: value[part] for key, value in history.items()}
            self._chunk(strain[part], old, size[part], weight[part], secant, stress[part], tangent[part],
                        {key: value[part] for key, value in new.items()})
        return Response(stress, tangent, new)

    # ------------------------------------------------------------------ one chunk of points
    def _chunk(self, strain, old, grad, weight, secant, stress, tangent, new) -> None:
        e1, e2, cos2, sin2 = principal_strain(strain)
        frozen = np.zeros(e1.shape, bool)
        shear_strain = None
        if self.crack == "fixed":
            frozen = (old["axes"][..., 0] != 0.0) | (old["axes"][..., 1] != 0.0)
            if frozen.any():
                e1, e2, cos2, sin2, shear_strain = _in_axes(strain, old["axes"], frozen, e1, e2, cos2, sin2)
        band = self._band(old["band"], cos2, sin2, grad)
        nu = old["poisson"][..., 0]
        c11 = 1.0 / (1.0 - nu * nu)
        c12 = nu * c11
        # equivalent uniaxial strains along both axes, component first
        x = np.stack([c11 * e1 + c12 * e2, c12 * e1 + c11 * e2])
        kt = np.maximum(np.moveaxis(old["tension"], -1, 0), x)
        kc = np.maximum(np.moveaxis(old["compression"], -1, 0), -x)
        s, d, cross = self._axes(x, old, kt, kc, band, weight)

        new["tension"][...] = np.moveaxis(kt, 0, -1)
        new["compression"][...] = np.moveaxis(kc, 0, -1)
        peak = self.tensile_strength / self.modulus
        cracked = kt[0] > peak
        # the band is kept from the first crack (tension) and from the first point past half the
        # strength (compression) on; before that it follows the principal direction
        new["band"][..., 0] = np.where(cracked, band[0], 0.0)
        new["band"][..., 1] = np.where(kc.max(axis=0) > 0.5 * self.peak_strain, band[1], 0.0)
        new["poisson"][..., 0] = nu
        if cracked.any():
            envelope, _ = self._tension(kt[0][cracked], band[0][cracked], _at(weight, cracked))
            fade = self.poisson * envelope / (self.modulus * kt[0][cracked])
            new["poisson"][..., 0][cracked] = np.minimum(nu[cracked], fade)
        new["axes"][...] = old["axes"]
        if self.crack == "fixed":
            fresh_crack = cracked & ~frozen
            new["axes"][..., 0][fresh_crack] = cos2[fresh_crack]
            new["axes"][..., 1][fresh_crack] = sin2[fresh_crack]

        p = self._matrix(x, s, d, cross, c11, c12, secant)
        slope = 0.25 * (p[0] + p[3] - p[1] - p[2])
        g = coaxial_shear(e1, e2, s[0], s[1], slope, 1e-4 * self.modulus)
        shear = side = None
        if shear_strain is not None:
            shear, g, side = self._crack_shear(x, s, d, shear_strain, frozen, g, c11, c12, secant)
        _turn_back(s, p, g, cos2, sin2, shear, side, stress, tangent)

    def _band(self, old: Floats, cos2: Floats, sin2: Floats, grad: Floats) -> Floats:
        """Oliver's width 2/sum|grad N . n| normal to a crack (row 0) and along it (row 1)."""
        c = np.sqrt(np.maximum(0.5 * (1.0 + cos2), 0.0))
        s = np.copysign(np.sqrt(np.maximum(0.5 * (1.0 - cos2), 0.0)), sin2)
        gx, gy = grad[:, None, :, 0], grad[:, None, :, 1]
        c_, s_ = c[..., None], s[..., None]
        width = np.stack([2.0 / np.abs(c_ * gx + s_ * gy).sum(axis=-1), 2.0 / np.abs(c_ * gy - s_ * gx).sum(axis=-1)])
        kept = np.moveaxis(old, -1, 0)
        return np.where(kept > 0.0, kept, width)

    def _tension(self, strain: Floats, band: Floats, weight: Floats) -> tuple[Floats, Floats]:
        s, d = curves.softening(
            strain, self.modulus, self.tensile_strength, self.fracture_energy, band, self.curve
        )
        if np.any(weight > 0.0):
            s2, d2 = curves.stiffening(strain, self.modulus, self.tensile_strength)
            s, d = s + weight * np.maximum(s2 - s, 0.0), np.where(s2 > s, d + weight * (d2 - d), d)
        return s, d

    def _axes(self, x, old, kt, kc, band, weight):
        """Stress, slope and slope by the lateral strain along both axes; arrays (2, n_e, n_q)."""
        floor = 1e-5 * self.modulus
        s = self.modulus * x
        d = np.full_like(x, self.modulus)
        cross = np.zeros_like(x)
        w = np.broadcast_to(weight[:, None], x.shape[1:])
        peak = self.tensile_strength / self.modulus
        for axis in (0, 1):
            seen_t = old["tension"][..., axis]
            seen_c = old["compression"][..., axis]
            open_ = (x[axis] > 0.0) & (kt[axis] > peak)
            # coarse bands lower the strength below f_t, so the check is made on the reduced peak
            h_max = self.modulus * self.fracture_energy / self.tensile_strength**2
            if np.any(band[0] > h_max):
                low = np.sqrt(self.modulus * self.fracture_energy / band[0]) / self.modulus
                open_ = (x[axis] > 0.0) & (kt[axis] > np.minimum(low, peak))
            if open_.any():
                k = kt[axis][open_]
                env, slope = self._tension(k, band[0][open_], w[open_])
                loading = x[axis][open_] >= seen_t[open_]
                ratio = env / k
                s[axis][open_] = np.where(loading, env, ratio * x[axis][open_])
                d[axis][open_] = np.where(loading, slope, ratio)
            push = x[axis] < 0.0
            if push.any():
                k = kc[axis][push]
                env, slope = curves.crushing(
                    k, self.modulus, self.strength, self.peak_strain, self.crushing_energy, band[1][push]
                )
                loading = -x[axis][push] >= seen_c[push]
                ratio = env / k
                soft, soft_slope = curves.lateral_softening(x[1 - axis][push], self.peak_strain, self.softening_floor)
                raw = np.where(loading, -env, ratio * x[axis][push])
                s[axis][push] = soft * raw
                d[axis][push] = soft * np.where(loading, slope, ratio)
                cross[axis][push] = soft_slope * raw
        return s + 0.01 * floor * x, d + floor, cross

    def _matrix(self, x, s, d, cross, c11, c12, secant):
        """Derivatives of the axis stresses by the strains along the axes: p11, p12, p21, p22."""
        if secant > 0.0:
            ratio = np.where(np.abs(x) > 1e-12, s / np.where(np.abs(x) > 1e-12, x, 1.0), self.modulus)
            d = (1.0 - secant) * d + secant * ratio
            cross = (1.0 - secant) * cross
        return (
            d[0] * c11 + cross[0] * c12,
            d[0] * c12 + cross[0] * c11,
            d[1] * c12 + cross[1] * c11,
            d[1] * c11 + cross[1] * c12,
        )

    def _crack_shear(self, x, s, d, gamma, frozen, g, c11, c12, secant):
        """Shear along fixed cracks, G = E1 E2/(E1 + E2) with the axis secants, at least 1 % of G_0."""
        bottom = 0.01 * 0.5 * self.modulus / (1.0 + self.poisson)
        big = np.abs(x) > 1e-9
        e = np.where(big, s / np.where(big, x, 1.0), self.modulus)
        e = np.maximum(e, 1e-5 * self.modulus)
        total = e[0] + e[1]
        nu1 = 1.0 + c12 / c11  # 1 + Poisson's ratio: uncracked this gives E/(2(1+nu))
        modulus = e[0] * e[1] / (total * nu1)
        held = modulus < bottom
        shear = np.where(held, bottom, modulus) * gamma
        de = np.where(big, (d - e) / np.where(big, x, 1.0), 0.0)
        by0 = np.where(held, 0.0, gamma * (e[1] / total) ** 2 * de[0] / nu1)
        by1 = np.where(held, 0.0, gamma * (e[0] / total) ** 2 * de[1] / nu1)
        side = ((1.0 - secant) * (by0 * c11 + by1 * c12), (1.0 - secant) * (by0 * c12 + by1 * c11))
        zero = np.zeros_like(gamma)
        return (
            np.where(frozen, shear, zero),
            np.where(frozen, np.where(held, bottom, modulus), g),
            (np.where(frozen, side[0], zero), np.where(frozen, side[1], zero)),
        )


def _at(weight: Floats, mask: NDArray[np.bool_]) -> Floats:
    return np.broadcast_to(weight[:, None], mask.shape)[mask]


def _in_axes(strain, axes, frozen, e1, e2, cos2, sin2):
    """Replace principal values by the strains in fixed axes where a crack is frozen."""
    c = np.where(frozen, axes[..., 0], cos2)
    s = np.where(frozen, axes[..., 1], sin2)
    half = 0.5 * (strain[..., 0] - strain[..., 1])
    mean = 0.5 * (strain[..., 0] + strain[..., 1])
    along = half * c + 0.5 * strain[..., 2] * s
    gamma = strain[..., 2] * c - 2.0 * half * s
    return np.where(frozen, mean + along, e1), np.where(frozen, mean - along, e2), c, s, np.where(frozen, gamma, 0.0)


def _turn_back(s, p, g, cos2, sin2, shear, side, stress, tangent) -> None:
    """Stress and tangent from crack axes to x, y, written into the given arrays."""
    c2, s2, cs = 0.5 * (1.0 + cos2), 0.5 * (1.0 - cos2), 0.5 * sin2
    r1, r2, r3 = (c2, s2, cs), (s2, c2, -cs), (-sin2, sin2, cos2)
    q1 = [p[0] * a + p[1] * b for a, b in zip(r1, r2, strict=True)]
    q2 = [p[2] * a + p[3] * b for a, b in zip(r1, r2, strict=True)]
    q3 = [g * c for c in r3]
    if side is not None:
        q3 = [q + side[0] * a + side[1] * b for q, a, b in zip(q3, r1, r2, strict=True)]
    for i in range(3):
        stress[..., i] = r1[i] * s[0] + r2[i] * s[1]
        if shear is not None:
            stress[..., i] += r3[i] * shear
        for j in range(3):
            tangent[..., i, j] = r1[i] * q1[j] + r2[i] * q2[j] + r3[i] * q3[j]


@dataclass(frozen=True)
class Elastic:
    """Linear elastic plane stress (steel plates, verification)."""

    modulus: float
    poisson: float
    n_strain: int = 3

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """No history."""
        return {}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Hooke's law in plane stress."""
        from fesplice.algebra import elastic_matrix

        matrix = elastic_matrix(self.modulus, self.poisson)
        return Response(strain @ matrix, np.broadcast_to(matrix, (*strain.shape, 3)), history)
