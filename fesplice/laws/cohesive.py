"""How the slab of the plan is held by the body above it: a cohesive horizontal interface, and springs.

Every node of the slab is tied to the body through its tributary area. Traction t against the
relative displacement d of slab and body, both in the plane:

    elastic    |t| = k |d|, k = G / depth of the body that shears along
    strength   sqrt(f_t^2 - f_t s_v) under vertical stress s_v, tension positive: the principal tension of shear
               and s_v reaches f_t (Mohr's circle); where nothing is cracked nothing rubs
    softening  linear, over an opening that does not depend on s_v, so that the energy falls with the strength
    residual   mu |s_v| under compression: friction takes over as the plane is lost
    steel      of legs and tails that cross the plane, once it has cracked: see :class:`CrossingSteel`

The area between the curve and its residual is (s - r)/f_t times the fracture energy: without vertical
stress it is the fracture energy itself. What crossing steel adds comes on top. Unloading goes to
the origin. A residual stiffness stays when all is lost, so that a strip that has split off never swims.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, History, Response

#: Share of the elastic stiffness that is never lost.
RESIDUAL_STIFFNESS = 1e-4
#: Crack width [mm] that keeps the first pull of crossing steel from being infinitely stiff; far below what is seen.
FINE = 1e-3


def interface_strength(tensile: float, vertical: Floats) -> Floats:
    """Shear strength [MPa] of the uncracked plane under ``vertical`` stress [MPa], tension positive."""
    return np.sqrt(np.maximum(tensile**2 - tensile * vertical, 0.0))


def interface_residual(friction: float, vertical: Floats) -> Floats:
    """Residual shear stress [MPa] of the cracked plane under ``vertical`` stress [MPa], tension positive."""
    return friction * np.maximum(-vertical, 0.0)


@dataclass(frozen=True)
class CrossingSteel:
    """Steel across the plane that clamps it as far as the crack opens (shear friction by degrees).

    A rough crack that slips by d opens by ``dilation`` d. The steel is drawn out of both sides against a
    constant bond stress t_b, which over a crack of width w gives it 2 sqrt(E t_b w / diameter) (tension chord,
    Marti, Alvarez, Kaufmann & Sigrist 1998; from memory), at most what is ``left`` (n_e, k) [MPa] to yield:
    vertical tension is carried first. It clamps with that stress times ``ratio`` (n_e, k), and the clamp
    times ``friction`` is shear (Birkeland & Birkeland 1966, who take yield at once; from memory).
    ``pull`` (k,) = 2 sqrt(E t_b / diameter) [MPa/mm^0.5]; k kinds of steel.
    """

    ratio: Floats
    pull: Floats
    left: Floats
    friction: float
    dilation: float

    def shear(self, slip: Floats) -> tuple[Floats, Floats]:
        """Shear stress and its slope at slips >= 0 (n_e, n_q) beyond cracking."""
        root = np.sqrt(self.dilation * slip + FINE)
        tense = self.pull * (root - np.sqrt(FINE))[..., None]
        left = np.maximum(self.left, 0.0)[:, None]
        steel = self.friction * self.ratio[:, None]
        slope = np.where(tense < left, self.pull * (0.5 * self.dilation / root)[..., None], 0.0)
        return (steel * np.minimum(tense, left)).sum(axis=-1), (steel * slope).sum(axis=-1)


@dataclass(frozen=True)
class CohesiveInterface:
    """Tractions (n_e, n_q, 2) [MPa] of the plane from (along, across) displacements [mm].

    ``stiffness`` k [MPa/mm]; per element ``strength`` and ``residual`` [MPa]; ``tensile_strength`` f_t and
    ``energy`` [N/mm]; ``along`` is the share of the stiffness that acts along the bars. ``intact``: it never
    softens; ``absent``: only the residual stiffness is left. ``crossing``: steel across it.
    History: ``reached`` (.., 1) = largest displacement.
    """

    stiffness: float
    strength: Floats
    residual: Floats
    tensile_strength: float
    energy: float
    along: float = 0.0
    crossing: CrossingSteel | None = None
    intact: bool = False
    absent: bool = False
    n_strain: int = 2

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Uncracked plane."""
        return {"reached": np.zeros((*shape, 1))}

    def envelope(self, slip: Floats) -> tuple[Floats, Floats]:
        """Traction and slope at displacements >= 0 of shape (n_e, n_q)."""
        k = self.stiffness
        rest = np.reshape(self.residual, (-1, 1))
        top = np.maximum(np.reshape(self.strength, (-1, 1)), rest)
        fall = max(2.0 * self.energy / self.tensile_strength, 1.05 * self.tensile_strength / k)
        # from the peak at top/k to the residual, `fall` beyond where the residual alone would yield
        end = rest / k + fall
        start = top / k
        slope = (rest - top) / np.maximum(end - start, 1e-3 * fall)
        value = np.where(slip <= start, k * slip, np.maximum(top + slope * (slip - start), rest))
        slope = np.where(slip <= start, k, np.where(slip < end, slope, 0.0))
        if self.crossing is not None:
            clamped, steeper = self.crossing.shear(np.maximum(slip - start, 0.0))
            value, slope = value + clamped, slope + np.where(slip > start, steeper, 0.0)
        return value, slope

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; strain (n_e, n_q, 2)."""
        k = self.stiffness
        scale = np.array([np.sqrt(self.along), 1.0])
        d = strain * scale
        far = np.linalg.norm(d, axis=-1)
        seen = history["reached"][..., 0]
        reached = np.maximum(seen, far)
        value, slope = self.envelope(reached)
        safe = np.maximum(reached, 1e-12)
        ratio = np.where(reached > 1e-12, value / safe, k)
        if self.intact or self.absent:
            ratio, slope = np.full_like(ratio, 0.0 if self.absent else k), np.full_like(ratio, k)
        grows = (far >= seen) & (far > 1e-12) & (not self.absent) & (not self.intact)
        unit = d / np.maximum(far, 1e-12)[..., None]
        radial = np.where(grows, (1.0 - secant) * (slope - ratio), 0.0)
        inner = ratio[..., None, None] * np.eye(2) + radial[..., None, None] * unit[..., :, None] * unit[..., None, :]
        tangent = scale[:, None] * inner * scale + RESIDUAL_STIFFNESS * k * np.eye(2)
        stress = ratio[..., None] * d * scale + RESIDUAL_STIFFNESS * k * strain
        return Response(stress, tangent, {"reached": reached[..., None]})


@dataclass(frozen=True)
class Spring:
    """Linear spring between two nodes along its axis: stress [MPa] from (along, across) stretch [mm].

    ``stiffness`` [MPa/mm]: E / free length of a bar that the spring stands for.
    """

    stiffness: float
    n_strain: int = 2

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """No history."""
        return {}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Stress along the axis; nothing across."""
        stress, tangent = np.zeros_like(strain), np.zeros((*strain.shape, 2))
        stress[..., 0] = self.stiffness * strain[..., 0]
        tangent[..., 0, 0] = self.stiffness
        return Response(stress, tangent, history)
