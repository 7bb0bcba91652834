"""How a beam failed, read from the computed strains and stresses and not from the load.

The names are those of Vecchio & Shim (2004). The rules are this project's:

DT  diagonal tension: at the peak the widest crack is inclined, no legs cross it, the bars are below yield.
VC  shear-compression: the widest crack at the peak is inclined, or legs yield before or in the failure
    (the march follows it until the load has fallen by its stop rule).
FC  flexure-compression: bars yield, then the concrete beside the load crushes; legs stay below yield
    throughout and upright cracks are the widest.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fesplice.algebra import principal_strain
from fesplice.contracts import Floats, Step
from fesplice.model.assembly import Model
from fesplice.model.fields import fields
from fesplice.specimen import Specimen


@dataclass
class Watcher:
    """Follows a march and keeps what the rules need at the peak so far and at the end."""

    s: Specimen
    model: Model
    loads: list[float] = field(default_factory=list)
    deflections: list[float] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)

    def see(self, step: Step, deflection: float) -> None:
        """One accepted step; only the one at the highest load and the last are kept."""
        top = not self.loads or step.state.load >= max(self.loads)
        self.loads.append(step.state.load)
        self.deflections.append(deflection)
        self.steps = [step] if top else [self.steps[0], step]

    def mode(self) -> tuple[str, dict[str, float | str]]:
        """Mode and the evidence behind it, at the peak and at the end."""
        peak, end = (measures(self.s, self.model, step) for step in (self.steps[0], self.steps[-1]))
        facts: dict[str, float | str] = {f"{k}_at_peak": v for k, v in peak.items()}
        facts |= {f"{k}_at_end": v for k, v in end.items()}
        return judged(peak, end), facts


def judged(peak: dict[str, float], end: dict[str, float]) -> str:
    """The mode by the rules at the head of this file."""
    inclined = peak["diagonal_mm"] > peak["upright_mm"]
    if peak["legs_strain"] == 0.0 and peak["bars_strain"] < 1.0 and inclined:
        return "DT"
    if max(peak["legs_strain"], end["legs_strain"]) >= 1.0 or inclined:
        return "VC"
    return "FC" if peak["bars_strain"] >= 1.0 else "C"


def measures(s: Specimen, model: Model, step: Step) -> dict[str, float]:
    """Evidence of one state: largest strain of bars and of legs over their yield strain, widest cracks [mm], and the
    largest compressive strain beside the load and in the web over the peak strain.
    """
    values = fields(model, step)
    mesh = model.mesh
    out: dict[str, float] = {}
    for role, key in (("main", "bars_strain"), ("stirrup", "legs_strain")):
        worst = 0.0
        for line in mesh.lines.values():
            if line.role == role:
                steel = s.steel[line.steel]
                ey = steel.yield_strength / steel.elastic_modulus
                worst = max(worst, *(float(values[f"{g}/strain"].max()) / ey for g in line.groups))
        out[key] = worst
    g = mesh.groups["precast"]
    strain, crack = values["precast/strain"], values["precast/crack"]
    centre = mesh.points[g.cells].mean(axis=1)
    h = s.body.depth
    e1, e2, *_ = principal_strain(strain)
    width = (crack[..., 0] * crack[..., 2]).mean(axis=1)
    angle = np.degrees(np.abs(_fold(crack[..., 1].mean(axis=1))))  # of the crack's normal to the beam axis
    x, y = np.abs(centre[:, 0]), centre[:, 1]
    web = (y > 0.2 * h) & (y < 0.8 * h)
    inclined = web & (angle > 25.0) & (x > 0.25 * h) & (x < 0.5 * s.body.span - 0.25 * h)
    upright = (y < 0.8 * h) & (angle <= 25.0)
    out["diagonal_mm"] = _top(width, inclined)
    out["diagonal_x"] = float(x[inclined][np.argmax(width[inclined])]) if inclined.any() else 0.0
    out["upright_mm"] = _top(width, upright)
    c = s.concrete.precast
    crush = -e2.mean(axis=1) / c.peak_strain
    zone = (y > 0.6 * h) & (x < 1.0 * h)
    out["crushing"] = _top(crush, zone)
    out["crushing_x"] = float(x[zone][np.argmax(crush[zone])])
    out["web_crushing"] = _top(crush, web & (x > h))
    return out


def _fold(angle: Floats) -> Floats:
    """Angle of an axis in -90..90 degrees [rad]."""
    return (angle + 0.5 * np.pi) % np.pi - 0.5 * np.pi


def _top(values: Floats, where: Floats) -> float:
    return float(values[where].max()) if where.any() else 0.0
