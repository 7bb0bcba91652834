"""Uniaxial curves of concrete with their energy: softening in tension, rise and fall in compression.

Every function returns (stress, slope) for a positive strain measure and broadcasts.
Stress [MPa], strain [-], energies per crack area [N/mm], band width [mm].
"""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats

Some = Floats | float

#: Area under s/f_t over w/w_c of the Hordijk curve (own quadrature 0.19470;
#: Cornelissen, Hordijk & Reinhardt, HERON 31-2, 1986; Hordijk 1991, from memory).
HORDIJK_AREA = 0.1947025

_END = 28.0 * np.exp(-6.93)


def hordijk(x: Floats) -> tuple[Floats, Floats]:
    """Softening curve s/f_t of x = w/w_c and its slope; zero beyond x = 1.

    s/f_t = (1 + (3x)^3) exp(-6.93 x) - 28 x exp(-6.93)   (Hordijk 1991)
    """
    inside = x < 1.0
    x = np.where(inside, x, 1.0)
    decay = np.exp(-6.93 * x)
    cube = 27.0 * x * x * x
    value = (1.0 + cube) * decay - _END * x
    slope = (81.0 * x * x - 6.93 * (1.0 + cube)) * decay - _END
    return np.where(inside, value, 0.0), np.where(inside, slope, 0.0)


def exponential(x: Floats) -> tuple[Floats, Floats]:
    """Softening exp(-x) of x = w f_t / G_F and its slope (area 1)."""
    decay = np.exp(-x)
    return decay, -decay


def softening(
    strain: Floats, modulus: Some, strength: Some, energy: Some, band: Some, curve: str = "hordijk"
) -> tuple[Floats, Floats]:
    """Tension over total strain; the whole area to zero stress is exactly energy/band.

    Elastic to ``strength``, then softening over the crack-band width ``band``
    (Bazant & Oh 1983). Where the band is too wide for the energy the strength is
    reduced to sqrt(E G_F / band) (Rots 1988), so that no branch snaps back.
    """
    strength = np.minimum(strength, np.sqrt(modulus * energy / band))
    peak = strength / modulus
    left = energy / band - 0.5 * strength * peak
    if curve == "hordijk":
        scale = left / (HORDIJK_AREA * strength)
        y, dy = hordijk(np.maximum(strain - peak, 0.0) / scale)
    else:
        scale = left / strength
        y, dy = exponential(np.maximum(strain - peak, 0.0) / scale)
    rising = strain <= peak
    return np.where(rising, modulus * strain, strength * y), np.where(rising, modulus, strength * dy / scale)


def stiffening(strain: Floats, modulus: Some, strength: Some) -> tuple[Floats, Floats]:
    """Mean tension of concrete between cracks, f_t/(1 + sqrt(500 (e - f_t/E))) (Collins & Mitchell 1987)."""
    peak = strength / modulus
    beyond = np.maximum(strain - peak, 1e-12)
    root = np.sqrt(500.0 * beyond)
    value = strength / (1.0 + root)
    slope = -value / (1.0 + root) * 0.5 * root / beyond
    rising = strain <= peak
    # the slope is infinite at the peak; the secant over a tenth of the peak strain stands in there
    slope = np.maximum(slope, -strength / (0.2 * peak))
    return np.where(rising, modulus * strain, value), np.where(rising, modulus, slope)


def crushing(
    strain: Floats, modulus: Some, strength: Some, peak: Some, energy: Some, band: Some
) -> tuple[Floats, Floats]:
    """Compression (positive numbers): Popovics (1973) to the peak, then a parabola to zero.

    The falling branch ends at e_u = e_0 + 1.5 G_c / (band f_c), at least 1.25 e_0, so that its
    area is G_c/band (energy-regularised; G_c after Nakamura & Higai 2001).
    """
    eta = np.maximum(strain, 0.0) / peak
    n = modulus / np.maximum(modulus - strength / peak, 0.02 * modulus)
    power = np.power(np.minimum(eta, 1.0), n)
    below = n - 1.0 + power
    rise = strength * n * np.minimum(eta, 1.0) / below
    rise_slope = strength * n * (n - 1.0) * (1.0 - power) / (below * below) / peak
    end = np.maximum(peak + 1.5 * energy / (band * strength), 1.25 * peak)
    x = np.clip((strain - peak) / (end - peak), 0.0, 1.0)
    fall = strength * (1.0 - x * x)
    fall_slope = np.where(x < 1.0, -2.0 * strength * x / (end - peak), 0.0)
    return np.where(eta <= 1.0, rise, fall), np.where(eta <= 1.0, rise_slope, fall_slope)


def lateral_softening(lateral: Floats, peak: Some, floor: float = 0.4) -> tuple[Floats, Floats]:
    """Factor on compression from lateral cracking, 1/(0.8 + 0.34 e1/e_0) in ``floor``..1, and its slope.

    Vecchio & Collins, ACI Journal 83-2 (1986) 219-231. The floor 0.4 is reached at
    e1 = 5 e_0, about the end of the panels behind the formula.
    """
    raw = 1.0 / (0.8 + 0.34 * np.maximum(lateral, 0.0) / peak)
    free = (raw < 1.0) & (raw > floor)
    slope = np.where(free, -raw * raw * 0.34 / peak, 0.0)
    return np.clip(raw, floor, 1.0), slope
