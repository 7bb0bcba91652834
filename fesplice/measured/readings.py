"""Corrected channels by what they read: means of like gauges, the load per ram, readings at a load."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from fesplice.contracts import Floats
from fesplice.measured.channels import Conditioned
from fesplice.specimen.gauges import Gauge

#: Half of the rows averaged at a load, for profiles (never for the peak).
BESIDE = 3


@dataclass
class Readings:
    """Corrected channels by gauge, each fetched when asked for; ``left_out`` names those the rig file does not use."""

    channels: tuple[Conditioned, ...]
    fetch: Callable[[str], Floats]
    t: Floats
    _means: dict[str, Floats] = field(default_factory=dict)

    def of(self, kind: str, choose: Callable[[Gauge], bool] = lambda g: True) -> list[Conditioned]:
        """Used channels of a kind that fit ``choose``."""
        return [c for c in self.channels if c.use and c.gauge.kind == kind and choose(c.gauge)]

    def mean(self, channels: Iterable[Conditioned]) -> Floats | None:
        """Mean (n,) of some channels, those without a reading left out; None of none."""
        chosen = list(channels)
        if not chosen:
            return None
        total, count = np.zeros(len(self.t)), np.zeros(len(self.t))
        for c in chosen:
            values = self.fetch(c.name)
            read = np.isfinite(values)
            total[read] += values[read]
            count += read
        with np.errstate(invalid="ignore"):
            return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def load_per_ram(r: Readings) -> tuple[Floats, list[str]]:
    """Load per ram (n,): the mean of both rams, and remarks where a ram is not weighed."""
    remarks = []
    sides = {side: r.of("load", lambda g, side=side: g.ram == side) for side in ("left", "right", "")}
    means = {side: r.mean(found) for side, found in sides.items() if found}
    left, right = means.get("left"), means.get("right")
    if left is not None and right is not None:
        both = np.isfinite(left) & np.isfinite(right)
        out = np.where(both, 0.5 * (left + right), np.where(np.isfinite(left), left, right))
        lone = int((~both & np.isfinite(out)).sum())
        if lone:
            remarks.append(f"in {lone} readings one load cell reads nothing: the load per ram is the other's alone")
        return out, remarks
    alone = next((m for m in (means.get(""), left, right) if m is not None), None)
    if alone is None:
        return np.full(len(r.t), np.nan), ["every channel of load is left out by the rig file"]
    if "" not in means:
        remarks.append(f"only the {'left' if left is not None else 'right'} ram is weighed: taken for both")
    return alone, remarks


def uncertainty(channels: list[Conditioned], value: float) -> float:
    """Standard uncertainty of a mean of channels at ``value``: accuracy of each as independent, noise of one."""
    if not channels:
        return math.nan
    n = len(channels)
    share = math.sqrt(sum(c.accuracy**2 for c in channels)) / n
    return math.hypot(share * value, max(c.noise for c in channels) / math.sqrt(n))


def row_at(load: Floats, peak: int, share: float) -> int:
    """First row at which a share of the largest load is reached."""
    if share >= 1.0:
        return peak
    with np.errstate(invalid="ignore"):
        return int(np.argmax(load[: peak + 1] >= share * load[peak]))


def at_row(values: Floats, row: int, last: int) -> float:
    """Reading at a row: the middle of a few about it, none beyond ``last`` (the peak), where the test may break off.

    The middle, since a reading joined from another logger may lie half-way into the drop.
    """
    part = values[max(0, row - BESIDE) : min(row + BESIDE, last) + 1]
    return float(np.nanmedian(part)) if np.isfinite(part).any() else math.nan


def word(text: str) -> str:
    """A text as part of the name of a column."""
    return "".join(ch if ch.isalnum() else "_" for ch in text)
