"""What was seen in a test: cracks traced as polylines, frames of image correlation, photographs with their scale.

Cracks: CSV, a line for each point, columns ``face``, ``crack``, ``x``, ``y`` (grid of the face) and where known
``load``, ``width``. Frames: CSV of one instant, ``x``, ``y``, ``u``, ``v`` or ``exx``, ``eyy``, ``exy`` (engineering
shear is twice ``exy``). Photographs are kept with their digest and are not looked into.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fesplice.contracts import Fault, InputFault
from fesplice.measured.log import digest
from fesplice.measured.record import Crack, Frame, Photograph
from fesplice.measured.rig import FrameFile, PhotographFile
from fesplice.measured.tables import read_rows

FACES = ("N", "S", "E", "W", "top", "tension", "compression", "left", "right")


def read_cracks(path: Path) -> tuple[Crack, ...]:
    """Polylines of a tracing, in the order of the file; length [mm], widest point [mm], load per ram [N]."""
    needed = {"face": "", "crack": "", "x": "length", "y": "length"}
    rows = read_rows(path, needed, {"load": "force", "width": "length"})
    found: dict[tuple[str, str, float], list[dict]] = {}
    for row in rows:
        if row["face"] not in FACES:
            raise InputFault(str(path), [Fault("face", row["face"], f"allowed: {', '.join(FACES)}")])
        load = float(row["load"])
        found.setdefault((str(row["face"]), str(row["crack"]), -1.0 if math.isnan(load) else load), []).append(row)
    out = []
    for (face, name, load), points in found.items():
        xy = np.array([(p["x"], p["y"]) for p in points], float)
        widths = [float(p["width"]) for p in points if math.isfinite(float(p["width"]))]
        length = float(np.hypot(*np.diff(xy, axis=0).T).sum()) if len(xy) > 1 else 0.0
        along = xy[-1] - xy[0]
        angle = math.degrees(math.atan2(along[1], along[0])) % 180.0 if length > 0.0 else math.nan
        out.append(
            Crack(
                face, name, load if load >= 0.0 else math.nan, tuple((float(x), float(y)) for x, y in xy), length,
                angle, max(widths, default=math.nan),
            )
        )  # fmt: skip
    return tuple(out)


def read_frame(place: Path, frame: FrameFile) -> Frame:
    """One frame: number of points, its extent, largest principal strain where strains are given."""
    path = place / frame.file
    lengths = {"x": "length", "y": "length"}
    rows = read_rows(
        path, lengths, {"u": "length", "v": "length", "exx": "strain", "eyy": "strain", "exy": "strain"}
    )  # fmt: skip
    table = {k: np.array([float(r[k]) for r in rows]) for k in ("x", "y", "u", "v", "exx", "eyy", "exy")}
    if not rows:
        raise InputFault(str(path), "holds no point")
    middle, half = 0.5 * (table["exx"] + table["eyy"]), 0.5 * (table["exx"] - table["eyy"])
    principal = middle + np.hypot(half, table["exy"])
    strain = float(np.nanmax(principal)) if np.isfinite(principal).any() else math.nan
    moved = np.hypot(table["u"], table["v"])
    return Frame(
        frame.file, digest(path), frame.face, frame.time, len(rows),
        (float(table["x"].min()), float(table["x"].max()), float(table["y"].min()), float(table["y"].max())),
        float(np.nanmax(moved)) if np.isfinite(moved).any() else math.nan, strain,
    )  # fmt: skip


def photographs_of(place: Path, files: Sequence[PhotographFile]) -> tuple[Photograph, ...]:
    """Photographs: file, digest, face, time and what a pixel counts on the face [mm]."""
    return tuple(Photograph(p.file, digest(place / p.file), p.face, p.time, p.scale, p.note) for p in files)
