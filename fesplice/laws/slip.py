"""What slip along a lap leaves of a local bond curve, and the local strength that holds a stated mean stress.

Two elastic bars that lap in cracked concrete stretch against each other: their slip is greatest at the ends of the lap
and least in its middle, so that bond which falls after its strength is never at its strength everywhere. An equation
for the mean stress of a lap has that loss in it already. Put into a local law as it stands, it would be lost twice.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fesplice.contracts import Floats

#: Modulus of the lapped bars [MPa] (common practice).
STEEL = 200e3
#: Slips of the lap's middle that are tried [mm], and steps along its half.
SLIPS, STEPS = np.geomspace(1e-5, 4.0, 240), 80
#: The strength is found within this share, in at most so many trials.
CLOSE, TRIALS = 1e-3, 12

#: Bond stress [MPa] and slope at slips (1, n) [mm].
Curve = Callable[[Floats], tuple[Floats, Floats]]


def lap_stress(curve: Curve, diameter: float, length: float) -> float:
    """Largest bar stress [MPa] that two equal elastic bars hand over along a lap by slip alone.

    Slip is half the distance the bars have moved apart: s' = (f_1 - f_2)/2E, f_1' = 4 tau/d_b = -f_2', f_1 + f_2 = f_s
    (the cracked concrete between them takes nothing). From the middle, where s' = 0, to its end half the lap is one
    anchorage of stress f_s/2, integrated by the midpoint rule for many slips of the middle at once.
    """
    slip, stress, dx = SLIPS.copy(), np.zeros_like(SLIPS), 0.5 * length / STEPS
    for _ in range(STEPS):
        tau = curve(slip[None])[0][0]
        between = slip + 0.5 * dx * stress / STEEL
        middle = stress + 0.5 * dx * 4.0 * tau / diameter
        slip = slip + dx * middle / STEEL
        stress = stress + dx * 4.0 * curve(between[None])[0][0] / diameter
    return 2.0 * float(stress.max())


def local_strength(
    curve_of: Callable[[float], Curve], mean: float, most: float, diameter: float, length: float
) -> float:
    """Bond strength [MPa] with which a lap of ``length`` [mm] holds on average the bond stress ``mean`` [MPa].

    ``curve_of`` answers the bond curve to a strength. No more than ``most`` [MPa]: what holds over a short length is
    not exceeded to make a long one hold. Found by the ratio of what is wanted to what :func:`lap_stress` gives.
    """
    wanted, found = 4.0 * mean * length / diameter, mean
    for _ in range(TRIALS):
        ratio = wanted / lap_stress(curve_of(found), diameter, length)
        before, found = found, min(found * ratio, most)
        if abs(found / before - 1.0) < CLOSE:
            break
    return found
