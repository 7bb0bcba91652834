"""The two planes read together: strength, what governs, the bracket, the band.

The common parameter is the bar stress at the joint face. The plan is computed with three planes
between slab and body: none (lower end of the bracket), intact (upper end), and cohesive with the
vertical stress, the cracks and the legs that the elevation has at the strength of the plan itself
(coupled, found in passes). Strength is the lower of elevation and coupled plan. The minimum of two
runs that know nothing of each other is told for comparison only: there the free slab always governs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.mechanisms import MECHANISMS, Finding, Reading, margin_of

#: Share by which a single computed strength may be off: judgement values of the plan, one at a time, move it by
#: -15 to +22 % (models/studies/TRENDS.md), but for one that is told apart (tails of hooks beside ties); series of
#: published tests scatter by 4 to 18 % (models/validation).
MODEL_BAND = 0.20
#: Passes agree when the strength of the plan changes by less than this share.
AGREED = 0.02


@dataclass(frozen=True)
class Pass:
    """One pass of the coupling: vertical state read at ``given``, strength of the plan with it ``found`` [MPa]."""

    given: float
    found: float
    sure: bool


@dataclass(frozen=True)
class Prediction:
    """Both planes of one specimen. Bar stresses at the joint face [MPa], loads per ram [N].

    ``free``, ``intact``, ``coupled``: the plan with no plane, an intact one, and the one the elevation
    leaves it (None where there is no plan); ``passes`` of the coupling and whether they ``agreed``;
    ``notes`` on runs that stopped short. ``side_splitting``: bar stress at which, by a formula that counts no
    steel across, hooks split the cover beside them, which no plane shows (nan without hooks).
    """

    specimen: str
    elevation: Reading
    free: Reading | None
    intact: Reading | None
    coupled: Reading | None
    passes: tuple[Pass, ...]
    agreed: bool
    load: float
    notes: tuple[str, ...] = ()
    side_splitting: float = math.nan

    @property
    def governing(self) -> Reading:
        """The plane that gives way first."""
        return self.coupled if self.coupled and self.coupled.bar_stress < self.elevation.bar_stress else self.elevation

    @property
    def other(self) -> Reading | None:
        """The plane that holds longer."""
        return self.elevation if self.governing is self.coupled else self.coupled

    @property
    def bar_stress(self) -> float:
        """Predicted bar stress at the joint face at failure [MPa]."""
        return self.governing.bar_stress

    @property
    def bracket(self) -> tuple[float, float]:
        """Strength with no plane between slab and body, and with one that never gives way [MPa]."""
        if self.free is None or self.intact is None:
            return self.elevation.bar_stress, self.elevation.bar_stress
        low, high = sorted((self.free.bar_stress, self.intact.bar_stress))
        return min(low, self.elevation.bar_stress), min(high, self.elevation.bar_stress)

    @property
    def band(self) -> tuple[float, float]:
        """Strength less and plus the model's uncertainty [MPa]."""
        return (1.0 - MODEL_BAND) * self.bar_stress, (1.0 + MODEL_BAND) * self.bar_stress

    @property
    def uncoupled(self) -> float:
        """Lower of elevation and free slab [MPa]; for comparison, not the answer."""
        return min(r.bar_stress for r in (self.elevation, self.free) if r is not None)

    @property
    def next(self) -> tuple[Finding | None, float]:
        """The next mechanism of both planes, and the multiple of the predicted strength at which it comes (>= 1)."""
        later = [(f, m) for f, m in self._margins() if m >= 1.0 and math.isfinite(m)]
        return min(later, key=lambda pair: pair[1], default=(None, math.inf))

    @property
    def margin_open(self) -> bool:
        """True where what is next is the failure of a plane whose load never dropped: it comes no earlier."""
        return self.other is not None and not self.other.sure and self.next[0] is self.other.governing is not None

    @property
    def passed(self) -> tuple[tuple[Finding, float], ...]:
        """Mechanisms of the governing plane whose limit was passed before, with the share of the strength."""
        found = [(f, m) for f, m in self._margins() if m < 1.0]
        return tuple(sorted(found, key=lambda pair: pair[1]))

    def _margins(self) -> list[tuple[Finding, float]]:
        here, strength = self.governing, self.bar_stress
        mode = here.governing.mechanism if here.governing else ""
        found = [(f, margin_of(strength)(f)) for f in here.findings if f.mechanism not in (mode, "joint_opening")]
        rival = self.other.governing if self.other is not None else None
        # both planes may fail alike (bars that yield): that is the governing mechanism once more, not the next
        if rival is not None and rival.mechanism != mode and self.other is not None and strength > 0.0:
            found.append((rival, self.other.bar_stress / strength))
        return found

    @property
    def beside(self) -> str:
        """What the formula for side splitting says beside the planes; empty without hooks."""
        if not math.isfinite(self.side_splitting):
            return ""
        less = self.side_splitting < self.bar_stress
        meaning = "more than they hold"
        if less:
            meaning = "LESS than the planes hold: take it where no steel crosses the lap, with ties it is a lower bound"
        return (
            f"beside the planes, by formula: hooks split the side cover at {self.side_splitting:.0f} MPa, {meaning} "
            "(MC2010 eq. 6.1-5 over the embedment, no steel across counted)"
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """The prediction in words, most important first."""
        low, high = self.band
        sure = "" if self.governing.sure else "at least "
        mode = self.governing.governing
        what = mode.name if mode else "no mechanism found"
        if mode and math.isnan(mode.reached_at):
            what = f"no mechanism reached its limit (nearest: {mode.name})"
        elif mode and not self.governing.certain:
            what = f"no failure seen, the load never dropped (nearest: {mode.name})"
        found = [
            f"{what} in the {self.governing.plane} at a bar stress of {sure}{self.bar_stress:.0f} MPa "
            f"(model uncertainty {low:.0f} to {high:.0f} MPa), {self.load / 1e3:.0f} kN per ram"
        ]
        if mode:
            found += [f"because: {text}" for text in mode.evidence]
        if math.isfinite(later := self.governing.later):
            found.append(
                f"after the drop the {self.governing.plane} carried more again, up to {later:.0f} MPa by the end of "
                "its run: the strength told is the first one"
            )
        if beside := self.beside:
            found.append(beside)
        following, margin = self.next
        for f, share in self.passed:
            found.append(f"passed before: {f.name} at {share:.2f} of that ({f.first or f.evidence[0]})")
        if following is not None:
            times = f"{'no less than' if self.margin_open else 'at'} {margin:.2f} times that"
            found.append(f"next: {following.name} {times} ({following.evidence[0]})")
        if self.coupled and self.free and self.intact:
            found.append(
                f"bracket of the plan: no plane {_told(self.free)}, coupled {_told(self.coupled)}, "
                f"intact plane {_told(self.intact)}; elevation {_told(self.elevation)}"
            )
            passes = ", ".join(f"{p.given:.0f} -> {p.found:.0f}" for p in self.passes)
            agreed = "agreed" if self.agreed else "did NOT agree"
            count = f"{len(self.passes)} pass{'' if len(self.passes) == 1 else 'es'}"
            found.append(f"coupling {agreed} in {count}: {passes} MPa")
            least = min((self.elevation, self.free), key=lambda r: r.bar_stress)
            found.append(f"for comparison, lower of two uncoupled planes: {_told(least)} (not the answer)")
        found += [f"stopped short: {text}" for text in self.notes]
        hidden = [text for r in (self.elevation, self.coupled) if r is not None for text in r.unresolved]
        found += [f"not resolvable in 2D: {text}" for text in dict.fromkeys(hidden)]
        return tuple(found)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; nan and infinity become None."""
        following, margin = self.next
        found = {
            **asdict(self), "governing_plane": self.governing.plane, "bar_stress": self.bar_stress,
            "mechanism": self.governing.governing.mechanism if self.governing.governing else None,
            "bracket": self.bracket, "band": self.band, "uncoupled": self.uncoupled,
            "next": following.mechanism if following else None, "margin": margin,
            "margin_open": self.margin_open, "beside": self.beside,
            "sentences": self.sentences,
        }  # fmt: skip
        return _plain(found)


def load_at(bar_stress: float, stress: Sequence[float] | Floats, load: Sequence[float] | Floats) -> float:
    """Load [N] of the elevation when its bars first carry ``bar_stress`` [MPa]; its largest if they never do."""
    highest = np.maximum.accumulate(np.asarray(stress, float))
    rows = np.concatenate([[0], np.flatnonzero(np.diff(highest) > 0.0) + 1])
    return float(np.interp(bar_stress, highest[rows], np.asarray(load, float)[rows]))


def _told(reading: Reading) -> str:
    return f"{'' if reading.sure else '>'}{reading.bar_stress:.0f} MPa"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def named(mechanism: str | None) -> str:
    """A mechanism of a stored prediction in words."""
    return MECHANISMS.get(mechanism or "", "no mechanism found")
