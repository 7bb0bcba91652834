"""Figures of an elevation by name, each with its caption, in the order of its page."""

from __future__ import annotations

from fesplice.report.elevation.curves import bar_profiles, hook_history, load_deflection
from fesplice.report.elevation.fields import crack_map, principal_tension, station_key
from fesplice.report.elevation.prying import prying_tie
from fesplice.report.elevation.scenes import deformed
from fesplice.report.figure import SPECIMEN, Figure

FIGURES: dict[str, Figure] = {
    "specimen": SPECIMEN,
    "load-deflection": Figure(
        "Load against midspan deflection",
        "Load per ram without self-weight, whose deflection comes first. Dots are accepted steps; small solid marks "
        "tell the first crack, the first joint open wider than a visible crack, and yield. Where the run is half of a "
        "prediction, a cross marks its failure; the thin broken curve beyond is what would come if nothing else gave "
        "way.",
        load_deflection,
    ),
    "cracks": Figure(
        "Cracks",
        "Weight and colour of a line tell how far its crack is open, in classes that are the same for every specimen; "
        "it lies along the crack, undeformed. Open joints are drawn alike. The opening is crack strain times "
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
        "Prying at the hooks",
        "The block beyond a hook is pried upwards; the plane over the bars holds it until it tears. Vertical tension "
        "on that plane beside the strength that flat cracks have left it, as means over two bar diameters at the worst "
        "place within four of the hook; the index is 1 where the plane is torn through or no more is left than pulls. "
        "A triangle: from there on a crack along the bars at the hooks is wider than its limit. Thin: after the "
        "largest load. The upright grey line stands at the load of the last panel.",
        prying_tie,
    ),
    "scene": Figure(
        "Deformed splice",
        "Rear half of the beam cut at its middle, elements with cracks in the colours of the crack figure, and the "
        "bars before it, displacements enlarged. The analysis is "
        "plane: nothing varies across the width, and all bars of a side carry one stress.",
        deformed,
    ),
}
