"""What was seen in a test: cracks traced as polylines, frames of image correlation, photographs with their scale.

Cracks: CSV, a line for each point, columns ``face``, ``crack``, ``x``, ``y`` (grid of the face) and where known
``load``, ``width``; or an SVG drawing (:mod:`fesplice.measured.traced`). Frames: CSV of one instant, ``x``, ``y``,
``u``, ``v`` or ``exx``, ``eyy``, ``exy`` (engineering shear is twice ``exy``); or VTU with such fields of points, or
with a vector ``u`` or ``displacement``. Photographs are kept with their digest and are not looked into.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fesplice.contracts import Fault, Floats, InputFault
from fesplice.measured import traced
from fesplice.measured.log import digest
from fesplice.measured.record import Crack, Frame, Photograph
from fesplice.measured.rig import CrackFile, FrameFile, PhotographFile
from fesplice.measured.tables import LARGEST, read_rows
from fesplice.measured.units import unit_factor
from fesplice.store.export import read_points
from fesplice.store.folder import reason

#: What a frame may hold of each point.
FIELDS = ("x", "y", "u", "v", "exx", "eyy", "exy")
FACES = ("N", "S", "E", "W", "top", "tension", "compression", "left", "right")


def read_cracks(place: Path, given: CrackFile) -> tuple[Crack, ...]:
    """Polylines of a tracing, in the order of the file; length [mm], widest point [mm], load per ram [N]."""
    path = place / given.file
    return _drawn(path, given) if path.suffix.lower() == ".svg" else _tabled(path)


def _tabled(path: Path) -> tuple[Crack, ...]:
    needed = {"face": "", "crack": "", "x": "length", "y": "length"}
    rows = read_rows(path, needed, {"load": "force", "width": "length"})
    found: dict[tuple[str, str, float], list[dict]] = {}
    for row in rows:
        _known(path, "face", str(row["face"]))
        load = float(row["load"])
        found.setdefault((str(row["face"]), str(row["crack"]), -1.0 if math.isnan(load) else load), []).append(row)
    out = []
    for (face, name, load), points in found.items():
        xy = np.array([(p["x"], p["y"]) for p in points], float)
        widths = [float(p["width"]) for p in points if math.isfinite(float(p["width"]))]
        out.append(_crack(face, name, load if load >= 0.0 else math.nan, xy, max(widths, default=math.nan)))
    return tuple(out)


def _drawn(path: Path, given: CrackFile) -> tuple[Crack, ...]:
    out = []
    for k, (points, said) in enumerate(traced.polylines(path), start=1):
        face = said.get("face", "") if said.get("face", "") in FACES else given.face
        _known(path, "face", face)
        xy = given.scale * (points - np.array(given.origin)) * np.array([1.0, -1.0])
        load, width = (
            traced.value(path, said.get(key, ""), kind, key) for key, kind in (("load", "force"), ("width", "length"))
        )
        out.append(_crack(face, said["id"] or str(k), load, xy, width))
    if not out:
        raise InputFault(str(path), "holds no polyline, line or path")
    return tuple(out)


def _known(path: Path, key: str, face: str) -> None:
    if face not in FACES:
        raise InputFault(str(path), [Fault(key, face or None, f"allowed: {', '.join(FACES)}")])


def _crack(face: str, name: str, load: float, xy: Floats, width: float) -> Crack:
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum()) if len(xy) > 1 else 0.0
    along = xy[-1] - xy[0]
    angle = math.degrees(math.atan2(along[1], along[0])) % 180.0 if length > 0.0 else math.nan
    return Crack(face, name, load, tuple((float(x), float(y)) for x, y in xy), length, angle, width)


def read_frame(place: Path, frame: FrameFile) -> Frame:
    """One frame: number of points, its extent, largest principal strain where strains are given."""
    path = place / frame.file
    table = _points(path, frame.unit) if path.suffix.lower() == ".vtu" else _rows(path)
    n = len(table["x"])
    if not n:
        raise InputFault(str(path), "holds no point")
    middle, half = 0.5 * (table["exx"] + table["eyy"]), 0.5 * (table["exx"] - table["eyy"])
    principal = middle + np.hypot(half, table["exy"])
    strain = float(np.nanmax(principal)) if np.isfinite(principal).any() else math.nan
    moved = np.hypot(table["u"], table["v"])
    return Frame(
        frame.file, digest(path), frame.face, frame.time, n,
        (float(table["x"].min()), float(table["x"].max()), float(table["y"].min()), float(table["y"].max())),
        float(np.nanmax(moved)) if np.isfinite(moved).any() else math.nan, strain,
    )  # fmt: skip


def _rows(path: Path) -> dict[str, Floats]:
    lengths = {"x": "length", "y": "length"}
    rows = read_rows(
        path, lengths, {"u": "length", "v": "length", "exx": "strain", "eyy": "strain", "exy": "strain"}
    )  # fmt: skip
    return {k: np.array([float(r[k]) for r in rows]) for k in FIELDS}


def _points(path: Path, unit: str) -> dict[str, Floats]:
    """Points and their fields of a VTU; lengths in ``unit``, nan where a field is not there."""
    if not path.is_file():
        raise InputFault(str(path), "no such file" if not path.exists() else "is not a file")
    if path.stat().st_size > LARGEST:
        raise InputFault(str(path), f"too large for a frame (limit {LARGEST / 1e6:.0f} MB)")
    try:
        at, fields = read_points(path)
        n, per = len(at), unit_factor(unit, "length")
        held = {name.lower(): values for name, values in fields.items()}
        vector = next((held[name] for name in ("u", "displacement") if held.get(name, np.zeros(0)).ndim == 2), None)
        if vector is not None:
            held |= {"u": vector[:, 0], "v": vector[:, 1]}
        none = np.full(n, math.nan)
        out = {k: held.get(k, none).reshape(n) * (per if k in "uv" else 1.0) for k in FIELDS[2:]}
        return {"x": at[:, 0] * per, "y": at[:, 1] * per} | out
    # what a reader of somebody else raises for a damaged file is not told
    except Exception as error:
        raise InputFault(str(path), f"cannot be read as VTU: {type(error).__name__} {reason(error)}"[:300]) from error


def photographs_of(place: Path, files: Sequence[PhotographFile]) -> tuple[Photograph, ...]:
    """Photographs: file, digest, face, time and what a pixel counts on the face [mm]."""
    return tuple(Photograph(p.file, digest(place / p.file), p.face, p.time, p.scale, p.note) for p in files)
