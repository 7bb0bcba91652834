"""What a test day needs in numbers: events, load steps and holds, the size of rams, cells and frame.

Rules of thumb (common practice, no source): load steps of about a twelfth of the prediction, half of
it above 0.6; cracks are marked up to 0.7 of the low end of the band, then nobody goes near; rams and
cells for 1.3 times the bending bound with hardened bars, not for the prediction; a cell should read
at least a fifth of its range at failure; the frame is used to at most 0.6 of its rating; the stroke
is three times the yield deflection and at least the deflection at the bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.sizing.band import Band
from fesplice.sizing.check import SpecimenCheck
from fesplice.sizing.statics import Statics, statics

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

#: Shares of the central prediction at which readings are told.
SHARES = (0.5, 0.8, 1.0)
#: Hands off from this share of the low end of the band.
HANDS_OFF = 0.7
#: Load control up to this share of the prediction, stroke control and half steps above.
LOAD_CONTROL = 0.6
#: Ram and cell over the bending bound; least share of a cell's range at failure; most of a frame's rating.
RAM, READING, FRAME = 1.3, 0.2, 0.6
#: Sizes rams and cells come in [kN], strokes [mm] (common practice, no source).
RATINGS = (25, 50, 100, 150, 200, 250, 300, 400, 500, 600, 750, 1000, 1500, 2000, 2500, 3000, 4000, 5000)
STROKES = (50, 100, 150, 200, 250, 300, 400, 500, 750, 1000)


@dataclass(frozen=True)
class Event:
    """An expected event: ``load`` per ram [N], ``moment`` at the critical section [N mm].

    ``stress`` of the bars there [MPa], own weight included; ``strain`` and midspan ``deflection`` [mm] by the rams
    alone, as gauges zeroed under own weight read them.
    """

    name: str
    load: float
    moment: float
    stress: float
    strain: float
    deflection: float


@dataclass(frozen=True)
class RigNeeds:
    """Sizes asked of the rig: loads [N], stroke [mm]; ``reading`` share of a cell's range at the band's low end."""

    rams: int
    bound: float
    ram: float
    reading: float
    reactions: float
    frame: float
    yield_deflection: float
    bound_deflection: float
    stroke: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Steps:
    """Loading: ``first`` step [N] to ``change`` [N] in load control, then ``later`` in stroke control.

    ``holds`` loads at which to stop and mark cracks [N], ``hands_off`` load from which nobody goes near.
    """

    first: float
    change: float
    later: float
    holds: tuple[float, ...]
    hands_off: float


@dataclass(frozen=True)
class TestDay:
    """Events in the order of their loads, steps, rig."""

    events: tuple[Event, ...]
    steps: Steps
    rig: RigNeeds

    @property
    def loads(self) -> tuple[float, ...]:
        """The loads at which readings are told: shares of the central prediction [N]."""
        central = next(e.load for e in self.events if e.name.startswith("1.0 "))
        return tuple(share * central for share in SHARES)


def test_day(s: Specimen, check: SpecimenCheck) -> TestDay:
    """Numbers of the day from a specimen and its check."""
    st = statics(s)[check.band.central.line]
    events = tuple(sorted(_events(st, check), key=lambda e: e.load))
    return TestDay(events, _steps(check), _rig(st, check))


def _events(st: Statics, c: SpecimenCheck) -> list[Event]:
    at, band = c.loads, c.band
    central = band.central.load
    rows = [
        ("first crack of the beam", at.cracking_load),
        *((f"{share:.1f} of the {_aim(band)}", share * central) for share in SHARES),
        ("bars yield, M_y", at.yield_load),
        ("bending bound, hardened bars", at.largest_load),
    ]
    if math.isfinite(at.joint_load) and at.joint_load > 0.0:
        rows.append(("joint faces begin to open", at.joint_load))
    if not band.yields:
        rows += [("low end of the band", band.low.load), ("high end of the band", band.high.load)]
        rows = [r for r in rows if r[0] != "bars yield, M_y" or abs(at.yield_load - central) > 1.0]
    else:
        rows = [r for r in rows if r[0] != "bars yield, M_y"]
    return [event(st, name, load) for name, load in rows]


def _aim(band: Band) -> str:
    return "yield load" if band.yields else "central prediction"


def event(st: Statics, name: str, load: float) -> Event:
    """State of the critical section and midspan deflection at ``load`` [N] per ram."""
    moment = min(st.moment_of_load(load), st.largest)
    own = st.own_moment(st.face)
    cracked = moment >= min(st.cracking, st.joint_opening if math.isfinite(st.joint_opening) else st.cracking)
    stress = st.elastic.stress(moment, st.row.depth) if moment <= st.yielding else st.fibres.stress_at(moment)
    whole = _strain(st, moment, cracked)
    zero = _strain(st, own, own >= st.cracking)
    if not cracked:
        stress = whole * st.steel.elastic_modulus
    return Event(name, load, moment, stress, whole - zero, st.deflection(load))


def _strain(st: Statics, moment: float, cracked: bool) -> float:
    """Bar strain [-]: fibres when cracked, the gross section before."""
    if cracked:
        return st.strains(abs(moment))[1] * math.copysign(1.0, moment)
    s = st.specimen
    gross = s.body.width * s.body.depth**3 / 12.0
    return moment / gross * (st.row.depth - 0.5 * s.body.depth) / st.concrete.elastic_modulus


# ------------------------------------------------------------------ steps and rig
def nice(value: float) -> float:
    """The greatest of 1, 2, 2.5, 5 x 10^k not above ``value`` (> 0)."""
    base = 10.0 ** math.floor(math.log10(value))
    return max(m for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * base <= value * (1.0 + 1e-9)) * base


def _steps(c: SpecimenCheck) -> Steps:
    central, low = c.band.central.load, c.band.low.load
    first = nice(max(central, 1.0) / 12.0)
    off = HANDS_OFF * low
    wanted = [c.loads.cracking_load, *(share * off for share in (0.5, 0.75, 1.0))]
    holds = sorted({first * max(1, math.floor(load / first)) for load in wanted if 0.0 < load <= off * 1.001})
    return Steps(first, LOAD_CONTROL * central, 0.5 * first, tuple(holds), off)


def _rig(st: Statics, c: SpecimenCheck) -> RigNeeds:
    rams, bound, low = st.rams, c.loads.largest_load, c.band.low.load
    ram = _at_least(RAM * bound / 1e3, RATINGS) * 1e3
    total = rams * bound
    d_y, d_max = st.deflection(c.loads.yield_load), st.deflection(c.loads.largest_load)
    stroke = float(_at_least(max(3.0 * d_y, d_max), STROKES))
    reading = low / ram
    notes = []
    if reading < READING:
        notes.append(f"at the low end of the band the cell reads {100 * reading:.0f} % of its range, less than 20 %")
    frame = math.ceil(total / FRAME / 1e5 - 1e-9) * 1e5
    return RigNeeds(rams, bound, ram, reading, total, frame, d_y, d_max, stroke, tuple(notes))


def _at_least(value: float, sizes: tuple[int, ...]) -> float:
    return next((float(size) for size in sizes if size >= value), 1000.0 * math.ceil(value / 1000.0))
