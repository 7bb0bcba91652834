"""What a prediction said and whether the test bore it out: sentence by sentence, and events side by side.

The strength holds when the test's lies within its band, a load of an event when it lies within 0.8 to 1.2 of it, a
reading when the test's lies within the band of the reading. What no instrument of the test shows cannot be said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.measured.record import Test
from fesplice.post.expected import Happening
from fesplice.post.mechanisms import Mechanism
from fesplice.post.prediction import Prediction
from fesplice.post.readings import OFF

HELD, FAILED, OPEN = "held", "did not hold", "cannot be said"
#: Opening that counts as open in a happening of the elevation [mm] (as told there).
SEEN_OPEN = 0.05


@dataclass(frozen=True)
class Claim:
    """A sentence of the prediction, what became of it (``HELD``, ``FAILED`` or ``OPEN``) and by what that is known."""

    sentence: str
    verdict: str
    why: str


@dataclass(frozen=True)
class Pair:
    """An event as computed and as seen: loads per ram [N], nan where one side does not have it."""

    what: str
    computed: float
    seen: float
    how: str


@dataclass(frozen=True)
class Mode:
    """What the prediction and the laboratory say the splice failed by, with the evidence of each."""

    computed: str
    computed_evidence: tuple[str, ...]
    seen: str
    seen_evidence: tuple[str, ...]
    verdict: str


@dataclass(frozen=True)
class Reached:
    """What the test shows: largest load [N], load [N] at which a joint was open and the bars yielded (nan: never).

    ``stress`` largest bar stress at the joint face by moment-curvature [MPa], ``deflection`` (2, k) of load [N] and
    midspan deflection [mm] up to the largest load (None where no gauge reads it).
    """

    largest: float
    joint_open: float
    yielded: float
    stress: float
    deflection: tuple[Floats, Floats] | None


def mode_of(found: Prediction, test: Test, stated: str, evidence: str, yielding: float) -> Mode:
    """Mode against mode; where the laboratory states none, bars that yielded or not are all that is known."""
    computed = found.governing.evidence
    stress = _stress(test)
    worn = f"bars carried {stress:.0f} MPa at the joint face, {stress / yielding:.2f} of their yield strength"
    if stated:
        seen = Mechanism(stated)
        told = tuple(t for t in (evidence, worn) if t)
        return Mode(found.mode.words, tuple(computed), seen.words, told, HELD if seen is found.mode else FAILED)
    if not math.isfinite(stress):
        return Mode(found.mode.words, tuple(computed), "not stated", (), OPEN)
    yields = stress >= yielding
    if yields != (found.mode is Mechanism.yielding):
        verdict = FAILED
    else:
        verdict = HELD if yields else OPEN
    seen_as = "bars yielded" if yields else "failure before the bars yielded"
    return Mode(found.mode.words, tuple(computed), f"not stated; {seen_as}", (worn,), verdict)


def _stress(test: Test) -> float:
    values = [b.fibre for b in test.bar_stress if b.share >= 1.0 and math.isfinite(b.fibre)]
    return max(values, default=math.nan)


def claims(found: Prediction, test: Test, reached: Reached, mode: Mode) -> tuple[Claim, ...]:
    """Every sentence of the prediction that a test can bear out, and the others as such."""
    out = [_strength(found, reached, mode)]
    shows = found.expected
    if shows is None:
        return tuple(out)
    for text in shows.sentences:
        if text.startswith("at "):
            out.append(_deflection(text, shows.load, shows.deflection, reached, OFF))
        elif text.startswith("first crack"):
            seen = _value(test, "load: first crack")
            out.append(_load_claim(text, shows.first_crack, seen, OFF, "first crack on the curve"))
        elif not text.startswith("will be seen"):
            out.append(Claim(text, OPEN, "crack widths were not measured"))
    for h in shows.happenings:
        out.append(_happening(h, reached, OFF))
    return tuple(out)


def _strength(found: Prediction, reached: Reached, mode: Mode) -> Claim:
    low, high = found.band
    stress = reached.stress
    if not math.isfinite(stress):
        return Claim(found.sentence, OPEN, "the bar stress of the test is not known")
    least = "" if found.exact else " (a lower bound)"
    inside = low <= stress <= high or (not found.exact and stress > high)
    told = f"test {stress:.0f} MPa, {stress / found.bar_stress:.2f} of the prediction{least}"
    told += f", band {low:.0f} to {high:.0f}; mode: {mode.verdict}"
    return Claim(found.sentence, HELD if inside and mode.verdict != FAILED else FAILED, told)


def _deflection(text: str, load: float, value: float, reached: Reached, factors: tuple[float, float]) -> Claim:
    if reached.deflection is None:
        return Claim(text, OPEN, "midspan deflection was not measured")
    if reached.largest < load:
        return Claim(text, OPEN, f"the test reached {reached.largest / 1e3:.0f} kN per ram only")
    loads, values = reached.deflection
    seen = float(np.interp(load, np.maximum.accumulate(loads), values))
    low, high = (value * f for f in factors)
    return Claim(text, HELD if low <= seen <= high else FAILED, f"test {seen:.1f} mm, band {low:.1f} to {high:.1f} mm")


def _load_claim(text: str, load: float, seen: float, factors: tuple[float, float], what: str) -> Claim:
    if not math.isfinite(seen):
        return Claim(text, OPEN, f"{what}: not found in the test")
    low, high = (load * f for f in factors)
    told = f"{what} at {seen / 1e3:.0f} kN, band {low / 1e3:.0f} to {high / 1e3:.0f} kN"
    return Claim(text, HELD if low <= seen <= high else FAILED, told)


def _happening(h: Happening, reached: Reached, factors: tuple[float, float]) -> Claim:
    text = f"will be seen: {h.text}"
    seen, what = _match(h, reached)
    if not what:
        return Claim(text, OPEN, "no instrument of the test shows it")
    if math.isfinite(seen):
        return _load_claim(text, h.load, seen, factors, what)
    if reached.largest < h.load * factors[1]:
        return Claim(text, OPEN, f"{what}: not seen up to {reached.largest / 1e3:.0f} kN, where the test ended")
    return Claim(text, FAILED, f"{what}: not seen up to {reached.largest / 1e3:.0f} kN")


def _match(h: Happening, reached: Reached) -> tuple[float, str]:
    """Load [N] at which the test shows a happening, and what it is there; no words where it cannot show it."""
    if "joint is open" in h.what:
        return reached.joint_open, f"a joint open by {SEEN_OPEN} mm" if not math.isnan(reached.joint_open) else ""
    if "yield at the joint face" in h.what:
        return reached.yielded, "bars at their yield strain"
    return math.nan, ""


def pairs(found: Prediction, test: Test, reached: Reached) -> tuple[Pair, ...]:
    """Events side by side in the order in which the test, or else the prediction, has them."""
    out: list[Pair] = []
    shows = found.expected
    own = {e.what: e for e in test.events}
    if shows is not None:
        seen = own.pop("first crack", None)
        at = seen.load if seen is not None else math.nan
        out.append(Pair("first crack", shows.first_crack, at, seen.how if seen is not None else "not found"))
        for h in shows.happenings:
            load, what = _match(h, reached)
            out.append(Pair(f"{h.view}: {h.what}", h.load, load, what if math.isfinite(load) else "not measured"))
    top = own.pop("largest load", None)
    out.append(Pair("largest load", found.load, reached.largest, top.how if top is not None else ""))
    out += [Pair(what, math.nan, e.load, e.how) for what, e in own.items()]
    last = {"largest load": 1, "failure": 2}

    def place(p: Pair) -> tuple[int, float]:
        return last.get(p.what, 0), p.seen if math.isfinite(p.seen) else p.computed

    return tuple(sorted(out, key=place))


def _value(test: Test, name: str) -> float:
    found = test.results.get(name)
    return found.value if found is not None else math.nan


def count(found: tuple[Claim, ...]) -> Mapping[str, int]:
    """How many sentences held, did not, and cannot be said."""
    return {v: sum(c.verdict == v for c in found) for v in (HELD, FAILED, OPEN)}
