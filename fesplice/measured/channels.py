"""One channel from raw numbers to readings: no reading, scale, zero, sign, spikes; each a line of the ledger.

Order as in the laboratory: scale -> set to zero again -> zero -> sign -> despike. A spike is a reading or two that
stand alone, far from the readings on both sides, which agree with each other (Hampel's rule with a threshold of
15 standard deviations of the noise); it is taken out and told, never smoothed, and a peak before a drop is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, InputFault
from fesplice.measured.ledger import Ledger
from fesplice.measured.rig import Channel, Rig
from fesplice.measured.units import unit_factor
from fesplice.specimen.gauges import Gauge
from fesplice.units import KINDS, UnitFault

#: Numbers at least this large mean no reading.
HUGE = 1e9
#: A spike stands out by this many standard deviations of the noise, and by this share of the channel's range.
SPIKE, SPIKE_SHARE = 15.0, 0.01
#: Readings averaged on both sides of a place where the logger was set to zero again.
BESIDE = 5
#: Readings looked at for the noise.
MUCH = 100_000
#: Readings in the zero window where the rig file gives none.
FIRST = 20
#: Standard uncertainty as a share of the reading: strain gauges 1.5 %, displacement 0.25 %, load cells 1 % (ASTM E4;
#: from memory, ranges of the trade), where the rig file gives none.
ACCURACY = {"strain": 0.015, "length": 0.0025, "force": 0.01, "angle": 0.01}
_UNITS = {"strain": "", "length": "mm", "force": "N", "angle": "deg"}


@dataclass(frozen=True)
class Conditioned:
    """What was done to a channel: value = sign x (raw x factor - zero), inner units.

    ``missing`` readings that were none, ``spikes`` rows taken out, ``noise`` standard deviation from one reading to
    the next, ``window`` rows of the zero window, ``range`` in inner units.
    """

    name: str
    gauge: Gauge
    unit: str
    factor: float
    sign: float
    zero: float
    noise: float
    missing: int
    spikes: tuple[int, ...]
    window: tuple[int, int]
    accuracy: float
    range: tuple[float, float] | None
    use: bool

    @property
    def inner(self) -> str:
        """Inner unit: "" of strains, mm, N, deg."""
        return _UNITS[self.gauge.quantity]


def condition(
    name: str, gauge: Gauge, raw: Floats, t: Floats, rig: Rig, heading: str, source: str, ledger: Ledger
) -> tuple[Floats, Conditioned]:
    """Readings (n,) of one channel in inner units, NaN where there is none, and what was done.

    ``heading`` is the unit of the log's own header; :class:`InputFault` where it contradicts the rig file.
    """
    channel = rig.channel[name]
    unit, per = _unit(name, channel, gauge, heading, source)
    ledger("map", name, f"gauge {gauge.id}, {gauge.kind}", reason=channel.device)
    values, missing = _without_none(name, channel, raw, rig, unit, ledger)
    factor = channel.factor * per
    values = values * factor
    inner = _UNITS[gauge.quantity]
    ledger("scale", name, f"x {channel.factor:g}, read in {unit or 'strain'}", value=factor, unit=inner)
    for at in channel.rezero:
        values = _zeroed_again(name, values, t, at, inner, ledger)
    window = _window(name, channel, rig, t, source)
    noise = noise_of(values)
    zero = 0.0
    if channel.zero == "window":
        zero = _zero(values[window[0] : window[1]])
        if not math.isfinite(zero):
            zero = 0.0
            ledger("zero", name, "no reading in the zero window: its own zero is kept")
        else:
            span = f"{t[window[0]]:.6g} to {t[window[1] - 1]:.6g} s"
            ledger("zero", name, f"mean of {span} taken off", rows=window[1] - window[0], value=zero, unit=inner)
        values = values - zero
    if channel.sign < 0.0:
        values = -values
        ledger("sign", name, "turned round, by the rig file")
    spikes = spikes_of(values, noise)
    if len(spikes):
        k = int(spikes[np.argmax(np.abs(values[spikes]))])
        ledger(
            "despike", name, "single readings that stand alone taken out", rows=len(spikes), value=float(values[k]),
            unit=inner, reason=f"the largest at {t[k]:.6g} s",
        )  # fmt: skip
        values[spikes] = np.nan
    accuracy = channel.accuracy if math.isfinite(channel.accuracy) else ACCURACY[gauge.quantity]
    limits = None
    if channel.range is not None:
        limits = (channel.range[0] * per, channel.range[1] * per)
    done = Conditioned(
        name, gauge, unit, factor, channel.sign, zero, noise, missing, tuple(int(k) for k in spikes), window, accuracy,
        limits, channel.use,
    )  # fmt: skip
    return values, done


def _unit(name: str, channel: Channel, gauge: Gauge, heading: str, source: str) -> tuple[str, float]:
    """Unit of a channel and what one counts inside."""
    quantity = gauge.quantity
    unit = channel.unit or heading
    if not unit and quantity != "strain":
        raise InputFault(
            source, f"channel.{name}.unit: missing; the log's header gives none either. {KINDS[quantity].noun}, in "
            f"{', '.join(u for u in KINDS[quantity].factors if u)}",
        )  # fmt: skip
    try:
        per = unit_factor(unit, quantity)
    except UnitFault as fault:
        where = "unit" if channel.unit else "unit: missing, and the log's header"
        raise InputFault(source, f"channel.{name}.{where} = {unit!r}: {fault}") from None
    if channel.unit and heading and channel.factor == 1.0:
        try:
            other = unit_factor(heading, quantity)
        except UnitFault:
            other = math.nan
        if not math.isclose(other, per, rel_tol=1e-9):
            raise InputFault(
                source, f"channel.{name}.unit = {unit!r}: the log's header says {heading!r}; give the factor that "
                "makes one of the other, or the unit of the log",
            )  # fmt: skip
    return unit, per


def _without_none(name: str, channel: Channel, raw: Floats, rig: Rig, unit: str, ledger: Ledger) -> tuple[Floats, int]:
    """Raw numbers with NaN where they mean no reading or lie outside the range."""
    blank = int(np.isnan(raw).sum())
    if blank:
        ledger("read", name, "no reading (blank or a word for it)", rows=blank)
    size = np.abs(raw)
    none = np.isin(size, np.abs(np.array(rig.test.no_reading))) | (size >= HUGE)
    if none.any():
        told = sorted({f"{v:g}" for v in raw[none][:1000]})
        ledger("read", name, f"numbers that mean no reading: {', '.join(told[:4])}", rows=int(none.sum()))
    values = np.where(none, np.nan, raw)
    if channel.range is not None:
        read = values * channel.factor
        # a reading at its limit is clipped, one beyond it is none
        margin = 0.05 * (channel.range[1] - channel.range[0])
        out = (read < channel.range[0] - margin) | (read > channel.range[1] + margin)
        if out.any():
            told = f"outside {channel.range[0]:g} to {channel.range[1]:g} {unit}"
            ledger("read", name, "readings beyond the range, taken as none", rows=int(out.sum()), reason=told)
            values = np.where(out, np.nan, values)
    return values, int(np.isnan(values).sum())


def _zeroed_again(name: str, values: Floats, t: Floats, at: float, inner: str, ledger: Ledger) -> Floats:
    """The readings after the logger was set to zero at ``at``, put back onto those before."""
    k = int(np.searchsorted(t, at))
    before, after = values[max(0, k - BESIDE) : k], values[k : k + BESIDE]
    if not (np.isfinite(before).any() and np.isfinite(after).any()):
        return values
    jump = float(np.nanmedian(before) - np.nanmedian(after))
    ledger("zero", name, f"set to zero again at {at:g} s: the jump put back", value=jump, unit=inner, reason="rig file")
    return np.concatenate([values[:k], values[k:] + jump])


def _window(name: str, channel: Channel, rig: Rig, t: Floats, source: str) -> tuple[int, int]:
    """Rows of the zero window."""
    begin, end = channel.zero_window or rig.test.zero_window
    if begin == end == 0.0:
        return 0, min(FIRST, len(t))
    first, last = int(np.searchsorted(t, begin)), int(np.searchsorted(t, end, side="right"))
    if last <= first:
        key = f"channel.{name}.zero_window" if channel.zero_window else "test.zero_window"
        raise InputFault(source, f"{key} = [{begin:g}, {end:g}]: no reading between; the log runs to {t[-1]:.6g} s")
    return first, last


def _zero(values: Floats) -> float:
    """Mean of a window without what stands far off it."""
    good = values[np.isfinite(values)]
    if not len(good):
        return math.nan
    middle = float(np.median(good))
    spread = 1.4826 * float(np.median(np.abs(good - middle)))
    near = np.abs(good - middle) <= 10.0 * spread if spread > 0.0 else np.ones(len(good), bool)
    return float(good[near].mean())


def noise_of(values: Floats) -> float:
    """Standard deviation of the noise: from the steps between readings, robust, not below that of the resolution.

    Of a long log stretches spread over the whole are looked at.
    """
    n = len(values)
    parts = [values] if n <= MUCH else [values[k : k + MUCH // 8] for k in range(0, n, n // 8)]
    step = np.concatenate([np.diff(part) for part in parts])
    step = step[np.isfinite(step)]
    if len(step) < 3:
        return 0.0
    rough = 1.4826 * float(np.median(np.abs(step - np.median(step)))) / math.sqrt(2.0)
    moved = np.abs(step[step != 0.0])
    finest = float(np.quantile(moved, 0.05)) / math.sqrt(12.0) if len(moved) else 0.0
    return max(rough, finest)


def spikes_of(values: Floats, noise: float) -> np.ndarray:
    """Rows of spikes: one or two readings far from those on both sides, which agree."""
    n = len(values)
    sample = values[:: max(1, n // 20000)]
    sample = sample[np.isfinite(sample)]
    if n < 6 or not len(sample):
        return np.zeros(0, int)
    low, high = np.quantile(sample, [0.005, 0.995])
    least = max(SPIKE * noise, SPIKE_SHARE * float(high - low), 1e-12)
    with np.errstate(invalid="ignore"):
        # a spike begins with a step; only where there is one the neighbours are looked at
        begin = np.flatnonzero(np.abs(np.diff(values)) > 0.9 * least)
        found: list[np.ndarray] = []
        for width in (1, 2):
            k = begin[begin + width + 1 < n]
            base = 0.5 * (values[k] + values[k + width + 1])
            off = np.stack([values[k + 1 + j] - base for j in range(width)])
            size = np.abs(off).min(axis=0)
            same = np.abs(np.sign(off).sum(axis=0)) == width
            hit = k[same & (size > least) & (np.abs(values[k + width + 1] - values[k]) < 0.3 * size)]
            found += [hit + 1 + j for j in range(width)]
    return np.unique(np.concatenate(found))
