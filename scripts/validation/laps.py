"""Straight laps in a constant-moment region, as specimens in the elevation, against three published equations.

The "test" of a row here is no test: it is the mean of ACI 408R-03, Orangun, Jirsa & Breen (1977) and fib Model Code
2010 6.1-19 for two contact laps side by side (lap_equation_points.csv), fits to several hundred tests that stand in
for single tests, none of which could be quoted. The default bond law is made of 6.1-5 and 6.1-19, so each equation has
a column of its own, and the law's closed form another: what is left is what the mechanics add. Each row becomes a
specimen file that goes through the product's own pipeline; nothing but the row's numbers and the settings goes in.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats, NotConverged, Outcome
from fesplice.formulas import bond
from fesplice.model.estimate import expected_deflection, section
from fesplice.pipeline import analyse
from fesplice.pipeline.manifest import STEPS_TO_PEAK
from fesplice.post.elevation.bars import profile
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.mechanisms import Mechanism
from fesplice.post.record import findings
from fesplice.specimen import Specimen, read_text
from fesplice.specimen.estimates import fracture_energy, tensile_strength
from fesplice.store import Run
from validation.case import Case, Found, Settings
from validation.lap_laws import TRIALS, closed_form
from validation.tally import counted
from validation.target import Row, Target

#: The rows, in the folder of the data.
TABLE = "lap_equation_points.csv"
#: So many rows are computed unless others are asked for by name; see :func:`spread`.
CHOSEN = 48
#: What the default law is held to over all of them, with single rows between the bounds of ``within``.
TARGET = Target(mean=(0.95, 1.05), cov=0.11, within=(0.80, 1.30))
#: The crack at the lap end is looked for within so many bar diameters of it.
NEAR = 2.0
#: Small laps for scripts/test, with and without stirrups.
QUICK = ("f25-d16-l240-c40", "f25-d32-l480-c32-s")
#: Size of elements in the lap [bar diameters]; 0.75 takes twice as long and moves the strength by less than 4 %.
ELEMENT = 1.0
#: Bars stay elastic: the equations know no yielding, and rows above 500 MPa are computed as they stand.
STRENGTH = 1800.0
#: Largest mechanical reinforcement index at 1.25 times the row's stress, so that the section never crushes first.
INDEX = 0.30


#: Legs of a row's stirrups: diameter and spacing [mm].
LEG, PITCH = 10.0, 100.0


@dataclass(frozen=True)
class Lap:
    """One row: f_c [MPa], d_b, l_s, cover [mm], number of 10 mm two-leg stirrups, stresses of the equations [MPa]."""

    fc: float
    db: float
    ls: float
    cover: float
    stirrups: int
    equations: tuple[float, float, float]
    mean: float

    @property
    def name(self) -> str:
        """Unique in the file: f_c, d_b, l_s, cover, and s where stirrups are."""
        tied = "-s" if self.stirrups else ""
        return f"f{self.fc:g}-d{self.db:g}-l{self.ls:g}-c{self.cover:g}{tied}"

    @property
    def legs(self) -> float:
        """k_m K_tr of the stirrups: two legs across the plane of two laps, each near its leg."""
        index = bond.k_tr(2, 0.25 * math.pi * LEG**2, 2, self.db, PITCH)
        return bond.KM_NEAR * bond.limited(index) if self.stirrups else 0.0

    @property
    def by_hand(self) -> float:
        """Bar stress [MPa] by the default law's mean bond stress along the whole lap."""
        return closed_form(self.fc, self.db, self.ls, self.cover, self.legs)


def read_rows(path: Path) -> list[Lap]:
    """Rows of the file, in its order."""
    with open(path, encoding="utf-8") as table:
        rows = list(csv.DictReader(line for line in table if not line.startswith("#")))
    found = []
    for r in rows:
        ls = float(r["ls_mm"])
        found.append(
            Lap(
                fc=float(r["fc_MPa"]),
                db=float(r["db_mm"]),
                ls=ls,
                cover=float(r["cover_bottom=side=half_clear_spacing_mm"]),
                stirrups=0 if r["stirrups"] == "none" else int(ls / 100.0),
                equations=tuple(float(r[f"fs_{k}_MPa"]) for k in ("ACI408", "OJB", "MC2010")),  # type: ignore[arg-type]
                mean=float(r["fs_mean_MPa"]),
            )
        )
    return found


# ------------------------------------------------------------------ the specimen
def depth_of(row: Lap) -> tuple[float, float]:
    """Effective and overall depth [mm]: 8 d_b, more where the section would crush before the lap fails."""
    width = 4.0 * (row.cover + row.db)
    steel = 2.0 * 0.25 * math.pi * row.db**2
    d = max(8.0 * row.db, 1.25 * row.mean * steel / (INDEX * row.fc * width))
    h = 10.0 * math.ceil((d + row.cover + 0.5 * row.db) / 10.0)
    return h - row.cover - 0.5 * row.db, h


def specimen_text(row: Lap, settings: Settings, coarse: float = 1.0) -> str:
    """Specimen file of a row.

    Width: side covers and half the clear spacing between the two laps are the row's cover. The
    closure reaches 10 mm beyond both lap ends; its joints have the strength and energy of the
    concrete, so they stand for the crack that every test shows there and weaken nothing. Loads
    act one effective depth from the lap ends, shear spans are 1.5 d. Stirrups of the shear spans
    begin 0.35 d from the lap; they are strong enough never to matter.
    """
    d, h = depth_of(row)
    width = 4.0 * (row.cover + row.db)
    gap, plate = 10.0, max(60.0, round(0.3 * d))
    shear = round(max(1.5 * d, 2.0 * plate))
    span = row.ls + 2.0 * (round(d) + shear)
    f_ct, _ = tensile_strength(row.fc)
    mesh = ELEMENT * row.db * settings.mesh * coarse
    out = [
        f'name = "{row.name}"',
        "[body]",
        f'width = "{width:g} mm"',
        f'depth = "{h:g} mm"',
        f'span = "{span:g} mm"',
        f'shear_span = "{shear:g} mm"',
        f'closure = "{row.ls + 2.0 * gap:g} mm"',
        f'overhang = "{max(0.5 * plate, 0.5 * h):g} mm"',
        f'plate_length = "{plate:g} mm"',
        f'plate_thickness = "{max(15.0, round(0.06 * d)):g} mm"',
        "[concrete.precast]",
        f'strength = "{row.fc:g} MPa"',
        "[concrete.closure]",
        f'strength = "{row.fc:g} MPa"',
        "[joint]",
        f'tensile_strength = "{f_ct:.4g} MPa"',
        f'fracture_energy = "{fracture_energy(row.fc):.4g} N/mm"',
        "[steel.main]",
        f'yield_strength = "{STRENGTH:g} MPa"',
        f'ultimate_strength = "{STRENGTH:g} MPa"',
        "[steel.ties]",
        'yield_strength = "500 MPa"',
        'ultimate_strength = "600 MPa"',
        "[bars]",
        'splice = "straight"',
        f'lap = "{row.ls:g} mm"',
        'spacing = "contact"',
        f'side_cover = "{row.cover:g} mm"',
        "[bars.left]",
        f'size = "phi {row.db:g}"',
        "number = 2",
        'steel = "main"',
        f'cover = "{row.cover:g} mm"',
        "[stirrups]",
        'diameter = "10 mm"',
        f'area = "{max(80.0, 0.003 * width * 0.7 * d):.0f} mm2"',
        f'spacing = "{0.7 * d:.0f} mm"',
        'steel = "ties"',
        f'cover = "{row.cover - 10.0:g} mm"',
    ]
    if row.stirrups:
        out += [
            "[confinement]",
            'kind = "stirrups"',
            'diameter = "10 mm"',
            'spacing = "100 mm"',
            "legs = 2",
            f"number = {row.stirrups}",
            'steel = "ties"',
        ]
    out += [
        "[bond]",
        *_bond(settings),
        "[loading]",
        "self_weight = false",
        "[mesh]",
        f'splice = "{min(mesh, h / 8.0):.4g} mm"',
        f'elsewhere = "{min(max(2.0 * mesh, 30.0), h / 3.0, plate):.4g} mm"',
        "[analysis]",
        f'crack_model = "{settings.crack}"',
        f"tension_stiffening = {str(settings.stiffening).lower()}",
    ]
    return "\n".join(out) + "\n"


def _bond(settings: Settings) -> list[str]:
    if settings.bond == "perfect":
        raise ValueError("a lap with perfect bond has no bond failure to predict")
    own = settings.splitting not in ("default", *TRIALS)
    return [f'splitting = "{settings.splitting}"'] if own else []


def specimen_of(row: Lap, settings: Settings, coarse: float = 1.0) -> Specimen:
    """The specimen with its step: the product's own estimate, whatever the row's answer is."""
    text = specimen_text(row, settings, coarse)
    expected = expected_deflection(read_text(text, row.name))
    text += f'step = "{settings.step * expected / STEPS_TO_PEAK:.5g} mm"\nend_deflection = "{4.0 * expected:.5g} mm"\n'
    return read_text(text, row.name)


# ------------------------------------------------------------------ the run
def run_row(row: Lap, settings: Settings, folder: Path, coarse: float = 1.0) -> Found:
    """Compute a row: bar stress at the loaded lap end at the strength."""
    s = specimen_of(row, settings, coarse)
    ending = ""
    try:
        run = analyse(s, folder, bond=TRIALS.get(settings.splitting))
    except NotConverged as fault:
        run, ending = Run(folder), str(fault)
    return found(run, s, row, ending)


def found(run: Run, s: Specimen, row: Lap, ending: str = "") -> Found:
    """What a run of a row says."""
    seen, curve = findings(run), run.curve
    if not isinstance(seen, ElevationFindings):
        raise TypeError("a row is computed as an elevation")
    strength = seen.strength
    stress = 0.5 * (np.asarray(curve["bar_stress_A_MPa"], float) + np.asarray(curve["bar_stress_B_MPa"], float))
    first = strength.row
    top = int(np.argmax(curve["load_N"]))
    cut, tally = section(s), counted(run)
    at = run.step(run.indices[first]).fields
    ends = [lap_end_stress(run, at, line, x, row.db) for line, x in (("A", -0.5 * row.ls), ("B", 0.5 * row.ls))]
    extras: dict[str, float | str] = {
        "fs_ACI408_MPa": row.equations[0],
        "fs_OJB_MPa": row.equations[1],
        "fs_MC2010_MPa": row.equations[2],
        "fs_closed_form_MPa": row.by_hand,
        "fs_at_joint_MPa": float(stress[first]),
        "fs_by_section_MPa": float(curve["moment_Nmm"][first]) / cut.moment(1.0),
        "fs_largest_MPa": float(stress.max()),
        "fs_at_peak_load_MPa": float(stress[top]),
        "later_over_first": strength.largest / strength.value if strength.largest > strength.value else math.nan,
        "what": seen.assessment.failure,
        "width_mm": s.body.width,
        "depth_mm": s.body.depth,
        "mesh_mm": s.mesh.splice,
    }
    return Found(
        prediction=float(np.mean(ends)),
        mode=seen.assessment.mode.words,
        unknowns=2 * len(run.mesh.points),
        steps=run.n_steps,
        failed=tally.failed,
        loose=int(np.sum(np.isin(curve["outcome"], list(Outcome.unconverged.spellings)))),
        iterations=tally.iterations,
        passed=run.outcome is Outcome.softened or strength.exact,
        ending=ending or run.outcome.value,
        extras=extras,
        curve={
            "deflection_mm": [float(v) for v in curve["deflection_mm"]],
            "load_N": [float(v) for v in curve["load_N"]],
            "bar_stress_MPa": [float(v) for v in stress],
        },
    )


def lap_end_stress(run: Run, fields: Mapping[str, np.ndarray], line: str, x: float, db: float) -> float:
    """Bar stress [MPa] in the crack at the loaded lap end: the largest within two diameters of ``x`` [mm].

    The crack opens in the joint or in an element beside it; a diameter away from it the concrete
    already takes a share, while tests give the stress of the cracked section.
    """
    state = profile(run.mesh, fields, line)
    near = np.abs(np.interp(state.middle, state.arc, state.xy[:, 0]) - x) <= NEAR * db
    return float(state.stress[near].max())


# ------------------------------------------------------------------ the series
def cases(data: Path) -> list[Case]:
    """Every row of the file as a case; :func:`spread` says which of them are computed when none is named."""
    return [
        Case(
            series="laps",
            name=row.name,
            quantity="bar stress at the lap end, mean of three equations",
            unit="MPa",
            run=lambda settings, folder, row=row: run_row(row, settings, folder),
            test=row.mean,
            mode="bond",
            use="surrogate",
            source="mean of ACI 408R-03, Orangun, Jirsa & Breen (1977), fib MC2010 6.1-19",
            quick=row.name in QUICK,
        )
        for row in read_rows(data / TABLE)
    ]


def spread(found: Sequence[Case]) -> list[Case]:
    """The cases computed by default: 48 rows at even steps of the whole list sorted by its numbers.

    Sorted by d_b, f_c, l_s, cover, stirrups, the first and the last included; fewer rows are all taken. The rule knows
    nothing of results, and leaves out neither rows above 500 MPa nor those where the equations lie far apart.
    """
    rows = sorted(found, key=lambda c: _numbers(c.name))
    take = np.unique(np.linspace(0, len(rows) - 1, min(CHOSEN, len(rows))).round().astype(int))
    return [rows[k] for k in take]


def _numbers(name: str) -> tuple[float, ...]:
    """d_b, f_c, l_s, cover, stirrups from a case's name."""
    f, d, l, c, *tied = name.split("-")
    return float(d[1:]), float(f[1:]), float(l[1:]), float(c[1:]), float(bool(tied))


def agrees(test: str, found: str) -> bool:
    """The equations are fits to splitting failures: loss of bond along the lap, or a crack along it."""
    along = (Mechanism.bond_splitting, Mechanism.bond_pullout, Mechanism.prying)
    return found in [m.words for m in along] if test == "bond" else test == found


# ------------------------------------------------------------------ trends
#: Columns of the regression and what is printed for each.
TRENDS = ("f_c", "l_s/d_b", "cover/d_b", "d_b", "stirrups")


def slopes(names: Sequence[str], stress: Sequence[float]) -> dict[str, float]:
    """Exponents of f_c, l_s/d_b, cover/d_b and d_b, and the factor that stirrups make, by least squares of logs."""
    x = np.array([_numbers(name) for name in names])
    db, fc, ls, cover, tied = x.T
    columns = np.column_stack([np.log(fc), np.log(ls / db), np.log(cover / db), np.log(db), tied, np.ones(len(x))])
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        return {}
    fit = np.linalg.lstsq(columns, np.log(np.asarray(stress, float)), rcond=None)[0]
    return dict(zip(TRENDS, [*fit[:4], float(np.exp(fit[4]))]))


#: Columns that a computed stress is set beside, in the extras of a row.
COLUMNS = {
    "ACI 408R-03": "fs_ACI408_MPa",
    "Orangun, Jirsa & Breen": "fs_OJB_MPa",
    "fib MC2010 6.1-19": "fs_MC2010_MPa",
    "closed form of the own law": "fs_closed_form_MPa",
}


def summary(rows: Sequence[Row]) -> list[str]:
    """Every row beside each equation, and the trends of all of them."""
    use = [r for r in rows if r.found is not None and np.isfinite(r.ratio)]
    if not use:
        return []
    names = [r.case.name for r in use]
    extras = [r.found.extras for r in use if r.found is not None]
    by = {name: np.array([float(e.get(key, np.nan)) for e in extras]) for name, key in COLUMNS.items()}
    mean = np.array([float(r.case.test or np.nan) for r in use])
    computed = np.array([r.found.prediction for r in use if r.found is not None])
    told = {**by, "computed": computed}
    out = [
        "No row is a test: the mean of three published equations stands for it. It is set over each of them, over the "
        "closed form of the default law (its mean bond stress, 6.1-5 times the share of the length, along the whole "
        "lap) and over what is computed. Computed over closed form is what the mechanics add to the law.",
        "",
        f"| row | mean, MPa | over {' | over '.join(told)} | computed/closed form |",
        "|---|--:|" + "--:|" * (len(told) + 1),
    ]
    ratios = {name: mean / values for name, values in told.items()}
    added = computed / by["closed form of the own law"]
    for k, name in enumerate(names):
        cells = [f"{ratios[column][k]:.2f}" for column in told]
        out.append(f"| {name} | {mean[k]:.0f} | {' | '.join(cells)} | {added[k]:.2f} |")
    every = [*ratios.values(), added]
    for word, how in (("mean", _mean), ("COV", _cov), ("least", _least), ("most", _most)):
        out.append(f"| **{word}** | | {' | '.join(how(v) for v in every)} |")
    out.append("")
    return out + trends(names, {"computed": computed, "mean of the three": mean, **by})


def _mean(v: Floats) -> str:
    return f"{v.mean():.3f}"


def _cov(v: Floats) -> str:
    return f"{100.0 * v.std(ddof=1) / v.mean():.1f} %" if len(v) > 1 else "–"


def _least(v: Floats) -> str:
    return f"{v.min():.2f}"


def _most(v: Floats) -> str:
    return f"{v.max():.2f}"


def trends(names: Sequence[str], series: Mapping[str, Sequence[float] | Floats]) -> list[str]:
    """Table of :func:`slopes` of each series of stresses over the rows ``names``."""
    fits = {key: slopes(names, list(values)) for key, values in series.items()}
    if not all(fits.values()):
        return [f"{len(names)} rows are too few or too alike for slopes."]
    out = [
        f"Trends over these {len(names)} rows (least squares of logarithms): exponents, and the factor by stirrups.",
        "",
        "| | " + " | ".join(TRENDS) + " |",
        "|---|" + "--:|" * len(TRENDS),
    ]
    return out + [f"| {key} | " + " | ".join(f"{fit[t]:.2f}" for t in TRENDS) + " |" for key, fit in fits.items()]
