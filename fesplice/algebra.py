"""Plane Voigt algebra: principal values, rotations, derivatives of the symmetric eigenproblem.

Vectors are (xx, yy, xy) on the last axis; the shear entry of a strain is the engineering
shear gamma = 2 e_xy. All functions broadcast over leading axes and stay finite for equal
principal values.
"""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats

_TINY = 1e-300


def principal(voigt: Floats, *, engineering: bool) -> tuple[Floats, Floats, Floats]:
    """Major value, minor value and angle [rad] of the major direction from x.

    ``engineering`` says that the third entry is gamma (strain) and not tau (stress).
    """
    shear = 0.5 * voigt[..., 2] if engineering else voigt[..., 2]
    half = 0.5 * (voigt[..., 0] - voigt[..., 1])
    mean = 0.5 * (voigt[..., 0] + voigt[..., 1])
    radius = np.hypot(half, shear)
    return mean + radius, mean - radius, 0.5 * np.arctan2(shear, half)


def principal_strain(strain: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """e1, e2 and (cos 2t, sin 2t) of the major direction of strains (..., 3).

    Where e1 = e2 the direction is x. Cheaper than :func:`principal`: no arctangent.
    """
    half = 0.5 * (strain[..., 0] - strain[..., 1])
    shear = 0.5 * strain[..., 2]
    mean = 0.5 * (strain[..., 0] + strain[..., 1])
    radius = np.sqrt(half * half + shear * shear)
    safe = radius > _TINY
    inverse = 1.0 / np.where(safe, radius, 1.0)
    cos2 = np.where(safe, half * inverse, 1.0)
    sin2 = shear * inverse
    return mean + radius, mean - radius, cos2, sin2


def strain_rotation(cos2: Floats, sin2: Floats) -> Floats:
    """T (..., 3, 3): strain in axes turned by t = T strain; stress back = T^T stress in those axes."""
    c2 = 0.5 * (1.0 + cos2)
    s2 = 0.5 * (1.0 - cos2)
    cs = 0.5 * sin2
    t = np.empty((*np.shape(cos2), 3, 3))
    t[..., 0, 0] = c2
    t[..., 0, 1] = s2
    t[..., 0, 2] = cs
    t[..., 1, 0] = s2
    t[..., 1, 1] = c2
    t[..., 1, 2] = -cs
    t[..., 2, 0] = -sin2
    t[..., 2, 1] = sin2
    t[..., 2, 2] = cos2
    return t


def coaxial_shear(e1: Floats, e2: Floats, s1: Floats, s2: Floats, slope: Floats, floor: float) -> Floats:
    """Shear modulus of a coaxial (rotating) law: (s1 - s2) / (2 (e1 - e2)), at least ``floor``.

    ``slope`` is its limit for e1 = e2, (D11 + D22 - D12 - D21) / 4
    (derivative of an isotropic tensor function; e.g. Willam, Pramono & Sture 1989).
    """
    gap = e1 - e2
    equal = np.abs(gap) < 1e-8
    g = np.where(equal, slope, (s1 - s2) / (2.0 * np.where(equal, 1.0, gap)))
    return np.maximum(g, floor)


def elastic_matrix(modulus: float, poisson: float) -> Floats:
    """Plane-stress elasticity matrix (3, 3) [MPa]."""
    f = modulus / (1.0 - poisson**2)
    return np.array([[f, poisson * f, 0.0], [poisson * f, f, 0.0], [0.0, 0.0, 0.5 * f * (1.0 - poisson)]])
