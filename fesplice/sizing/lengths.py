"""Lengths that documents ask for at a design bar stress, beside those the specimen has.

None of the documents covers laps of hooked bars: hook lengths are compared with the lap (hook outside to
hook outside) and with the embedment from the joint face, straight laps with the lap.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.contracts import Check, InputFault
from fesplice.provisions import (
    aashto_lrfd_9,
    aci318_14,
    aci318_19,
    aci318_19_detailing,
    ec2_2004,
    ec2_2023,
    mc2010,
)
from fesplice.sizing.band import READINGS, remarks
from fesplice.sizing.lapped import CLOSE_TIES, TIE_PITCH, Lapped
from fesplice.sizing.statics import Statics

if TYPE_CHECKING:
    from fesplice.specimen import Specimen


@dataclass(frozen=True)
class Length:
    """One length: ``required`` [mm] at the design stress against ``provided`` [mm] (NaN where a document refuses).

    ``kind`` names the quantity; ``measure`` what it is compared with: "lap" or "embedment".
    """

    line: str
    document: str
    clause: str
    kind: str
    reading: str
    required: float
    provided: float
    measure: str
    notes: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """True where the provided length reaches the required one."""
        return self.provided >= self.required


@dataclass(frozen=True)
class Limit:
    """A limit of a document: what it limits, the value of the specimen, the limit [mm], whether it is kept."""

    document: str
    clause: str
    what: str
    value: float
    limit: float
    kept: bool
    note: str = ""


def lengths(s: Specimen, rows: tuple[Lapped, ...], statics: dict[str, Statics], stress: float) -> tuple[Length, ...]:
    """Lengths of every document at the bar stress ``stress`` [MPa], row by row."""
    return tuple(found for bar in rows for found in _of_row(bar, statics[bar.line].concrete.strength, stress))


def _of_row(bar: Lapped, fc: float, stress: float) -> Iterator[Length]:
    if bar.hooked:
        yield from _hooks(bar, fc, stress)
    d, t = bar.diameter, bar.ties
    k_tr = aci318_19.transverse_index(t.one_set, t.spacing, float(t.units)).value if t.there else 0.0
    for module in (aci318_19, aci318_14, aashto_lrfd_9):
        try:
            basic = module.straight_development(fc, stress, d, bar.c_b, k_tr)
            yield _length(bar, basic, "straight bar", "", "embedment", bar.embedment)
            yield _length(bar, module.lap_splice(basic.value, d), "class B lap", "", "lap", bar.lap)
        except InputFault as fault:
            yield _refusal(bar, fault)
    yield from _european(bar, fc, stress)


def _hooks(bar: Lapped, fc: float, stress: float) -> Iterator[Length]:
    d, t = bar.diameter, bar.ties
    psi_o = aci318_19.psi_o(d, bar.edge).value
    a_th = t.total if t.close(d, TIE_PITCH) else 0.0
    for reading in READINGS:
        psi = aci318_19.psi_r(d, bar.spacing["row"], bar.spacing["partner"], reading, a_th, bar.row.area * t.bars).value
        check = aci318_19.hook_development(fc, stress, d, psi, psi_o)
        yield _length(bar, check, f"hook, psi_r {psi:g}, psi_o {psi_o:g}", reading, "lap", bar.lap)
    close = 0.8 if t.close(d, CLOSE_TIES) else 1.0
    small = d <= 36.5
    covered = 0.7 if small and bar.edge >= 65.0 and bar.tail_cover >= 50.0 else 1.0
    check = aci318_14.hook_development(fc, stress, d, covered, close if small else 1.0)
    yield _length(bar, check, f"hook, psi_c {covered:g}, psi_r {close if small else 1.0:g}", "", "lap", bar.lap)
    check = aashto_lrfd_9.hook_development(fc, stress, d, close)
    yield _length(bar, check, f"hook, lambda_rc {close:g}", "", "lap", bar.lap)


def _european(bar: Lapped, fc: float, stress: float) -> Iterator[Length]:
    f_ck, d, t = max(fc - 8.0, 12.0), bar.diameter, bar.ties
    bond = ec2_2004.design_bond(min(f_ck, 90.0), d).value
    basic = ec2_2004.basic_anchorage(d, stress / 1.15, bond).value
    a1 = ec2_2004.alpha_1(bar.c_least, d, bar.hooked).value
    a2 = ec2_2004.alpha_2(bar.c_least, d, bar.hooked).value
    gap = max(bar.pair_gap, 0.0)
    kind = f"lap at stress/1.15, alpha_1 {a1:g}, alpha_2 {a2:.2f}, all bars lapped"
    yield _length(bar, ec2_2004.lap_length(basic, d, 100.0, a1, a2, clear_gap=gap), kind, "", "lap", bar.lap)
    check = ec2_2023.lap_length(stress / 1.15, min(f_ck, 100.0), d, bar.c_least, bar.hooked)
    kind = "lap of hooks at stress/1.15" if bar.hooked else "lap at stress/1.15"
    yield _length(bar, check, kind, "", "lap", bar.lap)
    low, high = bar.c_model_code
    k_tr = mc2010.transverse_index(float(t.legs), t.area, float(t.units), d, t.spacing).value if t.there else 0.0
    check = mc2010.lap_length(stress, fc, d, low, high, t.k_m if k_tr else 0.0, k_tr)
    yield _length(bar, check, "straight lap, mean strength", "", "lap", bar.lap)


def _length(bar: Lapped, check: Check, kind: str, reading: str, measure: str, provided: float) -> Length:
    document = f"{check.document} {check.edition}"
    return Length(
        bar.line, document, check.clause, kind, reading, check.value, provided, measure, tuple(remarks(check))
    )


def _refusal(bar: Lapped, fault: InputFault) -> Length:
    document, _, clause = fault.source.rpartition(", ")
    why = "; ".join(f.allowed for f in fault.faults)
    return Length(bar.line, document, clause, "refused", "", float("nan"), float("nan"), "lap", (why,))


# ------------------------------------------------------------------ limits
def limits(s: Specimen, rows: tuple[Lapped, ...], statics: dict[str, Statics]) -> tuple[Limit, ...]:
    """Limits on spacing and bar size that the documents set for laps, kept or not."""
    found: list[Limit] = []
    for bar in rows:
        found += _spacing_limits(bar)
        found += _transverse(bar, statics[bar.line].steel.yield_strength)
    return tuple(dict.fromkeys(found))


def _spacing_limits(bar: Lapped) -> Iterator[Limit]:
    for module in (aci318_19, aashto_lrfd_9):
        check = module.noncontact_spacing(bar.lap)
        document = f"{check.document} {check.edition}"
        what = "centre spacing of a lapped pair, min(l_s/5, 150 mm or 6 in)"
        # bars in contact are no noncontact lap
        kept = bar.s_partner <= check.value or bar.pair_gap <= 1.0
        yield Limit(document, check.clause, what, bar.s_partner, check.value, kept)
        yield Limit(
            document, "25.5.1.1" if module is aci318_19 else "5.10.8.4.2a",
            "bar size of a tension lap, No. 11 (36)", bar.diameter, 36.5, bar.diameter <= 36.5, "clause from memory",
        )  # fmt: skip


def _transverse(bar: Lapped, fy: float) -> Iterator[Limit]:
    t, d = bar.ties, bar.diameter
    check = aci318_19_detailing.least_transverse_index(d, fy, min(bar.s_partner, bar.s_row))
    if "does not apply" not in check.scope_note:
        k_tr = aci318_19.transverse_index(t.one_set, t.spacing, float(t.units)).value if t.there else 0.0
        document = f"{check.document} {check.edition}"
        what = "K_tr of bars of 550 MPa (80 ksi) or more closer than 150 mm (6 in), at least 0.5 d_b"
        yield Limit(document, check.clause, what, k_tr, check.value, k_tr >= check.value, "from memory")
    if not bar.hooked:
        return
    check = aci318_19_detailing.end_tie_spacing(d, bar.edge, min(bar.cover, bar.tail_cover))
    if "does not apply" not in check.scope_note:
        kept = t.there and t.spacing <= check.value * 1.001
        value = t.spacing if t.there else math.inf
        what = "ties across hooks at ends of members with thin covers, at most 3 d_b apart"
        note = "from memory; written for ends of members, a closure between precast halves is none"
        yield Limit(f"{check.document} {check.edition}", check.clause, what, value, check.value, kept, note)
