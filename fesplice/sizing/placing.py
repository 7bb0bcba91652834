"""Does the cage fit: covers, clear gaps, tails, bends, clashes, and the transverse force of a noncontact lap."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.contracts import Fault
from fesplice.geometry.clash import clashes, clear_gaps
from fesplice.provisions import aci318_19, ec2_2004
from fesplice.sizing.lapped import Lapped

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

#: Least clear cover of hook tails [mm], 1 1/2 in (common practice, no source).
TAIL_COVER = 38.0
#: Least clear gap between bars [mm] beside the bar diameter, 1 in (common practice; ACI 318-19 25.2.1 from memory).
LEAST_GAP = 25.0
#: Tolerance of placing bars in a laboratory [mm] (common practice, no source).
PLACING = 5.0


@dataclass(frozen=True)
class Fit:
    """One dimension of the cage: ``value`` against the ``least`` [mm]; ``kept`` False is advice, not a fault."""

    what: str
    value: float
    least: float
    kept: bool
    source: str
    note: str = ""


@dataclass(frozen=True)
class Placing:
    """The dimensions, and what cannot be built at all (``faults``)."""

    fits: tuple[Fit, ...]
    faults: tuple[Fault, ...]


def placing(s: Specimen, rows: tuple[Lapped, ...]) -> Placing:
    """Dimensions of the cage against common practice and the least bends of the documents."""
    found = [*_covers(s), *_gaps(s)]
    for bar in rows:
        found += _hook(s, bar)
    found += _transverse(s)
    return Placing(tuple(dict.fromkeys(found)), tuple(clashes(s)))


def _fit(what: str, value: float, least: float, source: str, note: str = "") -> Fit:
    return Fit(what, value, least, value >= least - 0.01, source, note)


def _covers(s: Specimen) -> Iterator[Fit]:
    rows = [("A", s.bars.left)] + ([("B", s.bars.right)] if s.bars.right is not None else [])
    practice = "common practice, no source"
    for name, row in rows:
        d = row.diameter
        yield _fit(f"clear cover of bars {name} to the tension face", row.cover, max(d, 25.0), practice)
    yield _fit("clear side cover of the outer bars", s.bars.side_cover, max(rows[0][1].diameter, 25.0), practice)


_PAIRS = {
    ("A", "B"): "clear gap between bars A and B", ("A", "A"): "clear gap between bars A",
    ("B", "B"): "clear gap between bars B",
}  # fmt: skip


def _gaps(s: Specimen) -> Iterator[Fit]:
    d = s.bars.left.diameter
    for (a, b), gap in clear_gaps(s).items():
        contact = {a, b} == {"A", "B"} and gap <= 1.0
        name = _PAIRS.get((a, b)) or f"clear gap between {_named(a)} and {_named(b)}"
        if contact:
            yield Fit(name, gap, 0.0, True, "contact lap")
        elif a in ("A", "B") and b in ("A", "B"):
            yield _fit(name, gap, max(d, LEAST_GAP), "ACI 318-19 25.2.1, from memory", f"placing ± {PLACING:.0f} mm")
        elif not (a.startswith("C") and b.startswith("C")):
            yield _fit(name, gap, PLACING, f"placing tolerance {PLACING:.0f} mm, common practice")


def _named(line: str) -> str:
    return "the compression bars" if line.startswith("C") else f"bars {line}"


def _hook(s: Specimen, bar: Lapped) -> Iterator[Fit]:
    hook, d = bar.row.hook, bar.diameter
    if hook is None:
        return
    face = "compression" if hook.orientation == "compression" else "tension"
    yield _fit(f"cover of the tails of bars {bar.line} to the {face} face", bar.tail_cover, TAIL_COVER,
               "common practice, 38-50 mm")  # fmt: skip
    least = aci318_19.bend_diameter(d).value
    yield _fit(f"bend diameter of bars {bar.line}", hook.bend_diameter, least, "ACI 318-19 25.3.1, from memory")
    mandrel = ec2_2004.mandrel(d).value
    yield _fit(f"bend diameter of bars {bar.line}", hook.bend_diameter, mandrel, "EN 1992-1-1:2004 8.3")
    tail = aci318_19.hook_extension(d, hook.angle).value
    yield _fit(f"tail of bars {bar.line}", hook.tail, tail, "ACI 318-19 25.3.1, from memory")
    opposite = s.body.closure - bar.embedment
    yield _fit(f"clear distance of hooks {bar.line} to the far joint face", opposite, LEAST_GAP, "common practice")


def _transverse(s: Specimen) -> Iterator[Fit]:
    for name, part in (("stirrups", s.stirrups), ("confinement", s.confinement)):
        if part is None or (name == "confinement" and not s.confinement.in_sets):
            continue
        gap = part.spacing - part.diameter
        yield _fit(f"clear gap between sets of {name}", gap, LEAST_GAP, "common practice")


# ------------------------------------------------------------------ struts of a noncontact lap
@dataclass(frozen=True)
class LapTruss:
    """Plan truss of a noncontact lap at the central stress: angle [deg], force across T s/(l_s - 2 r) [N],
    yield force of the transverse steel over the lap [N] (0 without) and half of it near each hook.
    """

    line: str
    angle: float
    spread: float
    force: float
    bar_force: float
    available: float


def strut(s: Specimen, bar: Lapped, stress: float) -> LapTruss:
    """LapTruss angle atan(s/(l_s - 2 r)), r outer radius of the bend; 90 degrees where the bends leave no length."""
    spread = bar.straight
    force = bar.row.area * stress
    angle = math.degrees(math.atan2(bar.s_partner, spread)) if spread > 0.0 else 90.0
    across = force * bar.s_partner / spread if spread > 0.0 else math.inf
    return LapTruss(bar.line, angle, spread, across, force, bar.ties.capacity / bar.ties.units)
