"""Numbers of a specimen that a table of results carries beside those of the runs.

``quantities``: the usual variables of descriptive equations. ``hand_values``: what hand formulas
say of the specimen, so that a dry run already shows which cases bending would govern.
"""

from __future__ import annotations

import math

from fesplice.provisions import aci408r_03, ku_hook_2018
from fesplice.sizing.statics import statics
from fesplice.specimen import Specimen


def _ties(s: Specimen) -> tuple[float, float]:
    """Transverse steel of the whole lap [mm2], and the bars that share it."""
    c, lapped = s.confinement, 2 * s.bars.left.number
    if not c.in_sets:
        return 0.0, lapped
    return c.number * c.legs * c.area, c.held(s.bars.left.number, s.bars.left.number)[1]


def _covers(s: Specimen) -> tuple[float, float]:
    """Clear cover to the tension face and clear side cover of the outer bar [mm]."""
    row = s.bars.left
    side = 0.5 * s.body.width - max((abs(z) for z in row.positions), default=0.0) - 0.5 * row.diameter
    return s.body.depth - row.depth - 0.5 * row.diameter, side


def quantities(s: Specimen) -> dict[str, float]:
    """Variables of descriptive equations; nan where the specimen has none (a lap in a continuous beam)."""
    row, concrete = s.bars.left, s.concrete.closure or s.concrete.precast
    lapped = s.bars.splice != "continuous"
    ties, shared = _ties(s)
    bottom, side = _covers(s)
    lap = s.bars.lap if lapped else math.nan
    spacing = s.bars.spacing if lapped else math.nan
    return {
        "f_cm_MPa": concrete.strength,
        "f_ct_MPa": concrete.tensile_strength,
        "d_b_mm": row.diameter,
        "A_b_mm2": row.area,
        "l_s_mm": lap,
        "l_s_over_d_b": lap / row.diameter,
        "s_mm": spacing,
        "s_over_d_b": spacing / row.diameter,
        "cover_mm": bottom,
        "side_cover_mm": side,
        "A_th_over_n_mm2": ties / shared,
    }


def ram_load(s: Specimen, stress: float) -> float:
    """Load per ram [kN] at which the bars have ``stress`` [MPa]: cracked elastic, by fibres above yield."""
    beam = statics(s)["A"]
    return beam.load(beam.moment(stress)) / 1e3


def hand_values(s: Specimen) -> dict[str, float]:
    """Hand values: stresses of the bars [MPa] and loads per ram [kN]; nan where no formula applies.

    First crack and first yield; bar stress at anchorage failure by the hooked-bar equation of 2018 in both
    readings of the spacing, for straight laps by committee 408 of 2003; ``hand_margin`` yield over predicted
    stress. The whole check, with its band and margins, is :func:`fesplice.sizing.check`.
    """
    beam = statics(s)["A"]
    partner, other = _stresses(s)
    known = not math.isnan(partner)
    return {
        "hand_first_crack_kN": min(beam.load(beam.cracking, 0.0), beam.load(beam.cracking)) / 1e3,
        "hand_yield_kN": beam.load(beam.yielding) / 1e3,
        "hand_stress_MPa": partner,
        "hand_stress_row_MPa": other,
        "hand_load_kN": ram_load(s, partner) if known else math.nan,
        "hand_margin": beam.steel.yield_strength / partner,
    }


def _stresses(s: Specimen) -> tuple[float, float]:
    """Bar stress at anchorage failure: with the lapped bar as neighbour, and with the next bar of the same row."""
    row, concrete = s.bars.left, s.concrete.closure or s.concrete.precast
    if s.bars.splice == "continuous":
        return math.nan, math.nan
    ties, shared = _ties(s)
    if s.bars.splice == "straight":
        low, high = sorted(_covers(s))
        c = s.confinement
        sets = (float(c.number), c.legs * c.area, 0.5 * shared) if ties else (0.0, 0.0, 1.0)
        stress = aci408r_03.splice_stress(concrete.strength, row.diameter, row.area, s.bars.lap, low, high, *sets).value
        return stress, stress
    places = sorted(row.positions)
    in_row = min((b - a for a, b in zip(places, places[1:])), default=10.0 * row.diameter)
    found = ku_hook_2018.hook_stress_readings(
        concrete.strength, row.diameter, row.area, s.bars.lap, in_row, s.bars.spacing, ties, shared
    )
    return found["partner"].value, found["row"].value
