"""Strength of a response curve: what the whole curve carries, read through the falls that it makes good.

The rule:

1. The strength is the largest load, and a fall on the way that the load makes good again is read through. Every such
   fall of ``FALL`` or more is kept and told: the load before it (the first maximum, before the first of them), the
   lowest load, and the deflection at which the load was back.
2. Falls deeper than ``DEEP`` count against what comes after them: every newton by which the load rises above
   its largest so far counts with a credit that falls evenly from one after a fall of ``DEEP`` to nothing after one of
   ``ENDS``. What is regained after a fall of ``ENDS`` or more does not count at all, and a run that was ended by its
   fall (``analysis.drop``) is complete: nothing after it would have counted.
3. Falls while sections crack and joints open, up to ``EARLY`` of the largest load, do not count; those from twice
   that load on count in full, those between in part.
4. The strength is exact where the load afterwards fell by ``DROP``, or where a deep fall took most of the credit.
   Otherwise it is a lower bound: a plateau where the load has levelled off, or the end of loading.

Why this one. Splices and hooks are tested to the largest load, and published strengths are largest loads. Under load
control, by stages, a fall is not even seen: the beam moves to the deflection at which it carries the load again, and
loading goes on. Under stroke control the fall is seen and the stroke goes on; tests are ended as failed when
the load has fallen by 20 to 30 % (common practice, no source). So a moderate fall that is made good parts two ways of
carrying, the bond of the leads and then the hooks, and not strength from failure; after a deep one nobody would
have gone on.

Why not "the first fall of 15 %". With a share of fall as a limit the strength jumps: falls of 14 and 16 %, alike for
every purpose, gave the load before the fall or the one at which the bars yield, half as much again. A limit on the
deflection at which the load must be back would only move the jump. Here the strength is a continuous function of the
curve: between two curves over the same deflections whose falls are all below ``DEEP`` it differs by no more than the
loads do where they differ most, and by a bounded multiple of that otherwise (:func:`steepness`).

What it cannot do. It trusts the curve after a moderate fall, and a model may go on carrying where a beam would not (an
arch after a diagonal crack, hooks after the cover came off): therefore both loads are told. ``DEEP`` is judgement, set
with sweeps of the lap in view: from 20 % on, longer laps, whose leads lose more when they split, would count as weaker.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.values import Known

#: Fall of the load, as a share of the largest, after which that was a maximum (judgement; 0.15 to 0.2 are common).
DROP = 0.15
#: Fall after which a maximum on the way is told (judgement). Smaller ones are cracks and small jumps.
FALL = 0.05
#: Falls between which what is regained loses its credit (judgement; runs end at a fall of 0.30 by themselves).
DEEP, ENDS = 0.25, 0.30
#: Up to this share of the largest load of all sections crack and joints open: falls there do not count, and count
#: in full from twice that load on (judgement).
EARLY = 0.20
#: The load has levelled off where over the last ``TAIL`` of the deflection it changed by less than ``LEVEL`` of
#: the largest: a fifth of what a straight line through the origin would add (judgement).
TAIL, LEVEL = 0.10, 0.02


class Kind(StrEnum):
    """What the strength of a curve is: its value is the one spelling in files, ``words`` the one for people."""

    first_maximum = "first_maximum"
    later_maximum = "later_maximum"
    plateau = "plateau"
    end_of_loading = "end_of_loading"

    @property
    def words(self) -> str:
        """As a reader sees it."""
        return _WORDS[self]


_WORDS = {
    Kind.first_maximum: "first maximum",
    Kind.later_maximum: "maximum after a fall that was made good",
    Kind.plateau: "plateau, no fall by the end of loading",
    Kind.end_of_loading: "largest load by the end of loading",
}


@dataclass(frozen=True)
class Fall:
    """A fall of the load on the way to the strength, made good later; loads [N], deflections [mm], rows of the curve.

    From ``load`` at ``row`` and ``deflection`` down to ``lowest`` at ``lowest_row``; at the row ``back``, of the
    deflection ``regained``, the load was above the earlier one again.
    """

    load: float
    row: int
    deflection: float
    lowest: float
    lowest_row: int
    back: int
    regained: float

    @property
    def share(self) -> float:
        """Load lost, as a share of the load before."""
        return 1.0 - self.lowest / self.load


@dataclass(frozen=True)
class Strength:
    """Strength of a response curve; loads [N], deflections (or extensions) [mm], rows of the curve.

    ``value`` the strength, first carried at ``row`` and ``deflection``; ``exact`` where the load fell for good or deep,
    else a lower bound; ``largest`` the largest load of all, which is more only where a deep fall took credit.
    ``top_row``, ``low_row``: before and after the fall that tells what failed, for the judge, and ``low`` the load
    after it; -1 and nan where the strength is a lower bound, and ``top_row`` then the row of the largest load.
    ``falls``: those on the way to the largest load, in their order.
    """

    value: float
    row: int
    deflection: float
    kind: Kind
    exact: bool
    largest: float
    top_row: int
    low_row: int
    low: Known
    falls: tuple[Fall, ...] = ()

    @property
    def first(self) -> float:
        """Load [N] of the first maximum: before the first fall, or the strength itself."""
        return self.falls[0].load if self.falls else self.value

    @property
    def deepest(self) -> Fall | None:
        """The fall on the way that took the largest share of the load; None where there was none."""
        return max(self.falls, key=lambda f: f.share, default=None)

    def told(self, unit: str) -> tuple[str, ...]:
        """The falls on the way and, where a deep one took credit, the largest load; ``unit`` of the deflection."""
        found = [
            f"fell by {100.0 * f.share:.0f} % from {f.load / 1e3:.1f} kN at {f.deflection:.3g} {unit}, made good at "
            f"{f.regained:.3g} {unit.partition(' ')[0]}"
            for f in self.falls
        ]
        if self.value < self.largest:
            say = "what was regained after the deep fall counts in part or not at all"
            found.append(f"largest load {self.largest / 1e3:.1f} kN: {say}")
        return tuple(found)

    def at(self, load: Floats, values: Floats) -> float:
        """Another column of the curve (n,) where ``load`` (n,) first reached the strength, between two rows."""
        k = self.row
        if k == 0 or self.value >= load[k]:
            return float(values[k])
        before = float(np.max(load[:k]))
        begin = int(np.argmax(load[:k]))
        return float(values[begin] + (self.value - before) / (load[k] - before) * (values[k] - values[begin]))


def strength(deflection: Floats, load: Floats, ends: float = ENDS) -> Strength:
    """Strength of the curve ``load`` (n,) [N] over ``deflection`` (n,) [mm] by the rule of this module.

    ``ends``: fall at which the run would have ended, where that is less than ``ENDS``; the credit ends there.
    Raises :class:`ValueError` for an empty curve, arrays of two lengths or a fall that is no share.
    """
    d, p = np.asarray(deflection, float), np.asarray(load, float)
    if not len(p) or d.shape != p.shape:
        raise ValueError(f"a curve needs as many deflections as loads, at least one: {d.shape} and {p.shape}")
    if not 0.0 < ends <= 1.0:
        raise ValueError(f"a fall that ends a run is a share above 0 and at most 1, not {ends:g}")
    last = min(ends, ENDS)
    top, credit = int(np.argmax(p)), _credit(p, last)
    falls = tuple(f for f in _falls(d, p, top) if f.load > EARLY * p[top])
    best = np.maximum.accumulate(np.maximum(p, 0.0))
    lost = float(((1.0 - credit) * np.diff(best, prepend=0.0)).sum())
    value = float(p[top]) - lost
    row = int(np.argmax(best >= value * (1.0 - 1e-12)))
    # most of the credit gone: that fall is what failed
    broke = next((f for f in falls if credit[f.back] < 0.5), None)
    if broke is not None:
        at, low = broke.row, broke.lowest_row
        kind = Kind.later_maximum if any(f.row < at for f in falls) else Kind.first_maximum
    else:
        at, low = top, _end_of_fall(p, top, min(DROP, last))
        peak = Kind.later_maximum if falls else Kind.first_maximum
        kind = peak if low >= 0 else Kind.plateau if _level(d, p) else Kind.end_of_loading
    after = float(p[low]) if low >= 0 else math.nan
    return Strength(value, row, float(d[row]), kind, low >= 0, float(p[top]), at, low, after, falls)


def steepness(ends: float = ENDS) -> float:
    """Most that the strength moves for a load moved by one somewhere on the curve; one where no fall is deep.

    The credit moves by one over ``ends - deep``, and a fall by the load, the largest so far and the largest of all,
    each over ``EARLY`` of the latter.
    """
    last = min(ends, ENDS)
    return 1.0 + 5.0 / (EARLY * (1.0 - DEEP / ENDS) * last)


def _credit(p: Floats, ends: float) -> Floats:
    """Credit (n,) of a rise of the largest load so far at each row, by the deepest fall before it."""
    best = np.maximum.accumulate(np.maximum(p, 0.0))
    early = EARLY * float(best[-1])
    counts = np.clip(best / early - 1.0, 0.0, 1.0) if early > 0.0 else np.zeros(len(p))
    share = counts * np.divide(best - p, best, out=np.zeros(len(p)), where=best > 0.0)
    before = np.concatenate([[0.0], np.maximum.accumulate(share)[:-1]])
    deep = ends * DEEP / ENDS
    return np.clip((ends - before) / (ends - deep), 0.0, 1.0)


def _end_of_fall(p: Floats, top: int, drop: float) -> int:
    """Row to which the load falls from its largest: on from the row that is below by ``drop`` while it falls; or -1."""
    below = np.flatnonzero(p[top:] <= (1.0 - drop) * p[top])
    if not len(below) or p[top] <= 0.0:
        return -1
    end = top + int(below[0])
    while end + 1 < len(p) and p[end + 1] < p[end]:
        end += 1
    return end


def _falls(d: Floats, p: Floats, top: int) -> Iterator[Fall]:
    """Falls by ``FALL`` or more between one largest load so far and the next, up to the row ``top``."""
    best = np.maximum.accumulate(p[: top + 1])
    rising = np.flatnonzero(np.concatenate([[True], p[1 : top + 1] > best[:-1]]))
    for k, back in itertools.pairwise(rising):
        lowest = int(k + np.argmin(p[k:back]))
        if p[lowest] <= (1.0 - FALL) * p[k] and p[k] > 0.0:
            yield Fall(float(p[k]), int(k), float(d[k]), float(p[lowest]), lowest, int(back), float(d[back]))


def _level(d: Floats, p: Floats) -> bool:
    """True where the load ends near its largest and has levelled off there."""
    furthest = np.maximum.accumulate(d)
    begin = (1.0 - TAIL) * furthest[-1]
    tail = np.append(p[furthest >= begin], np.interp(begin, furthest, p))
    return float(p.max()) > 0.0 and float(p.max() - tail.min()) <= LEVEL * float(p.max())
