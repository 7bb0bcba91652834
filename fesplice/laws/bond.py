"""Bond of ribbed bars: tangential bond-slip law and normal bearing, per length of bar line.

Tangential law: fib Model Code 2010, Table 6.1-1 and eqs 6.1-1 to 6.1-6, with the pull-out and
the splitting branch; loading, unloading and reloading in incremental form with the stiff
modulus k_u. Normal law: bar bearing on concrete, foundation modulus after Soroushian et al.
(1987; from memory), capped at 3 f_cm. Bond that wedges the concrete apart is in ``wedge.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fesplice.contracts import BondNumbers, Floats, History, Response
from fesplice.formulas.bond import tau_max, tau_split
from fesplice.laws.slip import local_strength

#: Stiffness of unloading and of the first loading [N/mm3] (judgement; Eligehausen, Popov & Bertero
#: 1983 measured about 180 N/mm3 on unloading of a 25 mm bar; from memory).
UNLOADING = 200.0

#: Bond length to which MC2010's local splitting strength belongs [bar diameters].
SPLIT_LENGTH = 5.0


def length_factor(diameter: Floats, length: Floats) -> Floats:
    """Mean bond stress at splitting over a ``length`` [mm] as a share of the local one, (5 d_b/l_b)^0.45, at most 1.

    MC2010 eq. 6.1-5 is the mean stress of 6.1-19, 54 (l_b/d_b)^0.55 [...], turned into bond over
    5 d_b: 54 x 5^0.55/20 = 6.5. The same equation gives a mean bond that falls with l_b^-0.45 over
    a longer anchorage or lap, of which the elastic bar alone (slip that differs along it) yields little.
    """
    return np.minimum(1.0, (SPLIT_LENGTH * diameter / np.maximum(length, 1e-9)) ** 0.45)


def bearing_modulus(f_cm: Floats | float, diameter: Floats, c1: float) -> Floats:
    """Foundation modulus of a bar bearing on concrete, 127 c1 sqrt(f_c) / d_b^(2/3) [N/mm3].

    Soroushian, Obaseki & Rojas (1987) for dowel bars; from memory.
    """
    return 127.0 * c1 * np.sqrt(f_cm) / diameter ** (2.0 / 3.0)


@dataclass(frozen=True)
class Envelope:
    """Monotonic bond curve per point: power law to ``top``, flat to ``flat``, line to (``end``, ``rest``).

    ``top``, ``rest`` [MPa]; ``flat``, ``end`` [mm]; the power law is peak (s/s1)^0.4.
    """

    peak: Floats
    s1: Floats
    top: Floats
    flat: Floats
    end: Floats
    rest: Floats

    def __call__(self, slip: Floats) -> tuple[Floats, Floats]:
        """Bond stress and slope at |slip| of shape (n_e, n_q)."""
        peak, s1, top, flat, end, rest = (
            np.reshape(v, (-1, 1)) for v in (self.peak, self.s1, self.top, self.flat, self.end, self.rest)
        )
        s = np.maximum(slip, 1e-9)
        power = peak * (s / s1) ** 0.4
        fall = (top - rest) / (end - flat)
        value = np.minimum(power, top)
        slope = np.where(power < top, 0.4 * power / s, 0.0)
        falling = s > flat
        value = np.where(falling, np.maximum(top - fall * (s - flat), rest), value)
        slope = np.where(falling, np.where(s < end, -fall, 0.0), slope)
        return value, slope


def envelope(
    f_cm: float,
    diameter: Floats,
    condition: str,
    rib_spacing: Floats,
    splitting: NDArray[np.bool_],
    strength_split: Floats,
    km_ktr: Floats,
) -> Envelope:
    """MC2010 Table 6.1-1: pull-out, or the splitting branch where ``splitting`` and it governs.

    Splitting without ties falls to zero at 1.2 s1; with ties to 0.4 of its strength at half
    the clear rib spacing.
    """
    one = np.ones_like(diameter)
    good = condition == "good"
    peak = tau_max(f_cm, condition) * one
    s1, s2 = (1.0 * one, 2.0 * one) if good else (1.8 * one, 3.6 * one)
    splits = splitting & (strength_split < peak)
    top = np.where(splits, strength_split, peak)
    at_top = s1 * (top / peak) ** 2.5
    flat = np.where(splits, at_top, s2)
    tied = km_ktr > 0.0
    end = np.where(splits, np.where(tied, 0.5 * rib_spacing, 1.2 * s1), np.maximum(rib_spacing, 1.5 * s2))
    end = np.maximum(end, flat + 0.2 * s1)
    rest = np.where(splits, np.where(tied, 0.4 * top, 0.0), 0.4 * peak)
    return Envelope(peak, s1, top, flat, end, rest)


@cache
def splitting_strength(
    f_cm: float, diameter: float, length: float, local: float, km_ktr: float, condition: str, rib_spacing: float
) -> float:
    """Strength of the splitting branch [MPa] of a bar anchored over ``length`` [mm]; ``local`` is that of 6.1-5.

    The mean over the length is the equation's (:func:`length_factor`). What slip along a lap of that length costs is in
    that mean already, so the branch is as much stronger as makes the lap hold it (:mod:`fesplice.laws.slip`): 1 to 4 %
    for laps of 20 d_b, 20 % for unconfined ones of 40 d_b, never above the local strength.
    """
    share = float(length_factor(np.array(diameter), np.array(length)))
    if share >= 1.0 or share * local >= tau_max(f_cm, condition):
        return share * local

    def curve(strength: float) -> Envelope:
        one = np.ones(1)
        split = np.ones(1, bool)
        return envelope(f_cm, diameter * one, condition, rib_spacing * one, split, strength * one, km_ktr * one)

    return local_strength(curve, share * local, local, diameter, length)


def _all(curves: Sequence[Envelope]) -> Envelope:
    """The curves of all points of several, in order."""
    return Envelope(*(np.concatenate([np.atleast_1d(getattr(c, f.name)) for c in curves]) for f in fields(Envelope)))


@dataclass(frozen=True)
class BondSlip:
    """Forces per length of bar line (tangential, normal) [N/mm] from (slip, gap) [mm].

    All arrays are per element (n_e,): ``perimeter`` and ``bearing_width`` count all bars of the
    line; ``anchored`` marks points held by a stiff end anchor.
    History: ``slip`` (.., 2) = plastic slip and largest |slip|; ``gap`` (.., 1) = plastic gap.
    """

    curve: Envelope
    perimeter: Floats
    bearing: Floats
    bearing_cap: Floats
    bearing_width: Floats
    anchored: Floats
    stiffness: float = UNLOADING
    n_strain: int = 2
    reads_opening: bool = False

    @classmethod
    def built(cls, numbers: BondNumbers) -> BondSlip:
        """Bond and bearing of MC2010 for a bar line; where it is anchored over more than 5 d_b the splitting

        strength falls with the length (:func:`splitting_strength`).
        """
        n = numbers

        def strength(f: float, d: float, length: float, rib: float, cmin: float, cmax: float, ktr: float) -> float:
            local = float(tau_split(f, d, cmin, cmax, ktr, n.condition))
            return splitting_strength(f, d, length, local, ktr, n.condition, rib)

        points = [
            envelope(
                float(f),
                d[None],
                n.condition,
                np.atleast_1d(rib),
                np.atleast_1d(split),
                np.atleast_1d(strength(*map(float, (f, d, length, rib, cmin, cmax, ktr))) if split else 0.0),
                ktr[None],
            )
            for f, d, length, rib, split, cmin, cmax, ktr in zip(
                n.strength, n.diameter, n.length, n.rib_spacing, n.splitting, n.c_min, n.c_max, n.k_tr, strict=True
            )
        ]
        return cls(
            curve=_all(points),
            perimeter=n.number * np.pi * n.diameter,
            bearing=bearing_modulus(n.strength, n.diameter, n.bearing_coefficient),
            bearing_cap=3.0 * n.strength,
            bearing_width=n.number * n.diameter,
            anchored=n.anchored,
        )

    @classmethod
    def joined(cls, laws: Sequence[BondSlip]) -> BondSlip:
        """One law for the points of several, in order; their ``stiffness`` must agree."""

        def row(get: Callable[[BondSlip], Floats]) -> Floats:
            return np.concatenate([np.atleast_1d(get(law)) for law in laws])

        return cls(
            _all([law.curve for law in laws]),
            row(lambda law: law.perimeter),
            row(lambda law: law.bearing),
            row(lambda law: law.bearing_cap),
            row(lambda law: law.bearing_width),
            row(lambda law: law.anchored),
            laws[0].stiffness,
        )

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Unslipped bond."""
        return {"slip": np.zeros((*shape, 2)), "gap": np.zeros((*shape, 1))}

    def tau(self, slip: Floats, old: Floats, secant: float) -> tuple[Floats, Floats, Floats]:
        """Bond stress, slope and new history for slip (n_e, n_q)."""
        k = self.stiffness
        fixed = self.anchored[:, None] > 0.0
        plastic, seen = old[..., 0], old[..., 1]
        reached = np.maximum(seen, np.abs(slip))
        cap, slope = self.curve(reached)
        trial = k * (slip - plastic)
        slides = (np.abs(trial) > cap) & ~fixed
        tau = np.where(slides, np.sign(trial) * cap, trial)
        grows = np.abs(slip) >= seen
        d = np.where(slides, np.where(grows, np.maximum(slope, -0.9 * k), 0.0), k)
        # moving back against the sense of sliding costs nothing at the cap: a small slope keeps it regular
        d = np.where(slides & ~grows, 1e-4 * k, d)
        d = np.where(fixed, 10.0 * k, d)
        tau = np.where(fixed, 10.0 * k * slip, tau)
        if secant > 0.0:
            big = np.abs(slip) > 1e-9
            ratio = np.where(big, np.abs(tau) / np.where(big, np.abs(slip), 1.0), k)
            d = (1.0 - secant) * d + secant * np.clip(ratio, 1e-4 * k, 10.0 * k)
        return tau, d, np.stack([np.where(slides, slip - tau / k, plastic), reached], axis=-1)

    def press(self, gap: Floats, old: Floats) -> tuple[Floats, Floats, Floats]:
        """Bearing force per length [N/mm], stiffness [N/mm2] and plastic gap (n_e, n_q, 1), for gap (n_e, n_q)."""
        k, cap, width = self.bearing[:, None], self.bearing_cap[:, None], self.bearing_width[:, None]
        trial = k * (gap - old[..., 0])
        q = np.clip(trial, -cap, cap)
        stiff = np.where(np.abs(trial) > cap, 1e-3 * k, k)
        return q * width, stiff * width, (gap - q / k)[..., None]

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Bond and bearing forces per length for strain (n_e, n_q, 2)."""
        tau, d, slip = self.tau(strain[..., 0], history["slip"], secant)
        push, stiff, gap = self.press(strain[..., 1], history["gap"])
        tangent = np.zeros((*strain.shape, 2))
        tangent[..., 0, 0] = d * self.perimeter[:, None]
        tangent[..., 1, 1] = stiff
        return Response(np.stack([tau * self.perimeter[:, None], push], axis=-1), tangent, {"slip": slip, "gap": gap})


@dataclass(frozen=True)
class LinearBond:
    """Linear bond and bearing (closed-form checks): k_t, k_n [N/mm3] times perimeter, width [mm]."""

    tangential: float | Floats
    normal: float | Floats
    perimeter: Floats
    bearing_width: Floats
    n_strain: int = 2
    reads_opening: bool = False

    @classmethod
    def built(cls, numbers: BondNumbers) -> LinearBond:
        """The first stiffness of MC2010's bond as it is in unloading, and its bearing, without limit."""
        n = numbers
        held = np.where(n.anchored > 0.0, 10.0 * UNLOADING, UNLOADING)
        bearing = bearing_modulus(n.strength, n.diameter, n.bearing_coefficient)
        return cls(held, bearing, n.number * np.pi * n.diameter, n.number * n.diameter)

    @classmethod
    def joined(cls, laws: Sequence[LinearBond]) -> LinearBond:
        """One law for the points of several, in order."""

        def row(get: Callable[[LinearBond], Floats | float]) -> Floats:
            return np.concatenate([get(law) * np.ones(len(law.perimeter)) for law in laws])

        return cls(
            row(lambda law: law.tangential), row(lambda law: law.normal),
            row(lambda law: law.perimeter), row(lambda law: law.bearing_width),
        )  # fmt: skip

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """No history."""
        return {}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Forces per length [N/mm]."""
        k = np.stack([self.tangential * self.perimeter, self.normal * self.bearing_width], axis=-1)[:, None, :]
        tangent = np.zeros((*strain.shape, 2))
        tangent[..., 0, 0] = k[..., 0]
        tangent[..., 1, 1] = k[..., 1]
        return Response(strain * k, tangent, history)
