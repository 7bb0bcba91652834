"""Plane Voigt algebra: principal values and directions, elasticity.

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


def elastic_matrix(modulus: float, poisson: float) -> Floats:
    """Plane-stress elasticity matrix (3, 3) [MPa]."""
    f = modulus / (1.0 - poisson**2)
    return np.array([[f, poisson * f, 0.0], [poisson * f, f, 0.0], [0.0, 0.0, 0.5 * f * (1.0 - poisson)]])
