"""Channels that cannot be believed: dead, noisy, clipped, drifting, spiking, zeroed late or again, wrongly signed,
swapped, unlike their fellows. Each is told with its reason; nothing is repaired here.

What a channel should read comes from ``Expected``: hand formulas here, a prediction where there is one. All limits
are judgement. Readings that must come out equal (the same place left and right) cannot be told apart when swapped.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.measured.channels import Conditioned
from fesplice.measured.expected import Expected

#: Share of readings missing, or of the test since when there is none, for a dead channel.
MISSING = 0.3
#: Share of the readings in one stretch without any change for a stuck channel; rows at one extreme for a clipped one.
STUCK, CLIPPED = 0.2, 12
#: A drift is told when it would come to this share of the channel's range by the end of the test.
DRIFT = 0.05
#: Noise of a channel over the median of its kind.
NOISY = 15.0
#: Load in the zero window as a share of the largest load.
LATE = 0.02
#: Least gain of an exchange, as a logarithm of readings over expectations; least ratio between the two readings.
SWAP, APART = 0.6, 1.35
#: Strain below which no order of gauges can be told: the warmth of lead wires and of the hall moves a zero by as much,
#: whatever the noise (common practice, no source).
FAINT = 20e-6
#: A gauge reads this many times as much as the middle of its fellows at like places, or less than one over it.
UNLIKE = 2.2
#: Share of the load at which readings are compared with expectations.
LEVELS = (0.55, 0.75)


@dataclass(frozen=True)
class Suspect:
    """A channel that cannot be believed: what is wrong, why, since when [s] (NaN: throughout), with which other."""

    channel: str
    gauge: str
    fault: str
    reason: str
    since: float = math.nan
    other: str = ""


@dataclass(frozen=True)
class Course:
    """The test as far as judging channels needs it: time and load (n,), row of the largest load, rows of the rise."""

    t: Floats
    load: Floats
    peak: int

    @property
    def largest(self) -> float:
        """Largest load."""
        return float(self.load[self.peak])

    def rows(self, low: float, high: float) -> np.ndarray:
        """Rows of the rise with a load between two shares of the largest."""
        part = self.load[: self.peak + 1]
        with np.errstate(invalid="ignore"):
            return np.flatnonzero((part >= low * self.largest) & (part <= high * self.largest))


def judge(
    channels: Sequence[Conditioned], get: Callable[[str], Floats], course: Course, expected: Expected
) -> list[Suspect]:
    """Every suspect channel, in the order of the channels."""
    found: list[Suspect] = []
    level: dict[str, float] = {}
    rows = course.rows(*LEVELS)
    usual = _usual_noise(channels)
    for c in channels:
        values = get(c.name)
        own = _alone(c, values, course, usual.get(c.gauge.quantity, math.nan))
        # the mean of nothing is no level
        part = values[rows] if len(rows) else np.zeros(0)
        level[c.name] = float(np.nanmean(part)) if np.isfinite(part).any() else math.nan
        if not any(s.fault in ("dead", "stuck") for s in own):
            own += _sign(c, values, level[c.name], expected)
        found += own
    lost = {s.channel for s in found if s.fault in ("dead", "stuck", "noisy", "zero under load", "zero again")}
    good = [c for c in channels if c.name not in lost and math.isfinite(level[c.name])]
    swaps = _swaps(good, level, expected)
    found += swaps
    swapped = {s.channel for s in swaps}
    found += _unlike([c for c in good if c.name not in swapped], level, expected)
    order = {c.name: k for k, c in enumerate(channels)}
    return sorted(found, key=lambda s: order[s.channel])


def _usual_noise(channels: Sequence[Conditioned]) -> dict[str, float]:
    kinds: dict[str, list[float]] = {}
    for c in channels:
        kinds.setdefault(c.gauge.quantity, []).append(c.noise)
    return {k: float(np.median(v)) for k, v in kinds.items() if len(v) >= 3}


# ------------------------------------------------------------------ one channel by itself
def _alone(c: Conditioned, values: Floats, course: Course, usual: float) -> list[Suspect]:
    out: list[Suspect] = []

    def tell(fault: str, reason: str, since: float = math.nan) -> None:
        out.append(Suspect(c.name, c.gauge.id, fault, reason, since))

    t, n = course.t, len(values)
    read = np.isfinite(values)
    last = int(np.flatnonzero(read)[-1]) if read.any() else -1
    spikes = len(c.spikes)
    if last < 0:
        tell("dead", "no reading at all")
        return out
    if n - 1 - last > 0.02 * n and last < course.peak:
        tell("dead", f"no reading after {t[last]:.4g} s, before the largest load", float(t[last]))
    elif (n - int(read.sum()) - spikes) > MISSING * n:
        tell("dead", f"{100 * (1 - read.mean()):.0f} % of the readings are none")
    good = values[read]
    low, high = float(good.min()), float(good.max())
    first, length = _longest_still(values)
    at_limit = values[first] in (low, high) and high > low
    # a sensor at the end of its travel comes back with the load; a stuck one never does
    if at_limit and first + length < 0.98 * n and _moves(course, np.array([first, first + length - 1])):
        length = 0
    if high == low or length > STUCK * n:
        reason = "never changes" if high == low else f"does not change for {length} readings"
        tell("stuck", reason, float(t[first]))
        return out
    if out:
        return out
    if math.isfinite(usual) and usual > 0.0 and c.noise > NOISY * usual:
        tell("noisy", f"noise {c.noise / usual:.0f} times that of channels of its kind")
    if spikes >= 3:
        tell("spiking", f"{spikes} readings stand alone", float(t[c.spikes[0]]))
    for extreme, word in ((high, "highest"), (low, "lowest")):
        rows = np.flatnonzero(values == extreme)
        flat = _flat_run(values, extreme)
        # a joint still closed, a gauge not yet strained rest at nothing, which is no end of their travel
        if len(rows) and abs(extreme) > 0.1 * (high - low) and flat >= CLIPPED and _moves(course, rows):
            tell("clipped", f"stays at its {word} value for {flat} readings while the load goes on", float(t[rows[0]]))
            break
    out += _zero_faults(c, values, course, high - low)
    return out


def _longest_still(values: Floats) -> tuple[int, int]:
    """First row and length of the longest stretch of equal readings."""
    change = np.flatnonzero(np.diff(values) != 0.0)
    edges = np.concatenate([[0], change + 1, [len(values)]])
    k = int(np.argmax(np.diff(edges)))
    return int(edges[k]), int(edges[k + 1] - edges[k])


def _flat_run(values: Floats, extreme: float) -> int:
    """Longest run of readings equal to ``extreme``."""
    flat = np.concatenate([[0], (values == extreme).astype(np.int8), [0]])
    edges = np.flatnonzero(np.diff(flat))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def _moves(course: Course, rows: np.ndarray) -> bool:
    part = course.load[rows[0] : rows[-1] + 1]
    part = part[np.isfinite(part)]
    return len(part) > 0 and float(np.ptp(part)) > 0.03 * course.largest


def _zero_faults(c: Conditioned, values: Floats, course: Course, span: float) -> list[Suspect]:
    """Drift in the zero window, a zero taken under load, a zero taken again."""
    out: list[Suspect] = []
    first, last = c.window
    t, part = course.t[first:last], values[first:last]
    load = course.load[first:last]
    held = float(np.nanmean(load)) if np.isfinite(load).any() else 0.0
    if c.gauge.kind == "load":
        before = values[: course.peak + 1]
        k = np.isfinite(before)
        floor = float(np.quantile(before[k], 0.02)) if k.any() else 0.0
        if floor < -max(LATE * course.largest, 6.0 * c.noise):
            told = f"reads {floor / 1e3:.1f} kN before the test: zero taken under load"
            out.append(_told(c, "zero under load", told))
        return out
    if held > LATE * course.largest:
        return [_told(c, "zero under load", f"its zero was taken under {held / 1e3:.1f} kN", float(t[0]))]
    good = np.isfinite(part)
    if good.sum() >= 20 and np.ptp(t[good]) > 0.0:
        x, y = t[good] - t[good].mean(), part[good]
        slope = float((x * y).sum() / (x * x).sum())
        rest = y - y.mean() - slope * x
        error = math.sqrt(float((rest * rest).sum()) / max(len(x) - 2, 1) / float((x * x).sum()))
        whole = float(course.t[course.peak] - t[good][0])
        if abs(slope) > 6.0 * error and abs(slope) * whole > DRIFT * span:
            told = f"drifts by {_shown(slope * whole, c)} from the zero window to the largest load"
            out.append(_told(c, "drifting", told))
    again = _zero_again(c, values, course, span)
    return out + ([again] if again else [])


def _zero_again(c: Conditioned, values: Floats, course: Course, span: float) -> Suspect | None:
    """A reading that falls to nothing at once while the load stays."""
    # the mean of three readings before each place, and of three from the next but one on: another logger's readings
    # are on the way for one
    if len(values) < 12:
        return None
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(values))])
    with np.errstate(invalid="ignore"):
        steps = np.abs(values[2:] - values[:-2]) > 0.8 * max(0.08 * span, 12.0 * c.noise)
    k = np.flatnonzero(steps[: course.peak])
    k = k[(k >= 2) & (k < len(values) - 5)]
    if not len(k):
        return None
    before, after = (total[k + 1] - total[k - 2]) / 3.0, (total[k + 5] - total[k + 2]) / 3.0
    load = course.load
    with np.errstate(invalid="ignore"):
        hit = (
            (np.abs(before) > max(0.08 * span, 12.0 * c.noise))
            & (np.abs(after) < 0.05 * np.abs(before) + 4.0 * c.noise)
            & (load[k + 2] > 0.05 * course.largest) & (np.abs(load[k + 3] - load[k]) < 0.03 * course.largest)
            & (k + 3 < course.peak) & np.isfinite(values[k + 2]) & np.isfinite(values[k + 3])
        )  # fmt: skip
    rows = np.flatnonzero(hit)
    if not len(rows):
        return None
    at = float(course.t[int(k[rows[0]]) + 1])
    told = f"falls to zero at {at:.4g} s while the load stays: set to zero again ([channel] rezero = [{at:.4g}])"
    return _told(c, "zero again", told, at)


def _told(c: Conditioned, fault: str, reason: str, since: float = math.nan) -> Suspect:
    return Suspect(c.name, c.gauge.id, fault, reason, since)


def _shown(value: float, c: Conditioned) -> str:
    return f"{1e6 * value:.0f} microstrain" if c.inner == "" else f"{value:.3g} {c.inner}"


# ------------------------------------------------------------------ against what was expected
def _sign(c: Conditioned, values: Floats, level: float, expected: Expected) -> list[Suspect]:
    if c.gauge.kind == "load":
        low, high = float(np.nanmin(values)), float(np.nanmax(values))
        if -low > 2.0 * high and -low > 20.0 * c.noise:
            return [_told(c, "wrong sign", f"reads {low / 1e3:.1f} kN at most, a push as a pull: sign = -1")]
        return []
    want = expected.reading(c.gauge)
    if not (math.isfinite(want) and math.isfinite(level)) or not expected.sure(c.gauge) or want == 0.0:
        return []
    least = max(8.0 * c.noise, 0.15 * abs(want))
    if level * math.copysign(1.0, want) < -least:
        told = f"reads {_shown(level, c)} where {_shown(want, c)} is expected"
        return [_told(c, "wrong sign", told)]
    return []


def _swaps(channels: list[Conditioned], level: Mapping[str, float], expected: Expected) -> list[Suspect]:
    """Pairs of one quantity that fit expectations much better exchanged; the clearest first, each channel once."""
    known: dict[str, list[tuple[Conditioned, float, float]]] = {}
    for c in channels:
        want = abs(expected.reading(c.gauge))
        faint = FAINT if c.gauge.quantity == "strain" else 0.0
        floor = max(3.0 * c.noise, 1e-3 * expected.scale(c.gauge.quantity), faint)
        if c.gauge.kind != "load" and math.isfinite(want) and want > 0.0:
            entry = (c, math.log(max(want, floor)), math.log(max(abs(level[c.name]), floor)))
            known.setdefault(c.gauge.quantity, []).append(entry)
    pairs = []
    for group in known.values():
        for k, (a, want_a, read_a) in enumerate(group):
            for b, want_b, read_b in group[k + 1 :]:
                own = abs(read_a - want_a) + abs(read_b - want_b)
                other = abs(read_a - want_b) + abs(read_b - want_a)
                if own - other > SWAP and abs(read_a - read_b) > math.log(APART):
                    pairs.append((own - other, a, b))
    found: list[Suspect] = []
    used: set[str] = set()
    for _, a, b in sorted(pairs, key=lambda p: -p[0]):
        if a.name in used or b.name in used:
            continue
        used |= {a.name, b.name}
        for one, two in ((a, b), (b, a)):
            told = (
                f"reads {_shown(level[one.name], one)} where {_shown(expected.reading(one.gauge), one)} is expected; "
                f"{two.name} the other way round"
            )
            found.append(Suspect(one.name, one.gauge.id, "swapped", told, other=two.name))
    return found


def _unlike(channels: list[Conditioned], level: Mapping[str, float], expected: Expected) -> list[Suspect]:
    """Gauges that differ much from others at like places."""
    groups: dict[str, list[Conditioned]] = {}
    for c in channels:
        if key := expected.like(c.gauge):
            groups.setdefault(key, []).append(c)
    found = []
    for group in groups.values():
        for c in group:
            others = [abs(level[o.name]) for o in group if o is not c]
            middle = float(np.median(others)) if len(others) >= 2 else math.nan
            reading = abs(level[c.name])
            if middle > 20.0 * c.noise and not middle / UNLIKE < reading < middle * UNLIKE:
                told = f"reads {reading / middle:.2g} times the middle of its {len(others)} fellows: gain or place"
                found.append(_told(c, "unlike its fellows", told))
    return found
