"""Effective width of the concrete that splitting has to tear, in the elevation.

The crack that wedging opens in this plane is horizontal, at bar level: it runs between the bars
and out to the sides, and the cover below lifts off. Over the width of the beam it is not torn
evenly: the rings about the bars split first, through the cover as well. The plane model has one
width only, so each bar is given concrete of b_e = k d_b, found by calibration
(``laws.wedge.effective_width``). It stands for the rings and the plane together, and where bars are
close it may come out wider than the beam: a cap there would take away what the calibration put in.

It acts where the wedge pairs act and nowhere else: along the splice, between the levels of the
gauge points 0.75 d_b below and above the axis, with the bars' own diameters taken off in their
row as ever. Bending tension, the compression zone, the concrete around bends and tails above the
bars and the precast halves keep the full width: the forces there spread over it. A row of
elements that lies partly between the gauges takes part by its share, so the width does not jump
with the mesh.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws.wedge import ANGLE, REFERENCE, effective_width
from fesplice.mesh import LEAD, BarLine, Mesh
from fesplice.specimen.schema import Specimen

#: Half the height of the band, in bar diameters: where the mesh has its gauge points.
GAUGE = 0.75
#: Concrete beside the bars of a row is never thinner than this share of their diameters.
LEAST = 0.1


def spliced(specimen: Specimen) -> float:
    """Half the length [mm] over which main bars wedge: the closure, or the lap of a beam without one; 0 for none."""
    if specimen.bars.splice == "continuous":
        return 0.0
    return 0.5 * (specimen.body.closure or specimen.bars.lap)


def wedging_leads(specimen: Specimen, mesh: Mesh) -> dict[str, np.ndarray]:
    """Bond points (n_e,) that wedge, by bond group: straight leads of main bars inside the splice."""
    half = spliced(specimen)
    found = {}
    for line in mesh.lines.values():
        if line.role == "main" and half > 0.0:
            inside = np.abs(mesh.points[line.nodes, 0]) <= half
            found[line.bond] = inside & (line.zone == LEAD)
    return found


def width_ratios(specimen: Specimen, mesh: Mesh) -> tuple[dict[str, float], list[str]]:
    """k = b_e / d_b of every main line, and remarks where the table does not reach."""
    concrete = specimen.concrete.closure or specimen.concrete.precast
    ratios, remarks = {}, []
    for name, points in wedging_leads(specimen, mesh).items():
        line = next(line for line in mesh.lines.values() if line.bond == name)
        if specimen.bond.effective_width is not None:
            ratios[line.name] = specimen.bond.effective_width
            continue
        data = mesh.groups[name].data
        c_min, c_max = data["cmin"][points].min(), data["cmax"][points].min()
        ratios[line.name], remark = effective_width(line.diameter, c_min, max(c_min, c_max), concrete.strength)
        if remark:
            remarks.append(f"bars {line.name}: {remark}")
    bond = specimen.bond
    if ratios and bond.effective_width is None and (bond.wedge_angle, bond.wedge_opening) != (ANGLE, REFERENCE):
        fitted = f"{ANGLE:g} degrees and {REFERENCE:g} mm"
        remarks.append(f"the table of effective widths was calibrated for {fitted}: its strength no longer holds")
    return ratios, remarks


def narrowed(specimen: Specimen, mesh: Mesh) -> Mesh:
    """The mesh with the effective width in the thickness of its quadrilaterals; the same mesh without wedging."""
    half = spliced(specimen)
    if specimen.bond.splitting != "wedging" or half == 0.0:
        return mesh
    ratios, _ = width_ratios(specimen, mesh)
    lines = [line for line in mesh.lines.values() if line.name in ratios]
    groups = dict(mesh.groups)
    for name, g in mesh.of_kind("quad4").items():
        if g.material == "plate" or (specimen.body.closure > 0.0 and g.material != "closure"):
            continue
        xy = mesh.points[g.cells]
        low, high = xy.min(axis=1), xy.max(axis=1)
        share = np.max([band_share(low, high, _level(mesh, line), line.diameter) for line in lines], axis=0)
        along = _between(low[:, 0], high[:, 0], -half, half)
        taken, wide = np.zeros(len(xy)), np.zeros(len(xy))
        for line in lines:
            x = mesh.points[line.nodes, 0]
            here = _between(low[:, 0], high[:, 0], x.min(), x.max())
            taken += here * line.number * line.diameter
            wide += here * line.number * line.diameter * ratios[line.name]
        wide = np.where(wide > 0.0, wide, specimen.body.width)
        thickness = g.data["thickness"] - share * along * (specimen.body.width - wide)
        thickness = np.maximum(thickness, np.minimum(g.data["thickness"], LEAST * taken))
        groups[name] = replace(g, data={**g.data, "thickness": thickness})
    return replace(mesh, groups=groups)


def band_share(low: Floats, high: Floats, level: float, diameter: float) -> Floats:
    """Share 0..1 of each element from corner ``low`` to ``high`` (n_e, 2) between the gauges of bars at ``level``."""
    return _between(low[:, 1], high[:, 1], level - GAUGE * diameter, level + GAUGE * diameter)


def _level(mesh: Mesh, line: BarLine) -> float:
    return float(mesh.points[line.nodes[line.zone == LEAD], 1].mean())


def _between(low: Floats, high: Floats, start: float, end: float) -> Floats:
    """Share 0..1 of each stretch low..high that lies between ``start`` and ``end``."""
    return np.clip((np.minimum(high, end) - np.maximum(low, start)) / (high - low), 0.0, 1.0)
