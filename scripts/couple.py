"""Side thrust on the edge bars of a free slab in plan, beside what hand models of the couple give.

Two bars that lap s apart hand T from one line to the other, and the couple T s needs a transverse couple. With a strut
from where one bar hands over its force to where the other takes it, at a distance l along the bars, and a tie at its
end, the thrust is T s/l. Three values of l stand beside the computed thrust:

- hooks: l_s - 2r between the tangent points of the hooks, the hand model before any computing;
- centroids: between the centroids of what both bars hand over in the run, bond along the lead and hook
  (whose patch has its centroid half its reach beyond the tangent point) together;
- statics: no model but the balance of moments of the strip outside the cut, from where the compression of the
  run crosses the cut to where its tension (steel, concrete, the bar where it enters) does. It says that the thrust
  was read rightly, and what lever the slab really has; the bar's own bending at the face is left out.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from keptrun import kept_run
from threadpoolctl import threadpool_limits
from validation.record import ROOT

from fesplice import Run, read
from fesplice.mesh import Mesh
from fesplice.post.plan.findings import plan_strength
from fesplice.post.plan.forces import Cut, PlanForces
from fesplice.post.plan.layout import PlanBar, x_of
from fesplice.post.plan.trace import PlanTrace, trace
from fesplice.specimen import Specimen, vary_many

RUNS = ROOT / "runs" / "couple"
PAGE = ROOT / "models" / "validation" / "COUPLE.md"
SPACINGS = ("contact", "60 mm", "100 mm", "150 mm")
STEEL = {"none": "as29-100-u", "ties": "as29-100-t3", "stirrups": "as29-100-s3", "hooked bar": "as29-100-x"}
ELEMENT = "15 mm"
SHARES = {"60 %": 0.6, "strength": 1.0}
#: The case that tests/verification/test_plan.py holds against the hand model, and extensions [mm] on its way up.
CLOSE, WAY = ("100 mm", "hooked bar"), (0.4, 0.8, 1.2, 1.6, 2.0, 2.4, 2.8, 3.2)
NEAR = 0.15  # agreement that is asked for


@dataclass(frozen=True)
class Case:
    """One free slab: centre to centre of a lapped pair, and its transverse steel."""

    spacing: str
    steel: str

    @property
    def name(self) -> str:
        """Of its folder."""
        return f"{self.spacing}-{self.steel}".replace(" ", "")

    def specimen(self, element: str = ELEMENT) -> Specimen:
        """AS29 with nothing but its own slab to carry the thrust."""
        s = read(ROOT / "models" / f"{STEEL[self.steel]}.toml")
        return vary_many(s, {"bars.spacing": self.spacing, "plan.interface": "none", "plan.element": element})


# ------------------------------------------------------------------ reading
@dataclass(frozen=True)
class Transfer:
    """What one bar hands to the slab: ``force`` [N] along its pull, ``x`` of its centroid [mm], ``hook`` share."""

    force: float
    x: float
    hook: float


def transfer(mesh: Mesh, fields: Mapping[str, np.ndarray], bar: PlanBar) -> Transfer:
    """Bond along the lead and the hook of one bar, at one step."""
    group = mesh.groups[mesh.lines[bar.line].bond]
    data, name = group.data, mesh.lines[bar.line].bond
    perimeter = np.asarray(data["number"], float) * np.pi * np.asarray(data["diameter"], float)
    tau = np.asarray(fields[f"{name}/tau"], float).reshape(-1)
    # force on the concrete along x; a bar is pulled out against its own sense
    along = tau * perimeter * np.asarray(data["length"], float) * np.asarray(data["tangent"], float)[:, 0]
    force = -bar.sign * along
    x = mesh.points[group.cells[:, 0], 0]
    hook, at = 0.0, bar.end
    if bar.hooked:
        hook = float(np.asarray(fields[f"anchor:{bar.line}/force"], float).reshape(-1)[0])
        at = bar.end + 0.5 * bar.sign * float(np.asarray(mesh.groups[f"anchor:{bar.line}"].data["reach"])[0])
    total = float(force.sum()) + hook
    centroid = (float((force * x).sum()) + hook * at) / total if abs(total) > 1e-9 else math.nan
    return Transfer(total, centroid, hook / total if abs(total) > 1e-9 else math.nan)


@dataclass(frozen=True)
class Edge:
    """One edge bar at one step: N, mm. Levers l of the three hand values; ``handed`` sum of bond and hook over T.

    ``far`` is the share of what holds the strip that lies on the half of the lap where the partner's hook is: the
    models with a strut and one tie have none there.
    """

    pull: float
    spacing: float
    thrust: float
    hooks: float
    centroids: float
    statics: float
    hook_share: float
    handed: float
    far: float

    def by(self, lever: str) -> float:
        """Thrust T s/l with one of the levers; nan where the lever does not point from hook to hook."""
        length = getattr(self, lever)
        return self.pull * self.spacing / length if length > 0.0 else math.nan


def edges(forces: PlanForces, fields: Mapping[str, np.ndarray]) -> list[Edge]:
    """Both edge bars of one step."""
    cuts = forces.cuts(fields)
    by = {cut.gap.name: cut for cut in cuts}
    pulls = forces.bar_forces(fields)
    found = []
    for (bar, gap, out), thrust in zip(forces.laid.edges, forces.thrusts(fields, cuts)):
        partner = gap.below if gap.above.line == bar.line else gap.above
        mine, other = (transfer(forces.mesh, fields, b) for b in (bar, partner))
        pull = pulls[bar.line]
        lever, far = _statics(forces, fields, by[gap.name], bar, out)
        found.append(
            Edge(
                pull=pull,
                spacing=gap.spacing,
                thrust=thrust.force,
                hooks=abs(bar.end - partner.end),
                # of bars that come from the left the hook lies right of its partner's
                centroids=bar.sign * (mine.x - other.x),
                statics=lever * gap.spacing / abs(bar.y - gap.y),
                hook_share=mine.hook,
                handed=mine.force / pull if pull else math.nan,
                far=far,
            )
        )
    return found


def _statics(
    forces: PlanForces, fields: Mapping[str, np.ndarray], cut: Cut, bar: PlanBar, out: float
) -> tuple[float, float]:
    """Along the bars from the compression in a cut to all that holds the strip outside it [mm], and the share of that
    which lies on the far half."""
    pressed, pulled = np.maximum(-cut.normal, 0.0), np.maximum(cut.normal, 0.0)
    ties = [(force, x_of(forces.mesh, line)) for line, force in cut.ties.items()]
    force = np.array([*pulled, -out * forces.held(fields, bar.line), *(f for f, _ in ties)])
    x = np.array([*cut.x, bar.face, *(x for _, x in ties)])
    held = float(force.sum())
    if held <= 0.0 or pressed.sum() <= 0.0:
        return math.nan, math.nan
    lever = float((force * x).sum()) / held - float((pressed * cut.x).sum() / pressed.sum())
    return bar.sign * lever, float(force[bar.sign * x < 0.0].sum()) / held


@dataclass(frozen=True)
class Row:
    """One line of the page: means of both edges, the bar stress [MPa], the extension of the slab [mm]."""

    case: Case
    share: str
    stress: float
    extension: float
    edges: tuple[Edge, ...]
    dropped: bool

    def mean(self, what: str) -> float:
        """Mean of a value over both edges."""
        return float(np.mean([getattr(e, what) for e in self.edges]))

    def by(self, lever: str) -> float:
        """Mean thrust by hand."""
        return float(np.mean([e.by(lever) for e in self.edges]))

    def off(self, lever: str) -> float:
        """Computed thrust over that by hand, less one."""
        return self.mean("thrust") / self.by(lever) - 1.0


def rows(case: Case, run: Run) -> list[Row]:
    """At the shares of the strength that the page shows, on the way up."""
    history = trace(run)
    held = plan_strength(history)
    load = history.load[: held.row + 1]
    at = {name: int(np.argmax(load >= share * held.value * (1.0 - 1e-9))) for name, share in SHARES.items()}
    return _read(case, run, at, history, held.exact)


def on_the_way(case: Case, run: Run) -> list[Row]:
    """At extensions up to the strength."""
    history = trace(run)
    held = plan_strength(history)
    wanted = [e for e in WAY if e < history.extension[held.row]]
    at = {f"{e:g} mm": int(np.argmax(history.extension >= e)) for e in wanted} | {"strength": held.row}
    return _read(case, run, at, history, held.exact)


def _read(case: Case, run: Run, at: Mapping[str, int], history: PlanTrace, dropped: bool) -> list[Row]:
    forces, out = PlanForces(run.mesh), []
    for name, row in at.items():
        seen = tuple(edges(forces, run.step(run.indices[row]).fields))
        place = float(history.bar_stress[row]), float(history.extension[row])
        out.append(Row(case, name, *place, seen, dropped))
    return out


# ------------------------------------------------------------------ the page
LEVERS = {"hooks": "T s/(l_s - 2r)", "centroids": "T s/l, centroids", "statics": "statics of the strip"}
HEAD = """# The couple of a lap in plan: side thrust beside hand models

Written by `scripts/couple` (the text at the end from `COUPLE.notes.md`, by hand). Free slab
(`plan.interface = "none"`), elements of 15 mm, AS29 specimens with their spacing changed; 28.7 mm bars, l_s = 460 mm,
l_s - 2r = 173 mm. Forces are means over both edge bars in kN; in brackets the computed thrust against it; **bold**
outside 15 %.
`l` is negative where the bars hand over their force before they have passed each other: then the model has no strut.

"""


def told(value: float, off: float) -> str:
    """A hand value and how far the computed thrust is from it."""
    if not (math.isfinite(value) and math.isfinite(off)):
        return "**none**"
    text = f"{value / 1e3:.0f} ({100 * off:+.0f} %)"
    return text if abs(off) <= NEAR else f"**{text}**"


def _table(first: str, rows: Sequence[tuple[str, Row]]) -> list[str]:
    """Rows by what stands in their first columns."""
    out = [f"| {first} | bar stress [MPa] | T | hook's share | l of centroids [mm] | l of statics [mm] | held on the "
           "far half | thrust | " + " | ".join(LEVERS.values()) + " |",
           "|" + "---|" * (first.count("|") + 1) + "--:|" * 10]  # fmt: skip
    for name, r in rows:
        cells = [name, f"{'' if r.dropped else '>'}{r.stress:.0f}", f"{r.mean('pull') / 1e3:.0f}",
                 f"{r.mean('hook_share'):.2f}", f"{r.mean('centroids'):.0f}", f"{r.mean('statics'):.0f}",
                 f"{r.mean('far'):.2f}", f"{r.mean('thrust') / 1e3:.0f}"]  # fmt: skip
        out.append(f"| {' | '.join([*cells, *(told(r.by(lever), r.off(lever)) for lever in LEVERS)])} |")
    return out


def page(found: Sequence[Row], way: Sequence[Row] = (), notes: str = "") -> str:
    """The whole page; ``way`` is one case at several extensions."""
    out = [HEAD.rstrip("\n"), ""]
    for share in SHARES:
        mine = [r for r in found if r.share == share]
        out += [f"## At {'the strength' if share == 'strength' else share + ' of the strength'}", ""]
        out += _table("spacing | steel across", [(f"{r.case.spacing} | {r.case.steel}", r) for r in mine])
        inside = {lever: sum(abs(r.off(lever)) <= NEAR for r in mine) for lever in LEVERS}
        out += ["", "Within 15 %: " + "; ".join(f"{LEVERS[k]} {n} of {len(mine)}" for k, n in inside.items()) + "."]
        both = [r for r in mine if math.isfinite(r.off("hooks")) and math.isfinite(r.off("centroids"))]
        nearer = sum(abs(r.off("centroids")) < abs(r.off("hooks")) for r in both)
        out += [f"Of {len(both)} rows with both, the centroids are nearer than the hooks in {nearer}.", ""]
    if way:
        case = way[0].case
        out += [f"## On the way: {case.spacing}, {case.steel}", ""]
        out += [*_table("extension", [(f"{r.extension:.2f} mm", r) for r in way]), ""]
    worst = max((abs(e.handed - 1.0) for r in (*found, *way) for e in r.edges), default=math.nan)
    out.append(f"Bond and hook together hand over the bar's force to {100 * worst:.1f} % in the worst row.")
    return "\n".join([*out, "", notes.rstrip("\n"), ""]) if notes else "\n".join([*out, ""])


def main() -> int:
    """Compute what is open and write the page."""
    p = argparse.ArgumentParser(prog="scripts/couple", description=(__doc__ or "").splitlines()[0])
    p.add_argument("--again", action="store_true", help="compute also what is kept")
    p.add_argument("--table", action="store_true", help="compute nothing, the page from what is kept")
    o = p.parse_args()
    found: list[Row] = []
    way: list[Row] = []
    with threadpool_limits(1):
        for case in (Case(s, c) for s in SPACINGS for c in STEEL):
            folder = RUNS / case.name
            run = Run(folder) if o.table else kept_run(case.specimen(), folder, view="plan", again=o.again)
            here = rows(case, run)
            found += here
            way += on_the_way(case, run) if (case.spacing, case.steel) == CLOSE else []
            print(f"{case.name}: {here[-1].stress:.0f} MPa, thrust {here[-1].mean('thrust') / 1e3:.0f} kN, "
                  + ", ".join(f"{k} {100 * here[-1].off(k):+.0f} %" for k in LEVERS), flush=True)  # fmt: skip
    notes = PAGE.with_name("COUPLE.notes.md")
    part = PAGE.with_name(f"{PAGE.name}.partial")
    part.write_text(page(found, way, notes.read_text(encoding="utf-8") if notes.is_file() else ""), encoding="utf-8")
    os.replace(part, PAGE)
    print(PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
