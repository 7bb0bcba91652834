"""All figures of a run by name, each with its caption, and how to make them.

Every figure goes to PNG, PDF and SVG, with the numbers behind it as CSV beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fesplice.contracts import InputFault
from fesplice.report.drawing import specimen_drawing
from fesplice.report.elevation.curves import bar_profiles, hook_history, load_deflection, prying_tie
from fesplice.report.elevation.fields import crack_map, principal_tension, station_key
from fesplice.report.plan.curves import plan_load, plan_sides, plan_ties
from fesplice.report.plan.fields import WIDE, plan_cracks, plan_struts
from fesplice.report.scenes import deformed
from fesplice.report.view import LeftOut, View

if TYPE_CHECKING:
    from fesplice.store.run import Run

Draw = Callable[[View, Path, int | None], list[Path]]


@dataclass(frozen=True)
class Figure:
    """A figure by its title, what its caption says, the function that draws it, and the planes it is for."""

    title: str
    caption: str
    draw: Draw
    planes: tuple[str, ...] = ("elevation",)


def _drawing(view: View, folder: Path, step: int | None = None) -> list[Path]:
    return specimen_drawing(view.specimen, folder)


FIGURES: dict[str, Figure] = {
    "specimen": Figure(
        "Specimen",
        "The beam, and its lap in elevation, section and plan, from the same centre lines the mesh is made from. "
        "Bars A come from the left, bars B from the right.",
        _drawing,
        ("elevation", "plan"),
    ),
    "load-deflection": Figure(
        "Load against midspan deflection",
        "Load per ram without self-weight, whose deflection comes first. Dots are accepted steps; small solid marks "
        "tell the first crack and the first joint open wider than a visible crack.",
        load_deflection,
    ),
    "cracks": Figure(
        "Cracks",
        "Cracks over the principal tensile strain, undeformed. A line is as heavy as its crack is wide (down to a "
        "least weight that prints), and lies along it; open joints are drawn alike. The width is crack strain times "
        "crack-band width, as a mean over each element.",
        crack_map,
    ),
    "principal-tension": Figure(
        "Principal tension around the hooks",
        "Colour: principal tension, mean of each element. Strokes: its direction, with a length in proportion up to "
        f"the tensile strength. Dashed circles: discs of two bar diameters around the stations {station_key()}, "
        "over which the values of the table are averaged.",
        principal_tension,
    ),
    "bar-profiles": Figure(
        "Bar stress, slip and bond stress",
        "Along the bars of each side, from the precast half through the joint face (dashed) to the end of the tail. "
        "Slip and bond stress count positive where the bar moves out of the closure against the concrete.",
        bar_profiles,
    ),
    "hook-history": Figure(
        "Principal tension at the hook nodes over the load",
        "Mean over discs of two bar diameters, divided by the tensile strength of the concrete there; thin after the "
        "largest load. Before cracking it measures the demand; after it, what the cracked concrete still carries, so "
        "a fall means cracking and not relief. The field beside a bar can be several times larger. Upright grey lines "
        "stand at the stages of the other figures.",
        hook_history,
    ),
    "prying-tie": Figure(
        "Vertical tension across the splice",
        "Vertical stress times net width along three levels, from the joint face to beyond each hook (shaded: its "
        "tail) but not out of the closure, against the tensile strength times net width. The numbers are the sum of "
        "the tension and the capacity of the whole line: more than the prying tie of the findings, read near the "
        "hook alone. Values beyond the scale are cut off; the CSV files hold them.",
        prying_tie,
    ),
    "scene": Figure(
        "Deformed splice",
        "Rear half of the beam cut at its middle, and the bars before it, displacements enlarged. The analysis is "
        "plane: nothing varies across the width, and all bars of a side carry one stress.",
        deformed,
    ),
    "plan-load": Figure(
        "Load and bar stress against extension",
        "Load of all bars of a side against how far the faces of the slab move apart, and the stress of every bar "
        "where it enters. Dots are accepted steps, hollow marks the stages of the other figures.",
        plan_load,
        ("plan",),
    ),
    "plan-cracks": Figure(
        "Cracks of the slab at bar level",
        "Cracks over the principal tensile strain, undeformed, bars to scale (a ring: its hook leaves the plane), "
        "steel across as grey lines. A line is as heavy as its crack is wide, down to a least weight that prints and "
        f"up to {WIDE} mm. The width is crack strain times crack-band width, as a mean over each element.",
        plan_cracks,
        ("plan",),
    ),
    "plan-struts": Figure(
        "Compression, struts and ties",
        "Left: lines along the principal compression, as heavy as it is large, over the main cracks. Right: the "
        "strut-and-tie model that the stresses amount to, forces in kN; each strut is drawn as wide as the "
        "compression would be if it were even. Its ends are where its line meets the bars, which need not be where "
        "they hand over their force. What the body above and the joint faces hold is drawn where it acts. Small "
        "arrows beside a strut: what passes from bar to bar as shear, without compression across. The title tells the "
        "worst balance of the members at a node as share of the bar force; members below a fiftieth of it stand in "
        "the CSV alone.",
        plan_struts,
        ("plan",),
    ),
    "plan-ties": Figure(
        "Steel across the bars, and what holds the edge bars",
        "Largest strain of every tie, leg or bar across at its place along the lap. Shares of the side thrust on both "
        "edge bars: they sum to the whole but for what is out of balance; what pushes outwards with the thrust stands "
        "left of zero.",
        plan_ties,
        ("plan",),
    ),
    "plan-sides": Figure(
        "Side faces, and side thrust over the load",
        "Outward movement of both side faces along the beam; thrust on the edge bars, summed over the compression in "
        "the cut beside each. Where the end moves many times as far, its line leaves the scale and its largest value "
        "stands in the key.",
        plan_sides,
        ("plan",),
    ),
}


def figures_for(plane: str) -> list[str]:
    """Names of the figures of a run of that plane, in the order of the page."""
    return [name for name, figure in FIGURES.items() if plane in figure.planes]


@dataclass(frozen=True)
class Drawn:
    """Files of every figure by name (PNG, PDF, SVG, then CSV), and why figures were left out."""

    files: dict[str, list[Path]] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


def draw(
    run: Run | View,
    folder: str | Path | None = None,
    step: int | None = None,
    names: Iterable[str] | None = None,
    told: Callable[[str], None] | None = None,
) -> Drawn:
    """Draw the figures ``names`` (default: all of its plane) of a run into ``folder`` (default: RUN/figures).

    ``step``: the one step to show, negative from the last; None shows service, peak and end.
    ``told`` hears the title of each figure before it is drawn. Raises :class:`InputFault` for an
    unknown name, :class:`FolderFault` for a step that is not stored or a disk that refuses.
    """
    view = run if isinstance(run, View) else View(run)
    plane = "plan" if view.in_plan else "elevation"
    wanted = figures_for(plane) if names is None else list(names)
    if unknown := [name for name in wanted if name not in FIGURES]:
        raise InputFault("figures", f"no figure {', '.join(map(repr, unknown))}; there are {', '.join(FIGURES)}")
    place = figure_folder(view, step) if folder is None else Path(folder)
    drawn = Drawn()
    for name in wanted:
        if told is not None:
            told(FIGURES[name].title)
        try:
            if plane not in FIGURES[name].planes:
                raise LeftOut(f"is of the {' and the '.join(FIGURES[name].planes)}; this run is the {plane}")
            drawn.files[name] = FIGURES[name].draw(view, place, step)
        except LeftOut as reason:
            drawn.left_out[name] = str(reason)
    return drawn


def figure_folder(view: View, step: int | None = None) -> Path:
    """Where figures go unless told otherwise: RUN/figures, or a folder of its own for a chosen step."""
    base = view.run.folder / "figures"
    return base if step is None else base / f"step-{view.leading(step).step:06d}"
