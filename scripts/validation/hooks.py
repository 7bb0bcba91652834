"""Hooked bars in simulated exterior beam-column joints: force per bar when the concrete lets go or the bar yields.

Tests of Marques & Jirsa (1975) and Hamad, Jirsa & D'Abreu de Paulo (1993) as tabulated in hooks_tests.csv, and
points of the descriptive equation of Ajaam, Yasso, Darwin, O'Reilly & Sperry (2018) in
hook_head_equation_points.csv, a fit to several hundred tests. What the tables do not hold of the set-ups is
stated below as input, from memory or by judgement; none of it was moved to meet a result.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats, NotConverged, State
from fesplice.formulas import bond
from fesplice.formulas.steel import Curve, idealised
from fesplice.post.mechanisms import Mechanism
from fesplice.solve import Adaptive, Displacement, March, Stop
from validation import column
from validation.case import Case, Found, Settings
from validation.column import Column
from validation.tally import Tally
from validation.target import Row as Compared

#: So many points of the equation are computed unless others are asked for by name; see :func:`spread`.
CHOSEN = 12
#: A fall of this share of the load ends the first branch; it is the strength.
DROP = 0.15
#: The pull ends when the bar has come out by this many diameters, and by this share of its embedment for yielding.
FARTHEST, LONGEST = 0.20, 0.03
#: Bars of grade 60 of the tests (yield 440 to 470 MPa: from memory; hardening: common practice, no source) and
#: high-strength bars of the tests behind the equation (no plateau: from memory).
GRADE_60 = Curve(200e3, (455.0 / 200e3, 0.010, 0.02, 0.04, 0.10), (455.0, 470.0, 550.0, 640.0, 740.0))
GRADE_120 = idealised(200e3, 830.0, 1100.0, 0.0, 0.06)
#: Tests of 1975 and 1993: columns 305 mm wide, 305 or 381 mm deep, about 1.3 m between the held ends, simulated
#: beam 508 mm deep: bars 380 mm above the middle of a compression zone 125 mm high (judgement).
OLD = {"width": 305.0, "side_cover": 73.0, "height": 1270.0, "arm": 380.0, "zone": 125.0}
#: Axial column stress [MPa] by the last letter of the specimen, H or L, else that of L (judgement).
AXIAL = {"H": 14.0, "L": 5.6}
#: Set-up of the tests behind the equation by bar diameter [mm]: arm to the middle of the 213 mm high bearing
#: member, and height between the held ends (from memory); axial stress 2 MPa (from memory).
SIZES, ARMS, HEIGHTS = (15.9, 25.4, 35.8), (240.0, 360.0, 600.0), (1340.0, 1340.0, 2440.0)
TAIL_COVER, SIDE_COVER = 50.0, 76.0
#: A mode of joints that no splice has.
BREAKOUT = "front breakout"


# ------------------------------------------------------------------ rows
@dataclass(frozen=True)
class Row:
    """One specimen and its force per bar [kN]; ``equation`` of the descriptive equation where the table has it."""

    name: str
    column: Column
    test: float
    use: str
    source: str
    equation: float = float("nan")


def _table(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8") as table:
        return list(csv.DictReader(line for line in table if not line.startswith("#")))


def tested(path: Path) -> list[Row]:
    """Rows of hooks_tests.csv."""
    found = []
    for r in _table(path):
        d, l_eh = float(r["db_mm"]), float(r["l_eh_mm"])
        what = Column(
            f_cm=float(r["fcm_MPa"]), diameter=d, area=float(r["Ab_nominal_mm2"]), embedment=l_eh,
            angle=float(r["hook_angle_deg"]), number=2, depth=l_eh + TAIL_COVER,
            stress=AXIAL.get(r["specimen"][-1], AXIAL["L"]), steel=GRADE_60, **OLD,
        )  # fmt: skip
        source = {"MJ": "Marques & Jirsa 1975", "HAM": "Hamad et al. 1993"}.get(r["series"], r["series"])
        row = Row(r["specimen"], what, float(r["T_per_bar_kN"]), r["use"], source, float(r["T_KU2018_kN"]))
        found.append(row)
    return found


def equation_column(f_cm: float, diameter: float, l_eh: float, ties: int = 0) -> Column:
    """The set-up behind the equation for any bar: two bars 7 d_b apart, columns as deep as the hooks need.

    From 6.25 d_b on spacing makes no difference to the equation; the tests had up to 11 d_b (from memory).
    """
    size = round(0.25 * np.pi * diameter**2, 1)
    return Column(
        f_cm=f_cm, diameter=diameter, area=size, embedment=l_eh, angle=90.0, number=2,
        width=2.0 * SIDE_COVER + 8.0 * diameter, depth=l_eh + TAIL_COVER, side_cover=SIDE_COVER,
        height=float(np.interp(diameter, SIZES, HEIGHTS)), arm=float(np.interp(diameter, SIZES, ARMS)), zone=213.0,
        stress=2.0, steel=GRADE_120, ties=ties,
    )  # fmt: skip


def described(path: Path) -> list[Row]:
    """Rows of hook_head_equation_points.csv, hooks without ties; above the bar's strength an indication only."""
    found = []
    for r in _table(path):
        f_cm, d, l_eh = (float(r[k]) for k in ("fcm_MPa", "db_mm", "l_eh_mm"))
        force = float(r["T_KU2018_noties_kN"])
        use = "surrogate" if float(r["fs_MPa"]) < GRADE_120.stress[-1] else "indication"
        row = Row(f"f{f_cm:g}-d{d:g}-l{l_eh:g}", equation_column(f_cm, d, l_eh), force, use, "Ajaam et al. 2018", force)
        found.append(row)
    return found


# ------------------------------------------------------------------ one run
def first_branch(force: Floats) -> tuple[int, bool]:
    """Index of the largest force before the first fall of 15 % (of all, without one), and whether it fell."""
    top = np.maximum.accumulate(force)
    fallen = np.flatnonzero(force < (1.0 - DROP) * top)
    end = int(fallen[0]) if len(fallen) else len(force)
    return int(np.argmax(force[:end])), len(fallen) > 0


def side_splitting(c: Column) -> float:
    """Force per bar [N] that splits the cover beside the hooks, by the rule of the product's predictions.

    The splitting plane is that of the hook, the plane of this model, so no element of it can open: the formula stands
    in, with no ties.
    """
    half, side = np.array([0.5 * (c.spacing - c.diameter)]), np.array([c.side_cover])
    return bond.side_splitting(c.f_cm, c.diameter, half, side, c.embedment, "good")


@dataclass(frozen=True)
class Pulled:
    """Force per bar [kN] over the steps, with the bars' displacement at the face, the hook's slip, and the concrete's
    displacement at the hook [mm]; the march and its counts."""

    force: Floats
    end: Floats
    slip: Floats
    ground: Floats
    unknowns: int
    tally: Tally
    ending: str


def pull(c: Column, settings: Settings, most: float, width: float | None = None, size: float = 0.75) -> Pulled:
    """Pull the bars until they let go, have come far out, or carry ``most`` [N] each; elements of ``size`` d_b."""
    _, model = column.model(c, settings, size * c.diameter * settings.mesh, width)
    tally, ending = Tally(), ""
    far = FARTHEST * c.diameter + LONGEST * c.embedment
    stop = Stop(drop=0.3, end=far, steps=200, not_before=0.005 * c.diameter)
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    hold = Displacement(model.restrict(model.watch["end"]))
    march = March(
        model, hold, Adaptive(0.004 * c.diameter * settings.step), start, stop=stop, report=tally
    )  # fmt: skip
    force: list[float] = []
    reads: list[list[float]] = []
    try:
        for step in march:
            tally.step(step)
            force.append(step.state.load / 1e3)
            reads.append([model.read(k, step.state.u) for k in ("end", "tangent", "ground")])
            if step.state.load > most:
                ending = "the force that splits the side cover was passed"
                break
    except NotConverged as fault:
        ending = str(fault)
    end, tangent, ground = np.array(reads).T
    return Pulled(np.array(force), end, tangent - ground, ground, model.n_free, tally, ending or march.outcome.value)


def run(row: Row, settings: Settings, width: float | None = None, size: float = 0.75) -> Found:
    """Strength of a row: what the plane gives way at, or the splitting of the side cover where that comes first.

    With splitting "none" the plane answers alone.
    """
    c = row.column
    side = np.inf if settings.splitting == "none" else side_splitting(c)
    p = pull(c, settings, 1.02 * side, width, size)
    at, fell = first_branch(p.force)
    splits = p.force[at] * 1e3 >= side
    force = side / 1e3 if splits else float(p.force[at])
    if splits:
        at = int(np.argmax(p.force * 1e3 >= side))
    flows = c.steel.stress[0] * c.area / 1e3
    plateau = 0.999 * flows < force < 1.04 * flows
    past = p.force[-1] < 0.95 * p.force.max()
    level = float(np.interp(0.7 * p.end[-1], p.end, p.force)) > 0.97 * p.force.max()
    return Found(
        prediction=force,
        mode=mode(p, at, fell, plateau, bool(splits)),
        unknowns=p.unknowns,
        steps=p.tally.steps,
        failed=p.tally.failed,
        loose=p.tally.loose,
        iterations=p.tally.iterations,
        passed=bool(splits or fell or plateau or past or level),
        ending=p.ending,
        extras={
            "equation_kN": row.equation,
            "side_splitting_kN": side / 1e3,
            "plane_largest_kN": float(p.force.max()),
            "stress_MPa": 1e3 * force / c.area,
            "end_mm": float(p.end[at]),
            "slip_at_bend_mm": float(p.slip[at]),
            "concrete_mm": float(p.ground[at]),
            "width_mm": c.width if width is None else width,
        },
        curve={"end_mm": p.end.tolist(), "force_kN": p.force.tolist(), "slip_at_bend_mm": p.slip.tolist()},
    )


def mode(p: Pulled, at: int, fell: bool, plateau: bool, splits: bool) -> str:
    """Mechanism by the product's names, or ``BREAKOUT``, which only a joint has: there the concrete at the hook moves
    more than the hook in it, past the peak, or up to the end.

    Splitting of the side cover is across the plane: not resolvable in 2D, told by its formula.
    """
    if splits:
        return Mechanism.side_splitting.words
    if plateau:
        return Mechanism.yielding.words
    past = -1 if fell else at
    since = at if fell else 0
    moved = p.ground[past] - p.ground[since] > p.slip[past] - p.slip[since]
    return BREAKOUT if moved else Mechanism.bond_pullout.words


# ------------------------------------------------------------------ the series
def rows(data: Path) -> list[Row]:
    """All tests, then all points of the equation; a folder may lack either table."""
    tables = ((tested, data / "hooks_tests.csv"), (described, data / "hook_head_equation_points.csv"))
    return [row for read, path in tables if path.is_file() for row in read(path)]


def cases(data: Path) -> list[Case]:
    """Every row of both tables; :func:`spread` says which are computed when none is named."""
    quick = {"J7-90-12-1-H"}
    return [
        Case(
            series="hooks", name=r.name, quantity="force per bar", unit="kN",
            run=lambda settings, folder, r=r: run(r, settings), test=r.test,
            use=r.use, source=r.source, memory=True, quick=r.name in quick,
        )  # fmt: skip
        for r in rows(data)
    ]


def spread(found: Sequence[Case]) -> list[Case]:
    """All tests, and 12 points of the equation at even steps of their list sorted by d_b, f_cm, l_eh."""
    points = sorted((c for c in found if c.use == "surrogate"), key=lambda c: _numbers(c.name))
    take = np.unique(np.linspace(0, len(points) - 1, min(CHOSEN, len(points))).round().astype(int))
    return [c for c in found if c.use != "surrogate"] + [points[k] for k in take]


def _numbers(name: str) -> tuple[float, ...]:
    f, d, length = name.split("-")
    return float(d[1:]), float(f[1:]), float(length[1:])


def summary(found: Sequence[Compared]) -> list[str]:
    """Exponents of f_cm, d_b and l_eh over the points of the equation: of the equation, and of the predictions."""
    points = [r for r in found if r.case.use == "surrogate" and r.found is not None]
    if len(points) < 8:
        return []
    x = np.log([_numbers(r.case.name) for r in points])
    x = np.column_stack([np.ones(len(x)), x[:, 1], x[:, 0], x[:, 2]])
    lines = ["| T proportional to | f_cm^ | d_b^ | l_eh^ |", "|---|--:|--:|--:|"]
    for name, values in (
        ("the equation at these points", [r.case.test for r in points]),
        ("the predictions", [r.found.prediction for r in points if r.found]),
    ):
        _, f_cm, d_b, l_eh = np.linalg.lstsq(x, np.log(np.array(values, float)), rcond=None)[0]
        lines.append(f"| {name} | {f_cm:.2f} | {d_b:.2f} | {l_eh:.2f} |")
    split = sum(r.found.mode == Mechanism.side_splitting.words for r in found if r.found)
    lines += [
        "",
        f"In {split} of {len(found)} rows the side cover splits first, by MC2010 eq. 6.1-5 over the whole embedment: "
        "a mechanism across the plane that no element of it can show. **The ratios of these rows test that formula**; "
        "the plane only says that it stands the force, and at what displacement. "
        "Its own strength (splitting = none) is no prediction of hooks: see README.md.",
    ]
    return lines
