"""Joints of ``hooks`` and ``hook_points`` across their bars, in the plan: a series of its own, deciding nothing.

In the plan a joint fails by itself: bars wedge, the slab splits along and between them and turns out of its planes; no
law of a hook's plane is in it (:mod:`validation.joint_plan`). Strength by the rule of a plan, mode by its judge. Beside
each row stands what the elevation gives, which of both views would decide if the lesser counted, as in a prediction,
and the closed forms.

Why it decides nothing. The lesser of both views is far from the goals of the tests, the elevation is near; the slab's
thickness is fitted; and two things had to be settled otherwise than in a prediction: bond wedges (with the splitting
branch, the default, the points scatter more than twice as much as they may), and no stress of the column lies across
the planes (with it their friction holds the joints of the heavily loaded columns without limit, while those tests saw
no influence of it: Marques & Jirsa 1975, from memory). Both were chosen after the rows were seen.

Rows ``spacing-*`` ask for the effect of spacing, which nothing here was fitted to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats, NotConverged, State, Step
from fesplice.model.assembly import Model
from fesplice.model.fields import fields
from fesplice.pipeline import manifest
from fesplice.post.mechanisms import Assessment
from fesplice.post.plan.cracks import PlanCracks
from fesplice.post.plan.indicators import assess_joint
from fesplice.post.plan.trace import anchored
from fesplice.post.strength import strength
from fesplice.solve import Adaptive, Displacement, March, Stop
from validation import hook_points, hooks, joint_plan
from validation.case import Case, Found, Settings
from validation.column import Column
from validation.tally import Tally
from validation.target import Row as Compared
from validation.target import Target

#: Rows of two kinds and none that counts: the page states tests and points apart, beside the goals of their series.
TARGET = Target(counts=())
#: Spacings of the unfitted series over d_b, and the wide one they are compared with (the set-up behind the equation).
SPACINGS, WIDE = (2.0, 3.0, 4.0, 5.0, 6.0, 9.0, 12.0), 7.0
#: Strength, diameter and embedment of that series [MPa, mm].
MIDDLE = (30.0, 25.0, 250.0)
#: Within this share of the equation's factor the effect of spacing counts as met.
NEAR = 0.10
#: Bond wedges in this series, whatever is the default elsewhere; see above.
SPLITTING = "wedging"
#: Strain of the free bar and slip of the hook [bar diameters] at which failure is looked for, play [mm]: steps only.
STRAIN, SLIP, PLAY = 0.006, 0.06, 0.3


# ------------------------------------------------------------------ one run
@dataclass(frozen=True)
class Pulled:
    """Load of all bars [N], way of the crosshead, slip of the hooks, widest crack along the bars and way out of the

    side faces [mm] over the steps; the march and its counts.
    """

    load: Floats
    end: Floats
    slip: Floats
    crack: Floats
    side: Floats
    unknowns: int
    tally: Tally
    ending: str


def pull(c: Column, settings: Settings) -> Pulled:
    """Pull the crosshead until the slab has let go or three times the way is reached at which it may be expected to."""
    made = replace(settings, splitting=SPLITTING if settings.splitting == "default" else settings.splitting)
    model = joint_plan.model(c, made)
    cracks, tally, ending = PlanCracks(model.mesh), Tally(), ""
    goal = (STRAIN * joint_plan.GRIP + SLIP) * c.diameter + PLAY
    march = March(
        model, Displacement(model.restrict(model.watch["end"])), Adaptive(settings.step * goal / manifest.PLAN_STEPS),
        State(np.zeros(model.n_free), 0.0, model.fresh()), tolerances=manifest.PLAN_TOLERANCES,
        stop=Stop(drop=0.3, end=manifest.PLAN_END * goal, steps=400, not_before=0.1 * goal), report=tally,
    )  # fmt: skip
    seen: list[tuple[float, ...]] = []
    try:
        for step in march:
            tally.step(step)
            seen.append((step.state.load, model.read("end", step.state.u), *_shown(model, step, cracks, c.number)))
    except NotConverged as fault:
        ending = str(fault)
    load, end, slip, crack, side = np.array(seen).T
    return Pulled(load, end, slip, crack, side, model.n_free, tally, ending or march.outcome.value)


def _shown(model: Model, step: Step, cracks: PlanCracks, number: int) -> tuple[float, float, float]:
    seen = fields(model, step)
    slip = max(anchored(seen, f"A{k + 1}", "slip") for k in range(number))
    sets, u = model.mesh.node_sets, seen["u"]
    side = max(float((sign * u[2 * sets[f"side:{k}"] + 1]).max()) for k, sign in (("low", -1.0), ("high", 1.0)))
    return slip, max(s.opening for s in cracks.read(seen)), side


def judged(p: Pulled, c: Column) -> tuple[float, Assessment]:
    """Force per bar [N] by the rule of strength of a plan, and the pull by the judge of all views."""
    held = strength(p.end, p.load)
    stress = p.load / (c.number * c.area)
    found = assess_joint(p.load, stress, held, p.crack, p.side, p.slip, float(c.steel.stress[0]))
    return held.value / c.number, found


def run(row: hooks.Row, settings: Settings, alone: bool = False) -> Found:
    """A joint in the plan, and unless ``alone`` in the elevation too, to tell which view would decide."""
    c = row.column
    p = pull(c, settings)
    force, found = judged(p, c)
    side = float("nan") if alone else hooks.run(row, settings).prediction
    return Found(
        prediction=force / 1e3,
        mode=found.mode.words,
        unknowns=p.unknowns,
        steps=p.tally.steps,
        failed=p.tally.failed,
        loose=p.tally.loose,
        iterations=p.tally.iterations,
        passed=bool(found.dropped or found.certain),
        ending=p.ending,
        extras={
            "elevation_kN": side,
            "lesser_kN": side if alone else min(side, force / 1e3),
            "decides": "" if alone else "plan" if force / 1e3 < side else "elevation",
            "equation_kN": row.equation,
            "formula_kN": hooks.by_formula(c) / 1e3,
            "plane_kN": hooks.plane_force(c) / 1e3,
            "thickness_mm": joint_plan.thickness(c),
            "spacing_over_db": c.spacing / c.diameter,
        },
        curve={"end_mm": p.end.tolist(), "force_kN": (p.load / c.number / 1e3).tolist()},
    )


# ------------------------------------------------------------------ the series
def spaced(ratio: float) -> Column:
    """The middle of the points with its bars ``ratio`` diameters apart and the same side cover."""
    c = hooks.equation_column(*MIDDLE)
    return replace(c, width=2.0 * c.side_cover + (ratio + 1.0) * c.diameter)


def by_equation(ratio: float) -> float:
    """Factor of the descriptive equation for bars ``ratio`` diameters apart (Ajaam et al. 2018; from memory)."""
    return min(1.0, 0.0974 * ratio + 0.391)


def cases(data: Path) -> list[Case]:
    """The tests and points of the other two series, and the series of spacings."""
    paths = data / "hooks_tests.csv", data / "hook_head_equation_points.csv"
    rows = [r for path, read in zip(paths, (hooks.tested, hooks.described)) if path.is_file() for r in read(path)]
    found = hooks.cases_of(rows, "joints_in_plan", set())
    found = [replace(case, run=lambda settings, folder, r=r: run(r, settings)) for case, r in zip(found, rows)]
    wide = hooks.Row("spacing", spaced(WIDE), float("nan"), "indication", "Ajaam et al. 2018")
    for ratio in (*SPACINGS, WIDE) if rows else ():
        one = replace(wide, name=f"spacing-{ratio:g}", column=spaced(ratio))
        (case,) = hooks.cases_of([one], "joints_in_plan", set())
        found.append(replace(case, test=None, run=lambda settings, folder, r=one: run(r, settings, alone=True)))
    return found


def spread(found: Sequence[Case]) -> list[Case]:
    """All tests and spacings, and those points that ``hook_points`` computes."""
    chosen = {c.name for c in hook_points.spread(found)}
    return [c for c in found if c.use != "surrogate" or c.name in chosen]


def summary(found: Sequence[Compared]) -> list[str]:
    """Tests and points apart, by plan, elevation and the lesser of both, beside their goals; then the spacing."""
    lines = [
        "Rows of this series decide nothing and are pooled with none; the strength of a joint is that of `hooks` and "
        "`hook_points`. Goals are those of these two.",
        "",
        "| measured over | rows | goal | mean | COV | plan decides |",
        "|---|--:|---|--:|--:|--:|",
    ]
    for kind, use, goal in (("tests", "indication", hooks.TARGET), ("points", "surrogate", hook_points.TARGET)):
        rows = [r for r in found if r.case.use == use and r.case.test is not None and r.found is not None]
        if len(rows) < 2 or goal.mean is None or goal.cov is None:
            continue
        decides = sum(r.found.extras["decides"] == "plan" for r in rows if r.found)
        wanted = f"{goal.mean[0]:.2f} to {goal.mean[1]:.2f}, COV {100 * goal.cov:g} %"
        for name, key in (("plan", ""), ("elevation", "elevation_kN"), ("lesser of both", "lesser_kN")):
            ratio = np.array([r.ratio if not key else r.case.test / float(r.found.extras[key]) for r in rows])  # type: ignore[union-attr,operator]
            mean, cov = ratio.mean(), ratio.std(ddof=1) / ratio.mean()
            told = f"{decides}" if key == "lesser_kN" else ""
            lines.append(f"| {kind}: {name} | {len(rows)} | {wanted} | {mean:.3f} | {100 * cov:.1f} % | {told} |")
    return lines + _powers(found) + _spacing(found)


def _powers(found: Sequence[Compared]) -> list[str]:
    points = [r for r in found if r.case.use == "surrogate" and r.found is not None and r.case.test is not None]
    if len(points) < 8:
        return []
    x = np.log([hook_points.numbers(r.case.name) for r in points])
    x = np.column_stack([np.ones(len(x)), x[:, 1], x[:, 0], x[:, 2]])
    lines = ["", "| T proportional to | f_cm^ | d_b^ | l_eh^ |", "|---|--:|--:|--:|"]
    for name, values in (
        ("equation", [r.case.test for r in points]),
        ("plan", [r.found.prediction for r in points if r.found]),
    ):
        _, f_cm, d_b, l_eh = np.linalg.lstsq(x, np.log(np.array(values, float)), rcond=None)[0]
        lines.append(f"| {name} | {f_cm:.2f} | {d_b:.2f} | {l_eh:.2f} |")
    return lines


def _spacing(found: Sequence[Compared]) -> list[str]:
    held = {
        float(r.found.extras["spacing_over_db"]): r.found.prediction
        for r in found if r.found is not None and r.case.name.startswith("spacing-")
    }  # fmt: skip
    wide = next((force for ratio, force in held.items() if abs(ratio - WIDE) < 1e-6), None)
    if wide is None or len(held) < 3:
        return []
    lines = ["", "| s/d_b | plan | equation | off |", "|--:|--:|--:|--:|"]
    off = []
    for ratio, force in sorted(held.items()):
        mine, other = force / wide, by_equation(ratio)
        off.append(mine / other - 1.0)
        lines.append(f"| {ratio:g} | {mine:.2f} | {other:.2f} | {100 * off[-1]:+.0f} % |")
    far = sum(abs(o) > NEAR for o in off)
    told = f"**missed** by {far} of {len(off)}, most by {100 * max(map(abs, off)):.0f} %" if far else "met"
    return [*lines, "", f"Effect of spacing within {100 * NEAR:g} % of the equation's, nothing fitted to it: {told}."]
