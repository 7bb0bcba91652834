"""Does the strength of a splice hang on mesh, step or the slab's thickness? Four specimens, both views.

AS29-100-U (no confinement), T3 (ties), S3 (stirrups) and X (bars in the bends). Each view at its own elements and
step, with elements x 0.7 and x 1.3 (1.2 in the elevation, where they may be no larger), and with half the step;
the plan also with a slab 15 % thinner. The plan stands by itself, without what an elevation would tell it: once on
the plane of predictions, uncracked and under no vertical stress ("cohesive"), once on none at all ("free"), the
hardest to follow, which is part of no prediction. A run is computed again when its specimen or the source of the
computing rooms changes.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

from keptrun import kept_run
from validation import frame
from validation.record import ROOT

frame.one_thread()

from fesplice import Run, read  # noqa: E402
from fesplice.contracts import Outcome  # noqa: E402
from fesplice.model.estimate import expected_deflection  # noqa: E402
from fesplice.pipeline import manifest  # noqa: E402
from fesplice.post.record import findings  # noqa: E402
from fesplice.specimen import Specimen, vary_many  # noqa: E402

RUNS = ROOT / "runs" / "objectivity"
PAGE = ROOT / "models" / "validation" / "OBJECTIVITY.md"
MODELS = {key: f"as29-100-{key.lower()}" for key in ("U", "T3", "S3", "X")}
VIEWS = ("elevation", "cohesive", "free")
#: Strengths may differ by so much from that of the defaults.
GOAL = 0.05
#: Element sizes over the default by view: the elevation's default is near the largest allowed.
MESHES = {"elevation": (0.7, 1.2), "cohesive": (0.7, 1.3), "free": (0.7, 1.3)}
STEP, THINNER = 0.5, 0.85


@dataclass(frozen=True)
class Case:
    """One run: specimen by its short name, view, and elements, step and thickness of the slab over their defaults."""

    model: str
    view: str
    mesh: float = 1.0
    step: float = 1.0
    thickness: float = 1.0

    @property
    def name(self) -> str:
        """Of its folder."""
        changed = {"mesh": self.mesh, "step": self.step, "thickness": self.thickness}
        return "-".join([self.model, self.view, *(f"{k}{v:g}" for k, v in changed.items() if v != 1.0)])

    @property
    def words(self) -> str:
        """What differs from the defaults."""
        changed = {"elements": self.mesh, "step": self.step, "thickness": self.thickness}
        return ", ".join(f"{k} x {v:g}" for k, v in changed.items() if v != 1.0) or "defaults"

    def specimen(self) -> Specimen:
        """The shipped specimen with what the case changes."""
        s = read(ROOT / "models" / f"{MODELS[self.model]}.toml")
        if self.view == "elevation":
            step = self.step * expected_deflection(s) / manifest.STEPS_TO_PEAK
            sizes = {f"mesh.{k}": f"{getattr(s.mesh, k) * self.mesh:.6g} mm" for k in ("splice", "elsewhere")}
            return vary_many(s, sizes | ({} if self.step == 1.0 else {"analysis.step": f"{step:.6g} mm"}))
        return vary_many(s, {
            "plan.interface": "none" if self.view == "free" else "cohesive",
            "plan.element": f"{s.plan.element * self.mesh:.6g} mm",
            "plan.thickness": f"{s.plan.thickness * self.thickness:.6g} mm",
        })  # fmt: skip


@dataclass(frozen=True)
class Found:
    """Strength as bar stress [MPa], exact or a lower bound, what failed, and what the march cost."""

    case: Case
    stress: float
    exact: bool
    mode: str
    steps: int
    relaxed: int
    attempts: int
    seconds: float


def cases() -> list[Case]:
    """All runs, defaults of each specimen and view first."""
    found = []
    for model in MODELS:
        for view in VIEWS:
            fine, coarse = MESHES[view]
            found += [Case(model, view), Case(model, view, mesh=fine), Case(model, view, mesh=coarse)]
            found.append(Case(model, view, step=STEP))
            if view != "elevation":
                found.append(Case(model, view, thickness=THINNER))
    return found


def compute(case: Case, again: bool = False, table: bool = False) -> Found:
    """The run of a case, computed or kept, and what it says."""
    began = time.perf_counter()
    view = "elevation" if case.view == "elevation" else "plan"
    if table:
        run = Run(RUNS / case.name)
    else:
        if view == "plan" and case.step != 1.0:  # no input of a specimen; this process computes this case alone
            manifest.PLAN_STEPS = round(manifest.PLAN_STEPS / case.step)
        run = kept_run(case.specimen(), RUNS / case.name, view=view, again=again)
    judged = findings(run).assessment
    outcomes = [str(o) for o in run.curve["outcome"]]
    return Found(
        case, judged.bar_stress, judged.dropped, judged.mode.words, run.n_steps,
        sum(o in Outcome.unconverged.spellings for o in outcomes), len(run.attempts["method"]),
        time.perf_counter() - began,
    )  # fmt: skip


# ------------------------------------------------------------------ the page
HEAD = """# Strength against mesh, step and thickness of the slab

Written by `scripts/objectivity`. Bars 28.7 mm, pairs 100 mm apart, lap 460 mm; U without confinement, T3 with ties, S3
with stirrups, X with bars in the bends. Invented specimens: computations, not tests. Each view by itself: the plan on
an uncracked plane under no vertical stress (cohesive), and on none (free), which is part of no prediction. ">": the
load never dropped, a lower bound; bounds are compared as they stand. Goal: within GOAL % of the defaults. The
thickness is no matter of accuracy but judgement; its rows say what it is worth.
"""


def deviation(found: Found, usual: Found) -> float:
    """Strength over that of the defaults, less one."""
    return found.stress / usual.stress - 1.0 if usual.stress > 0.0 else math.nan


def page(rows: Sequence[Found]) -> str:
    """The whole page from all runs, those of the defaults among them."""
    usual = {(f.case.model, f.case.view): f for f in rows if f.case.words == "defaults"}
    out = [HEAD.replace("GOAL", f"{100 * GOAL:g}").rstrip("\n"), ""]
    for what, kind in (("Elements", "mesh"), ("Step", "step"), ("Thickness of the slab", "thickness")):
        held = [f for f in rows if getattr(f.case, kind) != 1.0 and (f.case.model, f.case.view) in usual]
        far = [f for f in held if abs(deviation(f, usual[f.case.model, f.case.view])) > GOAL]
        worst = max((abs(deviation(f, usual[f.case.model, f.case.view])) for f in held), default=math.nan)
        told = f"{len(held) - len(far)} of {len(held)} within {100 * GOAL:g} %, most {100 * worst:.1f} %"
        out.append(f"- **{what}**: {told}{'' if not far else '; beyond: ' + ', '.join(f.case.name for f in far)}.")
    for view in VIEWS:
        out += ["", f"## {'Elevation' if view == 'elevation' else f'Plan, {view}'}", "",
                "| specimen | varied | bar stress MPa | against defaults | fails by | same | steps (relaxed) | tries |",
                "|---|---|--:|--:|---|---|--:|--:|"]  # fmt: skip
        out += [_row(f, usual.get((f.case.model, view))) for f in rows if f.case.view == view]
    return "\n".join([*out, ""])


def _row(f: Found, usual: Found | None) -> str:
    off = math.nan if usual is None else deviation(f, usual)
    alone = f.case.words == "defaults" or not math.isfinite(off)
    share = "" if alone else f"{100 * off:+.1f} %"
    if not alone and abs(off) > GOAL:
        share = f"**{share}**"
    same = "" if usual is None or alone else "yes" if usual.mode == f.mode else "**no**"
    stress = f"{'' if f.exact else '>'}{f.stress:.0f}"
    march = f"{f.steps} ({f.relaxed}) | {f.attempts}"
    return f"| {f.case.model} | {f.case.words} | {stress} | {share} | {f.mode} | {same} | {march} |"


# ------------------------------------------------------------------ all of them
def main() -> int:
    """Compute what is open and write the page; exit code 1 where a run was lost."""
    p = argparse.ArgumentParser(prog="scripts/objectivity", description=(__doc__ or "").splitlines()[0])
    p.add_argument("--jobs", type=int, default=2, metavar="N", help="processes (default 2), one thread each")
    p.add_argument("--again", action="store_true", help="compute also what is kept")
    p.add_argument("--table", action="store_true", help="compute nothing, the page from what is kept")
    p.add_argument("--only", default="", metavar="NAME", help="cases whose name begins with this, no page")
    o = p.parse_args()
    chosen = [c for c in cases() if c.name.startswith(o.only)]
    if not chosen:
        raise SystemExit(f"no such case: {o.only}; there are {', '.join(c.name for c in cases())}")
    began, rows, lost = time.perf_counter(), [], []
    work = [(c, o.again, o.table) for c in sorted(chosen, key=lambda c: c.mesh)]  # fine meshes take longest
    with multiprocessing.get_context("spawn").Pool(o.jobs, maxtasksperchild=1) as pool:
        for case, found, reason in pool.imap_unordered(_one, work):
            if found is None:
                lost.append(case)
                print(f"{case.name}: LOST: {reason}", flush=True)
                continue
            rows.append(found)
            bound = "" if found.exact else "at least "
            print(f"{case.name}: {bound}{found.stress:.0f} MPa, {found.mode}, {found.steps} steps "
                  f"({found.seconds:.0f} s)", flush=True)  # fmt: skip
    print(f"{len(rows)} of {len(chosen)} runs, {time.perf_counter() - began:.0f} s")
    if not o.only:
        order = {c: k for k, c in enumerate(cases())}
        part = PAGE.with_name(f"{PAGE.name}.partial")
        part.write_text(page(sorted(rows, key=lambda f: order[f.case])), encoding="utf-8")
        os.replace(part, PAGE)
        print(PAGE)
    return 1 if lost else 0


def _one(work: tuple[Case, bool, bool]) -> tuple[Case, Found | None, str]:
    case, again, table = work
    try:
        return case, compute(case, again, table), ""
    except Exception as fault:  # a lost run is told, the others go on
        return case, None, f"{type(fault).__name__}: {' '.join(str(fault).split())}"


if __name__ == "__main__":
    sys.exit(main())
