"""The band of bar stress and load: every formula that gives a stress for the lap, forwards or solved backwards.

In the band stand the formulas of mean strength and the lengths of the two US documents in force
solved for the stress. Older editions and European design values (characteristic strengths, partial
factors) are shown beside it for comparison. The central value is the hooked-bar equation in the
partner reading (each bar and the one it laps with), mostly the cautious one of the two readings.
No document covers laps of hooked bars: the band tells how far the formulas disagree, nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fesplice.contracts import Check, InputFault
from fesplice.provisions import (
    aashto_lrfd_9,
    aci318_14,
    aci318_19,
    aci318_19_detailing,
    aci408r_03,
    ec2_2004,
    ec2_2023,
    ec2_2023_loops,
    ku_hook_2018,
    mc2010,
    orangun_1977,
)
from fesplice.sizing.lapped import CLOSE_TIES, TIE_PITCH, Lapped
from fesplice.sizing.statics import Statics

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

READINGS: tuple[aci318_19.Reading, ...] = ("row", "partner")


@dataclass(frozen=True)
class Estimate:
    """Bar stress at anchorage failure by one formula, for one row of bars.

    ``reading`` of the spacing, or "" where it plays no part; ``stress`` [MPa] as the formula gives it, ``moment``
    [N mm] at the critical section and ``load`` [N] per ram for it, both limited by the bending strength;
    ``role`` "band" or "comparison"; ``central`` marks the central value; ``notes`` warnings of range and scope.
    """

    line: str
    formula: str
    source: str
    reading: str
    stress: float
    moment: float
    load: float
    role: str
    central: bool
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Band:
    """The estimates, and the least, central and largest of those in the band (bar stress [MPa], load per ram [N]).

    Of two different rows the one that gives way at the lower load counts. ``yields`` is set where no lap
    exists and the bars' yielding takes the place of all three.
    """

    estimates: tuple[Estimate, ...]
    low: Estimate
    central: Estimate
    high: Estimate
    yields: bool = False


@dataclass(frozen=True)
class _Given:
    """What the formulas ask for, of one row in its lap."""

    bar: Lapped
    f_cm: float
    fy: float

    @property
    def f_ck(self) -> float:
        """Characteristic strength f_cm - 8 MPa, as estimates are made throughout."""
        return max(self.f_cm - 8.0, 12.0)

    @property
    def psi_o(self) -> float:
        # the hooks next to the side faces give way first, so theirs is the cover that counts for all
        return aci318_19.psi_o(self.bar.diameter, self.bar.edge).value

    @property
    def counted_ties(self) -> tuple[float, float]:
        """A_th, A_hs of ACI 318-19 [mm2]; no A_th for sets farther apart than 8 d_b."""
        t, b = self.bar.ties, self.bar
        return (t.total if t.close(b.diameter, TIE_PITCH) else 0.0), b.row.area * t.bars

    @property
    def l_rc(self) -> float:
        """Factor 0.8 of ACI 318-14 and AASHTO for ties at 3 d_b."""
        return 0.8 if self.bar.ties.close(self.bar.diameter, CLOSE_TIES) else 1.0


# ------------------------------------------------------------------ formulas
def _aci19(g: _Given, reading: aci318_19.Reading) -> Check:
    b = g.bar
    a_th, a_hs = g.counted_ties
    psi = aci318_19.psi_r(b.diameter, b.spacing["row"], b.spacing["partner"], reading, a_th, a_hs).value
    return aci318_19.hook_stress(b.lap, g.f_cm, b.diameter, psi, g.psi_o)


def _hook_equation(g: _Given, reading: aci318_19.Reading) -> Check:
    b, t = g.bar, g.bar.ties
    return ku_hook_2018.hook_stress(
        g.f_cm, b.diameter, b.row.area, b.lap, b.spacing["row"], b.spacing["partner"], reading, t.total, float(t.bars)
    )


def _aashto(g: _Given) -> Check:
    return aashto_lrfd_9.hook_stress(g.bar.lap, g.f_cm, g.bar.diameter, g.l_rc)


def _aci14(g: _Given) -> Check:
    b = g.bar
    covered = b.edge >= 65.0 and b.tail_cover >= 50.0 and b.diameter <= 36.5
    psi_r = g.l_rc if b.diameter <= 36.5 else 1.0
    return aci318_14.hook_stress(b.lap, g.f_cm, b.diameter, 0.7 if covered else 1.0, psi_r)


def _aci408(g: _Given) -> Check:
    b, t = g.bar, g.bar.ties
    low, high = b.c_408
    sets = float(t.sets)
    return aci408r_03.splice_stress(g.f_cm, b.diameter, b.row.area, b.lap, low, high, sets, t.one_set, float(t.units))


def _orangun(g: _Given) -> Check:
    b, t = g.bar, g.bar.ties
    a_tr = t.one_set / t.units
    s = t.spacing if t.there else 0.0
    return orangun_1977.splice_stress(g.f_cm, b.diameter, b.lap, b.c_least, a_tr, t.yield_strength, s)


def _mc2010(g: _Given) -> Check:
    b, t = g.bar, g.bar.ties
    low, high = b.c_model_code
    k_tr = 0.0
    if t.there:
        k_tr = mc2010.transverse_index(float(t.legs), t.area, float(t.units), b.diameter, t.spacing).value
    return mc2010.lap_stress(g.f_cm, b.diameter, b.lap, low, high, t.k_m if k_tr else 0.0, k_tr)


def _ec2004(g: _Given) -> Check:
    b = g.bar
    return ec2_2004.lap_stress(b.lap, g.f_ck, b.diameter, b.c_least, b.hooked, clear_gap=max(b.pair_gap, 0.0))


def _ec2023(g: _Given) -> Check:
    return ec2_2023.lap_stress(g.bar.lap, g.f_ck, g.bar.diameter, g.bar.c_least, g.bar.hooked)


def _aci19_straight(g: _Given) -> Check:
    b, t = g.bar, g.bar.ties
    k_tr = aci318_19.transverse_index(t.one_set, t.spacing, float(t.units)).value if t.there else 0.0
    psi_g = 1.0 if g.fy <= 421.0 else 1.15 if g.fy <= 553.0 else 1.3
    return aci318_19_detailing.lap_stress(b.lap, g.f_cm, b.diameter, b.c_b, k_tr, psi_g)


def _aashto_straight(g: _Given) -> Check:
    b, t = g.bar, g.bar.ties
    k_tr = aashto_lrfd_9.transverse_index(t.one_set, t.spacing, float(t.units)).value if t.there else 0.0
    return aashto_lrfd_9.lap_stress(b.lap, g.f_cm, b.diameter, b.c_b, k_tr)


def _loops(g: _Given) -> Check:
    """Loops: mean strengths in place of the design ones, as stress of the bar; a loop has two legs in the lap."""
    b, gap = g.bar, max(g.bar.pair_gap, 0.0)
    assert b.row.hook is not None
    core = ec2_2023_loops.loop_core(b.diameter, b.row.hook.bend_diameter, b.lap).value
    area, strength = b.core_steel
    k_st = ec2_2023_loops.loop_steel(strength or g.fy, g.f_cm, core, AGGREGATE, b.lap, area).value
    return _stress(ec2_2023_loops.loop_strength(g.f_cm, core, AGGREGATE, b.lap, k_st, gap), 2.0 * b.row.area)


def _heads(g: _Given) -> Check:
    """Headed bars: mean strengths in place of the design ones, as stress of the bar."""
    b, gap = g.bar, max(g.bar.pair_gap, 0.0)
    assert b.row.head is not None
    core = ec2_2023_loops.head_core(b.diameter, b.row.head.width, b.lap).value
    length = b.lap - 2.0 * b.diameter
    area, strength = b.core_steel
    k_st = ec2_2023_loops.head_steel(strength or g.fy, g.f_cm, core, AGGREGATE, length, area).value
    return _stress(ec2_2023_loops.head_strength(g.f_cm, core, AGGREGATE, length, k_st, gap), b.row.area)


def _stress(force: Check, area: float) -> Check:
    """The answer of a clause in force as the stress of the steel of ``area`` that carries it [MPa]."""
    return replace(force, value=force.value / area, unit="MPa")


@dataclass(frozen=True)
class _Formula:
    """A row of the band: its name, role and remarks for the kinds of lap in ``of``."""

    name: str
    role: str
    of: tuple[str, ...]
    answer: Callable[..., Check]
    readings: bool = False
    note: str = ""


_DESIGN = "design value, no mean strength"
_MEANS = "a design formula with f_cm and f_y in place of design strengths, d_dg = 32 mm assumed"
#: d_dg = 16 mm + D_lower of common gravel [mm] (common practice, no source).
AGGREGATE = 32.0
FORMULAS: tuple[_Formula, ...] = (
    _Formula("hooked-bar equation x 0.8", "band", ("hooked",), _hook_equation, True,
             "fitted to hooks of beam-column joints; 0.8 for hooks outside a column core"),
    _Formula("hook length solved for stress", "band", ("hooked",), _aci19, True, _DESIGN),
    _Formula("hook length solved for stress", "band", ("hooked",), _aashto, False, _DESIGN),
    _Formula("class B lap solved for stress", "band", ("straight",), _aci19_straight, False, _DESIGN),
    _Formula("class B lap solved for stress", "band", ("straight",), _aashto_straight, False, _DESIGN),
    _Formula("straight splice, mean", "band", ("hooked", "straight"), _aci408),
    _Formula("straight lap, mean", "band", ("hooked", "straight"), _mc2010),
    _Formula("looped lap", "band", ("looped",), _loops, False,
             f"{_MEANS}; the force of a loop is shared by its two legs"),
    _Formula("headed lap", "band", ("headed",), _heads, False, _MEANS),
    _Formula("straight splice, mean", "comparison", ("looped", "headed"), _aci408),
    _Formula("straight lap, mean", "comparison", ("looped", "headed"), _mc2010),
    _Formula("straight splice, mean", "comparison", ("hooked",), _orangun),
    _Formula("straight splice, mean", "band", ("straight",), _orangun),
    _Formula("hook length solved for stress", "comparison", ("hooked",), _aci14, False, "superseded edition"),
    _Formula("lap solved for stress", "comparison", ("hooked", "straight"), _ec2004, False,
             "design value with partial factors, f_ck = f_cm - 8 MPa"),
    _Formula("lap solved for stress", "comparison", ("hooked", "straight"), _ec2023, False,
             "design value with partial factors, f_ck = f_cm - 8 MPa"),
)  # fmt: skip


# ------------------------------------------------------------------ the band
def band(s: Specimen, rows: tuple[Lapped, ...], statics: dict[str, Statics]) -> Band:
    """Estimates of all formulas for the rows of a lap, or the bars' yielding where they are continuous."""
    if not rows:
        return _continuous(statics["A"])
    found = [e for bar in rows for e in _of_row(s, bar, statics[bar.line])]
    inside = [e for e in found if e.role == "band"]
    centrals = [e for e in found if e.central]
    # each formula speaks once: of two rows the one that gives way first, at the lower load
    first = {(e.source, e.reading): e for e in sorted(inside, key=lambda e: (-e.load, e.line))}
    low, high = min(first.values(), key=_by_load), max(first.values(), key=_by_load)
    return Band(tuple(found), low, min(centrals, key=_by_load), high)


def _by_load(e: Estimate) -> tuple[float, str]:
    return e.load, e.line


def _continuous(st: Statics) -> Band:
    moment = st.yielding
    e = Estimate(
        "A", "bars yield, cracked elastic section", "bending", "", st.steel.yield_strength, moment, st.load(moment),
        "band", True, ("no lap: bending governs",),
    )  # fmt: skip
    return Band((e,), e, e, e, yields=True)


def _of_row(s: Specimen, bar: Lapped, st: Statics) -> list[Estimate]:
    given = _Given(bar, st.concrete.strength, st.steel.yield_strength)
    found: list[Estimate] = []
    for formula in FORMULAS:
        if bar.kind not in formula.of:
            continue
        for reading in READINGS if formula.readings else ("",):
            try:
                check = formula.answer(given, reading) if reading else formula.answer(given)
            except InputFault as fault:
                found.append(_refused(bar, formula, reading, str(fault)))
                continue
            found.append(_estimate(s, bar, st, formula, reading, check))
    return _with_central(found, bar.kind)


def _estimate(s: Specimen, bar: Lapped, st: Statics, formula: _Formula, reading: str, check: Check) -> Estimate:
    notes = [formula.note] if formula.note else []
    notes += remarks(check)
    if s.confinement.in_bends:
        notes.append("no formula counts a transverse bar inside the bends: as if unconfined")
    stress, most = check.value, st.largest
    if stress > st.steel.yield_strength:
        notes.append(f"above f_y = {st.steel.yield_strength:.0f} MPa: the bars yield first")
    moment = min(st.moment(stress), most)
    source = f"{check.document} {check.edition}, {check.clause}"
    return Estimate(
        bar.line, formula.name, source, reading, stress, moment, st.load(moment), formula.role, False, tuple(notes)
    )


def remarks(check: Check) -> list[str]:
    """Remarks of a clause without its choices (told beside the value) and its scope (told once for all)."""
    parts = [n for n in check.scope_note.split("; ") if n and not re.match(r"\w+ = ", n)]
    return [n for n in parts if "outside the scope of" not in n and n != "value shown for comparison"]


def _refused(bar: Lapped, formula: _Formula, reading: str, why: str) -> Estimate:
    """A formula that does not take the specimen stays in the table, without a value."""
    nan = float("nan")
    return Estimate(bar.line, formula.name, why.split(": ")[0], reading, nan, nan, nan, "refused", False, (why,))


def _with_central(found: list[Estimate], kind: str) -> list[Estimate]:
    """Marks the central value: hooked-bar equation by partner; straight bars 408R in its range, else MC2010; the one
    formula of loops and of heads.
    """
    if kind == "hooked":
        chosen = next(e for e in found if e.formula.startswith("hooked-bar") and e.reading == "partner")
    elif kind in ("looped", "headed"):
        chosen = next(e for e in found if kind in e.formula)
    else:
        mean = [e for e in found if e.formula.startswith("straight") and e.role == "band"]
        inside = [e for e in mean if not any("outside" in n for n in e.notes)]
        chosen = (inside or mean)[0]
    return [replace(e, central=e is chosen) for e in found]
