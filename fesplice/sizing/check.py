"""The check of a specimen before it is cast, as one record: placing, margins, band, lengths, limits, notes."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from fesplice.answers import Chart, Drawable, Span, Tabular
from fesplice.contracts import Fault, InputFault
from fesplice.provisions import ec2_2023_loops
from fesplice.sizing.band import Band, band
from fesplice.sizing.lapped import Lapped, lapped
from fesplice.sizing.lengths import Length, Limit, lengths, limits
from fesplice.sizing.margins import Margin, margins
from fesplice.sizing.placing import LapTruss, Placing, placing, strut
from fesplice.sizing.statics import Statics, statics
from fesplice.specimen.effort import effort
from fesplice.units import both

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

#: Design bar stress of the code lengths unless another is asked for [MPa]: Grade 60 (420).
DESIGN_STRESS = 420.0
#: What no line of the check looks at.
NOT_CHECKED = (
    "Not checked: lifting, transport and storage; bearing under plates and rams; the test frame and its anchors; "
    "stability; and what only the two computed views show."
)


@dataclass(frozen=True)
class HandLoads:
    """Loads per ram [N] and moments [N mm] of the events of a test, by hand formulas.

    ``own`` moment of weight and equipment at the critical section; joint opening NaN without joints.
    """

    own: float
    cracking: float
    joint_opening: float
    yielding: float
    block: float
    largest: float
    cracking_load: float
    joint_load: float
    yield_load: float
    largest_load: float


@dataclass(frozen=True, repr=False)
class SpecimenCheck(Drawable, Tabular):
    """Everything that is known of a specimen without finite elements.

    ``doubts`` are values that are read but hardly meant, ``effort`` what computing each view takes.
    """

    name: str
    stress: float
    placing: Placing
    margins: tuple[Margin, ...]
    band: Band
    lengths: tuple[Length, ...]
    limits: tuple[Limit, ...]
    loads: HandLoads
    struts: tuple[LapTruss, ...]
    rows: tuple[Lapped, ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...] = ()
    effort: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """True where the cage can be built and every margin that counts is met."""
        return not self.placing.faults and all(m.met for m in self.margins if m.counts)

    @property
    def missed(self) -> tuple[Margin, ...]:
        """Margins that count and are not met."""
        return tuple(m for m in self.margins if m.counts and not m.met)

    def chart(self) -> Chart:
        """Bar stress at anchorage failure by every formula that has an answer, the band first."""
        rows = [e for e in self.band.estimates if math.isfinite(e.stress)]
        spans = tuple(Span(f"{e.formula}, {e.line}", e.stress, 0.0, e.stress, note=e.role) for e in rows)
        return Chart(self.name, "bar stress at anchorage failure (MPa)", spans=spans)

    def columns(self) -> dict[str, list[Any]]:
        """One row per formula and row of bars; stresses in MPa, moments in N mm, loads per ram in N."""
        rows = self.band.estimates
        return {
            "bars": [e.line for e in rows], "formula": [e.formula for e in rows], "source": [e.source for e in rows],
            "reading": [e.reading for e in rows], "stress_MPa": [e.stress for e in rows],
            "moment_Nmm": [e.moment for e in rows], "load_N": [e.load for e in rows], "role": [e.role for e in rows],
            "central": [e.central for e in rows], "notes": ["; ".join(e.notes) for e in rows],
        }  # fmt: skip

    def __repr__(self) -> str:
        said = (
            "all margins met" if self.ok else f"missed: {', '.join(m.name for m in self.missed) or 'cannot be built'}"
        )
        return f"SpecimenCheck({self.name}: {said}; {self.band.central.stress:.0f} MPa by the central formula)"

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers in N, mm, MPa, texts, lists and dicts, fit for JSON: values that are no number become None."""
        tree = asdict(self)
        for row in tree.pop("rows"):
            row.pop("row")
        tree["units"] = {"length": "mm", "stress": "MPa", "force": "N", "moment": "N mm", "angle": "deg"}
        _no_negative_loads(tree)
        tree["ok"] = self.ok
        tree["not_checked"] = NOT_CHECKED
        tree["missed"] = [m.name for m in self.missed]
        for given, plain in zip(self.margins, tree["margins"]):
            plain["met"] = given.met
        for given, plain in zip(self.lengths, tree["lengths"]):
            plain["enough"] = given.enough
        return _plain(tree)


def _no_negative_loads(tree: Any) -> None:
    """Where own weight alone goes beyond a moment there is no load left for it: not known rather than negative."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            if (key == "load" or key.endswith("_load")) and isinstance(value, float) and value < 0.0:
                tree[key] = None
            _no_negative_loads(value)
    elif isinstance(tree, list | tuple):
        for value in tree:
            _no_negative_loads(value)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, Fault):
        return {"path": value.path, "value": _plain(value.value), "allowed": value.allowed}
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def check(specimen: Specimen, stress: float = DESIGN_STRESS) -> SpecimenCheck:
    """Check a specimen; ``stress`` [MPa] is the design bar stress of the code lengths.

    Raises :class:`InputFault` where a hand formula has no answer (a design stress out of range, a section
    that cannot bend).
    """
    s = specimen
    if not 50.0 <= stress <= 690.0:
        raise InputFault(s.name, [Fault("stress", stress, "design bar stress between 50 and 690 MPa (7 and 100 ksi)")])
    rows, each = lapped(s), statics(s)
    if s.bars.splice in ("looped", "headed") and not s.confinement.there:
        told = f"{s.bars.splice} laps need steel across: without it their only formula leaves no strength"
        raise InputFault(s.name, [Fault("confinement.kind", "none", told)])
    found = band(s, rows, each)
    st = each[found.central.line]
    struts = tuple(strut(s, bar, found.central.stress) for bar in rows)
    return SpecimenCheck(
        name=s.name, stress=stress, placing=placing(s, rows), margins=margins(s, rows, each, found), band=found,
        lengths=lengths(s, rows, each, stress), limits=limits(s, rows, each), loads=_loads(st), struts=struts,
        rows=rows, notes=tuple(_notes(s, rows, st, found)), doubts=tuple(map(str, s.doubts)),
        effort=tuple(map(str, effort(s))),
    )  # fmt: skip


def _loads(st: Statics) -> HandLoads:
    cracking_load = min(st.load(st.cracking, 0.0), st.load(st.cracking))
    return HandLoads(
        own=st.own_moment(st.face), cracking=st.cracking, joint_opening=st.joint_opening, yielding=st.yielding,
        block=st.block, largest=st.largest, cracking_load=cracking_load, joint_load=st.load(st.joint_opening),
        yield_load=st.load(st.yielding), largest_load=st.load(st.largest),
    )  # fmt: skip


def _notes(s: Specimen, rows: tuple[Lapped, ...], st: Statics, found: Band) -> list[str]:
    out = []
    if any(bar.hooked for bar in rows):
        out.append(
            "Laps of hooked bars are outside the scope of every document used here; values are shown for comparison."
        )
    if s.bars.splice in ("looped", "headed"):
        down, area = ec2_2023_loops.tie_down(s.bars.left.diameter), rows[0].core_steel[0]
        out.append(
            f"Laps of {'loops' if s.bars.splice == 'looped' else 'headed bars'} are checked by the one formula of "
            f"{down.document} {down.edition} (11.13 to 11.22, from an open library, the standard not seen); the "
            f"computed views do not take them. Steel across the core {both(area, 'area')}; against prying at least "
            f"{both(down.value, 'area')} of ties per bar ({down.clause})."
        )
    if found.yields:
        out.append("Continuous bars: bending governs, there is no lap to predict.")
    if any(bar.hooked for bar in rows):
        out.append(
            "Spacing of hooks: row reading = next hook of the same row; partner reading = the bar it laps with. "
            "The central value takes the partner reading."
        )
    if st.yielding > st.largest:
        out.append("The section crushes before its bars yield: M_y lies above M_max and is never reached.")
    if found.central.stress <= st.steel.yield_strength and found.central.moment <= st.largest:
        elastic, fibre = found.central.stress, st.fibres.stress_at(found.central.moment)
        apart = 100.0 * abs(elastic - fibre) / fibre
        flag = ": measured depths and modulus deserve a second look" if apart > 5.0 else ""
        out.append(
            f"Bar stress at the central moment: {elastic:.0f} MPa cracked elastic, {fibre:.0f} MPa by fibres, "
            f"{apart:.1f} % apart{flag}."
        )
    if s.loading.tension_face == "up":
        out.append("Tension face up: the rams push upwards; weight and equipment are deducted from the load's moment.")
        bars = s.compression_bars
        if s.body.closure > 0.0 and (bars is None or not bars.through_closure):
            out.append(
                "WARNING: own weight bends the beam the other way, and no bars cross the joints on that side "
                "(compression_bars.through_closure): nothing but the bond of the joints holds it until the rams do."
            )
    if not s.loading.self_weight:
        out.append("Self-weight is switched off in the specimen file.")
    if st.load(st.joint_opening) < 0.0:
        out.append("The joints open under own weight alone: lift and seat the beam with care.")
    out += [f"{key}: {text}" for key, text in st.concrete.estimated.items()]
    if min(c.density for c in (s.concrete.precast, st.concrete)) < 2240.0:
        out.append("Density below 2240 kg/m3: lambda = 1 is assumed all the same.")
    return out
