"""What cannot be built: bars through bars, bars through faces, hooks that do not fit.

Distances are taken in space, between the centre lines of single bars; lateral places of
compression bars follow :func:`fesplice.geometry.bars.compression_across`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Fault, Floats
from fesplice.geometry import bars
from fesplice.specimen.rules import MIN_COVER

if TYPE_CHECKING:
    from fesplice.specimen.schema import Specimen


def distance(a: Floats, b: Floats) -> float:
    """Least distance [mm] between two polylines in space, (n, 3) and (m, 3) with n, m >= 2."""
    p, q = a[:-1, None], b[None, :-1]
    u, v = np.diff(a, axis=0)[:, None], np.diff(b, axis=0)[None]

    def to_segment(point: Floats, start: Floats, step: Floats) -> Floats:
        t = np.clip(((point - start) * step).sum(-1) / (step * step).sum(-1), 0.0, 1.0)
        return np.linalg.norm(start + t[..., None] * step - point, axis=-1)

    ends = [to_segment(p, q, v), to_segment(p + u, q, v), to_segment(q, p, u), to_segment(q + v, p, u)]
    best = min(float(d.min()) for d in ends)
    # inner points of both segments can only be nearest along the common perpendicular
    w = p - q
    uu, uv, vv = (u * u).sum(-1), (u * v).sum(-1), (v * v).sum(-1)
    uw, vw = (u * w).sum(-1), (v * w).sum(-1)
    det = uu * vv - uv * uv
    skew = det > 1e-9 * uu * vv
    safe = np.where(skew, det, 1.0)
    t, r = (uv * vw - vv * uw) / safe, (uu * vw - uv * uw) / safe
    inner = skew & (t > 0.0) & (t < 1.0) & (r > 0.0) & (r < 1.0)
    if inner.any():
        gap = np.linalg.norm(w + t[..., None] * u - r[..., None] * v, axis=-1)
        best = min(best, float(gap[inner].min()))
    return best


def clear_gaps(s: Specimen) -> dict[tuple[str, str], float]:
    """Least clear gap [mm] in space between bars of every two lines (negative = overlap)."""
    found = bars.solids(s)
    gaps: dict[tuple[str, str], float] = {}
    for i, a in enumerate(found):
        for b in found[i + 1 :]:
            pair = (a.name, b.name)
            gap = distance(a.points, b.points) - 0.5 * (a.diameter + b.diameter)
            gaps[pair] = min(gaps.get(pair, np.inf), gap)
    return gaps


def clashes(s: Specimen) -> list[Fault]:
    """Everything that cannot be built: bars through bars, through faces, hooks that do not fit."""
    return [*_outside(s), *_hooks_fit(s), *_overlaps(s)]


def _overlaps(s: Specimen) -> list[Fault]:
    faults = []
    for (a, b), gap in clear_gaps(s).items():
        if gap >= -bars.TOUCH:
            continue
        deep = f"clear gap {gap:.1f} mm, must not be negative"
        if {a, b} == {"A", "B"}:
            faults.append(Fault("bars.spacing", s.bars.spacing, f"left and right bars clash: {deep}"))
        elif a == b and a in ("A", "B"):
            key = "bars.left" if a == "A" else "bars.right"
            faults.append(Fault(f"{key}.positions", None, f"bars of one row clash: {deep}"))
        elif b.startswith("C") and not a.startswith("C"):
            key = "bars.left" if a == "A" else "bars.right"
            faults.append(Fault(f"{key}.hook.tail", None, f"tails clash with the compression bars: {deep}"))
        else:
            faults.append(Fault("compression_bars.number", None, f"bars do not fit side by side: {deep}"))
    return faults


def _outside(s: Specimen) -> list[Fault]:
    faults, half, total = [], 0.5 * s.body.width, 0.0
    for m in bars.main_shapes(s):
        side = half - max(abs(z) for z in m.positions) - 0.5 * m.diameter
        total += len(m.positions) * m.diameter
        if side <= 0.0:
            faults.append(Fault(f"{m.key}.positions", None, f"side cover {side:.1f} mm, must be positive"))
        if m.points[0, 1] - 0.5 * m.diameter <= 0.0 or m.points[0, 1] + 0.5 * m.diameter >= s.body.depth:
            faults.append(Fault(f"{m.key}.depth", None, "bars must lie inside the section"))
    if total > 0.8 * s.body.width:
        faults.append(Fault("body.width", s.body.width, f"bars take {total:.0f} mm of it, at most 80 % can be bars"))
    reach = max((abs(x) for x in bars.confinement_positions(s)), default=0.0)
    if 0.0 < s.body.closure < 2.0 * reach:
        faults.append(Fault("confinement.number", s.confinement.number, "sets must stand inside the closure"))
    for x in bars.load_positions(s):
        x0, x1 = x - 0.5 * s.body.plate_length, x + 0.5 * s.body.plate_length
        if any(x0 < j < x1 for j in bars.joint_positions(s)):
            faults.append(Fault("body.plate_length", s.body.plate_length, "a load plate must not straddle a joint"))
            break
    return faults


def _hooks_fit(s: Specimen) -> list[Fault]:
    faults = []
    for m in bars.main_shapes(s):
        if m.bend is None:
            continue
        top = s.body.depth - m.outside[3]
        bottom = m.outside[2]
        if top < MIN_COVER:
            text = f"hook leaves {top:.0f} mm to the compression face, at least {MIN_COVER:.0f} mm needed"
            faults.append(Fault(f"{m.key}.hook.tail", None, text))
        if bottom < MIN_COVER and m.bend[1] < m.points[0, 1]:
            text = f"hook leaves {bottom:.0f} mm to the tension face, at least {MIN_COVER:.0f} mm needed"
            faults.append(Fault(f"{m.key}.hook.tail", None, text))
        if m.side * (m.tangent_x - bars.embedment_start(s, m.side)) <= 0.0:
            need = m.radius + 0.5 * m.diameter
            text = f"the bend needs {need:.0f} mm, more than the bar has beyond the joint face or lap start"
            faults.append(Fault(f"{m.key}.embedment", None, text))
    return faults
