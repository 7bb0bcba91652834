"""Concrete at one point: uniaxial curves in crack axes, stress and tangent turned back. Machine code.

Each curve takes a positive strain and returns (stress, slope); areas under them are energies per
crack area [N/mm] over the width of the crack band [mm]. Stress [MPa].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fesplice.compiled import compiled

#: Area under s/f_t over w/w_c of the Hordijk curve (own quadrature 0.19470;
#: Cornelissen, Hordijk & Reinhardt, HERON 31-2, 1986; Hordijk 1991, from memory).
HORDIJK_AREA = 0.1947025

#: Reserve [MPa] from which on tension stiffening counts as having no bound.
UNBOUNDED = 1e9

#: Roundings of the strength in biaxial compression (judgement): ratio of stresses below which it fades in, and how
#: blunt its crease at equal stresses is.
FADES, BLUNT = 0.1, 0.02

_END = 28.0 * np.exp(-6.93)


class Constants(NamedTuple):
    """Numbers of one concrete: MPa, N/mm; ``exponential`` and ``fixed`` choose the curve and the crack model.

    ``biaxial``: compression along both axes strengthens.
    """

    modulus: float
    poisson: float
    tensile_strength: float
    fracture_energy: float
    strength: float
    peak_strain: float
    crushing_energy: float
    floor: float
    exponential: bool
    fixed: bool
    biaxial: bool


# ------------------------------------------------------------------ curves
@compiled
def hordijk(x):
    """s/f_t of x = w/w_c and its slope: (1 + (3x)^3) exp(-6.93 x) - 28 x exp(-6.93), 0 beyond 1 (Hordijk 1991)."""
    if x >= 1.0:
        return 0.0, 0.0
    decay = np.exp(-6.93 * x)
    cube = 27.0 * x * x * x
    return (1.0 + cube) * decay - _END * x, (81.0 * x * x - 6.93 * (1.0 + cube)) * decay - _END


@compiled
def softening(c, strain, band):
    """Elastic to the strength, then softening; the whole area to zero stress is exactly G_F/band (Bazant & Oh 1983).

    Where the band is too wide for the energy the strength is reduced to sqrt(E G_F / band)
    (Rots 1988), so that no branch snaps back.
    """
    strength = min(c.tensile_strength, np.sqrt(c.modulus * c.fracture_energy / band))
    peak = strength / c.modulus
    if strain <= peak:
        return c.modulus * strain, c.modulus
    left = c.fracture_energy / band - 0.5 * strength * peak
    if c.exponential:
        scale = left / strength
        y = np.exp(-(strain - peak) / scale)
        dy = -y
    else:
        scale = left / (HORDIJK_AREA * strength)
        y, dy = hordijk((strain - peak) / scale)
    return strength * y, strength * dy / scale


@compiled
def stiffening(c, strain):
    """Mean tension of concrete between cracks, f_t/(1 + sqrt(500 (e - f_t/E))) (Collins & Mitchell 1987)."""
    peak = c.tensile_strength / c.modulus
    if strain <= peak:
        return c.modulus * strain, c.modulus
    beyond = max(strain - peak, 1e-12)
    root = np.sqrt(500.0 * beyond)
    value = c.tensile_strength / (1.0 + root)
    # the slope is infinite at the peak; the secant over a tenth of the peak strain stands in there
    return value, max(-value / (1.0 + root) * 0.5 * root / beyond, -c.tensile_strength / (0.2 * peak))


@compiled
def tension(c, strain, band, weight, limit):
    """Softening with the share ``weight`` of what tension stiffening, at most ``limit`` [MPa], adds to it."""
    s, d = softening(c, strain, band)
    if weight > 0.0:
        s2, d2 = stiffening(c, strain)
        if s2 > limit:
            s2, d2 = limit, 0.0
        if s2 > s:
            return s + weight * (s2 - s), d + weight * (d2 - d)
    return s, d


@compiled
def rising(c, eta):
    """Compression (positive) at ``eta`` of the strain at the peak, and its slope by the strain (Popovics 1973)."""
    n = c.modulus / max(c.modulus - c.strength / c.peak_strain, 0.02 * c.modulus)
    power = eta**n
    below = n - 1.0 + power
    return c.strength * n * eta / below, c.strength * n * (n - 1.0) * (1.0 - power) / (below * below) / c.peak_strain


@compiled
def crushing(c, strain, band, gain):
    """Compression (positive numbers): rising to the peak, then a parabola to zero; third, slope by ``gain``.

    The falling branch ends at e_u = e_0 + 1.5 G_c / (band f_c), at least 1.25 e_0, so that its
    area is G_c/band (energy-regularised; G_c after Nakamura & Higai 2001). ``gain`` multiplies f_c and e_0: the initial
    stiffness and G_c stay.
    """
    eta = strain / (gain * c.peak_strain)
    if eta <= 1.0:
        value, slope = rising(c, eta)
        return gain * value, slope, value - eta * c.peak_strain * slope
    length, shrinks = 1.5 * c.crushing_energy / (band * gain * c.strength), 1.0
    if length < 0.25 * c.peak_strain:
        length, shrinks = 0.25 * c.peak_strain, 0.0
    x = (strain - gain * c.peak_strain) / length
    if x >= 1.0:
        return 0.0, 0.0, 0.0
    slope = -2.0 * gain * c.strength * x / length
    by_gain = c.strength * (1.0 - x * x) + slope * (shrinks * x * length / gain - c.peak_strain)
    return gain * c.strength * (1.0 - x * x), slope, by_gain


@compiled
def biaxial(c, x1, x2):
    """Strength under compression along both axes over f_c, and its slopes by the equivalent strains ``x1``, ``x2``.

    (1 + 3.65 a)/(1 + a)^2 with a the lesser over the greater stress (Kupfer & Gerstle, J. Eng. Mech. Div. ASCE 99
    (1973) 853-866, fitted to Kupfer, Hilsdorf & Rusch, ACI Journal 66-8 (1969) 656-666; both from memory), in
    terms of q = (1 - a)/(1 + a): (4.65 + 2 q - 2.65 q^2)/4. The stresses are those of the uniaxial curve, held at f_c
    beyond its peak: so the ratio is no mechanism of its own when one axis softens. Two roundings take the creases at
    a = 0 and a = 1 away.
    """
    if x1 >= 0.0 or x2 >= 0.0 or not c.biaxial:
        return 1.0, 0.0, 0.0
    p1, d1 = rising(c, min(-x1 / c.peak_strain, 1.0))
    p2, d2 = rising(c, min(-x2 / c.peak_strain, 1.0))
    total = p1 + p2
    q = (p1 - p2) / total
    least = (1.0 - abs(q)) / (1.0 + abs(q))
    root, unit = np.sqrt(q * q + BLUNT * BLUNT), np.sqrt(1.0 + BLUNT * BLUNT) - BLUNT
    more = 0.25 * (0.65 + 2.0 * (root - BLUNT) / unit - 2.65 * q * q)
    slope = 0.25 * (2.0 * q / (root * unit) - 5.3 * q)
    if least < FADES:
        t = least / FADES
        fades = t * t * (3.0 - 2.0 * t)
        rises = 6.0 * t * (1.0 - t) / FADES * -2.0 * np.sign(q) / (1.0 + abs(q)) ** 2
        more, slope = fades * more, fades * slope + rises * more
    return 1.0 + more, -2.0 * slope * p2 * d1 / (total * total), 2.0 * slope * p1 * d2 / (total * total)


@compiled
def lateral_softening(c, lateral):
    """Factor on compression from lateral cracking, 1/(0.8 + 0.34 e1/e_0) in ``floor``..1, and its slope.

    Vecchio & Collins, ACI Journal 83-2 (1986) 219-231. The floor 0.4 is reached at
    e1 = 5 e_0, about the end of the panels behind the formula.
    """
    raw = 1.0 / (0.8 + 0.34 * max(lateral, 0.0) / c.peak_strain)
    if raw >= 1.0:
        return 1.0, 0.0
    if raw <= c.floor:
        return c.floor, 0.0
    return raw, -raw * raw * 0.34 / c.peak_strain


# ------------------------------------------------------------------ one axis, one point
@compiled
def _held(c, seen_t, seen_c, band_t, weight, limit, pulled):
    """Strain at cracking, secant in tension and secant (first guess) on the side an axis is on, of what it has seen."""
    # coarse bands lower the strength below f_t, and with it the strain at cracking
    cracking = min(c.tensile_strength, np.sqrt(c.modulus * c.fracture_energy / band_t)) / c.modulus
    secant = tension(c, seen_t, band_t, weight, limit)[0] / seen_t if seen_t > cracking else c.modulus
    if pulled:
        return cracking, secant, secant
    eta = min(seen_c / c.peak_strain, 1.0)
    return cracking, secant, rising(c, eta)[0] / (eta * c.peak_strain) if eta > 0.05 else c.modulus


@compiled
def _along(c, x, lateral, seen_t, seen_c, cracking, held, band_t, band_c, weight, limit, gain, by_own, by_lateral):
    """Stress, slope, and slope by the ``lateral`` strain along an axis; unloading goes to the origin.

    ``cracking`` and ``held`` are the strain at cracking and the secant of unloading in tension (:func:`_held`),
    ``gain`` that of the strength in compression with its slopes by the strain along the axis and the lateral one.
    """
    e = c.modulus
    s, d, cross = e * x, e, 0.0
    if x > 0.0:
        if x >= seen_t and x > cracking:
            s, d = tension(c, x, band_t, weight, limit)
        elif x < seen_t:
            s, d = held * x, held
    elif x < 0.0:
        k = max(seen_c, -x)
        envelope, slope, by_gain = crushing(c, k, band_c, gain)
        soft, soft_slope = lateral_softening(c, lateral)
        raw, d = (-envelope, slope) if -x >= seen_c else (envelope / k * x, envelope / k)
        gains = by_gain / k * x
        s, d, cross = soft * raw, soft * (d + gains * by_own), soft_slope * raw + soft * gains * by_lateral
    return s + 1e-7 * e * x, d + 1e-7 * e, cross


@compiled
def _coupled(c, e1, e2, seen_t, seen_c, band_t, band_c, weight, limit1, limit2):
    """Equivalent strains x1, x2 along both axes and what :func:`_along` answers to them, slopes raised by 1e-5 E.

    Stress across an axis shortens it as in sound concrete, cracks or none: x1 = e1 + nu s2/E, x2 = e2 + nu s1/E
    (a crack adds to the compliance across itself alone, Bazant & Oh 1983). An axis that hands over no tension any more
    no longer draws the other one in. Newton's method from the secants of what has been seen, which are the answer where
    both axes are sound or unload; nu^2 times both slopes over E^2 is far below 1, and nu/E times the slopes by the
    lateral strain is too: one root.
    """
    a = c.poisson / c.modulus
    at1, held1, k1 = _held(c, seen_t[0], seen_c[0], band_t, weight, limit1, e1 + c.poisson * e2 > 0.0)
    at2, held2, k2 = _held(c, seen_t[1], seen_c[1], band_t, weight, limit2, e2 + c.poisson * e1 > 0.0)
    k1, k2 = a * (k1 + 1e-7 * c.modulus), a * (k2 + 1e-7 * c.modulus)
    x1, x2 = (e1 + k2 * e2) / (1.0 - k1 * k2), (e2 + k1 * e1) / (1.0 - k1 * k2)
    close = 1e-14 * (abs(e1) + abs(e2)) + 1e-20
    for k in range(60):
        g, by1, by2 = biaxial(c, x1, x2)
        s1, d1, cross1 = _along(
            c, x1, x2, seen_t[0], seen_c[0], at1, held1, band_t, band_c, weight, limit1, g, by1, by2
        )
        s2, d2, cross2 = _along(
            c, x2, x1, seen_t[1], seen_c[1], at2, held2, band_t, band_c, weight, limit2, g, by2, by1
        )
        miss1, miss2 = x1 - a * s2 - e1, x2 - a * s1 - e2
        miss = abs(miss1) + abs(miss2)
        if miss <= close:
            break
        if k < 12:
            m11, m12, m21, m22 = _by_strain(a, d1, d2, cross1, cross2)
            step1, step2 = -m11 * miss1 - m12 * miss2, -m21 * miss1 - m22 * miss2
        else:  # Newton's method goes round about a kink; one axis after the other never does
            step1, step2 = -miss1, -miss2
        x1, x2 = x1 + step1, x2 + step2
        if k < 12 and miss <= 1e6 * close:  # the square of so small a step is below rounding: slopes carry it
            s1, s2 = s1 + d1 * step1 + cross1 * step2, s2 + d2 * step2 + cross2 * step1
            break
    bottom = 1e-5 * c.modulus
    return x1, x2, s1, d1 + bottom, cross1, s2, d2 + bottom, cross2


@compiled
def _by_strain(a, d1, d2, cross1, cross2):
    """Derivatives of the equivalent strains by the strains along the axes, row by row; ``a`` = nu/E."""
    det = (1.0 - a * cross1) * (1.0 - a * cross2) - a * a * d1 * d2
    return (1.0 - a * cross1) / det, a * d2 / det, a * d1 / det, (1.0 - a * cross2) / det


@compiled
def _width(grad, cos, sin):
    """Oliver's band width 2/sum|grad N . n| (1989) for cracks with normal (cos, sin)."""
    total = 0.0
    for k in range(len(grad)):
        total += abs(cos * grad[k, 0] + sin * grad[k, 1])
    return 2.0 / total


@compiled
def _direction(strain):
    """(cos, sin) of the major axis of the mean strain (n_q, 3) of an element.

    One band for the whole element: at the tip of a crack the single points see shear of both signs
    that the crack will not have; by their axes the bands of a notched beam came out up to 1.27
    times too wide, and 8 % of the energy was lost.
    """
    half, gxy = 0.0, 0.0
    # two by two: a mirrored element, whose neighbours in the order of points change places, gets the same digits
    for q in range(0, strain.shape[0] - 1, 2):
        half += 0.5 * (strain[q, 0] - strain[q, 1]) + 0.5 * (strain[q + 1, 0] - strain[q + 1, 1])
        gxy += strain[q, 2] + strain[q + 1, 2]
    if strain.shape[0] % 2:
        half, gxy = half + 0.5 * (strain[-1, 0] - strain[-1, 1]), gxy + strain[-1, 2]
    radius = np.sqrt(half * half + 0.25 * gxy * gxy)
    if not radius > 1e-300:
        return 1.0, 0.0
    cos = np.sqrt(max(0.5 * (1.0 + half / radius), 0.0))
    return cos, np.copysign(np.sqrt(max(0.5 * (1.0 - half / radius), 0.0)), gxy)


@compiled
def _crack_shear(c, x1, x2, s1, s2, d1, d2, cross1, cross2, gamma, secant):
    """Shear along fixed cracks, G = E1 E2/(E1 + E2 + 2 nu E1 E2/E) with the axis secants, at least 1 % of G_0.

    Returns the stress, G, and the slopes of the stress by both equivalent strains.
    """
    big1, big2 = abs(x1) > 1e-9, abs(x2) > 1e-9
    e1 = max(s1 / x1 if big1 else c.modulus, 1e-5 * c.modulus)
    e2 = max(s2 / x2 if big2 else c.modulus, 1e-5 * c.modulus)
    total = e1 + e2 + 2.0 * c.poisson / c.modulus * e1 * e2  # uncracked this gives E/(2(1+nu))
    g, bottom = e1 * e2 / total, 0.01 * 0.5 * c.modulus / (1.0 + c.poisson)
    if g < bottom:
        return bottom * gamma, bottom, 0.0, 0.0
    part = (1.0 - secant) * gamma / (total * total)
    part1, part2 = part * e2 * e2 / x1 if big1 else 0.0, part * e1 * e1 / x2 if big2 else 0.0
    by1, by2 = part1 * (d1 - e1) + part2 * cross2, part2 * (d2 - e2) + part1 * cross1
    return g * gamma, g, by1, by2


@compiled
def _lean(mean, radius, cos2, sin2, gx, gy, share):
    """Axes of a crack in an element that parts along g: (cos 2t, sin 2t), shear strain, and how they turn.

    The crack opens along n at angle t; ``share`` of the strain there, a = 1 - s/(E e), is the jump sym(w x g), so that
    gamma_nt = a e_nn tan b with b from n to g. No stress answers to that shear. With a = 0 the axes are the principal
    ones. n lies beyond the major axis, seen from g, and as far from it as g at most: there the strain is all jump.
    The last three are the factors of the rows of gamma_nt, e_nn and e_tt in the turn dt/de.
    """
    t0 = 0.5 * np.arctan2(sin2, cos2)
    far = np.arctan2(gy, gx) - t0
    far -= np.pi * np.round(far / np.pi)  # from the major axis to g
    plain = 1.0 / max(4.0 * radius, 1e-300)
    if not share > 0.0 or abs(far) > 1.2 or not mean + radius > 0.0:
        return cos2, sin2, 0.0, plain, 0.0, 0.0
    side = 1.0 if far > 0.0 else -1.0
    far = abs(far)
    low, high, kept = -min(far, 0.75), 0.0, 2.0 if far < 0.75 else 1.0
    d, slope, found = low, 1.0, False
    for _ in range(60):
        c2, s2 = np.cos(2.0 * d), np.sin(2.0 * d)
        cb, sb = np.cos(far - d), np.sin(far - d)
        along, gamma = mean + radius * c2, -2.0 * radius * s2
        miss = -gamma * cb + share * along * sb
        slope = 4.0 * radius * c2 * cb - (1.0 - share) * gamma * sb - share * along * cb
        if d == low and miss >= 0.0:
            break  # as far as n may lie
        low, high, found = (low, d, True) if miss > 0.0 else (d, high, True)
        ahead = d - miss / slope if slope > 0.0 else 0.5 * (low + high)
        if not low < ahead < high:
            ahead = 0.5 * (low + high)
        if abs(ahead - d) < 1e-13:
            break
        d = ahead
    d *= side
    c2, s2 = np.cos(2.0 * d), np.sin(2.0 * d)
    b = side * far - d
    if found:
        slope = max(slope, 0.1 * radius)
        turns = np.cos(b) / slope, -share * np.sin(b) / slope, 0.0
    else:  # n keeps its place beside the major axis
        turns = kept * plain * c2, kept * plain * s2, -kept * plain * s2
    return cos2 * c2 - sin2 * s2, sin2 * c2 + cos2 * s2, -2.0 * radius * s2, turns[0], turns[1], turns[2]


@compiled
def _secant(x, s, modulus):
    """Secant of a curve."""
    return s / x if abs(x) > 1e-12 else modulus


@compiled
def _share(secant, slope, chord):
    """Slope with the share ``secant`` of that of the chord."""
    return (1.0 - secant) * slope + secant * chord


@compiled
def respond(c, strain, grad, parted, weight, reserve, secant, old, stress, tangent, new):
    """Stress (n_e, n_q, 3), tangent (n_e, n_q, 3, 3) and new history, written into the given arrays.

    ``old`` and ``new`` hold the histories tension, compression, band, axes; ``grad``
    (n_e, n_k, 2) are centroid gradients, ``parted`` (n_e, n_q, 2) those of the nodes that a crack moves away
    (:mod:`fesplice.laws.parting`; zeros: axes are the principal ones), ``weight`` (n_e,) shares of tension stiffening,
    which is no more than ``reserve`` (n_e,) [MPa] of bars along x times cos^2 of the crack normal's angle to
    them (crack check of Vecchio & Collins 1986): bars do nothing for cracks along them.
    """
    old_t, old_c, old_band, old_axes = old
    new_t, new_c, new_band, new_axes = new
    by_stress = c.poisson / c.modulus
    for e in range(strain.shape[0]):
        mean_cos, mean_sin = _direction(strain[e])
        for q in range(strain.shape[1]):
            exx, eyy, gxy = strain[e, q, 0], strain[e, q, 1], strain[e, q, 2]
            mean, half = 0.5 * (exx + eyy), 0.5 * (exx - eyy)
            radius = np.sqrt(half * half + 0.25 * gxy * gxy)
            cos2, sin2 = (half / radius, 0.5 * gxy / radius) if radius > 1e-300 else (1.0, 0.0)
            gamma = 0.0
            frozen = c.fixed and (old_axes[e, q, 0] != 0.0 or old_axes[e, q, 1] != 0.0)
            if frozen:  # the axes of the first crack stay, and shear strain appears along it
                cos2, sin2 = old_axes[e, q, 0], old_axes[e, q, 1]
                radius, gamma = half * cos2 + 0.5 * gxy * sin2, gxy * cos2 - 2.0 * half * sin2
            band_t, band_c = old_band[e, q, 0], old_band[e, q, 1]
            if not band_t > 0.0:
                band_t = _width(grad[e], mean_cos, mean_sin)
            if not band_c > 0.0:
                band_c = _width(grad[e], -mean_sin, mean_cos)

            by_shear, by_along, by_across = 0.0, 0.0, 0.0
            px, py = parted[e, q, 0], parted[e, q, 1]
            leans = not frozen and (px != 0.0 or py != 0.0) and old_t[e, q, 0] > c.tensile_strength / c.modulus
            if leans:
                seen = old_t[e, q, 0]
                opened = 1.0 - softening(c, seen, band_t)[0] / (c.modulus * seen)
                axes = _lean(mean, radius, cos2, sin2, px, py, opened)
                cos2, sin2, gamma, by_shear, by_along, by_across = axes
                radius = half * cos2 + 0.5 * gxy * sin2
            e1, e2 = mean + radius, mean - radius

            t1, t2 = old_t[e, q, 0], old_t[e, q, 1]
            k1, k2 = old_c[e, q, 0], old_c[e, q, 1]
            limit1, limit2 = UNBOUNDED, UNBOUNDED
            if reserve[e] < UNBOUNDED:
                limit1, limit2 = 0.5 * reserve[e] * (1.0 + cos2), 0.5 * reserve[e] * (1.0 - cos2)
            x1, x2, s1, d1, cross1, s2, d2, cross2 = _coupled(
                c, e1, e2, (t1, t2), (k1, k2), band_t, band_c, weight[e], limit1, limit2
            )

            t1, t2, k1, k2 = max(t1, x1), max(t2, x2), max(k1, -x1), max(k2, -x2)
            new_t[e, q, 0], new_t[e, q, 1], new_c[e, q, 0], new_c[e, q, 1] = t1, t2, k1, k2
            # the band is kept from the first crack (tension) and from the first point past half the
            # strength (compression) on; before that it follows the principal direction
            cracked = t1 > c.tensile_strength / c.modulus
            new_band[e, q, 0] = band_t if cracked else 0.0
            new_band[e, q, 1] = band_c if max(k1, k2) > 0.5 * c.peak_strain else 0.0
            new_axes[e, q, 0], new_axes[e, q, 1] = old_axes[e, q, 0], old_axes[e, q, 1]
            if cracked and c.fixed and not frozen:
                new_axes[e, q, 0], new_axes[e, q, 1] = cos2, sin2

            # derivatives of the axis stresses by the strains along the axes
            m11, m12, m21, m22 = _by_strain(by_stress, d1, d2, cross1, cross2)
            p11, p12 = d1 * m11 + cross1 * m21, d1 * m12 + cross1 * m22
            p21, p22 = cross2 * m11 + d2 * m21, cross2 * m12 + d2 * m22
            if secant > 0.0:
                a1, a2 = _secant(x1, s1, c.modulus), _secant(x2, s2, c.modulus)
                whole = 1.0 - by_stress * by_stress * a1 * a2
                p11, p12 = _share(secant, p11, a1 / whole), _share(secant, p12, by_stress * a1 * a2 / whole)
                p21, p22 = _share(secant, p21, by_stress * a1 * a2 / whole), _share(secant, p22, a2 / whole)
            shear, by1, by2 = 0.0, 0.0, 0.0
            if frozen:
                shear, g, by1, by2 = _crack_shear(c, x1, x2, s1, s2, d1, d2, cross1, cross2, gamma, secant)
            elif leans:
                # the axes turn with the strain: by the row of the shear (floor as below) and that of the opening
                g = max((s1 - s2) * by_shear, 1e-4 * c.modulus)
            else:
                # coaxial shear modulus and its limit for e1 = e2 (Willam, Pramono & Sture 1989)
                gap = e1 - e2
                g = (s1 - s2) / (2.0 * gap) if abs(gap) >= 1e-8 else 0.25 * (p11 + p22 - p12 - p21)
                g = max(g, 1e-4 * c.modulus)
            p31, p32 = by1 * m11 + by2 * m21, by1 * m12 + by2 * m22

            # back to x, y
            cc, ss, cs = 0.5 * (1.0 + cos2), 0.5 * (1.0 - cos2), 0.5 * sin2
            r1, r2, r3 = (cc, ss, cs), (ss, cc, -cs), (-sin2, sin2, cos2)
            for j in range(3):
                turn = (1.0 - secant) * (by_along * r1[j] + by_across * r2[j])
                more3 = (s1 - s2) * turn
                turn = gamma * (turn + (1.0 - secant) * by_shear * r3[j])
                b1 = p11 * r1[j] + p12 * r2[j] + (p11 - p12) * turn
                b2 = p21 * r1[j] + p22 * r2[j] + (p21 - p22) * turn
                b3 = p31 * r1[j] + p32 * r2[j] + g * r3[j] + more3
                for i in range(3):
                    tangent[e, q, i, j] = r1[i] * b1 + r2[i] * b2 + r3[i] * b3
                stress[e, q, j] = r1[j] * s1 + r2[j] * s2 + r3[j] * shear
