"""Which mechanism governs a plane, how far the next one is, and the evidence for both.

A mechanism is known by its signs: measures followed over the steps of a run, each against the
limit at which it counts as reached. Rules, in this order:

1. Strength is the load before the first drop (:func:`fesplice.post.elevation.findings.strength`); without a drop
   the largest load, and then a lower bound.
2. A mechanism is reached at the bar stress at which the first of its signs passes its limit.
3. With a drop: of the mechanisms reached before it or within it, the one whose strongest sign grew most
   over the drop governs, in multiples of its limit. What was reached later than the drop is a
   consequence and cannot govern.
4. Yielding reached before the drop governs, unless an anchorage mechanism was reached at less than
   ``EARLIER`` of its bar stress: then what follows is only what the hooks went on to carry. Bars that
   hardened to more than ``HARDENED`` of their yield strength were held well enough: yielding it is.
5. Without a drop: yielding if reached; otherwise the mechanism with the largest usage at the largest
   load, named as the nearest, not as the failure.
6. The margin to the next: bar stress at which the next was reached over strength (over the stress at yield
   where yielding governs), or one over its usage at strength where it never was. What was reached before the
   strength without being what the drop was is not next: it was passed.

Mechanisms that a plane cannot show are listed with what drives them and are never judged.
The limits of the signs are judgement unless a source stands beside them; they are part of the evidence.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats

#: Anchorage reached at less than this share of the bar stress at yield came first (judgement).
EARLIER = 0.95
#: Stress over yield strength beyond which the anchorage has done all that was asked of it (judgement).
HARDENED = 1.05
#: Share by which a plane must carry more after its drop than before for that to be told (judgement).
AGAIN = 0.02

#: Mechanisms by key, as a reader sees them; the order breaks ties.
MECHANISMS = {
    "bond_splitting": "bond splitting",
    "bond_pullout": "bond pull-out",
    "prying": "prying at the hook",
    "side_thrust": "side thrust at the edge bars",
    "hook_bearing": "bearing of the hook",
    "tie_yielding": "yielding of ties",
    "strut_crushing": "crushing of struts",
    "shear": "shear",
    "crushing": "crushing of the compression zone",
    "yielding": "flexural yielding",
    "joint_opening": "opening of the joint",
}
#: Mechanisms of the whole section; the others are ways in which the anchorage gives way.
SECTION = ("yielding", "crushing", "shear", "joint_opening")


@dataclass(frozen=True)
class Sign:
    """One measure ``values`` (n,) over the rows of a run, against ``limit``, both in ``unit``.

    ``what`` completes "... reached 0.42 mm (limit 0.05 mm)"; ``basis`` tells where the limit comes from.
    ``growing`` False: a state (a yield ratio) that does not tell by its growth what a drop was.
    """

    mechanism: str
    what: str
    values: Floats
    limit: float
    unit: str
    basis: str
    growing: bool = True

    @property
    def usage(self) -> Floats:
        """Values in multiples of the limit (n,); unknown values count as nothing."""
        return np.nan_to_num(np.asarray(self.values, float) / self.limit, nan=0.0)


@dataclass(frozen=True)
class Finding:
    """What is known of one mechanism in one plane; bar stress in MPa, nan if never reached.

    ``usage`` at strength and ``growth`` over the drop, both of the strongest sign, in multiples of its limit.
    ``evidence``: all signs, strongest first; ``first``: the sign that passed its limit first, empty if none did.
    """

    mechanism: str
    reached_at: float
    usage: float
    growth: float
    evidence: tuple[str, ...]
    first: str = ""

    @property
    def name(self) -> str:
        """The mechanism in words."""
        return MECHANISMS[self.mechanism]


@dataclass(frozen=True)
class Reading:
    """A plane read: strength as bar stress at the joint face [MPa] and load [N], what governs, what is next.

    ``sure`` is False where the load never dropped: the strength is then a lower bound and
    ``governing`` only the nearest mechanism. ``margin``: multiple of the strength at which ``next`` comes.
    ``later``: largest bar stress of the run where that is above the strength by more than ``AGAIN``, else nan.
    """

    plane: str
    bar_stress: float
    load: float
    sure: bool
    governing: Finding | None
    next: Finding | None
    margin: float
    findings: tuple[Finding, ...]
    unresolved: tuple[str, ...]
    later: float = math.nan

    @property
    def certain(self) -> bool:
        """True when the load dropped, or when the bars yielded: they need no drop, but a stress that was reached."""
        yields = self.governing if self.governing and self.governing.mechanism == "yielding" else None
        return self.sure or (yields is not None and math.isfinite(yields.reached_at))

    @property
    def sentence(self) -> str:
        """The reading in one sentence, with its strongest evidence."""
        if self.governing is None:
            return f"{self.plane}: no mechanism reached its limit up to {self.bar_stress:.0f} MPa"
        best = self.governing.evidence[0]
        if not self.certain:
            return f"{self.plane}: above {self.bar_stress:.0f} MPa; nearest is {self.governing.name} ({best})"
        return f"{self.plane}: {self.bar_stress:.0f} MPa, {self.governing.name} ({best})"


def read_plane(
    plane: str,
    bar_stress: Sequence[float] | Floats,
    load: Sequence[float] | Floats,
    top: int,
    low: int | None,
    signs: Iterable[Sign],
    unresolved: Iterable[str] = (),
) -> Reading:
    """Judge one plane by the rules of this module.

    ``bar_stress`` [MPa] and ``load`` [N] (n,) over the rows of the run; ``top`` the row before the first
    drop, ``low`` the row at its end (None without a drop: ``top`` is then the row of the largest load).
    """
    stress, force = np.asarray(bar_stress, float), np.asarray(load, float)
    highest = np.maximum.accumulate(stress)
    end = top if low is None else low
    by: dict[str, list[Sign]] = {}
    for sign in signs:
        if sign.mechanism not in MECHANISMS:
            raise ValueError(f"no mechanism {sign.mechanism!r}; known: {', '.join(MECHANISMS)}")
        by.setdefault(sign.mechanism, []).append(sign)
    findings = [_finding(key, by[key], highest, top, end) for key in MECHANISMS if key in by]
    governing = _governing(findings, low is not None)
    # a joint is open long before anything fails: it is no measure of how near the next failure is
    others = [f for f in findings if f is not governing and f.mechanism != "joint_opening"]
    yields = governing is not None and governing.mechanism == "yielding"
    margin = margin_of(governing.reached_at if governing is not None and yields else float(highest[top]))
    following = min((f for f in others if 1.0 <= margin(f) < math.inf), key=margin, default=None)
    return Reading(
        plane, float(highest[top]), float(force[top]), low is not None, governing, following,
        margin(following) if following else math.inf,
        tuple(sorted(findings, key=lambda f: (f is not governing, -f.usage))), tuple(unresolved),
        float(highest[-1]) if low is not None and highest[-1] > (1.0 + AGAIN) * highest[top] else math.nan,
    )  # fmt: skip


def _finding(key: str, signs: list[Sign], stress: Floats, top: int, end: int) -> Finding:
    rows = [np.flatnonzero(sign.usage[: end + 1] >= 1.0) for sign in signs]
    first, which = min(((int(r[0]), k) for k, r in enumerate(rows) if len(r)), default=(-1, -1))
    usage = [float(sign.usage[: top + 1].max(initial=0.0)) for sign in signs]
    growth = [float(s.usage[end] - s.usage[top]) if s.growing and end > top else 0.0 for s in signs]
    order = sorted(range(len(signs)), key=lambda k: -max(usage[k], usage[k] + growth[k]))
    return Finding(
        key,
        float(stress[first]) if first >= 0 else math.nan,
        max(usage, default=0.0),
        max(growth, default=0.0),
        tuple(_tell(signs[k], rows[k], stress, top, end) for k in order),
        _tell(signs[which], rows[which], stress, top, end) if first >= 0 else "",
    )


def _tell(sign: Sign, rows: np.ndarray, stress: Floats, top: int, end: int) -> str:
    at = float(sign.values[top])
    text = f"{sign.what} {at:.3g} {sign.unit} at strength, limit {sign.limit:.3g} ({sign.basis})".replace("  ", " ")
    if end > top and sign.growing:
        text += f", {float(sign.values[end]):.3g} after the drop"
    return text + (f", reached at {stress[int(rows[0])]:.0f} MPa" if len(rows) else ", not reached")


def _governing(findings: list[Finding], dropped: bool) -> Finding | None:
    reached = [f for f in findings if not math.isnan(f.reached_at)]
    yielding = next((f for f in reached if f.mechanism == "yielding"), None)
    anchorage = [f for f in reached if f.mechanism not in SECTION]
    if yielding is not None and (not dropped or yielding.usage >= 1.0):
        hardened = yielding.usage >= HARDENED
        earlier = [f for f in anchorage if f.reached_at < EARLIER * yielding.reached_at and not hardened]
        return max(earlier, key=lambda f: (f.growth, f.usage)) if earlier and dropped else yielding
    if not dropped:
        return max((f for f in findings if f.mechanism != "joint_opening"), key=lambda f: f.usage, default=None)
    # joints and cracks across the bars open whenever anything gives way: they govern only alone
    real = [f for f in reached if f.mechanism not in ("joint_opening", "yielding")]
    return max(real or reached, key=lambda f: (f.growth, f.usage), default=None)


def margin_of(strength: float) -> Callable[[Finding], float]:
    """Multiple of the strength at which a mechanism comes: by its bar stress, or by its usage if it never did."""

    def margin(f: Finding) -> float:
        if not math.isnan(f.reached_at):
            return max(f.reached_at / strength, 0.0) if strength > 0.0 else math.inf
        return 1.0 / f.usage if f.usage > 0.0 else math.inf

    return margin
