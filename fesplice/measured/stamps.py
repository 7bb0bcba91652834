"""Time stamps of logs -> seconds from the first reading: kinds of stamp, clocks that roll over, restarts, gaps.

Seconds of a counter, time of day, date and time in one column or two, days of a spreadsheet. A stamp that goes back by
a day, by half a day or by the length of a counter has rolled over; one that goes back to its beginning is a
restart, after which the log is counted on (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute

from fesplice.contracts import Floats

#: The library makes its functions when it is loaded; a checker of types sees none of them.
pc: Any = pyarrow.compute

DAY = 86400.0
#: Lengths at which counters and clocks start again [s]: a day, half a day, an hour, 16 bits, 32 bits of milliseconds.
PERIODS = (DAY, 0.5 * DAY, 3600.0, 65536.0, 65.536, 4294967.296)
#: A rolled-over clock goes back by its period to within this share of it, or this many steps.
NEAR = 0.002
#: A pause is a gap when it is this many ordinary intervals long, and this many seconds (judgement).
GAP, LEAST = 5.0, 2.0

_CLOCK = r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,:](?P<f>\d+))?)?(?:\s*(?P<p>[AaPp])\.?[Mm]\.?)?"
_DATES = {
    "ymd": r"(?P<y>\d{4})[-/.](?P<mo>\d{1,2})[-/.](?P<d>\d{1,2})",
    "dmy": r"(?P<d>\d{1,2})[-/.](?P<mo>\d{1,2})[-/.](?P<y>\d{2,4})",
    "mdy": r"(?P<mo>\d{1,2})[-/.](?P<d>\d{1,2})[-/.](?P<y>\d{2,4})",
}
_ZONE = r"(?:Z|[+-]\d\d:?\d\d)?"
#: What a date may be written like: for the order of day and month.
_THREE = re.compile(r"(\d{1,4})([-/.])(\d{1,2})[-/.](\d{1,4})")


@dataclass(frozen=True)
class StampKind:
    """Kind of the stamps of a log: "seconds", "clock", "moment" (date and clock) or "rows"; order of a date.

    ``factor`` seconds in a unit of a counter, ``sure`` False where day and month cannot be told apart.
    """

    kind: str
    order: str = "ymd"
    factor: float = 1.0
    columns: tuple[str, ...] = ()
    sure: bool = True

    @property
    def absolute(self) -> bool:
        """Whether stamps of two loggers can be compared without a word of the rig file."""
        return self.kind in ("clock", "moment")


def kind_of(
    columns: Sequence[str], samples: Sequence[Sequence[str]], order: str = "", factor: float = 1.0
) -> StampKind:
    """The kind of stamps of one or two ``columns`` by ``samples`` of their cells; ValueError for what is none."""
    texts = [" ".join(cells).strip() for cells in zip(*samples, strict=True)]
    texts = [t for t in texts if t]
    names = tuple(columns)
    if not texts:
        raise ValueError("is empty")
    if all(re.fullmatch(r"[+-]?\d*[.,]?\d+(?:[eE][+-]?\d+)?|\d+[.,]", t) for t in texts):
        return StampKind("seconds", factor=factor, columns=names)
    if all(re.fullmatch(_CLOCK, t) for t in texts):
        return StampKind("clock", columns=names)
    dates = [m for t in texts if (m := _THREE.match(t))]
    if len(dates) == len(texts):
        told = order or _order(dates)
        found = StampKind("moment", told or "dmy", columns=names, sure=bool(told))
        whole = re.compile(_pattern(found))
        if all(whole.fullmatch(t) for t in texts):
            return found
    raise ValueError(
        f"reads {texts[0]!r}: neither seconds, nor hh:mm:ss, nor a date (yyyy-mm-dd, dd.mm.yyyy, mm/dd/yyyy) and that"
    )


def _order(dates: list[re.Match[str]]) -> str:
    """Order of day, month and year; empty where day and month cannot be told apart."""
    if all(len(m[1]) == 4 for m in dates):
        return "ymd"
    first, second = max(int(m[1]) for m in dates), max(int(m[3]) for m in dates)
    if second > 12:
        return "mdy"
    # full stops between the parts are written with the day first
    return "dmy" if first > 12 or all(m[2] == "." for m in dates) else ""


def _pattern(found: StampKind) -> str:
    return rf"^{_DATES[found.order]}(?:[ T]+{_CLOCK})?{_ZONE}$" if found.kind == "moment" else rf"^{_CLOCK}{_ZONE}$"


def seconds(found: StampKind, columns: Sequence[pa.Array], decimal: str) -> Floats:
    """Stamps as seconds (n,): of the day, or since 1970-01-01, or of the counter; NaN where there is none."""
    texts: pa.Array = pc.utf8_trim_whitespace(columns[0])
    for other in columns[1:]:
        texts = pc.binary_join_element_wise(texts, pc.utf8_trim_whitespace(other), " ")
    if found.kind == "seconds":
        plain = pc.replace_substring(texts, ",", ".") if decimal == "," else texts
        good = pc.match_substring_regex(plain, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
        return found.factor * _floats(pc.if_else(good, plain, None))
    parts = pc.extract_regex(texts, _pattern(found))

    def part(name: str) -> Floats:
        cells = pc.struct_field(parts, name)
        return np.nan_to_num(_floats(pc.if_else(pc.equal(cells, ""), None, cells)))

    fraction = pc.struct_field(parts, "f")
    digits = np.asarray(pc.fill_null(pc.utf8_length(fraction), 0).to_numpy(zero_copy_only=False), float)
    hour = part("h")
    half = pc.utf8_lower(pc.struct_field(parts, "p"))
    evening = pc.fill_null(pc.equal(half, "p"), False).to_numpy(zero_copy_only=False)
    morning = pc.fill_null(pc.equal(half, "a"), False).to_numpy(zero_copy_only=False)
    hour = np.where(evening & (hour < 12), hour + 12.0, np.where(morning & (hour == 12), 0.0, hour))
    out = 3600.0 * hour + 60.0 * part("m") + part("s") + part("f") / 10.0**digits
    if found.kind == "moment":
        year = part("y")
        out += DAY * _days(np.where(year < 100.0, year + 2000.0, year), part("mo"), part("d"))
    missing = pc.is_null(parts).to_numpy(zero_copy_only=False)
    return np.where(missing, np.nan, out)


def _floats(cells: pa.Array) -> Floats:
    return np.asarray(pc.cast(cells, pa.float64()).to_numpy(zero_copy_only=False), float)


def _days(y: Floats, m: Floats, d: Floats) -> Floats:
    """Days since 1970-01-01 of the Gregorian calendar (counted from 1 March, so that leap days come last)."""
    y = y - (m <= 2.0)
    era = np.floor(y / 400.0)
    of_era = y - 400.0 * era
    of_year = np.floor((153.0 * (m + np.where(m > 2.0, -3.0, 9.0)) + 2.0) / 5.0) + d - 1.0
    return 146097.0 * era + 365.0 * of_era + np.floor(of_era / 4.0) - np.floor(of_era / 100.0) + of_year - 719468.0


# ------------------------------------------------------------------ one axis of time
@dataclass(frozen=True)
class Break:
    """A place where the stamps do not simply go on: before row ``row`` at ``t`` [s], and for how long."""

    row: int
    t: float
    length: float
    what: str


def unrolled(clock: Floats) -> tuple[Floats, list[Break]]:
    """Seconds that never go back (n,), and the places where the clock rolled over, restarted or paused.

    A stamp that goes back by a second or less (two writers at once) is held at the last one.
    """
    step = np.diff(clock)
    forward = step[step > 0.0]
    usual = float(np.median(forward)) if len(forward) else 1.0
    out, found = clock.copy(), []
    for k in np.flatnonzero(step < 0.0):
        back = -float(step[k])
        period = next((p for p in PERIODS if abs(back - (p - usual)) <= max(NEAR * p, 2.0 * usual) and back < p), None)
        if period is not None and clock[k] > 0.5 * period:
            shift, what = period, f"the clock rolled over after {period:g} s"
        elif back <= 1.0 and clock[k + 1] > clock[0] + usual:
            shift, what = back, f"a stamp {back:g} s before the last one, held"
        elif abs(back - 3600.0) <= 60.0 and clock[k + 1] > clock[0]:
            shift, what = 3600.0, "the clock was put back by an hour"
        else:
            shift, what = back + usual, "the stamps start again: counted on from here, a pause of unknown length"
        out[k + 1 :] += shift
        found.append(Break(int(k + 1), 0.0, 0.0, what))
    step = np.diff(out)
    for k in np.flatnonzero((step > GAP * usual) & (step > LEAST)):
        found.append(Break(int(k + 1), 0.0, float(step[k]), f"no readings for {step[k]:.4g} s"))
    start = float(out[0])
    placed = [Break(b.row, float(out[b.row] - start), b.length, b.what) for b in found]
    return out, sorted(placed, key=lambda b: b.row)
