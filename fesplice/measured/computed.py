"""What gauges should read by a computed elevation of the specimen, to judge channels by.

Bars, midspan, rams and joints are read from the run at the step before the wanted load, zeroed under own weight;
what it does not hold (supports, transverse steel), or a load beyond its largest, comes from the hand formulas.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from fesplice.contracts import FolderFault, InputFault
from fesplice.geometry import bars
from fesplice.measured.expected import ByHand, Expectations, Expected
from fesplice.post.elevation.bars import BarProfile, face_arcs, profile
from fesplice.post.elevation.gauges import mean_strain
from fesplice.post.elevation.layout import layout
from fesplice.post.record import READERS, view_of
from fesplice.sizing.statics import Statics
from fesplice.specimen import Specimen, read_text
from fesplice.specimen.gauges import Gauge, arc
from fesplice.store import Run

#: A bar reading this small against the largest may have either sign.
SURE = 0.15


def from_run(folder: str | Path) -> Expectations:
    """Expectations by the elevation in ``folder``, a run or a prediction; FolderFault where there is none."""
    place = Path(folder)
    run = Run(place / "elevation" if (place / "elevation").is_dir() else place)
    if not READERS[view_of(run)].of_rams:
        raise InputFault(str(run.folder), "is a run of the plan; gauges are read in an elevation")
    if run.n_steps < 2:
        raise FolderFault(str(run.folder), "holds no loaded step yet")

    def make(s: Specimen, rows: Mapping[str, Statics], load: float) -> Expected:
        other = read_text(run.specimen_text, str(run.folder))
        if other.name != s.name:
            raise InputFault(str(run.folder), f"is a run of {other.name}; the test is of {s.name}")
        hand = ByHand(s, rows, load)
        known = load <= float(np.nanmax(np.asarray(run.curve["load_N"], float)))
        return FromRun(hand, run) if known else hand

    return make


@dataclass(frozen=True)
class FromRun:
    """Expectations by a run at the load of ``hand``, which stands in where the run holds nothing."""

    hand: ByHand
    run: Run

    @property
    def load(self) -> float:
        """Load per ram [N]."""
        return self.hand.load

    @property
    def source(self) -> str:
        """Where the readings come from."""
        return f"run {self.run.folder.name} of digest {self.run.manifest['specimen']['digest'][:12]}"

    @cached_property
    def _row(self) -> int:
        load = np.asarray(self.run.curve["load_N"], float)
        return max(1, int(np.argmax(load >= self.load)))

    @cached_property
    def _states(self) -> dict[str, tuple[BarProfile, BarProfile, float]]:
        """Profile at the load and under own weight, and arc length of the joint face, by line."""
        mesh = self.run.mesh
        plan = layout(mesh)
        now, zero = (self.run.step(self.run.indices[k]).fields for k in (self._row, 0))
        lines = [line for line in ("A", "B") if line in mesh.lines]
        return {k: (profile(mesh, now, k), profile(mesh, zero, k), face_arcs(mesh, k, plan)[0]) for k in lines}

    def _column(self, name: str) -> float:
        values = np.asarray(self.run.curve[name], float)
        return float(values[self._row] - values[0])

    def reading(self, gauge: Gauge) -> float:
        """Reading at the load."""
        specimen = self.hand.specimen
        if gauge.kind == "bar_strain" and gauge.bar[:1] in self._states:
            now, zero, face = self._states[gauge.bar[:1]]
            at = face + arc(specimen, gauge)
            return mean_strain(now, at) - mean_strain(zero, at)
        if gauge.kind == "joint_opening" and f"joint_{gauge.joint}_mm" in self.run.curve:
            return self._column(f"joint_{gauge.joint}_mm")
        near = 0.03 * specimen.body.span
        if gauge.kind == "deflection" and abs(gauge.x) < near:
            return self._column("deflection_mm")
        if gauge.kind == "deflection" and any(abs(gauge.x - x) < near for x in bars.load_positions(specimen)):
            return self._column("load_point_mm")
        return self.hand.reading(gauge)

    def sure(self, gauge: Gauge) -> bool:
        """Whether the sign is certain: by its size for bars, as by hand otherwise."""
        if gauge.kind == "bar_strain" and self.hand.sure(gauge):
            value = self.reading(gauge)
            return math.isfinite(value) and abs(value) > SURE * self.scale("strain")
        return self.hand.sure(gauge)

    def like(self, gauge: Gauge) -> str:
        """As by hand: a matter of places alone."""
        return self.hand.like(gauge)

    def scale(self, quantity: str) -> float:
        """Strain of the joint face, midspan deflection."""
        if quantity != "strain":
            return abs(self._column("deflection_mm"))
        return max(abs(mean_strain(now, at) - mean_strain(zero, at)) for now, zero, at in self._states.values())
