"""Instruments of a specimen's own: the tables ``[[gauges]]``, and whether each sits where it can.

A gauge changes nothing that is computed: the digest of a specimen leaves them out. Distances along a bar
count from its joint face (the lap's start in a beam without joints), into the lap positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from fesplice.specimen.values import UNSET, Count, Length, Name, Part, Position, Text
from fesplice.units import both, show

if TYPE_CHECKING:
    from fesplice.specimen.schema import BarRow, Specimen
    from fesplice.specimen.values import TellFault

Kind = Literal[
    "bar_strain", "tie_strain", "concrete_strain", "deflection", "joint_opening", "slip", "lift", "load", "rotation"
]
#: Keys that say where a gauge of each kind sits: needed, and allowed beside them.
PLACES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "bar_strain": (("bar",), ("from_joint", "station", "side")),
    "tie_strain": (("tie",), ("leg", "about", "level", "side")),
    "concrete_strain": (("face", "x"), ("level", "across", "side")),
    "deflection": (("x",), ("face", "across")),
    "joint_opening": (("joint",), ("face", "level", "across")),
    "slip": (("bar",), ("from_joint", "station")),
    "lift": (("x",), ("face", "across")),
    "load": ((), ("ram",)),
    "rotation": (("x",), ("face",)),
}
#: Quantity that a gauge of each kind reads (a kind of value of ``units``).
QUANTITIES: dict[str, str] = {
    "bar_strain": "strain", "tie_strain": "strain", "concrete_strain": "strain", "deflection": "length",
    "joint_opening": "length", "slip": "length", "lift": "length", "load": "force", "rotation": "angle",
}  # fmt: skip
#: Gauges of a pair in a bend sit at one place this well [mm] (judgement).
PAIR = 5.0


class Gauge(Part):
    """One instrument: what it reads and where. ``bar`` "A1" is the first left bar by its place across the beam."""

    id: Name = Field(description="name of the gauge, used once")
    kind: Kind = Field(description="what it reads")
    bar: Text = Field(default="", description='"A1", "A2", ... bars of the left half, "B1", ... of the right, by place')
    from_joint: Position = Field(default=UNSET, description="along the bar from its joint face, into the lap positive")
    station: Literal["", "joint-face", "lead", "tangent", "mid-bend", "bend-end", "tail"] = Field(
        default="", description="named place of a hooked bar, instead of a distance"
    )
    tie: Count | None = Field(default=None, description="number of the set of transverse steel, from the left end")
    leg: Count = Field(default=1, description="leg of the tie or stirrup")
    about: Count = Field(default=1, description="lapped pair that the tie encloses, by place across")
    face: Literal["", "tension", "compression", "left", "right"] = Field(default="", description="face it sits on")
    x: Position = Field(default=UNSET, description="along the beam from midspan")
    level: Position = Field(default=UNSET, description="height above the tension face")
    across: Position = Field(default=UNSET, description="across the beam from the centre line")
    joint: Literal["", "left", "right"] = Field(default="", description="joint it bridges")
    ram: Literal["", "left", "right"] = Field(default="", description="ram it weighs; left out: the mean of both")
    length: Length = Field(default=UNSET, description="gauge length or base; left out: 5 mm of a strain gauge")
    side: Literal["", "inside", "outside", "left", "right", "tension", "compression"] = Field(
        default="", description="side of the bar; inside and outside of a bend make a pair"
    )
    channel: Text = Field(default="", description="channel of the logger")

    @property
    def quantity(self) -> str:
        """Kind of value it reads: strain, length, force or angle."""
        return QUANTITIES[self.kind]


# ------------------------------------------------------------------ lengths along a bar
@dataclass(frozen=True)
class Reach:
    """Arc lengths [mm] of one bar from its joint face: both ends, where the bend begins and ends (NaN without)."""

    start: float
    tangent: float
    bend_end: float
    end: float

    def station(self, name: str) -> float:
        """Arc length [mm] of a named place; NaN where the bar has none."""
        return {
            "joint-face": 0.0,
            "lead": 0.5 * (self.tangent if math.isfinite(self.tangent) else self.end),
            "tangent": self.tangent,
            "mid-bend": 0.5 * (self.tangent + self.bend_end),
            "bend-end": self.bend_end,
            "tail": 0.5 * (self.bend_end + self.end),
        }[name]

    def zone(self, arc: float) -> str:
        """ "lead", "bend" or "tail"."""
        if not arc > self.tangent:
            return "lead"
        return "bend" if arc < self.bend_end else "tail"


def row_of(s: Specimen, bar: str) -> BarRow | None:
    """Row that ``bar`` ("A1") belongs to, or None where there is no such bar."""
    row = {"A": s.bars.left, "B": s.bars.right}.get(bar[:1])
    number = bar[1:]
    return row if row is not None and number.isdecimal() and 1 <= int(number) <= row.number else None


def bar_names(s: Specimen) -> tuple[str, ...]:
    """Names of the main bars."""
    rows = [("A", s.bars.left)] + ([("B", s.bars.right)] if s.bars.right is not None else [])
    return tuple(f"{line}{k}" for line, row in rows for k in range(1, row.number + 1))


def reach(s: Specimen, row: BarRow) -> Reach:
    """Lengths of one bar of ``row``; hooks as in ACI 318-19 25.3.1, whose bends are stated by inside diameter."""
    cover = s.stirrups.cover if s.stirrups is not None else row.cover
    beam = 0.5 * s.body.span + s.body.overhang - cover
    if s.bars.splice == "continuous":
        face = 0.5 * s.body.closure
        return Reach(face - beam, math.nan, math.nan, beam + face)
    embedded = row.embedment if s.body.closure > 0.0 else s.bars.lap
    start = -(beam - 0.5 * s.body.closure) if s.body.closure > 0.0 else -(beam + row.embedment - s.bars.lap)
    if row.hook is None:
        return Reach(start, math.nan, math.nan, embedded)
    tangent = embedded - 0.5 * row.hook.bend_diameter - row.diameter
    bend = math.radians(row.hook.angle) * 0.5 * (row.hook.bend_diameter + row.diameter)
    return Reach(start, tangent, tangent + bend, tangent + bend + row.hook.tail)


def arc(s: Specimen, gauge: Gauge) -> float:
    """Arc length [mm] of a gauge on a bar from the joint face; NaN where it names no place."""
    row = row_of(s, gauge.bar)
    if row is None:
        return math.nan
    return reach(s, row).station(gauge.station) if gauge.station else gauge.from_joint


# ------------------------------------------------------------------ checks
def check_gauges(s: Specimen, report: TellFault) -> None:
    """Tell ``report`` every gauge that cannot sit where the file puts it."""
    seen: dict[str, int] = {}
    channels: dict[str, int] = {}
    for k, gauge in enumerate(s.gauges):
        path = f"gauges[{k}]"
        if gauge.id != "?" and gauge.id in seen:
            report(f"{path}.id", f"used before, by gauge {seen[gauge.id] + 1}: each gauge has an id of its own")
        seen.setdefault(gauge.id, k)
        if gauge.channel and gauge.channel in channels:
            report(f"{path}.channel", f"used before, by gauge {channels[gauge.channel] + 1}: a channel reads one gauge")
        channels.setdefault(gauge.channel, k)
        if _keys(gauge, path, report):
            _placed(s, gauge, path, report)
    _pairs(s, report)


def _keys(gauge: Gauge, path: str, report: TellFault) -> bool:
    """Whether the keys of a gauge fit its kind."""
    needed, allowed = PLACES[gauge.kind]
    given = gauge.model_fields_set - {"id", "kind", "length", "channel"}
    good = True
    for key in needed:
        if key not in given:
            report(f"{path}.{key}", f"missing; a gauge of kind {gauge.kind} needs {' and '.join(needed)}")
            good = False
    for key in sorted(given - {*needed, *allowed}):
        may = ", ".join((*needed, *allowed))
        report(f"{path}.{key}", f"says nothing about a gauge of kind {gauge.kind}; where it sits is told by {may}")
    if gauge.kind == "bar_strain" and len({"from_joint", "station"} & given) != 1:
        report(f"{path}.from_joint", "give from_joint, the distance from the joint face, or a station: one of the two")
        good = False
    return good


def _placed(s: Specimen, gauge: Gauge, path: str, report: TellFault) -> None:
    if gauge.kind in ("bar_strain", "slip"):
        _on_bar(s, gauge, path, report)
    elif gauge.kind == "tie_strain":
        _on_tie(s, gauge, path, report)
    if gauge.joint and s.body.closure == 0.0:
        report(f"{path}.joint", "a beam without closure has no joints")
    half = 0.5 * s.body.span + s.body.overhang
    for key, low, high in (
        ("x", -half, half), ("level", 0.0, s.body.depth), ("across", -0.5 * s.body.width, 0.5 * s.body.width)
    ):  # fmt: skip
        value = getattr(gauge, key)
        if value < low - 0.01 or value > high + 0.01:
            report(f"{path}.{key}", f"lies off the beam: {show(low, 'length')} to {both(high, 'length')}")


def _on_bar(s: Specimen, gauge: Gauge, path: str, report: TellFault) -> None:
    row = row_of(s, gauge.bar)
    if row is None:
        if gauge.bar not in ("", "?"):
            near = get_close_matches(gauge.bar.upper(), bar_names(s), n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            report(f"{path}.bar", f"no such bar; {hint}bars: {', '.join(bar_names(s))}")
        return
    whole = reach(s, row)
    if gauge.station and math.isnan(whole.station(gauge.station)):
        report(f"{path}.station", f"bar {gauge.bar} has no hook: give from_joint instead")
    at = arc(s, gauge)
    if at < whole.start or at > whole.end:
        report(
            f"{path}.from_joint",
            f"lies off bar {gauge.bar}, which reaches from {both(whole.start, 'length')} to "
            f"{both(whole.end, 'length')} along its axis",
        )


def _on_tie(s: Specimen, gauge: Gauge, path: str, report: TellFault) -> None:
    c = s.confinement
    if not c.there:
        report(f"{path}.tie", "the specimen has no transverse steel in the closure (confinement.kind none)")
        return
    if gauge.tie is not None and gauge.tie > c.number:
        report(f"{path}.tie", f"no such set; sets 1 to {c.number} stand along the lap, from the left")
    if gauge.leg > c.legs:
        report(f"{path}.leg", f"no such leg; legs 1 to {c.legs}")
    pairs = s.bars.left.number if c.about_pairs else 1
    if gauge.about > pairs:
        what = f"pairs 1 to {pairs}" if c.about_pairs else "only ties enclose single pairs: leave it out"
        report(f"{path}.about", f"no such pair; {what}")


def _pairs(s: Specimen, report: TellFault) -> None:
    """A gauge in a bend reads bending too, so it needs its fellow on the other side."""
    bent = [
        (k, g, at)
        for k, g in enumerate(s.gauges)
        if g.kind == "bar_strain"
        and (row := row_of(s, g.bar)) is not None
        and reach(s, row).zone(at := arc(s, g)) == "bend"
    ]
    for k, g, at in bent:
        other = {"inside": "outside", "outside": "inside"}.get(g.side)
        if not any(h.bar == g.bar and h.side == other and abs(b - at) <= PAIR for _, h, b in bent if other):
            report(
                f"gauges[{k}].side",
                "in the bend, where a single gauge reads bending: give a pair at one place, "
                'side = "inside" and side = "outside"',
            )
