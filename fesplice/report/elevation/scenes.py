"""The splice in space: the deformed rear half of the beam, cut open at its middle, and the bars before it.

The only importer of pyvista. Pictures are made off-screen; letters and colour bars are added as in
every other figure. The analysis is plane: every bar of a line carries the same stress, and the
concrete does not vary across the width.
"""

from __future__ import annotations

import ctypes.util
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.geometry import bars
from fesplice.mesh import BarLine
from fesplice.post.elevation.bars import profile
from fesplice.report import style
from fesplice.report.cracks import CLASSES, classes, colours, openings
from fesplice.report.elevation.beam import beam_of
from fesplice.report.view import LeftOut, View

#: Largest shown displacement within the window as a share of the depth.
_SHOWN = 0.05
# What VTK says where there is no X server, before it goes on without one.
_HARMLESS = ("bad X server connection", "DISPLAY=")


def deformed(view: View, folder: Path) -> list[Path]:
    """Deformed splice with crack openings on the cut and bars coloured by their stress.

    Raises :class:`LeftOut` when the machine has no library to render with.
    """
    beam = beam_of(view)
    stage = beam.leading()
    fields, mesh = view.fields(stage.step), view.run.mesh
    x, y = beam.closure, beam.laid.y
    depth = y[1] - y[0]
    u = view.run.step(stage.step).displacements(len(mesh.points))
    # Bars and concrete sink together; what matters here is how they part.
    near = np.abs(mesh.points[:, 0]) <= max(map(abs, x))
    moved = u - u[near].mean(axis=0)
    scale = style.nice(_SHOWN * depth / max(float(np.abs(moved[near]).max()), 1e-9))
    seen = view.elements.inside(x)
    opening = openings(view, stage)[seen]
    tubes = _tubes(view, fields, mesh.points + scale * moved, x)
    least, most = -view.over(lambda v: -float(_stresses(v).min())), view.over(lambda v: float(_stresses(v).max()))
    limits = -style.ceiling(-least) if least < -1.0 else 0.0, style.ceiling(max(most, 1.0))
    picture = _render(_solid(view, mesh.points + scale * moved, seen), classes(opening) + 1, tubes, limits, (*x, *y))
    tall = 0.86 * style.WIDE * picture.shape[0] / picture.shape[1]
    with style.sheet(style.WIDE, tall + 19.0) as figure:
        parts = figure.subplot_mosaic([["scene", "scene"], ["cracks", "stress"]], height_ratios=[tall, 3.2])
        parts["scene"].imshow(picture, interpolation="antialiased")
        parts["scene"].set_axis_off()
        parts["scene"].set_title(f"{stage.title}; displacements × {scale:g}")
        _class_bar(figure, parts["cracks"])
        _bar(figure, parts["stress"], limits, style.cool(), "bar stress (MPa)")
        centre = view.elements.centre[seen]
        tables = {
            "cracks": {"x_mm": centre[:, 0], "y_mm": centre[:, 1], "opening_mm": opening},
            "bars": _table(tubes),
        }
        return style.save(figure, folder, "scene", tables)


def _bar(figure: Any, axes: Any, limits: tuple[float, float], cmap: Any, label: str, **options: Any) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    shown = ScalarMappable(Normalize(*limits), cmap)
    style.colour_bar(figure, shown, None, label, cax=axes, orientation="horizontal", **options)


def _class_bar(figure: Any, axes: Any) -> None:
    """The classes of opening in their colours, each named by the opening from which it counts."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import BoundaryNorm, ListedColormap

    n = len(CLASSES)
    shown = ScalarMappable(BoundaryNorm(range(n + 1), n), ListedColormap(colours()))
    bar = style.colour_bar(figure, shown, None, "crack open (mm) from", cax=axes, orientation="horizontal")
    bar.set_ticks(range(n), labels=[f"{low:g}" for low in CLASSES])


# ------------------------------------------------------------------ bodies
Tube = tuple[str, Floats, Floats, float]  # line, points (n, 3) [mm], stress (n,) [MPa], diameter [mm]


def _solid(view: View, points: Floats, seen: np.ndarray) -> tuple[Floats, np.ndarray]:
    """Rear half of the concrete: points (n, 3) and hexahedra (m, 8), the cut face in front at z = 0."""
    mesh = view.run.mesh
    blocks = []
    for name in view.points.names:
        cells = mesh.groups[name].cells
        blocks.append(cells if cells.shape[1] == 4 else np.column_stack([cells, cells[:, -1]]))
    quads = np.concatenate(blocks)[seen]
    used, place = np.unique(quads, return_inverse=True)
    place = place.reshape(quads.shape)
    rear = np.column_stack([points[used], np.full(len(used), -0.5 * view.specimen.body.width)])
    front = np.column_stack([points[used], np.zeros(len(used))])
    return np.concatenate([rear, front]), np.concatenate([place, place + len(used)], axis=1)


def _stresses(view: View) -> Floats:
    """Bar stresses of the scene [MPa]."""
    beam = beam_of(view)
    tubes = _tubes(view, view.fields(beam.leading().step), view.run.mesh.points, beam.closure)
    return np.concatenate([t[2] for t in tubes]) if tubes else np.zeros(1)


def _tubes(view: View, fields: Any, points: Floats, x: tuple[float, float]) -> list[Tube]:
    """Bars in the front half, at their own distance from the middle plane, cut at the window."""
    mesh, found = view.run.mesh, []
    for name, line in mesh.lines.items():
        xy = points[line.nodes]
        inside = (mesh.points[line.nodes, 0] >= x[0]) & (mesh.points[line.nodes, 0] <= x[1])
        if inside.sum() < 2:
            continue
        stress = profile(mesh, fields, name).at_nodes
        for z in _places(view, line):
            centre = np.column_stack([xy[inside], np.full(int(inside.sum()), z)])
            found.append((name, centre, stress[inside], line.diameter))
    return found


def _places(view: View, line: BarLine) -> list[float]:
    """Distances of a line's front bars from the middle plane [mm]."""
    s, half = view.specimen, 0.5 * view.specimen.body.width
    if line.role == "main":
        row = s.bars.left if line.name == "A" else s.bars.right
        places = list(row.positions) if row is not None else []
    elif line.role == "compression":
        places = list(bars.compression_across(s))
    else:
        holder = s.stirrups if line.role == "stirrup" else s.confinement
        legs = (half, holder.cover, line.diameter, line.number) if holder is not None else (half, 0.0, 0.0, 1)
        places = bars.leg_positions(2.0 * legs[0], *legs[1:]).tolist()
    return [float(z) for z in places if z > 0.0]


def _table(tubes: list[Tube]) -> dict[str, Any]:
    counts = [len(t[1]) for t in tubes]
    at = np.concatenate([t[1] for t in tubes]) if tubes else np.zeros((0, 3))
    return {
        "line": np.repeat([t[0] for t in tubes], counts),
        "shown_x_mm": at[:, 0], "shown_y_mm": at[:, 1], "z_mm": at[:, 2],
        "stress_MPa": np.concatenate([t[2] for t in tubes]) if tubes else np.zeros(0),
    }  # fmt: skip


# ------------------------------------------------------------------ rendering
def _render(
    solid: tuple[Floats, np.ndarray],
    shade: np.ndarray,
    tubes: list[Tube],
    limits: tuple[float, float],
    box: tuple[float, float, float, float],
) -> np.ndarray:
    """The scene as an image (rows, columns, 3), cut to what is shown."""
    if reason := unavailable():
        raise LeftOut(reason)
    with _quiet():
        import pyvista

        plotter: Any = pyvista.Plotter(off_screen=True, window_size=[1440, 1080], lighting="none")
        points, cells = solid
        grid = pyvista.UnstructuredGrid({pyvista.CellType.HEXAHEDRON: cells}, points)
        fours = np.full((len(cells), 1), 4)
        face = pyvista.PolyData(points, np.hstack([fours, cells[:, 4:]]).ravel())
        face.cell_data["shade"] = shade
        try:
            plotter.set_background("white")
            skin: Any = grid.extract_surface(algorithm="dataset_surface")
            plotter.add_mesh(skin, color="#e9e7e1", ambient=0.6, diffuse=0.5, specular=0.0)
            edges = skin.extract_feature_edges(60.0).translate((0.0, 0.0, 1.0))
            plotter.add_mesh(edges, color="#5c5c5c", line_width=1.2, lighting=False)
            # The cut shows numbers, so no light may change its colours; it lies a hair before the body.
            face = face.translate((0.0, 0.0, 0.5))
            bare = {"lighting": False, "show_scalar_bar": False}
            paint = [style.CONCRETE, *colours()]
            plotter.add_mesh(face, scalars="shade", cmap=paint, clim=(-0.5, len(CLASSES) + 0.5), **bare)
            lit = {"ambient": 0.5, "diffuse": 0.55, "specular": 0.3, "specular_power": 20.0, "show_scalar_bar": False}
            for _, centre, stress, diameter in tubes:
                line = pyvista.PolyData(centre, lines=np.r_[len(centre), np.arange(len(centre))])
                line["stress"] = stress
                tube = line.tube(radius=0.5 * diameter, n_sides=24)
                plotter.add_mesh(tube, scalars="stress", cmap=style.cool(), clim=limits, smooth_shading=True, **lit)
            _look(plotter, pyvista, box)
            image = plotter.screenshot(return_img=True)
        finally:
            plotter.close()
    return _cropped(np.asarray(image)[..., :3])


def _look(plotter: Any, pyvista: Any, box: tuple[float, float, float, float]) -> None:
    """Parallel view from the front, a little from the right and above, with light over the left shoulder."""
    x0, x1, y0, y1 = box
    centre = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1), 0.0])
    towards = np.array([0.32, 0.30, 1.0])
    plotter.camera_position = [tuple(centre + 5e3 * towards), tuple(centre), (0.0, 1.0, 0.0)]
    plotter.enable_parallel_projection()
    plotter.reset_camera()
    plotter.camera.zoom(1.15)
    for place, strength in (((-0.6, 1.0, 1.2), 0.75), ((1.0, 0.4, 0.8), 0.35)):
        at = tuple(centre + 5e3 * np.array(place))
        plotter.add_light(pyvista.Light(position=at, focal_point=tuple(centre), intensity=strength))
    plotter.enable_anti_aliasing("ssaa")


def _cropped(image: np.ndarray, margin: int = 12) -> np.ndarray:
    ink = image.min(axis=2) < 250
    rows, columns = np.flatnonzero(ink.max(axis=1)), np.flatnonzero(ink.max(axis=0))
    if not len(rows):
        return image
    top, left = max(rows[0] - margin, 0), max(columns[0] - margin, 0)
    return image[top : rows[-1] + margin, left : columns[-1] + margin]


def unavailable() -> str:
    """Why no scene can be rendered here; empty when it can. VTK ends the process when it finds no library."""
    if sys.platform.startswith("linux") and not any(ctypes.util.find_library(n) for n in ("EGL", "OSMesa")):
        return "neither libEGL nor OSMesa is installed (Debian: apt-get install libegl1)"
    return ""


@contextmanager
def _quiet() -> Iterator[None]:
    """Hold back VTK's complaint about a missing X server, written below Python; pass on everything else."""
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as caught:
        os.dup2(caught.fileno(), 2)
        try:
            yield
        finally:
            sys.stderr.flush()
            os.dup2(kept, 2)
            os.close(kept)
            caught.seek(0)
            said = caught.read().decode("utf-8", "replace").splitlines()
            rest = [line for line in said if line.strip() and not any(word in line for word in _HARMLESS)]
            if rest:
                sys.stderr.write("\n".join(rest) + "\n")
