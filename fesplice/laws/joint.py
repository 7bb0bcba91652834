"""Cold joint between precast and cast concrete: tension cut-off with softening, Coulomb friction.

Normal: stiff in compression, linear softening over the fracture energy in tension (cohesive
crack, Hillerborg, Modeer & Petersson 1976). Shear: cohesion that fades with opening and with
slip, plus friction mu times the compression (shear friction, Birkeland & Birkeland 1966).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, History, Response


@dataclass(frozen=True)
class ColdJoint:
    """Tractions (normal, shear) [MPa] from (opening, slip) [mm]; opening positive.

    History: ``damage`` (.., 2) = largest opening, plastic slip; ``sliding`` (.., 1) = sum of |plastic slip|.
    """

    tensile_strength: float
    fracture_energy: float
    friction: float
    cohesion: float
    stiffness: float = 1.0e4
    n_strain: int = 2

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Intact joint."""
        return {"damage": np.zeros((*shape, 2)), "sliding": np.zeros((*shape, 1))}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; strain (n_e, n_q, 2)."""
        k, ft = self.stiffness, self.tensile_strength
        w, s = strain[..., 0], strain[..., 1]
        seen, slipped = history["damage"][..., 0], history["damage"][..., 1]
        slid = history["sliding"][..., 0]
        w0 = ft / k
        wc = max(2.0 * self.fracture_energy / ft, 2.0 * w0)
        reached = np.maximum(seen, w)
        cap = ft * np.clip((wc - reached) / (wc - w0), 0.0, 1.0)
        opened = reached > w0
        ratio = np.where(opened, cap / np.maximum(reached, w0), k)
        loading = opened & (w >= seen)
        residual = 1e-6 * k
        normal = np.where(w < 0.0, k * w, np.where(loading, cap, ratio * w)) + np.where(w > 0.0, residual * w, 0.0)
        slope = np.where(loading & (reached < wc), -ft / (wc - w0), np.where(loading, 0.0, ratio))
        d_n = np.where(w < 0.0, k, (1.0 - secant) * slope + secant * ratio + residual)

        # the cohesion left: by the damage in tension and by all sliding, this one too (mode II energy ten times mode I)
        lost = self.cohesion / (20.0 * self.fracture_energy)
        damage, rubs = np.where(opened, cap / ft, 1.0), self.friction * np.maximum(-normal, 0.0)
        unslid = np.clip(1.0 - slid * lost, 0.0, 1.0)
        trial = k * (s - slipped)
        over = np.abs(trial) - self.cohesion * damage * unslid - rubs
        slides = over > 0.0
        softens = self.cohesion * damage * lost  # how fast the limit falls with the slip; far less than k
        slip = over / (k - softens)
        ends = slip * lost > unslid
        softens = np.where(ends, 0.0, softens)
        slip = np.where(slides, np.where(ends, (np.abs(trial) - rubs) / k, slip), 0.0)
        unslid = np.maximum(unslid - slip * lost, 0.0)
        sense = np.sign(trial) * slides
        shear, new_slip = trial - k * sense * slip, slipped + sense * slip
        stress = np.stack([normal, shear], axis=-1)
        tangent = np.zeros((*strain.shape, 2))
        tangent[..., 0, 0] = d_n
        tangent[..., 1, 1] = np.where(slides, np.where(ends, 1e-4 * k, -k * softens / (k - softens)), k)
        pressed = slides & (w < 0.0)
        fading = np.where(loading & (reached < wc), -self.cohesion * unslid / (wc - w0), 0.0)  # lost by opening further
        tangent[..., 1, 0] = (1.0 - secant) * sense * k / (k - softens) * np.where(pressed, -self.friction * k, fading)
        new = {
            "damage": np.stack([reached, new_slip], axis=-1),
            "sliding": (slid + slip)[..., None],
        }
        return Response(stress, tangent, new)
