"""Hooked laps with wedging bond in elevation: does the answer hang on the mesh, and what does the picture show?

AS29-100-U (no confinement) and AS29-100-S3 (stirrups) are computed with wedging bond at three element sizes, once
more with half the step at the middle size, and with the splitting branch there. Short runs with smaller steps
look closer at the splitting of the lead. Along the lap two things are read:

- crack: cracks at most 30 degrees from the bars, their widths added up over the rows of elements from the soffit to
  0.75 d_b above the bar axis;
- lift: how far the soffit and the concrete 0.75 d_b above the bar axis have moved apart. It needs no crack
  direction and no row of elements, so it means the same on every mesh; elastic strain is about 0.01 mm of it.

A run is computed again when its specimen, mesh or settings change, or the source of the computing rooms.
"""

from __future__ import annotations

import argparse
import math
import os
import shutil
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from keptrun import kept_run
from threadpoolctl import threadpool_limits
from validation.record import ROOT
from wedging_read import BETWEEN, FALL, LIFTED, LOOK, MIDDLE, MODELS, SIZES, Case, Found, cases, found, short

from fesplice import Run
from fesplice.post.concrete import VISIBLE
from fesplice.report import draw

RUNS = ROOT / "runs" / "wedging"
PAGE = ROOT / "models" / "validation" / "WEDGING.md"
LIMIT = 0.05  # largest over smallest of the three meshes may exceed one by so much


# ------------------------------------------------------------------ the page
MEASURES = {
    "lost": "before half of a lead is past its bond peak",
    "fell": f"before the first fall of {FALL:.0%}".replace("%", " %"),
    "lifted": f"before the cover has moved by {LIFTED:g} mm",
    "first": "strength",
    "largest": "largest",
    "soft": f"deflection at {LOOK:g} MPa [mm]",
}


def spread(values: Sequence[float]) -> float:
    """Largest over smallest less one; nan when a value is missing or alone."""
    return max(values) / min(values) - 1.0 if len(values) > 1 and all(map(math.isfinite, values)) else math.nan


def told(value: float, digits: int = 0, sign: str = "") -> str:
    """A number of the page; a dash for none."""
    return "–" if not math.isfinite(value) else f"{sign}{value:.{digits}f}"


def _row(f: Found) -> str:
    c = f.case
    step = "usual" if c.step == 1.0 else f"x {c.step:g}"
    cells = [c.model, c.splitting, f"{c.size:g}", step, told(f.lost), told(f.fell), told(f.lifted),
             told(f.first, 0, "" if f.dropped else ">"), told(f.largest), told(f.soft, 1),
             f"{f.steps} ({f.relaxed}, {f.loose}, {f.failed})", told(f.seconds), f.ending]  # fmt: skip
    return f"| {' | '.join(cells)} |"


def _look_row(f: Found, stage: str) -> str:
    at = f.looks.get(stage)
    c = f.case
    head = f"| {c.model} | {c.splitting} | {c.size:g}{'' if c.step == 1.0 else f', step x {c.step:g}'} | "
    if at is None:
        return head + "– | " * 7 + "– |"
    cells = [told(at.bar_stress), told(at.deflection, 1), told(at.crack, 2), told(at.crack_length), told(at.lift, 2),
             told(at.mean_lift, 2), told(at.legs), str(at.step)]  # fmt: skip
    return head + " | ".join(cells) + " |"


STAGES = {
    "lost": "## Right after the bond of a lead is lost",
    "look": f"## At a bar stress of {LOOK:.0f} MPa (the first step beyond it)",
    "strength": "## At the strength",
}
HEAD = """# Wedging bond on hooked laps: three meshes, the crack along the bars

Written by `scripts/wedging` (the text at the end from `WEDGING.notes.md`, by hand). Elevation alone; AS29-100-U has
no confinement, AS29-100-S3 stirrups at 3 d_b; bars 28.7 mm, lap 460 mm. Invented specimens: computations, not tests.

"""


def page(rows: Sequence[Found], closer: Sequence[Found] = (), notes: str = "") -> str:
    """The whole page; ``closer`` are the short runs."""
    out = [HEAD.rstrip("\n"), "", "## Bar stress at the joint face [MPa]", ""]
    out += ["| | bond | elements | step | " + " | ".join(MEASURES.values()) + " | "
            "steps (relaxed, loose, failed) | s | end |", "|---|---|--:|---|" + "--:|" * 8 + "---|"]  # fmt: skip
    out += [_row(f) for f in rows]
    out += ["", '">": no such drop, a lower bound. "failed": increments without equilibrium at the size tried.', "",
            "| largest over smallest of the three meshes | " + " | ".join(MEASURES.values()) + " |",
            "|---|" + "--:|" * len(MEASURES)]  # fmt: skip
    for model in dict.fromkeys(f.case.model for f in rows):
        mine = [f for f in rows if f.case.model == model and f.case.splitting == "wedging"]
        for name, chosen in (
            (f"{model}, three meshes", [f for f in mine if f.case.step == 1.0]),
            (f"{model}, step halved at {MIDDLE:g} mm", [f for f in mine if f.case.size == MIDDLE]),
        ):
            out.append(f"| {name} | " + " | ".join(_told([getattr(f, m) for f in chosen]) for m in MEASURES) + " |")
    out += _closer([f for f in rows if f.case.model == "U" and f.case.splitting == "wedging"], closer)
    for stage, title in STAGES.items():
        out += ["", title, "",
                "| | bond | elements | bar stress | deflection | widest crack along the bars | its length >= "
                f"{VISIBLE:g} mm | largest lift of the cover | mean lift | legs [MPa] | step |",
                "|---|---|--:|" + "--:|" * 8]  # fmt: skip
        out += [_look_row(f, stage) for f in rows]
    out += ["", "Lengths in mm, along the lap of 460 mm.", "", "## What failed, by the rules of the elevation", ""]
    out += [f"- {f.case.name}: {f.failure}" for f in rows]
    return "\n".join([*out, "", notes.rstrip("\n"), ""]) if notes else "\n".join([*out, ""])


def _closer(rows: Sequence[Found], closer: Sequence[Found]) -> list[str]:
    """The splitting of the unconfined lead by step and mesh, from the short runs and the beginning of the long ones."""
    if not closer:
        return []
    sizes = sorted((*SIZES, *BETWEEN), reverse=True)
    by = {(f.case.step, f.case.size): f for f in (*closer, *(f for f in rows if f.case.meshed))}
    out = ["", "## Closer to the splitting of the lead: U, ever smaller steps", "",
           f"Bar stress [MPa] before the first fall of {100 * FALL:.0f} %, and in brackets how far the load falls.", "",
           "| step | " + " | ".join(f"{size:g} mm" for size in sizes) + " | largest over smallest of three |",
           "|---|" + "--:|" * (len(sizes) + 1)]  # fmt: skip
    for step in sorted({step for step, _ in by}, reverse=True):
        cells = [
            "–" if (f := by.get((step, s))) is None else f"{told(f.fell)} ({told(100 * f.depth)} %)" for s in sizes
        ]
        three = [by[step, size].fell for size in SIZES if (step, size) in by]
        share = _told(three) if len(three) == len(SIZES) else "–"
        out.append(f"| {'usual' if step == 1.0 else f'x {step:g}'} | {' | '.join(cells)} | {share} |")
    return out


def _told(values: list[float]) -> str:
    share = spread(values)
    if not math.isfinite(share):
        return "some only" if any(map(math.isfinite, values)) and len(values) > 1 else "–"
    return f"{100 * share:.1f} %, {'met' if share <= LIMIT else '**not met**'}"


def pictures(folder: Path, root: Path = RUNS) -> list[Path]:
    """Crack maps of both specimens at the middle mesh, after the bond of a lead is lost and at the strength."""
    made = []
    for model in MODELS:
        case = Case(model)
        run = Run(root / case.name)
        f = found(case, run)
        for stage in ("lost", "strength"):
            if stage not in f.looks:
                continue
            drawn = draw(run, root / f"{case.name}-figures" / stage, step=f.looks[stage].step, names=("cracks",))
            source = next(p for p in drawn.files["cracks"] if p.suffix == ".png")
            target = folder / f"wedging-{model.lower()}-{stage}.png"
            shutil.copyfile(source, target)
            made.append(target)
    return made


def main() -> int:
    """Compute what is open and write the page."""
    p = argparse.ArgumentParser(prog="scripts/wedging", description=__doc__.splitlines()[0])
    p.add_argument("--again", action="store_true", help="compute also what is kept")
    p.add_argument("--table", action="store_true", help="compute nothing, the page from what is kept")
    p.add_argument("--only", default="", metavar="NAME", help="one case, no page; NAME as in runs/wedging")
    o = p.parse_args()
    every = [*cases(), *short()]
    chosen = [c for c in every if o.only in ("", c.name)]
    if not chosen:
        raise SystemExit(f"no such case: {o.only}; there are {', '.join(c.name for c in every)}")
    rows = []
    with threadpool_limits(1):
        for case in chosen:
            began = time.perf_counter()
            try:
                run = Run(RUNS / case.name) if o.table else kept_run(case.specimen(), RUNS / case.name, again=o.again)
            except KeyboardInterrupt:
                print("\nstopped; the same command goes on from here", file=sys.stderr)
                return 130
            rows.append(found(case, run))
            print(f"{case.name}: {rows[-1].first:.0f} MPa, {rows[-1].steps} steps, {run.outcome.value} "
                  f"({time.perf_counter() - began:.0f} s)", flush=True)  # fmt: skip
    if o.only:
        return 0
    notes = PAGE.with_name("WEDGING.notes.md")
    part = PAGE.with_name(f"{PAGE.name}.partial")
    told_so_far = notes.read_text(encoding="utf-8") if notes.is_file() else ""
    long, closer = ([f for f in rows if (f.case.end is None) == whole] for whole in (True, False))
    part.write_text(page(long, closer, told_so_far), encoding="utf-8")
    os.replace(part, PAGE)
    for path in pictures(PAGE.parent / "figures"):
        print(path)
    print(PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
