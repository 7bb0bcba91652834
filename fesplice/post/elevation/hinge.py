"""Which crack a beam turns about at its strength: a slanting one across the web, or an upright one across the bars.

Both ends of a beam that fails turn about the compression zone, and the crack that lets them do so opens more than any
other. Where that is an upright crack, its opening is the stretch of the tension bars, and the zone above it fails
in flexure-compression, by yielding bars or by crushing. Where it is a slanting crack across the web, its opening is
shared by whatever ties both sides together, stirrups or nothing, and the zone at its tip is what is left of the
section: it fails in shear, however much of it crushes in the end, and however near to yield the bars are. So the
crushed zone by itself tells nothing, since it lies beside the load in both cases; nor does the share of the
nominal moment, which beams with light stirrups reach before they fail in shear.

Shear is told apart further by the ties: stirrups that yield across the slanting crack hold it together until the zone
at its tip is destroyed (shear-compression); without stirrups, or with stirrups that do not yield, the crack itself is
the failure (diagonal tension). Stirrups count as the judge counts everything: before the drop or within it. Terms of
the trade (Bresler & Scordelis, ACI Journal 60-1 (1963) 51-74, from memory); the measure is this project's.

Three numbers, all round: a crack within ``SLANT`` of the bars runs along them (bond, dowels), and one within ``SLANT``
of their normal is upright; the web is the depth without ``WEB`` of it at either face, where cracks begin upright and
struts meet the plates; wider means wider, by no factor (``WIDER`` is one).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.values import Known

#: Angle to the bars, and to their normal, from which a crack slants [degree].
SLANT = 20.0
#: Share of the depth at either face that is no web (also where the web's struts are read).
WEB = 0.2
#: Width of the slanting crack over the widest upright one from which the beam turns about the former.
WIDER = 1.0


@dataclass(frozen=True)
class Hinge:
    """Widest ``slanting`` crack of the web with its place ``x``, ``y``, and widest ``upright`` crack [mm]."""

    slanting: Known
    x: Known
    y: Known
    upright: Known

    def over(self, joint: float = 0.0) -> float:
        """Slanting over upright; a ``joint`` [mm] that opens is an upright crack. Very large without one."""
        return self.slanting / max(self.upright, joint, 1e-6)


def leaning(normal: Floats) -> Floats:
    """Angle (n,) between cracks and the bars [degree], 0 to 90, from the angle of their normals (n,) [rad]."""
    return np.degrees(np.arccos(np.clip(np.abs(np.sin(normal)), 0.0, 1.0)))


def hinge(
    xy: Floats, crack: Floats, height: tuple[float, float], outside: np.ndarray, slant: float = SLANT, web: float = WEB
) -> Hinge:
    """The two cracks among points ``xy`` (n, 2) [mm] with crack fields (n, 3): strain, normal, band.

    ``height``: y of soffit and top [mm]; ``outside`` (n,): points that are not of a splice, where alone slanting cracks
    count; upright ones count everywhere.
    """
    strain, normal, band = crack.T
    width, lean = np.maximum(strain, 0.0) * band, leaning(normal)
    up = (xy[:, 1] - height[0]) / (height[1] - height[0])
    across = outside & (up > web) & (up < 1.0 - web) & (lean >= slant) & (lean <= 90.0 - slant)
    slanting = np.where(across, width, 0.0)
    k = int(np.argmax(slanting))
    upright = float(width[lean > 90.0 - slant].max(initial=0.0))
    return Hinge(float(slanting[k]), float(xy[k, 0]), float(xy[k, 1]), upright)
