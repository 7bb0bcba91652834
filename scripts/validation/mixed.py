"""Cracks that must turn: the single-edge-notched shear beam of Arrea & Ingraffea and the L-panel of Winkler."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.algebra import principal_strain
from fesplice.contracts import Floats, State
from fesplice.laws import Elastic, SmearedCrack
from fesplice.model.assembly import Model
from validation import shapes

STEEL = Elastic(200e3, 0.3)
PLATE, THICK = 40.0, 20.0


def shear_beam(law: SmearedCrack, size: float, free: bool) -> tuple[Model, shapes.Shape]:
    """Beam 1322 x 306 x 156 mm, notch 82 mm from the soffit; F at 61 mm right of it, 0.13 F at 458 mm left,

    supports at 61 mm left and 458 mm right. Dimensions from memory (Arrea & Ingraffea 1982, series B).
    Read-outs ``mouth`` (sliding of the mouth, right face down) and ``work``.
    """
    half, d, a = 661.0, 306.0, 82.0
    plates = {"load": (61.0, d), "lever": (-458.0, d), "near": (-61.0, 0.0), "far": (458.0, 0.0)}
    p = 0.5 * PLATE
    slit = 5.0 if free else size
    s = 0.5 * slit
    fine = ((-100.0, 120.0), (60.0, d))
    if free:
        ring = [(-half, 0.0)]
        ring += [(-61.0 - p, 0.0), (-61.0, 0.0), (-61.0 + p, 0.0)]
        ring += [(-s, 0.0), (-s, a), (s, a), (s, 0.0)]
        ring += [(458.0 - p, 0.0), (458.0, 0.0), (458.0 + p, 0.0), (half, 0.0), (half, d)]
        for x in (61.0, -458.0):
            ring += [(x + p, d), (x, d), (x - p, d)]
        ring += [(-half, d)]
        polygons = {"beam": ring}
        for name, (x, y) in plates.items():
            out = y + (THICK if y > 0.0 else -THICK)
            polygons[name] = [(x - p, y), (x, y), (x + p, y), (x + p, out), (x, out), (x - p, out)]
        shape = shapes.free(polygons, [fine], size, 40.0)
    else:
        stops = sorted({-half, -s, s, half, *(x + k * p for x, _ in plates.values() for k in (-1, 0, 1))})
        x = shapes.ticks(stops, fine[0], size, 40.0)
        rows = max(1, round(a / size)), round((d - a) / size)
        inside = np.linspace(0.0, a, rows[0] + 1)[:-1], np.linspace(a, d, rows[1] + 1)
        y = np.concatenate([[-THICK], *inside, [d + THICK]])
        parts = {"beam": [((-half, half), (a, d)), ((-half, -s), (0.0, a)), ((s, half), (0.0, a))]}
        for name, (at, level) in plates.items():
            parts[name] = [((at - p, at + p), (level, level + THICK) if level > 0.0 else (-THICK, 0.0))]
        shape = shapes.grid(x, y, parts)
    mesh = shape.mesh(156.0)
    n = 2 * len(shape.points)
    near, far = shape.at(-61.0, -THICK), shape.at(458.0, -THICK)
    f = np.zeros(n)
    f[2 * shape.at(61.0, d + THICK) + 1] = -1.0
    f[2 * shape.at(-458.0, d + THICK) + 1] = -0.13
    mouth = np.zeros(n)
    mouth[2 * shape.at(-s, 0.0) + 1], mouth[2 * shape.at(s, 0.0) + 1] = 1.0, -1.0
    laws = {name: law if name.startswith("beam") else STEEL for name in mesh.groups}
    fixed = np.array([2 * near, 2 * near + 1, 2 * far + 1])
    return Model(mesh, laws, fixed, f, watch={"mouth": mouth, "work": f}), shape


def l_panel(law: SmearedCrack, size: float, free: bool) -> tuple[Model, shapes.Shape]:
    """L of 500 mm with legs of 250 mm, 100 mm thick, held at the foot, lifted 30 mm from the end of its arm

    (Winkler 2001, from memory). Read-outs ``mouth`` (opening between two points 25 mm from the corner,
    one on each side of it) and ``work``.
    """
    fine = ((0.0, 270.0), (180.0, 400.0))
    if free:
        ring = [(0.0, 0.0), (250.0, 0.0), *((x, 250.0) for x in (250.0, 460.0, 470.0, 480.0, 500.0))]
        ring += [(500.0, 500.0), (0.0, 500.0)]
        shape = shapes.free({"panel": ring}, [fine], size, 25.0)
    else:
        x = shapes.ticks([0.0, 250.0, 460.0, 470.0, 480.0, 500.0], fine[0], size, 25.0)
        y = shapes.ticks([0.0, 250.0, 500.0], fine[1], size, 25.0)
        shape = shapes.grid(x, y, {"panel": [((0.0, 250.0), (0.0, 500.0)), ((250.0, 500.0), (250.0, 500.0))]})
    mesh = shape.mesh(100.0)
    n = 2 * len(shape.points)
    foot, lifted = shape.on((0.0, 250.0), (0.0, 0.0)), shape.on((460.0, 480.0), (250.0, 250.0))
    f = np.zeros(n)
    f[2 * lifted + 1] = 1.0 / len(lifted)
    mouth = np.zeros(n)
    for node, sign in ((shape.at(275.0, 250.0), 1.0), (shape.at(250.0, 225.0), -1.0)):
        mouth[[2 * node, 2 * node + 1]] = sign / np.sqrt(2.0)
    fixed = np.concatenate([2 * foot, 2 * foot + 1])
    return Model(mesh, dict.fromkeys(mesh.groups, law), fixed, f, watch={"mouth": mouth, "work": f}), shape


@dataclass(frozen=True)
class Crack:
    """Points (n, 2) of a crack [mm], in the order of their distance from its start, and its angle there.

    ``angle`` [degrees] is that of the chord from the start to the end, counter-clockwise from x.
    """

    points: Floats
    angle: float

    @property
    def end(self) -> tuple[float, float]:
        """The furthest point [mm]."""
        return float(self.points[-1, 0]), float(self.points[-1, 1])

    def text(self, every: float) -> str:
        """Points about ``every`` mm apart, for the table."""
        kept = [self.points[0]]
        for p in self.points[1:]:
            if np.hypot(*(p - kept[-1])) >= every:
                kept.append(p)
        return " ".join(f"({x:.0f},{y:.0f})" for x, y in kept)


def crack(
    m: Model, shape: shapes.Shape, law: SmearedCrack, state: State, start: tuple[float, float], along: int, width: float
) -> Crack:
    """The crack as the middle of the widest band of cracked points in slices ``width`` across direction ``along``.

    A slice counts where the crack has opened by more than G_F/f_t, a fifth of the whole softening.
    """
    full = m.expand(state.u)
    xy, e1, band = [], [], []
    for part in m.parts:
        if part.law is not law:
            continue
        cells = m.mesh.groups[part.name].cells
        nodes = shape.points[cells]
        major = principal_strain(part.strain(full))[0].mean(axis=1)
        xy.append(nodes.mean(axis=1))
        e1.append(major)
        band.append(state.history[part.name]["band"][..., 0].max(axis=1))
    xy, e1, band = np.concatenate(xy), np.concatenate(e1), np.concatenate(band)
    opening = e1 * band
    open_enough = law.fracture_energy / law.tensile_strength
    slot = np.floor((xy[:, along] - start[along]) / width).astype(int)
    out = [np.array(start)]
    for k in sorted(set(slot), key=lambda k: abs(k + 0.5)):
        inside = slot == k
        if not (opening[inside] > open_enough).any():
            continue
        top = np.flatnonzero(inside)[opening[inside].argmax()]
        near = inside & (np.abs(xy[:, 1 - along] - xy[top, 1 - along]) < 2.0 * width)
        out.append(np.average(xy[near], axis=0, weights=np.maximum(opening[near], 0.0)))
    points = np.array(out)
    d = points[-1] - points[0]
    return Crack(points, float(np.degrees(np.arctan2(d[1], d[0]))))
