"""State of a beam at its peak, and how its mode depends on the numbers of the judge: what the series ``beams`` tells.

A load can be right for the wrong reason. So crack, deflection and strain beside the load at the peak stand beside
what is published of them, and the three numbers by which the judge tells shear from bending
(:mod:`fesplice.post.elevation.hinge`) are moved by a fifth each.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fesplice.algebra import principal
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.elevation.hinge import SLANT, WEB, Hinge, hinge
from fesplice.post.elevation.indicators import STIRRUPS, assess_elevation
from fesplice.post.elevation.trace import ZONE, ElevationTrace, Tracer, trace
from fesplice.post.mechanisms import Assessment, Mechanism
from fesplice.post.points import Fields
from fesplice.post.runs import specimen_of
from fesplice.store import Run

#: Share by which the numbers of the judge are moved.
MOVED = 0.2
#: Widest crack at the peak [mm], lowest and highest over VS-OA1 to OA3, measured and computed alike: Bernardi et al.,
#: Frattura ed Integrita Strutturale 35 (2016) 98-107.
CRACK = (0.30, 0.49)


def stirrups_yield(judged: Assessment) -> bool:
    """True where stirrups yielded before the drop or within it, as the judge counts every mechanism as reached."""
    shear = judged.state(Mechanism.shear)
    return shear is not None and any(e.reached for e in shear.evidence if e.what == STIRRUPS)


def at_peak(run: Run) -> dict[str, float | str]:
    """Widths of the cracks [mm] and least principal strain of the compression zone beside the load, over e_0."""
    seen, specimen = trace(run), specimen_of(run)
    row = int(np.argmax(seen.load))
    fields, snapshot = run.step(run.indices[row]).fields, seen.snapshots[row]
    tracer = Tracer(run.mesh, seen.laid)
    points, (low, high) = tracer.points, seen.laid.y
    e2 = principal(points.values(fields, "strain"), engineering=True)[1]
    here = (np.abs(points.xy[:, 0]) <= high - low) & (points.xy[:, 1] > low + ZONE * (high - low))
    strain = float(-e2[here].min()) / float(specimen.concrete.precast.peak_strain)
    return {
        "slanting_crack_at_peak_mm": snapshot.hinge.slanting,
        "upright_crack_at_peak_mm": snapshot.hinge.upright,
        "widest_crack_at_peak_mm": max(s.value for s in snapshot.cracks.values()),
        "strain_beside_load_over_peak_strain": strain,
    }


def moved(run: Run, found: ElevationFindings) -> dict[str, Assessment]:
    """The judgement with each of the three numbers of the judge a fifth lower and higher, by what was moved."""
    seen, specimen = trace(run), specimen_of(run)
    row, tracer = found.strength.top_row, Tracer(run.mesh, seen.laid)
    fields = run.step(run.indices[row]).fields
    out = {}
    for what, turned in _turned(seen, row, tracer, fields):
        snapshots = list(seen.snapshots)
        snapshots[row] = replace(snapshots[row], hinge=turned)
        out[what] = assess_elevation(replace(seen, snapshots=tuple(snapshots)), run.mesh, specimen, found.strength)
    return out


def _turned(seen: ElevationTrace, row: int, tracer: Tracer, fields: Fields) -> Iterator[tuple[str, Hinge]]:
    crack = tracer.points.values(fields, "crack")
    for sign in (-1.0, 1.0):
        by, told = 1.0 + sign * MOVED, f"{sign * 100 * MOVED:+.0f} %"
        for what, slant, web in (("slant", by * SLANT, WEB), ("web", SLANT, by * WEB)):
            yield f"{what} {told}", hinge(tracer.points.xy, crack, seen.laid.y, tracer.outside, slant, web)
        plain = seen.snapshots[row].hinge
        yield f"wider {told}", replace(plain, upright=by * max(plain.upright, seen.snapshots[row].joint.value))
