"""Reinforced panels under in-plane shear and normal stress in a fixed ratio (Vecchio & Collins 1982).

The panel is one element of uniform strain: only equilibrium of averages is asked for, as in the
tests' own evaluation. Where the measured values are from memory stands in the data file.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats, NotConverged, State, Step
from fesplice.formulas.steel import Curve, idealised
from fesplice.laws import SmearedCrack
from fesplice.laws.reinforced import ReinforcedConcrete, SmearedBars
from fesplice.solve import Adaptive, Displacement, March, Stop, Tolerances
from fesplice.specimen import estimates
from validation.case import Case, Found, Settings
from validation.tally import Tally
from validation.target import Row, mean_and_cov
from validation.uniform import Uniform

FILE = "panels_pv.csv"
SOURCE = "Vecchio & Collins (1982), Univ. Toronto Publ. 82-03"
#: Width of the element [mm]: about the spacing of cracks, twice the spacing of the wires.
SIDE = 100.0
MODULUS = 200e3
#: Shear strain up to which a panel is followed when its load never falls.
END = 0.02
#: Step of it up to ``FINE``, five times longer beyond; cracking comes at about 15e-5.
STEP = 2e-5
FINE = 1e-3


@dataclass(frozen=True)
class Panel:
    """One row: MPa, strains as numbers; ``normal`` = f_x/v = f_y/v, tension positive."""

    name: str
    strength: float
    peak_strain: float
    ratio: tuple[float, float]
    yields: tuple[float, float]
    normal: float

    def law(self, settings: Settings) -> ReinforcedConcrete:
        """Concrete from f_c and e_0, what else it needs by the product's own estimates."""
        f_c = self.strength
        concrete = SmearedCrack(
            modulus=estimates.elastic_modulus(f_c),
            poisson=0.2,
            tensile_strength=estimates.tensile_strength(f_c)[0],
            fracture_energy=estimates.fracture_energy(f_c),
            strength=f_c,
            peak_strain=self.peak_strain,
            crushing_energy=estimates.crushing_energy(f_c),
            crack=settings.crack,
        )
        layers = [
            SmearedBars(ratio, angle, plastic(strength))
            for ratio, angle, strength in zip(self.ratio, (0.0, 0.5 * math.pi), self.yields)
            if ratio > 0.0
        ]
        return ReinforcedConcrete(concrete, tuple(layers), 1.0 if settings.stiffening else 0.0)


def plastic(strength: float) -> Curve:
    """Steel of which only the yield strength was reported: no hardening."""
    return idealised(MODULUS, strength, strength, strength / MODULUS, 0.2)


def read(data: Path) -> list[tuple[Panel, dict[str, str]]]:
    """Panels with their raw rows; a row without a load ratio has no prediction and is left out."""
    if not (data / FILE).exists():
        return []
    lines = [line for line in (data / FILE).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    out = []
    for row in csv.DictReader(lines):
        if row["normal_over_shear"] == "":
            continue
        ratio, yields = (float(row["rho_x"]), float(row["rho_y"])), (float(row["fyx_MPa"]), float(row["fyy_MPa"]))
        panel = Panel(
            row["panel"],
            float(row["fc_MPa"]),
            1e-3 * float(row["eps_c0_permille"]),
            ratio,
            yields,
            float(row["normal_over_shear"]),
        )
        out.append((panel, row))
    return out


def shear(panel: Panel, settings: Settings, folder: Path) -> Found:
    """Follow one panel until its shear has fallen by a tenth, or to a shear strain that no test reached."""
    law = panel.law(settings)
    m = Uniform(law, SIDE * settings.mesh, np.array([panel.normal, panel.normal, 1.0]))
    hold = Displacement(m.watch["strain"])
    tally = Tally()
    start = State(np.zeros(m.n_free), 0.0, m.fresh())
    # cracking may take a tenth and more from the shear before the steel takes over
    stop = Stop(drop=0.10, end=END, steps=2000, not_before=0.002)
    stepper = Adaptive(STEP * settings.step, largest=1.0)
    march = March(m, hold, stepper, start, tolerances=Tolerances.strict(), stop=stop, report=tally)
    steps: list[Step] = []
    ending = ""
    try:
        for step in march:
            tally.step(step)
            steps.append(step)
            stepper.largest = 1.0 if march.reached < FINE else 5.0
    except NotConverged as fault:
        ending = str(fault)
    v = np.array([s.state.load for s in steps])
    strain = np.array([s.state.u for s in steps])
    top = int(v.argmax())
    late = int(np.flatnonzero(v >= 0.98 * v[top])[-1])  # the end of a plateau shows what it rests on
    mode, extras = condition(law, strain[late], steps[late])
    fell = bool(v[-1] < 0.95 * v[top])
    level = bool(np.ptp(v[strain[:, 2] > 0.75 * strain[-1, 2]]) < 0.02 * v[top])
    return Found(
        prediction=float(v[top]),
        mode=mode,
        unknowns=m.n_free,
        steps=tally.steps,
        failed=tally.failed,
        loose=tally.loose,
        iterations=tally.iterations,
        passed=fell or level,
        ending=ending or march.outcome.value,
        extras=extras,
        curve={"shear_strain_permille": list(1e3 * strain[:, 2]), "shear_MPa": list(v)},
    )


def condition(law: ReinforcedConcrete, e: Floats, step: Step) -> tuple[str, dict[str, float | str]]:
    """Mode at strain ``e``, in the words of the data, from what has yielded and what has crushed."""
    e1 = 0.5 * (e[0] + e[1]) + math.hypot(0.5 * (e[0] - e[1]), 0.5 * e[2])
    e2 = e[0] + e[1] - e1
    c = law.concrete
    softened = c.strength * min(1.0, max(c.softening_floor, 1.0 / (0.8 + 0.34 * e1 / c.peak_strain)))
    concrete = step.stress["square"][0].mean(axis=0) - sum(
        layer.ratio * float(layer.curve(np.array(abs(layer.along @ e)))[0]) * np.sign(layer.along @ e) * layer.along
        for layer in law.layers
    )
    s2 = 0.5 * (concrete[0] + concrete[1]) - math.hypot(0.5 * (concrete[0] - concrete[1]), concrete[2])
    crushed = -s2 > 0.95 * softened or -e2 > c.peak_strain
    yielding = {
        "xy"[round(layer.angle / (0.5 * math.pi))]: layer.along @ e > layer.curve.strain[0] for layer in law.layers
    }
    names = [name for name, yields in yielding.items() if yields]
    mode = {0: "", 1: f"Y {names[0] if names else ''}", 2: "Y both"}[len(names)]
    if crushed:
        mode = f"{mode} then C" if mode else "C"
    extras: dict[str, float | str] = {
        "shear_strain_permille": 1e3 * float(e[2]),
        "x_strain_over_yield": float(e[0]) / law.layers[0].curve.strain[0],
        "concrete_over_softened_strength": float(-s2 / softened),
    }
    if len(law.layers) > 1:
        extras["y_strain_over_yield"] = float(e[1]) / law.layers[1].curve.strain[0]
    return mode or "cracking", extras


def agrees(test: str, found: str) -> bool:
    """Yielding and crushing as in the test; premature ends and unnamed modes say nothing.

    Where both directions yield their strength is that of the panel, whether or not concrete crushes in the end.
    """
    if test == "C/Y" or not any(word in test for word in ("Y", "C")):
        return True
    if "both" in test:
        return "both" in found or ("cracking" in test and found == "cracking")
    return ("C" in test) == ("C" in found) and ("Y" in test) == ("Y" in found)


def cases(data: Path) -> list[Case]:
    """One case per panel."""
    out = []
    for panel, row in read(data):
        out.append(
            Case(
                "panels",
                panel.name,
                "shear stress at failure",
                "MPa",
                lambda settings, folder, panel=panel: shear(panel, settings, folder),
                test=float(row["v_u_MPa"]),
                mode=row["mode"],
                use=row["use"],  # type: ignore[arg-type]
                source=SOURCE + (f"; {row['note']}" if row["note"] else ""),
                memory=True,
                quick=panel.name in ("PV20", "PV27"),
            )
        )
    return out


def summary(rows: Sequence[Row]) -> list[str]:
    """What stands behind mean and COV: panels that fail as soon as they crack measure the tensile strength alone."""
    use = [r for r in rows if r.case.use != "lower_bound" and np.isfinite(r.ratio)]
    if not use:
        return []
    cracking = [r for r in use if r.found is not None and r.found.mode == "cracking"]
    rest = [r for r in use if r not in cracking]
    out = [f"Predicted to fail at cracking: {', '.join(f'{r.case.name} ({r.ratio:.2f})' for r in cracking) or 'none'}; "
           "their strength is the tensile strength of concrete, which is estimated from f_c and was not measured.",
           "", "| rows | number | mean test/prediction | COV |", "|---|--:|--:|--:|"]  # fmt: skip
    for name, some in (
        ("not marked premature", use),
        ("of these, not failing at cracking by the prediction", rest),
        ("of these, counted as pass or fail by the data", [r for r in rest if r.case.use == "pass_fail"]),
    ):
        mean, cov = mean_and_cov(some)
        out.append(f"| {name} | {len(some)} | {mean:.3f} | {100 * cov:.1f} % |")
    return out
