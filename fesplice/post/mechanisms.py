"""The only judge: which mechanism governs a view, in which order they came, and the evidence of each.

A mechanism is known by its indicators: measures followed over the steps of a run, each against the
limit at which it counts as reached. Rules, in this order:

1. Strength is what :mod:`fesplice.post.strength` makes of the whole curve; without a failure on it the
   largest load, and then a lower bound.
2. A mechanism is reached at the bar stress at which the first of its indicators passes its limit. Its
   evidence is what was measured at that step.
3. With a drop: of the mechanisms reached before it or within it, the one whose strongest indicator grew most
   over the drop governs, in multiples of its limit. What was reached later than the drop is a
   consequence and cannot govern.
4. Yielding reached before the drop governs, unless an anchorage mechanism was reached at less than
   ``EARLIER`` of its bar stress: then what follows is only what the hooks went on to carry. Bars that
   hardened to more than ``HARDENED`` of their yield strength were held well enough: yielding it is.
5. Of what would govern a drop among yielding, crushing and shear, shear does where it was reached and the beam turns
   about a slanting crack at the strength (:mod:`fesplice.post.elevation.hinge`), unless the bars hardened as above.
6. Without a drop: yielding if reached; otherwise the mechanism with the largest utilisation at the largest
   load, named as the nearest, not as the failure.
7. What is next is the mechanism reached at the least bar stress above the strength (above the stress at yield
   where yielding governs). One that never reached its limit is told by its utilisation, never by a multiple of
   stress. What was reached before the strength without being what the drop was is not next: it came before.

A view fails by what is told in one sentence, everywhere the same: the anchorage mechanisms that came before in
their order, then what governs. Mechanisms that a view cannot show are listed with what drives them and are never
judged. The limits of the indicators are judgement unless a source stands beside them; they are part of the evidence.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from fesplice.contracts import Floats, Ints, ViewName
from fesplice.post.values import Known

#: Anchorage reached at less than this share of the bar stress at yield came first (judgement).
EARLIER = 0.95
#: Stress over yield strength beyond which the anchorage has done all that was asked of it (judgement).
HARDENED = 1.05
#: Share by which a view must carry more after its drop than before for that to be told (judgement).
AGAIN = 0.02
#: Bars whose indicator passes its limit within this share of the bar stress did so together (judgement).
TOGETHER = 0.05

#: What the load of a view is counted per.
PER = {ViewName.elevation: "per ram", ViewName.plan: "per side"}


class Mechanism(StrEnum):
    """A way of giving way: its value is the one spelling in files, ``words`` the one for people; order breaks ties."""

    bond_splitting = "bond_splitting"
    bond_pullout = "bond_pullout"
    prying = "prying"
    side_thrust = "side_thrust"
    hook_bearing = "hook_bearing"
    tie_yielding = "tie_yielding"
    strut_crushing = "strut_crushing"
    shear = "shear"
    crushing = "crushing"
    yielding = "yielding"
    joint_opening = "joint_opening"
    side_splitting = "side_splitting"
    none = "none"

    @property
    def words(self) -> str:
        """As a reader sees it."""
        return _WORDS[self]

    @property
    def of_section(self) -> bool:
        """True for mechanisms of the whole section; the others are ways in which the anchorage gives way."""
        return self in _SECTION


_WORDS = {
    Mechanism.bond_splitting: "bond splitting",
    Mechanism.bond_pullout: "bond pull-out",
    Mechanism.prying: "prying at the hook",
    Mechanism.side_thrust: "side thrust at the edge bars",
    Mechanism.hook_bearing: "bearing of the hook",
    Mechanism.tie_yielding: "yielding of ties",
    Mechanism.strut_crushing: "crushing of struts",
    Mechanism.shear: "shear",
    Mechanism.crushing: "crushing of the compression zone",
    Mechanism.yielding: "flexural yielding",
    Mechanism.joint_opening: "opening of the joint",
    Mechanism.side_splitting: "splitting of the side cover by the hooks",
    Mechanism.none: "no failure seen",
}
_SECTION = (Mechanism.yielding, Mechanism.crushing, Mechanism.shear, Mechanism.joint_opening)


# ------------------------------------------------------------------ indicators
@dataclass(frozen=True)
class Indicator:
    """One measure ``values`` (n,) over the rows of a run, against ``limit``, both in ``unit``.

    ``what`` completes "... 0.42 mm (limit 0.05 mm)"; ``basis`` tells where the limit comes from.
    ``growing`` False: a state (a yield ratio) that does not tell by its growth what a drop was.
    ``by``: the same measure (n,) by bar line, of which ``values`` is the largest; ``place`` (n, 2) where it is
    found [mm].
    """

    mechanism: Mechanism
    what: str
    values: Floats
    limit: float
    unit: str
    basis: str
    growing: bool = True
    by: Mapping[str, Floats] = field(default_factory=dict)
    place: Floats | None = None

    @property
    def utilisation(self) -> Floats:
        """Values in multiples of the limit (n,); unknown values count as nothing."""
        return np.nan_to_num(np.asarray(self.values, float) / self.limit, nan=0.0)


@dataclass(frozen=True)
class Evidence:
    """One indicator read at the step at which it passed its limit, or at strength where it never did.

    ``value`` and ``limit`` in ``unit``; ``step`` of the run, ``load`` [N] and ``bar_stress`` [MPa] there;
    ``at_strength``, and ``after`` the value at the end of the drop (nan without a drop, or for a state);
    ``bars`` that passed the limit together; ``x``, ``y`` where it was found [mm], nan where it has no place.
    """

    what: str
    value: Known
    limit: float
    unit: str
    basis: str
    reached: bool
    step: int
    load: Known
    bar_stress: Known
    at_strength: Known
    after: Known = math.nan
    bars: tuple[str, ...] = ()
    x: Known = math.nan
    y: Known = math.nan

    @property
    def text(self) -> str:
        """The evidence in words."""
        who = f" on bars {listed(self.bars)}" if self.bars else ""
        where = _place(self.x, self.y)
        limit = f"limit {_number(self.limit, self.unit)} ({self.basis})"
        if not self.reached:
            return f"{self.what} {_number(self.value, self.unit)}{where} at strength, {limit}, not reached"
        text = f"{self.what} {_number(self.value, self.unit)}{where}{who}, {limit}, "
        text += f"reached at {self.bar_stress:.0f} MPa (step {self.step})"
        if math.isfinite(self.after):
            then, after = (_number(value, self.unit) for value in (self.at_strength, self.after))
            text += f"; {then} at strength, {after} after the drop"
        return text


@dataclass(frozen=True, repr=False)
class MechanismState:
    """What is known of one mechanism in one view.

    ``reached_at`` bar stress [MPa] and ``load`` [N] at ``step``, nan and -1 if never reached; ``utilisation`` at
    strength and ``growth`` over the drop, both of the strongest indicator, in multiples of its limit.
    ``evidence``: all indicators, strongest first; ``first``: the one that passed its limit first, None if none did.
    """

    mechanism: Mechanism
    reached_at: Known
    load: Known
    step: int
    utilisation: Known
    growth: Known
    evidence: tuple[Evidence, ...]
    first: Evidence | None = None

    def __repr__(self) -> str:
        reached = f"reached at {self.reached_at:.0f} MPa" if self.reached else "not reached"
        return f"MechanismState({self.name}, {reached}, {self.utilisation:.2f} of its limit at strength)"

    @property
    def name(self) -> str:
        """The mechanism in words."""
        return self.mechanism.words

    @property
    def reached(self) -> bool:
        """True when a limit of it was passed."""
        return math.isfinite(self.reached_at)

    def at(self, view: str) -> str:
        """``bond splitting of bars A and B at 355 MPa (132 kN per ram)``."""
        bars = f" of bars {listed(self.first.bars)}" if self.first and self.first.bars else ""
        return f"{self.name}{bars} at {self.reached_at:.0f} MPa ({self.load / 1e3:.0f} kN {PER[ViewName(view)]})"


# ------------------------------------------------------------------ assessment
@dataclass(frozen=True, repr=False)
class Assessment:
    """A view judged: strength as bar stress at the joint face [MPa] and load [N], what governs, what is next.

    ``dropped`` is False where the load never failed: the strength is then a lower bound and ``governing`` only
    the nearest mechanism, unless the bars yielded (see ``certain``). ``next`` is the mechanism reached at the least
    bar stress above the strength, ``margin`` that stress over the strength (nan where none was reached).
    ``later``: largest bar stress of the run where that is above the strength by more than ``AGAIN``, else nan.
    ``beyond``: what gave way in the drop after the bars had yielded, None where yielding does not govern a drop.
    """

    view: str
    bar_stress: Known
    load: Known
    step: int
    dropped: bool
    governing: MechanismState | None
    next: MechanismState | None
    margin: Known
    states: tuple[MechanismState, ...]
    unresolved: tuple[str, ...]
    later: Known = math.nan
    beyond: MechanismState | None = None

    def __repr__(self) -> str:
        return f"Assessment({self.sentence})"

    @property
    def certain(self) -> bool:
        """True when the load failed, or when the bars yielded: they need no drop, but a stress that was reached."""
        if self.governing is None:
            return False
        return self.dropped or (self.governing.mechanism is Mechanism.yielding and self.governing.reached)

    @property
    def mode(self) -> Mechanism:
        """What the view failed by; ``none`` where it did not fail (what is nearest is then ``governing``)."""
        return self.governing.mechanism if self.governing is not None and self.certain else Mechanism.none

    @property
    def before(self) -> tuple[MechanismState, ...]:
        """Anchorage mechanisms reached before the strength, or before the bars yielded, in their order."""
        last = self._base if self._by_yield else self.bar_stress
        return tuple(s for s in self._others if s.reached_at < last)

    @property
    def after(self) -> tuple[MechanismState, ...]:
        """Anchorage mechanisms reached while the bars yielded, in their order; none where something else governs."""
        return tuple(s for s in self._others if s not in self.before) if self._by_yield else ()

    @property
    def _by_yield(self) -> bool:
        """True where the bars yielded: what was reached meanwhile came after that, not before."""
        return self.mode is Mechanism.yielding

    @property
    def _others(self) -> list[MechanismState]:
        # by name: what comes back from a file holds the governing mechanism twice, as two equal objects
        key = self.governing.mechanism if self.governing is not None else None
        found = [s for s in self.states if s.mechanism is not key and s.reached and not s.mechanism.of_section]
        return sorted((s for s in found if s.reached_at < self.bar_stress), key=lambda s: (s.reached_at, s.step))

    def state(self, mechanism: Mechanism) -> MechanismState | None:
        """What is known of one mechanism; None where the view has no indicator of it."""
        return next((s for s in self.states if s.mechanism is mechanism), None)

    @property
    def _base(self) -> float:
        """Bar stress that others are told in multiples of: at yield where yielding governs, else the strength [MPa]."""
        yields = self.governing is not None and self.governing.mechanism is Mechanism.yielding
        return self.governing.reached_at if yields and self.governing and self.governing.reached else self.bar_stress

    def multiple(self, state: MechanismState) -> float:
        """Bar stress at which a mechanism was reached, over the strength (at yield, where yielding governs); nan for
        the one that governs and for one that was never reached.
        """
        governs = self.governing is not None and state.mechanism is self.governing.mechanism
        return math.nan if governs or not state.reached or self._base <= 0.0 else state.reached_at / self._base

    def role(self, state: MechanismState) -> str:
        """What a mechanism was: governs or nearest; else before, meanwhile, then (in the drop after yield), next."""
        if self.governing is not None and state.mechanism is self.governing.mechanism:
            return "governs" if self.certain else "nearest"
        beyond = () if self.beyond is None else (self.beyond,)
        parts = (("before", self.before), ("meanwhile", self.after), ("then", beyond))
        was = [name for name, states in parts if any(s.mechanism is state.mechanism for s in states)]
        following = self.next is not None and state.mechanism is self.next.mechanism
        return ", ".join(was) or ("next" if following else "")

    @property
    def headline(self) -> str:
        """What governs in a few words; the nearest mechanism where no failure was seen."""
        if self.governing is None:
            return "no mechanism found"
        if self.certain:
            return self.governing.name
        if not self.governing.reached:
            return f"no mechanism reached its limit (nearest: {self.governing.name})"
        return f"no failure seen, the load never dropped (nearest: {self.governing.name})"

    @property
    def strength_text(self) -> str:
        """``740 MPa``; ``at least 740 MPa`` where the load never failed."""
        return f"{'' if self.dropped else 'at least '}{self.bar_stress:.0f} MPa"

    @property
    def failure(self) -> str:
        """What the view failed by: what came before, then what governs, with bar stresses and loads."""
        here = f"{self.bar_stress:.0f} MPa ({self.load / 1e3:.0f} kN {PER[ViewName(self.view)]})"
        nearest = self.governing
        meanwhile = f" (meanwhile {', '.join(s.at(self.view) for s in self.after)})" if self.after else ""
        if nearest is None:
            end = f"no mechanism reached its limit up to {here}"
        elif self.dropped:
            end = f"failure at {here} by {nearest.name}{meanwhile}"
            end += f", then {self.beyond.name}" if self.beyond is not None else ""
        elif self.certain:
            end = f"{nearest.name} from {nearest.reached_at:.0f} MPa on, {here} by the end of loading, no drop"
            end += meanwhile
        else:
            share = "past its limit" if nearest.reached else f"at {nearest.utilisation:.2f} of its limit"
            end = f"no failure up to {here}, where loading ended; nearest is {nearest.name}, {share}"
        chain = ", then ".join(s.at(self.view) for s in self.before)
        return f"{chain}, after which the bars carried on: {end}" if chain else end

    @property
    def sentence(self) -> str:
        """The view with what it failed by."""
        return f"{self.view}: {self.failure}"

    @property
    def evidence(self) -> tuple[str, ...]:
        """Evidence in the order of what happened: of what came before, then of what governs (all its indicators)."""
        before, after = (
            [f"{s.name}: {s.first.text}" for s in states if s.first is not None] for states in (self.before, self.after)
        )
        last = [f"{self.governing.name}: {e.text}" for e in self.governing.evidence] if self.governing else []
        return (*before, *last, *after)


def assess(
    view: str,
    bar_stress: Sequence[float] | Floats,
    load: Sequence[float] | Floats,
    top: int,
    low: int | None,
    indicators: Iterable[Indicator],
    unresolved: Iterable[str] = (),
    steps: Sequence[int] | Ints | None = None,
    carried: tuple[float, float] | None = None,
    slanting: bool = False,
) -> Assessment:
    """Judge one view by the rules of this module.

    ``bar_stress`` [MPa] and ``load`` [N] (n,) over the rows of the run; ``top`` the row of the strength, ``low`` the
    row at the end of the drop (None without a failure: ``top`` is then the row of the largest load); ``steps``
    (n,) numbers of the rows, 0, 1, ... if left out; ``carried`` bar stress [MPa] and load [N] of the strength
    where they are not those of the row ``top``; ``slanting``: the view turns about a slanting crack at its strength.
    """
    stress, force = np.asarray(bar_stress, float), np.asarray(load, float)
    rows = _Rows(stress, force, np.arange(len(stress)) if steps is None else np.asarray(steps, int), top, low)
    by: dict[Mechanism, list[Indicator]] = {}
    for indicator in indicators:
        by.setdefault(Mechanism(indicator.mechanism), []).append(indicator)
    states = [_state(key, by[key], rows) for key in Mechanism if key in by]
    governing = _governing(states, low is not None)
    if slanting and low is not None:
        governing = _by_shear(governing, states)
    # a joint is open long before anything fails: it is no measure of how near the next failure is
    others = [s for s in states if s is not governing and s.mechanism is not Mechanism.joint_opening]
    strength, value = carried or (float(rows.highest[top]), float(force[top]))
    yields = governing is not None and governing.mechanism is Mechanism.yielding and governing.reached
    base = governing.reached_at if governing is not None and yields else strength
    following = min((s for s in others if s.reached_at >= base), key=lambda s: s.reached_at, default=None)
    last = float(rows.highest[-1])
    return Assessment(
        view, strength, value, int(rows.steps[top]), low is not None, governing, following,
        following.reached_at / base if following is not None and base > 0.0 else math.nan,
        tuple(sorted(states, key=lambda s: (s is not governing, -s.utilisation))), tuple(unresolved),
        last if low is not None and last > (1.0 + AGAIN) * strength else math.nan,
        _beyond(states) if yields and low is not None else None,
    )  # fmt: skip


class _Rows:
    """The rows a judgement looks at: strength at ``top``, the end of the drop at ``low`` (or None)."""

    def __init__(self, stress: Floats, load: Floats, steps: np.ndarray, top: int, low: int | None):
        self.highest = np.maximum.accumulate(stress)
        self.load, self.steps, self.top = load, steps, top
        self.end = top if low is None else low


def _state(key: Mechanism, indicators: list[Indicator], rows: _Rows) -> MechanismState:
    passed = [np.flatnonzero(i.utilisation[: rows.end + 1] >= 1.0) for i in indicators]
    first, which = min(((int(r[0]), k) for k, r in enumerate(passed) if len(r)), default=(-1, -1))
    top, end = rows.top, rows.end
    most = [float(i.utilisation[: top + 1].max(initial=0.0)) for i in indicators]
    growth = [float(i.utilisation[end] - i.utilisation[top]) if i.growing and end > top else 0.0 for i in indicators]
    order = sorted(range(len(indicators)), key=lambda k: -max(most[k], most[k] + growth[k]))
    told = [_evidence(indicators[k], passed[k], rows) for k in range(len(indicators))]
    return MechanismState(
        key,
        float(rows.highest[first]) if first >= 0 else math.nan,
        float(rows.load[: first + 1].max()) if first >= 0 else math.nan,
        int(rows.steps[first]) if first >= 0 else -1,
        max(most, default=0.0),
        max(growth, default=0.0),
        tuple(told[k] for k in order),
        told[which] if first >= 0 else None,
    )


def _evidence(indicator: Indicator, passed: np.ndarray, rows: _Rows) -> Evidence:
    row = int(passed[0]) if len(passed) else rows.top
    fell = rows.end > rows.top and indicator.growing
    x, y = (math.nan, math.nan) if indicator.place is None else (float(v) for v in indicator.place[row])
    return Evidence(
        indicator.what, float(indicator.values[row]), indicator.limit, indicator.unit, indicator.basis,
        bool(len(passed)), int(rows.steps[row]), float(rows.load[: row + 1].max()), float(rows.highest[row]),
        float(indicator.values[rows.top]), float(indicator.values[rows.end]) if fell else math.nan,
        _together(indicator, rows, row) if len(passed) else (), x, y,
    )  # fmt: skip


def _together(indicator: Indicator, rows: _Rows, row: int) -> tuple[str, ...]:
    """Bars whose measure passed the limit at ``row`` or at a bar stress hardly above."""
    found = []
    for line, values in indicator.by.items():
        over = np.flatnonzero(np.nan_to_num(np.asarray(values, float)[: rows.end + 1]) >= indicator.limit)
        if len(over) and (over[0] <= row + 1 or rows.highest[over[0]] <= (1.0 + TOGETHER) * rows.highest[row]):
            found.append(line)
    return tuple(sorted(found))


def _governing(states: list[MechanismState], dropped: bool) -> MechanismState | None:
    reached = [s for s in states if s.reached]
    yielding = next((s for s in reached if s.mechanism is Mechanism.yielding), None)
    anchorage = [s for s in reached if not s.mechanism.of_section]
    if yielding is not None and (not dropped or yielding.utilisation >= 1.0):
        hardened = yielding.utilisation >= HARDENED
        earlier = [s for s in anchorage if s.reached_at < EARLIER * yielding.reached_at and not hardened]
        return max(earlier, key=_strongest) if earlier and dropped else yielding
    if not dropped:
        return max((s for s in states if s.mechanism is not Mechanism.joint_opening), key=lambda s: s.utilisation,
                   default=None)  # fmt: skip
    # joints and cracks across the bars open whenever anything gives way: they govern only alone
    real = [s for s in reached if s.mechanism not in (Mechanism.joint_opening, Mechanism.yielding)]
    return max(real or reached, key=_strongest, default=None)


def _by_shear(governing: MechanismState | None, states: list[MechanismState]) -> MechanismState | None:
    """What governs a drop of a view that turns about a slanting crack: shear, but for anchorage and hardened bars."""
    shear = next((s for s in states if s.mechanism is Mechanism.shear and s.reached), None)
    bars = next((s for s in states if s.mechanism is Mechanism.yielding), None)
    if shear is None or governing is None or (bars is not None and bars.utilisation >= HARDENED):
        return governing
    return shear if governing.mechanism in (Mechanism.yielding, Mechanism.crushing) else governing


def _beyond(states: list[MechanismState]) -> MechanismState | None:
    """The anchorage mechanism that grew most over a drop that followed yield."""
    grown = [s for s in states if s.reached and not s.mechanism.of_section and s.growth > 0.0]
    return max(grown, key=_strongest, default=None)


def _strongest(state: MechanismState) -> tuple[float, float]:
    return state.growth, state.utilisation


def listed(names: Sequence[str]) -> str:
    """``A``, ``A and B``, ``A1, A2 and B1``."""
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def _number(value: float, unit: str) -> str:
    return f"{value:.3g} {unit}".rstrip()


def _place(x: float, y: float) -> str:
    if not math.isfinite(x):
        return ""
    return f" at x = {x:.0f} mm" + (f", y = {y:.0f} mm" if math.isfinite(y) else "")
