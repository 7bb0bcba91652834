"""The one registry of both views: all that pages, figures and the terminal need to know of there being two."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.contracts import ViewName
from fesplice.post.mechanisms import PER
from fesplice.report.elevation import beam, fields, figures, tables, text
from fesplice.report.figure import Figure, Panel
from fesplice.report.parts import Parts
from fesplice.report.plan import fields as plan_fields
from fesplice.report.plan import figures as plan_figures
from fesplice.report.plan import slab
from fesplice.report.plan import tables as plan_tables
from fesplice.report.plan import text as plan_text
from fesplice.report.view import Stage, View

if TYPE_CHECKING:
    from fesplice.specimen import Specimen


@dataclass(frozen=True)
class ViewReport:
    """What is told of one view: its words, page, figures and numbers.

    ``place`` completes "AS29-100-U, in elevation"; ``per`` what its load is counted per, ``moved`` the column of its
    movement, ``axes`` the names of both beside a curve; ``caution`` what it cannot show, ``missing`` what is half of
    the answer where bars lap (see ``half``).
    ``loads`` and ``details``: rows of the terminal text before and after what the view failed by; ``panel``: its part
    in the figure of both views.
    """

    name: str
    title: str
    place: str
    per: str
    moved: str
    axes: tuple[str, str]
    template: str
    caution: str
    missing: str
    figures: Mapping[str, Figure]
    stages: Callable[[View], tuple[Stage, ...]]
    parts: Callable[[View], Parts]
    loads: Callable[[View], list[tuple[str, str]]]
    details: Callable[[View], list[tuple[str, str]]]
    panel: Panel

    def half(self, specimen: Specimen) -> str:
        """That this view is half of the answer, where it is; empty for bars that run through."""
        return "" if specimen.bars.splice == "continuous" else f"Half of the answer: {self.missing}"


VIEWS: dict[str, ViewReport] = {
    ViewName.elevation: ViewReport(
        name="elevation",
        title="Beam splice in elevation",
        place="in elevation",
        per=PER[ViewName.elevation],
        moved=beam.MOVED,
        axes=("midspan deflection (mm)", "load per ram (kN)"),
        template="elevation.html",
        caution="Two dimensions only: no side blow-out, no spalling, hook bearing spread over the width (see page).",
        missing="the elevation alone. Struts between lapped bars, side thrust and ties lie in the plan, which may give "
        "way first; the verb predict reads both views together.",
        figures=figures.FIGURES,
        stages=lambda view: beam.beam_of(view).stages(),
        parts=tables.parts,
        loads=text.loads,
        details=text.details,
        panel=fields.PANEL,
    ),
    ViewName.plan: ViewReport(
        name="plan",
        title="Slab at bar level, in plan",
        place="in plan at bar level",
        per=PER[ViewName.plan],
        moved=slab.MOVED,
        axes=("lengthening (mm)", "force per side (kN)"),
        template="plan.html",
        caution="Two dimensions only: nothing varies over the depth, no side blow-out (see the page).",
        missing="the plan alone. Prying, flexure and shear need the elevation; read the strength between the free and "
        "the intact plane. The verb predict reads both views together.",
        figures=plan_figures.FIGURES,
        stages=lambda view: slab.slab_of(view).stages(),
        parts=plan_tables.parts,
        loads=plan_text.loads,
        details=plan_text.details,
        panel=plan_fields.PANEL,
    ),
}
