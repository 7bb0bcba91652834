"""Stress in the steel: bars at the joint face three ways, bond between gauges, forces in transverse legs."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from fesplice.contracts import Floats
from fesplice.measured.channels import Conditioned
from fesplice.measured.readings import Readings, at_row, uncertainty, word
from fesplice.measured.record import BarStressAt, BondStress, TieForce, Value
from fesplice.sizing.lapped import lapped
from fesplice.sizing.statics import Statics
from fesplice.specimen import Specimen
from fesplice.specimen.gauges import arc, bar_names, row_of

#: Gauges within this many bar diameters of the joint face read the bar there (gauge length and placing, judgement).
AT_FACE = 1.0
#: Ways of finding the bar stress that differ by more than this are flagged.
SPREAD = 0.05
#: A gauge sits this well along the bar [mm]; d is known this well as built and as planned [mm] (common practice).
PLACED, D_BUILT, D_PLANNED = 2.0, 2.0, 5.0


def own_strain(st: Statics) -> float:
    """Bar strain under own weight and loading equipment, which gauges zeroed under them do not read.

    Gross section while its moment is below the cracking moment, eps = M (d - h/2)/(E_c b h^3/12); else fibres.
    """
    s, moment = st.specimen, st.own_moment(st.face)
    if moment >= min(st.cracking, st.joint_opening if math.isfinite(st.joint_opening) else st.cracking):
        return st.strains(moment)[1]
    gross = s.body.width * s.body.depth**3 / 12.0
    return moment / gross * (st.row.depth - 0.5 * s.body.depth) / st.concrete.elastic_modulus


def elastic_stress(st: Statics, moment: Floats) -> Floats:
    """Bar stress (n,) [MPa] of the cracked elastic section, n M (d - x)/I_cr; NaN above the yield strength."""
    per = st.elastic.stress(1.0, st.row.depth)
    stress = moment * per
    return np.where(stress <= 1.0001 * st.steel.yield_strength, stress, np.nan)


def fibre_stress(st: Statics, moment: Floats) -> Floats:
    """Bar stress (n,) [MPa] by moment-curvature with the bars' own curve; NaN above the largest moment."""
    f = st.fibres
    rise = slice(0, f.peak + 1)
    m = np.concatenate([[0.0], np.maximum.accumulate(f.moment[rise])])
    return np.interp(moment, m, np.concatenate([[0.0], f.stress[rise]]), left=0.0, right=math.nan)


def bar_stress(
    s: Specimen, rows: Mapping[str, Statics], r: Readings, series: dict[str, Floats], load: Floats, peak: int,
    at: Mapping[float, int], u_load: float, built: set[str], results: dict[str, Value], remarks: list[str],
) -> list[BarStressAt]:  # fmt: skip
    """Bar stress at the joint face of every line of bars, three ways, at each share of the load."""
    found = []
    for line, st in rows.items():
        arm = st.moment_of_load(1.0) - st.moment_of_load(0.0)
        moment = load * arm + st.own_moment(st.face)
        series[f"moment_{line}_Nmm"] = moment
        elastic, fibre = elastic_stress(st, moment), fibre_stress(st, moment)
        series[f"bar_stress_{line}_elastic_MPa"], series[f"bar_stress_{line}_fibre_MPa"] = elastic, fibre
        gauges = r.of(
            "bar_strain",
            lambda g, line=line, st=st: g.bar.startswith(line) and abs(arc(s, g)) <= AT_FACE * st.row.diameter,
        )
        strain = r.mean(gauges)
        gauge = np.full(len(load), np.nan)
        if strain is not None:
            curve = st.steel.monotonic.fibres()
            gauge = np.where(np.isfinite(strain), curve(np.nan_to_num(strain + own_strain(st))), np.nan)
            series[f"bar_stress_{line}_gauge_MPa"] = gauge
        key = "bars.left.depth" if line == "A" else "bars.right.depth"
        u_d = D_BUILT if key in built else D_PLANNED
        for share, row in at.items():
            ways = {
                "cracked elastic": float(elastic[row]), "moment-curvature": float(fibre[row]),
                "gauge mean": at_row(gauge, row, peak),
            }  # fmt: skip
            modulus = st.steel.elastic_modulus
            u_gauge = uncertainty(gauges, ways["gauge mean"] / modulus) * modulus
            found.append(_one_stress(st, line, share, float(load[row]), float(moment[row]), ways, u_load, u_d, u_gauge))
        last = found[-1]
        joint = "joint face" if s.body.closure > 0.0 else "critical section"
        results[f"bar stress {line} at the {joint}, at the peak"] = Value(
            last.fibre, "MPa", f"moment-curvature at M = {last.moment / 1e6:.1f} kNm, own weight and loading equipment "
            f"{st.own_moment(st.face) / 1e6:+.1f} kNm, {'measured' if st.steel.curve else 'idealised'} steel curve",
            last.uncertainty, last.flag,
        )  # fmt: skip
        if last.flag:
            remarks.append(f"bar stress of line {line} at the peak: {last.flag}")
        if strain is None:
            remarks.append(f"no gauge at the joint face of line {line}: its bar stress is known from the moment alone")
    return found


def _one_stress(
    st: Statics, line: str, share: float, load: float, moment: float, ways: Mapping[str, float], u_load: float,
    u_d: float, u_gauge: float,
) -> BarStressAt:  # fmt: skip
    """One row: the ways [MPa], how far they differ, and how well each is known."""
    known = {k: v for k, v in ways.items() if math.isfinite(v)}
    base = known.get("moment-curvature", next(iter(known.values()), math.nan))
    spread = (max(known.values()) - min(known.values())) / base if len(known) > 1 and base else math.nan
    # before the joint opens the section is not cracked, and the two ways by the moment do not hold
    open_from = min(st.cracking, st.joint_opening if math.isfinite(st.joint_opening) else st.cracking)
    flag = ""
    if spread > SPREAD:
        low, high = (f(known, key=lambda k: known[k]) for f in (min, max))
        flag = f"{high} {known[high]:.0f} and {low} {known[low]:.0f} MPa lie {100 * spread:.0f} % apart"
        if moment < 1.5 * open_from:
            flag += "; the section is hardly cracked yet"
    # M = sigma A j d: stress goes with the load (its share of the moment) and inversely with d
    of_load = 1.0 - st.own_moment(st.face) / moment if moment else 1.0
    u = abs(base) * math.hypot(u_load * of_load, u_d / st.row.depth)
    return BarStressAt(
        line, share, load, moment, ways["cracked elastic"], ways["moment-curvature"], ways["gauge mean"], u, u_gauge,
        spread, flag,
    )  # fmt: skip


# ------------------------------------------------------------------ bond and ties
def bond_stress(s: Specimen, r: Readings, load: Floats, at: Mapping[float, int]) -> list[BondStress]:
    """Bond between neighbouring gauges: tau = (sigma_1 - sigma_2) A/(pi d (x_2 - x_1)), along the bar."""
    found = []
    for bar in bar_names(s):
        row = row_of(s, bar)
        assert row is not None
        places: dict[float, list[Conditioned]] = {}
        for c in r.of("bar_strain", lambda g, bar=bar: g.bar == bar):
            places.setdefault(round(arc(s, c.gauge), 1), []).append(c)
        stops = sorted(places)
        curve, steel = s.steel[row.steel].monotonic.fibres(), s.steel[row.steel]
        read = {a: _levels(r.mean(places[a]), at) for a in stops}
        for a, b in zip(stops, stops[1:]):
            per = row.area / (math.pi * row.diameter * (b - a))
            for (share, k), e1, e2 in zip(at.items(), read[a], read[b]):
                if not (math.isfinite(e1) and math.isfinite(e2)):
                    continue
                s1, s2 = (float(curve(np.array([e]))[0]) for e in (e1, e2))
                tau = (s1 - s2) * per
                u = [uncertainty(places[p], abs(e)) * steel.elastic_modulus for p, e in ((a, e1), (b, e2))]
                u_tau = math.hypot(per * math.hypot(*u), tau * PLACED * math.sqrt(2.0) / (b - a))
                ids = (_named(places[a]), _named(places[b]))
                found.append(BondStress(bar, ids, a, b, share, float(load[k]), tau, u_tau))
    return found


def _levels(values: Floats | None, at: Mapping[float, int]) -> list[float]:
    """Readings at the rows of ``at``."""
    assert values is not None
    return [at_row(values, k, at[1.0]) for k in at.values()]


def _named(channels: list[Conditioned]) -> str:
    return " + ".join(c.gauge.id for c in channels)


def tie_forces(
    s: Specimen, r: Readings, load: Floats, peak: int, at: Mapping[float, int], series: dict[str, Floats],
    results: dict[str, Value], stress: list[BarStressAt],
) -> list[TieForce]:  # fmt: skip
    """Force in gauged legs, sigma(eps) A of one leg; with closed ties their share of the side thrust."""
    chosen = r.of("tie_strain")
    if not chosen or not s.confinement.steel:
        return []
    curve, c = s.steel[s.confinement.steel].monotonic.fibres(), s.confinement
    found, forces = [], []
    for channel in chosen:
        values = r.fetch(channel.name)
        force = np.where(np.isfinite(values), curve(np.nan_to_num(values)) * c.area, np.nan)
        series[f"tie_{word(channel.gauge.id)}_N"] = force
        forces.append(force)
        for share, k in at.items():
            g = channel.gauge
            found.append(
                TieForce(
                    g.id, g.tie or 0, g.leg, share, float(load[k]), at_row(values, k, peak), at_row(force, k, peak)
                )
            )
    found_at = [f for f in (at_row(force, peak, peak) for force in forces) if math.isfinite(f)]
    mean = sum(found_at) / len(found_at) if found_at else math.nan
    results["mean force of the gauged legs at the peak"] = Value(
        mean, "N", f"stress of the strain by the steel's curve x {c.area:g} mm2, mean of {len(forces)}"
    )
    if c.about_pairs and s.bars.splice == "hooked":
        row = next(x for x in lapped(s) if x.line == "A")
        bar = next((b for b in stress if b.line == "A" and b.share >= 1.0), None)
        if bar is not None and row.straight > 0.0:
            thrust = bar.fibre * row.row.area * row.s_partner / row.straight
            total = mean * c.number * c.legs
            results["side thrust of a lapped pair at the peak"] = Value(
                thrust, "N", f"T s/(l_s - 2 r): bar force {bar.fibre * row.row.area / 1e3:.0f} kN, spacing "
                f"{row.s_partner:.0f} mm, {row.straight:.0f} mm between the bends",
            )  # fmt: skip
            results["share of the side thrust in the ties"] = Value(
                total / thrust if thrust else math.nan, "1",
                f"mean force of the gauged legs x {c.number} sets x {c.legs} legs: legs without a gauge taken as those "
                "with one",
            )  # fmt: skip
    return found
