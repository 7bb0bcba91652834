"""A run as VTU files for any general viewer, with a collection (PVD) that plays them as a series.

Two files per step, so that no cell carries a quantity that has no meaning for it:
``concrete_000001.vtu`` (quadrilaterals and triangles) and ``bars_000001.vtu`` (bar lines).
Units stand in the names of the arrays; the time of the series is the step number.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import quoteattr

import numpy as np

from fesplice.contracts import Floats, FolderFault, Ints
from fesplice.mesh import BarLine, Mesh
from fesplice.store.folder import EXPORT, PARTIAL, reason, write_whole
from fesplice.store.run import Run, StepFields, believing

if TYPE_CHECKING:
    import meshio

COLLECTION = "run.pvd"

_FLAT = {"quad4": "quad", "tri3": "triangle"}
_BOND = {"slip": "slip_mm", "gap": "gap_mm", "tau": "bond_stress_MPa", "bearing": "bearing_N_per_mm"}


@believing
def export(run: Run, steps: Literal["all"] | int | Iterable[int] = "all") -> Path:
    """Write ``steps`` of ``run`` (numbers, negative from the last, or all) and answer the collection's path.

    Concrete, per point: displacement and reaction vectors. Per cell, means over its integration
    points: stress and strain components, principal stresses, principal tensile strain, crack
    width (crack strain times band width), angle of the crack's normal from the beam axis (NaN
    where there is no crack), a vector along the crack as long as it is wide, and ``part``, the
    number of the cell's group in the mesh. Bars, per point: displacement, arc length, zone, and
    from the bond slip, gap, bond stress and bearing (NaN where a line has no bond). Per cell:
    stress, strain, moment (0 in bars without bending), diameter, area, ``line``.

    A quantity the run does not hold is left out. Raises :class:`FolderFault` when a step is not
    stored or the disk refuses.
    """
    wanted = run.indices if isinstance(steps, str) else [steps] if isinstance(steps, int) else list(steps)
    chosen = sorted({run.step(index).index for index in wanted})
    if not chosen:
        raise FolderFault(str(run.folder), "no step to export")
    folder = run.folder / EXPORT
    mesh = run.mesh
    parts: list[tuple[int, str, str]] = []
    try:
        folder.mkdir(exist_ok=True)
        for step in (run.step(index) for index in chosen):
            for name, grid in (("concrete", _concrete(mesh, step)), ("bars", _bars(mesh, step))):
                if grid is not None:
                    file = f"{name}_{step.index:06d}.vtu"
                    _write(folder / file, *grid)
                    parts.append((step.index, name, file))
        write_whole(folder / COLLECTION, collection(run.specimen_name, parts).encode("utf-8"))
    except OSError as error:
        raise FolderFault(str(folder), f"cannot be written: {reason(error)}") from error
    return folder / COLLECTION


def grids(run: Run, step: int) -> dict[str, meshio.Mesh]:
    """The parts ``concrete`` and ``bars`` of a step (negative: from the last) as :func:`export` writes them.

    Raises :class:`FolderFault` for a step that is not stored.
    """
    import meshio

    mesh, fields = run.mesh, run.step(step)
    found = {"concrete": _concrete(mesh, fields), "bars": _bars(mesh, fields)}
    return {
        name: meshio.Mesh(points, cells, point_data=of_points, cell_data=of_cells)
        for name, (points, cells, of_points, of_cells) in ((n, g) for n, g in found.items() if g is not None)
    }


def collection(title: str, parts: Iterable[tuple[int, str, str]]) -> str:
    """PVD text naming ``parts``: step number, name of the part, file beside the collection."""
    names: list[str] = []
    lines = []
    for step, name, file in parts:
        if name not in names:
            names.append(name)
        number = names.index(name)
        lines.append(
            f'    <DataSet timestep="{step}" group="" part="{number}" name={_attribute(name)} file={_attribute(file)}/>'
        )
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<VTKFile type="Collection" version="0.1">\n'
    return f"{head}  <Collection title={_attribute(title)}>\n" + "\n".join(lines) + "\n  </Collection>\n</VTKFile>\n"


def _attribute(text: str) -> str:
    # XML 1.0 has no way at all to write control characters and lone surrogates.
    return quoteattr(re.sub("[\x00-\x1f\x7f\ud800-\udfff\ufffe\uffff]", " ", text))


# ------------------------------------------------------------------ grids
# Points (n, 3), cells by kind, point data, and cell data with one array per kind of cell.
Grid = tuple[Floats, list[Any], dict[str, Any], dict[str, Any]]


def _concrete(mesh: Mesh, step: StepFields) -> Grid | None:
    numbers = {name: k for k, name in enumerate(mesh.groups)}
    groups = {name: g for name, g in mesh.of_kind(*_FLAT).items() if len(g.cells)}
    if not groups:
        return None
    used, place = _renumber(len(mesh.points), [g.cells for g in groups.values()])
    cells, data = [], []
    for name, group in groups.items():
        n = len(group.cells)
        cells.append((_FLAT[group.kind], place[group.cells]))
        columns = {"part": np.full(n, numbers[name], np.int32), **_cell_means(step.of(name), n)}
        if "thickness" in group.data:
            columns["thickness_mm"] = np.asarray(group.data["thickness"], np.float32)
        data.append(columns)
    points = {"displacement_mm": _vectors(step.displacements(len(mesh.points))[used])}
    reactions = step.fields.get("reactions")
    if reactions is not None and len(reactions) >= 2 * len(mesh.points):
        points["reaction_N"] = _vectors(reactions[: 2 * len(mesh.points)].reshape(-1, 2)[used])
    return _vectors(mesh.points[used]), cells, points, _by_block(data, [len(block) for _, block in cells])


def _cell_means(of: Mapping[str, np.ndarray], n: int) -> dict[str, np.ndarray]:
    """Means over the integration points of a group's ``n`` cells, as single-precision columns."""
    columns = {}
    if "stress" in of:
        xx, yy, xy = np.asarray(of["stress"], np.float64).mean(axis=1).T
        major, minor = _principal(xx, yy, xy)
        columns |= {"stress_xx_MPa": xx, "stress_yy_MPa": yy, "stress_xy_MPa": xy}
        columns |= {"principal_tension_MPa": major, "principal_compression_MPa": minor}
    if "strain" in of:
        xx, yy, xy = np.asarray(of["strain"], np.float64).mean(axis=1).T
        columns |= {"strain_xx": xx, "strain_yy": yy, "shear_strain_xy": xy}
        columns["principal_tensile_strain"] = _principal(xx, yy, xy / 2)[0]
    if "crack" in of:
        opening, angle, band = np.moveaxis(np.asarray(of["crack"], np.float64), -1, 0)
        width = opening * band
        # An angle and its opposite are one normal: directions are averaged at twice their angle.
        cosine, sine = (np.mean(width * f(2 * angle), axis=1) for f in (np.cos, np.sin))
        width = np.mean(width, axis=1)
        normal = np.where(width > 0, 0.5 * np.arctan2(sine, cosine), np.nan)
        along = np.nan_to_num(width[:, None] * np.stack([-np.sin(normal), np.cos(normal)], axis=1))
        columns |= {"crack_width_mm": width, "crack_normal_deg": np.degrees(normal), "crack_mm": _vectors(along)}
    return {name: np.asarray(values, np.float32) for name, values in columns.items() if len(values) == n}


def _bars(mesh: Mesh, step: StepFields) -> Grid | None:
    lines = [line for line in mesh.lines.values() if any(len(mesh.groups[g].cells) for g in line.groups)]
    if not lines:
        return None
    nodes = np.concatenate([line.nodes for line in lines])
    start = 0
    cells, cell_columns, point_columns = [], [], []
    for number, line in enumerate(lines):
        # Points keep the line's own order, so that a profile can be plotted straight from the file.
        place = np.full(len(mesh.points), -1, np.int64)
        place[line.nodes] = start + np.arange(len(line.nodes))
        for name in line.groups:
            block = place[mesh.groups[name].cells]
            if (block < 0).any():
                raise FolderFault("mesh", f"group {name} has nodes outside its line {line.name}")
            if len(block):
                cells.append(("line", block))
                cell_columns.append(_bar_cells(step.of(name), len(block), number, line))
        point_columns.append(_bar_points(step.of(line.bond), line))
        start += len(line.nodes)
    points = _by_block(point_columns, [len(line.nodes) for line in lines])
    joined = {name: np.concatenate(parts) for name, parts in points.items()}
    joined["displacement_mm"] = _vectors(step.displacements(len(mesh.points))[nodes])
    data = _by_block(cell_columns, [len(block) for _, block in cells])
    return _vectors(mesh.points[nodes]), cells, joined, data


def _bar_cells(of: Mapping[str, np.ndarray], n: int, number: int, line: BarLine) -> dict[str, np.ndarray]:
    columns = {
        "line": np.full(n, number, np.int32),
        "diameter_mm": np.full(n, line.diameter, np.float32),
        "area_mm2": np.full(n, line.area, np.float32),
        "moment_Nmm": np.zeros(n, np.float32),
    }
    for quantity, name in (("stress", "stress_MPa"), ("strain", "strain"), ("moment", "moment_Nmm")):
        if len(values := of.get(quantity, ())) == n:
            columns[name] = np.asarray(values, np.float32)
    return columns


def _bar_points(of: Mapping[str, np.ndarray], line: BarLine) -> dict[str, np.ndarray]:
    columns = {"arc_mm": np.asarray(line.arc, np.float32), "zone": np.asarray(line.zone, np.int32)}
    for quantity, name in _BOND.items():
        if len(values := of.get(quantity, ())) == len(line.nodes):
            columns[name] = np.asarray(values, np.float32)
    return columns


# ------------------------------------------------------------------ small tools
def _principal(xx: Floats, yy: Floats, xy: Floats) -> tuple[Floats, Floats]:
    centre, radius = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return centre + radius, centre - radius


def _vectors(plane: Floats) -> Floats:
    """Plane vectors (n, 2) as space vectors (n, 3): viewers know no others."""
    return np.column_stack([plane, np.zeros(len(plane))])


def _renumber(n_points: int, cells: list[Ints]) -> tuple[np.ndarray, np.ndarray]:
    """Points used by ``cells`` and, for every old number, its place among them."""
    used = np.unique(np.concatenate([block.ravel() for block in cells]))
    place = np.full(n_points, -1, np.int64)
    place[used] = np.arange(len(used))
    return used, place


def _by_block(columns: list[dict[str, np.ndarray]], sizes: list[int]) -> dict[str, list[np.ndarray]]:
    """Columns of all blocks by name; a block that lacks one gets NaN there."""
    first: dict[str, np.ndarray] = {}
    for block in columns:
        first = block | first
    return {
        name: [
            block[name] if name in block else np.full((n, *like.shape[1:]), np.nan, np.float32)
            for block, n in zip(columns, sizes)
        ]
        for name, like in first.items()
    }


def _write(
    path: Path,
    points: Floats,
    cells: list[Any],
    point_data: dict[str, Any],
    cell_data: dict[str, Any],
) -> None:
    import meshio

    partial = path.with_name(path.name + PARTIAL)
    try:
        meshio.write(partial, meshio.Mesh(points, cells, point_data=point_data, cell_data=cell_data), file_format="vtu")
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)


def read_points(path: Path) -> tuple[Floats, dict[str, Floats]]:
    """Points (n, 3) of a VTU and their fields by name, as they stand there.

    A damaged file raises whatever its reader does.
    """
    import meshio

    found = meshio.vtu.read(str(path))
    return found.points, {name: np.asarray(values, float) for name, values in found.point_data.items()}
