"""The gauges of a specimen on the test-day sheet: what the prediction says each reads, where it sits, room to write.

Readings are those of the table of gauges (:mod:`fesplice.post.readings`) at shares of the predicted load and at the
load of the upper bound; the same numbers stand in the CSV beside the sheet.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.geometry import bars
from fesplice.post.readings import UNITS, GaugeTable
from fesplice.post.runs import load_at
from fesplice.report.parts import DASH, Table
from fesplice.specimen.gauges import Gauge, arc
from fesplice.store.cells import harmless

if TYPE_CHECKING:
    from fesplice.post.prediction import Prediction
    from fesplice.specimen import Specimen

#: Shares of the predicted load at which readings are told.
SHARES = (0.25, 0.5, 0.75, 0.9, 1.0)
#: Decimals of a reading by quantity, and a room to write one in.
PLACES, BLANK = {"strain": 0, "length": 2, "force": 1, "angle": 2}, "________"


@dataclass(frozen=True)
class Mark:
    """A numbered gauge at (x, y) [mm] from the side and (x, z) in plan; nan where it does not show there."""

    label: str
    x: float
    y: float
    z: float
    line: str


@dataclass(frozen=True)
class Expected:
    """Expected readings (k, m) of ``gauges`` at ``loads`` (k,) [N] per ram, named ``heads``; ``beyond`` the run's load.

    The last load is that of the upper bound. Readings beyond the largest load of the elevation are told at that.
    """

    gauges: tuple[Gauge, ...]
    labels: tuple[str, ...]
    heads: tuple[str, ...]
    loads: Floats
    beyond: tuple[bool, ...]
    reading: Floats
    marks: tuple[Mark, ...]
    places: tuple[str, ...]

    def tables(self) -> tuple[Table, Table]:
        """Strain gauges, then all others."""
        heads = ("", "gauge", "where", *self.heads, "read")
        note = "Zeroed under own weight. * At the largest load of the run." if any(self.beyond) else ""
        strains = Table("Strain gauges, expected readings in με", heads, self._rows("strain"),
                        note or "Zeroed under own weight.")  # fmt: skip
        return strains, Table("Sensors, expected readings in mm (rotation: mrad)", heads, self._rows("other"))

    def _rows(self, which: str) -> tuple[tuple[str, ...], ...]:
        rows = []
        for j, g in enumerate(self.gauges):
            if g.kind != "load" and (g.quantity == "strain") == (which == "strain"):
                rows.append((self.labels[j], g.id, self.places[j], *self._cells(j), BLANK))
        return tuple(rows)

    def _cells(self, j: int) -> list[str]:
        q = self.gauges[j].quantity
        out = []
        for value, beyond in zip(self.reading[:, j], self.beyond, strict=True):
            shown = round(float(value) * UNITS[q][1], PLACES[q]) + 0.0 if math.isfinite(value) else math.nan
            text = f"{shown:.{PLACES[q]}f}" if math.isfinite(value) else DASH
            out.append(text.replace("-", "−") + ("*" if beyond and math.isfinite(value) else ""))
        return out

    def to_csv(self, source: str) -> str:
        """One line per gauge: label, id, place, unit, a reading at each load, and an empty column to fill."""
        text = io.StringIO()
        out = csv.writer(text, lineterminator="\n")
        out.writerow([f"# {source}"])
        out.writerow(["label", "gauge", "kind", "where", "unit", *(f"{p / 1e3:.1f} kN" for p in self.loads), "read"])
        for j, g in enumerate(self.gauges):
            unit, factor = UNITS[g.quantity]
            cells = [f"{v * factor:.5g}" if math.isfinite(v) else "" for v in self.reading[:, j]]
            out.writerow([*map(harmless, (self.labels[j], g.id, g.kind, self.places[j])), unit, *cells, ""])
        return text.getvalue()


def expected(s: Specimen, gauges: Sequence[Gauge], table: GaugeTable, found: Prediction) -> Expected:
    """What the sheet says of ``gauges`` by the prediction ``found``, whose readings are ``table``."""
    top = max(found.load, load_at(found.band[1], table.bar_stress, table.load))
    loads = np.array([*(share * found.load for share in SHARES), top])
    beyond = tuple(bool(p > table.largest * (1.0 + 1e-9)) for p in loads)
    heads = (*(f"{share:g} P: {share * found.load / 1e3:.0f} kN" for share in SHARES),
             f"upper bound: {top / 1e3:.0f} kN")  # fmt: skip
    counts = {"G": 0, "D": 0, "P": 0}
    labels = []
    for g in gauges:
        letter = "P" if g.kind == "load" else "G" if g.quantity == "strain" else "D"
        counts[letter] += 1
        labels.append(f"{letter}{counts[letter]}")
    marks = tuple(_mark(s, g, label) for g, label in zip(gauges, labels, strict=True))
    reading = table.at(np.minimum(loads, table.largest))[:, [table.column(g.id) for g in gauges]]
    places = tuple(_where(g, m) for g, m in zip(gauges, marks, strict=True))
    return Expected(tuple(gauges), tuple(labels), heads, loads, beyond, reading, marks, places)


def source_of(found: Prediction) -> str:
    """Date and digest of the prediction."""
    if found.made is None:
        return "readings from the coupled prediction"
    return f"readings from the prediction of {found.made.created}, digest of its results {found.made.results[:12]}"


# ------------------------------------------------------------------ places
def _where(g: Gauge, m: Mark) -> str:
    """``x −280, y 60`` [mm] from midspan and tension face, ``z`` across."""
    parts = [f"{name} {value:.0f}" for name, value in (("x", m.x), ("y", m.y), ("z", m.z)) if math.isfinite(value)]
    return (", ".join(parts) + (f", {g.side}" if g.side else "")).replace("-", "−") or DASH


def _mark(s: Specimen, g: Gauge, label: str) -> Mark:
    if g.bar:
        return _on_bar(s, g, label)
    if g.kind == "tie_strain":
        return _on_tie(s, g, label)
    across = g.across if math.isfinite(g.across) else math.nan
    if g.kind == "load":
        rams = bars.load_positions(s)
        at = rams[-1] if g.ram == "right" else rams[0] if g.ram == "left" else 0.5 * (rams[0] + rams[-1])
        return Mark(label, at, s.body.depth, across, "")
    x = g.x
    if g.kind == "joint_opening":
        x = (0.5 if g.joint == "right" else -0.5) * s.body.closure
    y = g.level if math.isfinite(g.level) else s.body.depth if g.face == "compression" else 0.0
    return Mark(label, x, y, across, "")


def _on_bar(s: Specimen, g: Gauge, label: str) -> Mark:
    shape = next(shape for shape in bars.main_shapes(s) if shape.name == g.bar[:1])
    steps = np.linalg.norm(np.diff(shape.points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    lapped = s.bars.splice != "continuous"
    face = bars.embedment_start(s, shape.side) if lapped else -0.5 * s.body.closure
    at = abs(face - float(shape.points[0, 0])) + arc(s, g)
    x, y = (float(np.interp(at, along, shape.points[:, k])) for k in (0, 1))
    z = sorted(shape.positions)[int(g.bar[1:]) - 1]
    return Mark(label, x, y, float(z), g.bar[:1])


def _on_tie(s: Specimen, g: Gauge, label: str) -> Mark:
    places = bars.confinement_positions(s)
    x = places[g.tie - 1] if g.tie is not None and g.tie <= len(places) else math.nan
    y = g.level if math.isfinite(g.level) else bars.level(s, s.bars.left)
    between = bars.pairs(s)
    z = 0.0
    if s.confinement.about_pairs and between:
        z = 0.5 * sum(sorted(between)[min(g.about, len(between)) - 1])
    return Mark(label, x, y, z, "")
