"""Fracture of the plane of a hook: how much of the pull its concrete holds, and what is left as the plane opens.

A hook that is pulled drives the concrete on both sides of its own plane apart. A picture from the side looks along
the normal of that plane and cannot open it, so the plane is a law of its own: the hook, with the concrete it bears
on, may slide by d against the rest of the concrete, and what it hands over is bounded. Per hook

    strength    T = c sqrt(E G_F d_b) l,  c = 2.30
    softening   T exp(-d_p/d_f),  d_f = G_F A / T,  A = l^2,  d_p = d less what springs back
    cover side  times 1 - s (1 - h(w)),  h(w) = Hordijk's softening of the concrete

The strength is that of linear fracture mechanics in form: force = toughness x length^1.5, so strength of concrete
has no part in it. Its constant is fitted to the 12 points of the descriptive equation of Ajaam, Yasso, Darwin, O'Reilly
& Sperry (2018) that models/validation computes; no test was used for it, and it stays empirical. The plane dissipates
G_F A, with A a square of the embedment (judgement: at the strength a body of area A and fracture energy G_F gives
back its energy with a stiffness of c^2/2 E d_b, which is that of a bar pulled in half a space).

The cover side is the share ``cover_share`` s of the plane between the bar and the near face; one half, for the bar
lies in the middle of what it splits (judgement). It holds as far as the crack that cuts the cover off along the
bar still hands over tension: w is the largest opening beside the bar so far, computed by the model, and h the
softening of the same concrete (Hordijk 1991), so that no opening is named at which the cover is lost. What is lost in
strength is lost in energy in the same proportion.

**Cannot**: count steel across the plane (the model lays none where ties or stirrups cross it); know a cover thinner
than half the embedment from a thick one; know that bars from the other side pull the other way.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from fesplice.contracts import Floats, History, Response
from fesplice.laws.cracking import hordijk

#: Of the strength; fitted to 12 points of the published descriptive equation, see above.
FITTED = 2.30
#: Area of the plane that dissipates, over the square of the embedment (judgement).
AREA = 1.0
#: Share of the plane on the cover side of the bar (judgement).
COVER_SHARE = 0.5
#: Slide that springs back at the strength over d_f: little beside the slip of a hook, for the elastic part of the
#: plane is in the elements; much stiffer, the viscous forces that cross a drop would hold the slide back.
STIFF = 0.25
#: Share of the first stiffness that is never lost, so that a hook that has let go does not swim.
RESIDUAL_STIFFNESS = 1e-6


_hordijk = np.vectorize(hordijk, otypes=[float, float])


def plane_strength(modulus: float, energy: float, diameter: float, embedment: float) -> float:
    """Force of one hook [N] that splits its plane: 2.30 sqrt(E G_F d_b) l; ``energy`` G_F [N/mm], E [MPa], mm."""
    return FITTED * sqrt(modulus * energy * diameter) * embedment


def plane_energy(energy: float, embedment: float) -> float:
    """What the plane of one hook dissipates [N mm]: G_F l^2."""
    return energy * AREA * embedment**2


@dataclass(frozen=True)
class HookPlane:
    """Force per length of lead [N/mm] from (slide, opening) [mm] for the hooks of one line; see the module.

    ``strength`` [N/mm] of all hooks of the line over the length of lead it is read along; ``softening`` is d_f
    [mm], ``last`` the opening [mm] at which a crack of the concrete is free of stress (5.136 G_F/f_t). Only the slide
    is driven: the opening weakens the plane and has no force. So opening at a constant force of the hook lets it
    slide, and no energy comes of it. History: ``plane`` (.., 2) = slide that stays, largest opening.
    """

    strength: float
    softening: float
    last: float
    cover_share: float = COVER_SHARE
    n_strain: int = 2

    @classmethod
    def of(
        cls,
        modulus: float,
        energy: float,
        tensile: float,
        diameter: float,
        embedment: float,
        number: int,
        length: float,
        cover_share: float = COVER_SHARE,
    ) -> HookPlane:
        """Plane of ``number`` hooks [mm, MPa, N/mm] read along ``length`` [mm] of their leads."""
        force = plane_strength(modulus, energy, diameter, embedment)
        softening = plane_energy(energy, embedment) / force
        return cls(number * force / length, softening, 5.136 * energy / tensile, cover_share)

    @property
    def stiffness(self) -> float:
        """Initial slope, also that of unloading [N/mm2]."""
        return self.strength / (STIFF * self.softening)

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Whole plane under a whole cover."""
        return {"plane": np.zeros((*shape, 2))}

    def cover(self, opening: Floats) -> tuple[Floats, Floats]:
        """Share of the strength that the cover leaves at the largest ``opening`` so far, and its slope [1/mm]."""
        held, slope = _hordijk(np.maximum(opening, 0.0) / self.last)
        return 1.0 - self.cover_share * (1.0 - held), self.cover_share * slope / self.last

    def left(self, stays: Floats, opening: Floats) -> Floats:
        """Strength left, as a share, after a slide that ``stays`` and the largest ``opening`` [mm] so far."""
        return self.cover(opening)[0] * np.exp(-stays / self.softening)

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; strain (n_e, n_q, 2). The tangent is not symmetric."""
        k, (d, w) = self.stiffness, (strain[..., 0], strain[..., 1])
        before, opened = history["plane"][..., 0], history["plane"][..., 1]
        wide = np.maximum(opened, w)
        share, by_opening = self.cover(wide)
        slides = k * (d - before) > self.strength * self.left(before, wide)
        stays = np.array(before)
        stays[slides] = self._returned(d[slides], before[slides], share[slides])
        cap = self.strength * self.left(stays, wide)
        force = k * (d - stays)
        softens = -cap / self.softening  # slope of the strength over the slide that stays; less than k in size
        slope = np.where(slides, k * softens / (k + softens), k)
        if secant > 0.0:
            far = np.abs(d) > 1e-12
            ratio = np.where(far, force / np.where(far, d, 1.0), k)
            slope = (1.0 - secant) * slope + secant * np.clip(ratio, 0.0, k)
        tangent = np.zeros((*strain.shape, 2))
        tangent[..., 0, 0] = slope + RESIDUAL_STIFFNESS * k
        weaker = by_opening * self.strength * np.exp(-stays / self.softening) * k / (k + softens)
        tangent[..., 0, 1] = np.where(slides & (w > opened), (1.0 - secant) * weaker, 0.0)
        stress = np.zeros_like(strain)
        stress[..., 0] = force + RESIDUAL_STIFFNESS * k * d
        return Response(stress, tangent, {"plane": np.stack([stays, wide], axis=-1)})

    def _returned(self, slide: Floats, before: Floats, share: Floats) -> Floats:
        """Slide that stays (n,) so that the force is the strength left, k (d - x) = T s exp(-x/d_f); Newton's method.

        For points where the force is above the strength at ``before``. There the strength falls by less per slide than
        the plane springs back (``STIFF`` below 1): the miss is monotone and concave beyond, and has one root.
        """
        x = np.array(before)
        for _ in range(50):
            cap = self.strength * share * np.exp(-x / self.softening)
            move = (self.stiffness * (slide - x) - cap) / (self.stiffness - cap / self.softening)
            x = x + move
            if np.abs(move).max(initial=0.0) < 1e-13 * self.softening:
                break
        return np.maximum(x, before)
