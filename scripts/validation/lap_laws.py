"""Laps by hand, and bond laws on trial whose splitting strength knows no length.

By hand: the closed form of the default law, its mean bond stress along the whole lap, and the chain
(:func:`fesplice.laws.slip.lap_stress`): two elastic bars that lap in cracked concrete and hand their force over by slip
alone. It adds the mechanics of slip to any local law, and no beam. "twice" is the default law of earlier versions, in
which the mean stress of the equation was the strength of the branch, so that the length entered twice.

On trial: the power law of MC2010's pull-out up to what the cover holds as a ring about the bar, and the line of 6.1-5
for the legs. Ribs press at 45 degrees, so that the pressure on the ring is the bond stress (Tepfers 1973). The ring

    partly cracked   f_ct (c + d_b/2)/(1.664 d_b): elastic outside cracks without stress; Tepfers 1973 (from memory)
    cohesive         the same with Hordijk's stress in cracks that reach from the bar to any depth: the largest of all
    softening        the cohesive ring that goes on opening after it: radial displacement 0.1 of the slip, the cone of
                     den Uijl & Bigaj 1996 (from memory); line of the same work as the ring's falling branch
    shared           the softening ring, where the two bars of a lap side by side drive the same two ligaments (c each)
                     apart: half of it for each, and so half of the legs

The others fall as MC2010's branch does. No constant of them comes from laps, but for the legs of 6.1-5.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np

from fesplice.contracts import BondNumbers, Floats
from fesplice.formulas import bond as mc2010
from fesplice.laws import BondSlip
from fesplice.laws.bond import Envelope, envelope, length_factor, splitting_strength
from fesplice.specimen import estimates

Kind = Literal["code", "partly cracked", "cohesive", "softening", "shared"]
#: Cracks about a bar, as many as pieces of the ring (judgement; 4 moves the chains by less than 5 %).
CRACKS = 3
#: Radial displacement over slip: den Uijl & Bigaj 1996, from memory.
CONE = 0.1


# ------------------------------------------------------------------ the ring of the cover
def hordijk(opening: Floats, f_ct: float, energy: float) -> Floats:
    """Stress of a crack [MPa] at its opening [mm]; Hordijk 1991, w_c = 5.136 G_F/f_ct (from memory)."""
    r = np.minimum(opening * f_ct / (5.136 * energy), 1.0)
    return f_ct * ((1.0 + 27.0 * r**3) * np.exp(-6.93 * r) - 28.0 * r * np.exp(-6.93))


@cache
def ring(f_cm: float, diameter: float, cover: float) -> tuple[Floats, Floats]:
    """Radial displacement at the bar [mm] and the pressure [MPa] that a ring of this cover answers, until it is zero.

    Elastic outside the crack front (thick-walled ring at f_ct), inside it the hoop lengthening that is no elastic one
    opens :data:`CRACKS` cracks; the pieces between them move outwards as they are.
    """
    f_ct, _ = estimates.tensile_strength(f_cm)
    energy, modulus = estimates.fracture_energy(f_cm), estimates.elastic_modulus(f_cm)
    inner, outer = 0.5 * diameter, 0.5 * diameter + cover

    def cracked(u: float, front: float) -> float:
        r = np.linspace(inner, front, 60)
        opening = np.maximum(2.0 * np.pi * (u - r * f_ct / modulus), 0.0) / CRACKS
        return float(np.trapezoid(hordijk(opening, f_ct, energy), r))

    moved, pressure = [0.0], [0.0]
    for front in np.linspace(inner, 0.999 * outer, 40):
        outside = f_ct * (outer**2 - front**2) / (outer**2 + front**2)
        u = front * (f_ct + 0.2 * outside) / modulus
        moved.append(u)
        pressure.append((outside * front + cracked(u, front)) / inner)
    through = moved[-1]
    gone = through + CRACKS * 5.136 * energy / f_ct / (2.0 * np.pi) + outer * f_ct / modulus
    for u in np.geomspace(1.02 * through, gone, 120):
        moved.append(float(u))
        pressure.append(cracked(float(u), outer) / inner)
    return np.array(moved), np.array(pressure)


def partly_cracked(f_cm: float, diameter: float, cover: float) -> float:
    """Bond stress [MPa] of the partly cracked elastic ring."""
    return estimates.tensile_strength(f_cm)[0] * (cover + 0.5 * diameter) / (1.664 * diameter)


# ------------------------------------------------------------------ laws on trial
@dataclass(frozen=True)
class LocalBond:
    """Maker of bond whose splitting strength hangs on the cover and the legs, not on the length."""

    kind: Kind

    def curve(self, f_cm: float, diameter: float, cover: float, legs: float, condition: str, ribs: float) -> Envelope:
        """Bond curve of one point; ``cover`` [mm], ``legs`` k_m K_tr, ``ribs`` their clear spacing [mm]."""
        one = np.ones(1)
        held = mc2010.tau_split(f_cm, diameter, cover, cover, legs, condition)
        bare = mc2010.tau_split(f_cm, diameter, cover, cover, 0.0, condition)
        share = 0.5 if self.kind == "shared" else 1.0
        moved, pressure = ring(f_cm, diameter, cover)
        top = {
            "code": bare,
            "partly cracked": partly_cracked(f_cm, diameter, cover),
        }.get(self.kind, share * float(pressure.max()))
        across = share * (held - bare)
        whole = np.atleast_1d(top + across)
        found = envelope(f_cm, diameter * one, condition, ribs * one, np.ones(1, bool), whole, legs * one)
        if self.kind not in ("softening", "shared") or found.top[0] < whole[0]:
            return found
        peak = int(pressure.argmax())
        work = float(np.trapezoid(pressure[peak:] / pressure[peak], moved[peak:])) / CONE
        return replace(found, end=found.flat + 2.0 * work, rest=np.minimum(across, whole) * one)

    def built(self, numbers: BondNumbers) -> BondSlip:
        """The law of a bar line: as the default's, with this splitting branch where it shall know splitting."""
        return _replaced(
            numbers,
            lambda k: self.curve(
                float(numbers.strength[k]), float(numbers.diameter[k]), float(numbers.c_min[k]),
                float(numbers.k_tr[k]), numbers.condition, float(numbers.rib_spacing[k]),
            ),
        )  # fmt: skip


@dataclass(frozen=True)
class TwiceBond:
    """Maker of the default bond of earlier versions: the mean stress over the length as the strength of the branch."""

    def curve(self, f_cm: float, diameter: float, cover: float, legs: float, length: float, ribs: float) -> Envelope:
        """Bond curve of a point in good position."""
        one = np.ones(1)
        local = mc2010.tau_split(f_cm, diameter, cover, cover, legs, "good")
        strength = local * length_factor(diameter * one, length * one)
        return envelope(f_cm, diameter * one, "good", ribs * one, np.ones(1, bool), strength, legs * one)

    def built(self, numbers: BondNumbers) -> BondSlip:
        """The law of a bar line."""
        return _replaced(
            numbers,
            lambda k: self.curve(
                float(numbers.strength[k]), float(numbers.diameter[k]), float(numbers.c_min[k]),
                float(numbers.k_tr[k]), float(numbers.length[k]), float(numbers.rib_spacing[k]),
            ),
        )  # fmt: skip


def _replaced(numbers: BondNumbers, curve: Callable[[int], Envelope]) -> BondSlip:
    """The default law with another curve at the points that shall know splitting."""
    made = BondSlip.built(numbers)
    rows = {name: np.array(getattr(made.curve, name), float) for name in vars(made.curve)}
    for k in np.flatnonzero(numbers.splitting):
        mine = curve(int(k))
        for name in rows:
            rows[name][k] = getattr(mine, name)[0]
    return replace(made, curve=Envelope(**rows))


#: Laws by the word of :class:`validation.case.Settings`.
TRIALS: dict[str, LocalBond | TwiceBond] = {
    "twice": TwiceBond(),
    "local": LocalBond("code"),
    "ring": LocalBond("partly cracked"),
    "cohesive": LocalBond("cohesive"),
    "softening": LocalBond("softening"),
    "shared": LocalBond("shared"),
}


# ------------------------------------------------------------------ by hand
def closed_form(f_cm: float, diameter: float, length: float, cover: float, legs: float) -> float:
    """Bar stress [MPa] by the default law's mean bond stress: 4 l/d_b times 6.1-5 times the share of the length."""
    one = np.ones(1)
    strength = mc2010.tau_split(f_cm, diameter, cover, cover, legs, "good")
    mean = min(strength * float(length_factor(diameter * one, length * one)[0]), mc2010.tau_max(f_cm, "good"))
    return 4.0 * mean * length / diameter


def curve_of(
    law: LocalBond | TwiceBond | None, f_cm: float, diameter: float, length: float, cover: float, legs: float
) -> Envelope:
    """Bond curve of a lap in good position with ribs half a diameter apart; None is the default law."""
    ribs, one = 0.5 * diameter, np.ones(1)
    if isinstance(law, LocalBond):
        return law.curve(f_cm, diameter, cover, legs, "good", ribs)
    if isinstance(law, TwiceBond):
        return law.curve(f_cm, diameter, cover, legs, length, ribs)
    local = mc2010.tau_split(f_cm, diameter, cover, cover, legs, "good")
    strength = splitting_strength(f_cm, diameter, length, local, legs, "good", ribs)
    return envelope(f_cm, diameter * one, "good", ribs * one, np.ones(1, bool), strength * one, legs * one)
