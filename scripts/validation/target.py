"""What a series must reach, and how far it is from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from validation.case import Case, Found
from validation.record import Record


def same_words(test: str, found: str) -> bool:
    """Modes agree when they are the same words."""
    return test.strip().lower() == found.strip().lower()


@dataclass(frozen=True)
class Row:
    """A case with its record (None while it is not computed) and the comparison of modes of its series."""

    case: Case
    record: Record | None
    agrees: Callable[[str, str], bool] = same_words

    @property
    def found(self) -> Found | None:
        """What was found, if anything."""
        return self.record.found if self.record else None

    @property
    def ratio(self) -> float:
        """Test over prediction; not a number where either is missing."""
        if self.found is None or self.case.test is None or not self.found.prediction:
            return float("nan")
        return self.case.test / self.found.prediction

    @property
    def outside(self) -> float:
        """How far the prediction lies outside the measured band, as a share of the edge; 0 inside."""
        if self.found is None or self.case.band is None:
            return float("nan")
        low, high = self.case.band
        p = self.found.prediction
        return max(0.0, (low - p) / abs(low) if low else 0.0, (p - high) / abs(high) if high else 0.0)

    @property
    def wrong_mode(self) -> bool:
        """True when the test names a mode and another one was found."""
        return bool(self.case.mode) and self.found is not None and not self.agrees(self.case.mode, self.found.mode)


@dataclass(frozen=True)
class Target:
    """Bounds of a series. ``counts`` are the uses of rows that enter mean and COV; ``extra`` names a ratio

    in the extras that must lie within ``extra_within`` of one in every counted row; ``band`` is how
    far outside its measured band a prediction may lie; ``near`` (share, within): that share of the
    counted rows has test/prediction within so much of one; ``within`` (low, high): every counted row is between them.
    """

    mean: tuple[float, float] | None = None
    cov: float | None = None
    counts: tuple[str, ...] = ("pass_fail", "surrogate")
    modes: bool = False
    extra: str = ""
    extra_within: float = 0.25
    band: float | None = None
    near: tuple[float, float] | None = None
    within: tuple[float, float] | None = None


TARGETS = {
    "plain": Target(band=0.05),
    "panels": Target(mean=(0.97, 1.05), cov=0.085, counts=("pass_fail", "indication")),
    "beams": Target(mean=(0.95, 1.05), cov=0.08, modes=True, extra="deflection_ratio"),
    "bond": Target(band=0.05),
}


@dataclass(frozen=True)
class Verdict:
    """One bound, what was reached, by how much it is missed; ``open`` says where it is not judged for lack of rows.

    ``each``: it binds every row by itself, so that a miss stands whatever the missing rows would say.
    """

    what: str
    wanted: str
    reached: str
    miss: str = ""
    each: bool = False
    open: str = ""

    @property
    def met(self) -> bool:
        """True when nothing is missing, neither to the bound nor of the rows."""
        return not self.miss and not self.open

    def told(self, bold: bool = False) -> str:
        """``met``, ``missed (by +0.030)``, ``not judged: 1 of 24 computed``; a miss ``bold`` as in the tables."""
        if self.miss:
            return f"**missed**: {self.miss}" if bold else f"missed ({self.miss})"
        return self.open or "met"


def counted(rows: Sequence[Row], target: Target) -> list[Row]:
    """Rows that enter mean and COV: of a counted use, and with both a test value and a prediction."""
    return [r for r in rows if r.case.use in target.counts and np.isfinite(r.ratio)]


def mean_and_cov(rows: Sequence[Row]) -> tuple[float, float]:
    """Mean and coefficient of variation (n - 1) of test/prediction; not a number without rows."""
    ratios = np.array([r.ratio for r in rows])
    if len(ratios) == 0:
        return float("nan"), float("nan")
    cov = ratios.std(ddof=1) / ratios.mean() if len(ratios) > 1 else float("nan")
    return float(ratios.mean()), float(cov)


def steps_of(rows: Sequence[Row]) -> tuple[int, int, int, int]:
    """Accepted steps, failed increments, loose steps and iterations of all rows together."""
    found = [r.found for r in rows if r.found is not None]
    return (
        sum(f.steps for f in found), sum(f.failed for f in found),
        sum(f.loose for f in found), sum(f.iterations for f in found),
    )  # fmt: skip


def verdicts(rows: Sequence[Row], target: Target) -> list[Verdict]:
    """Every bound of a series against what its rows reached; a bound over rows without a result is not judged."""
    return [_held(v, over) for v, over in _bounds(rows, target)]


def _held(verdict: Verdict, over: Sequence[Row]) -> Verdict:
    """The verdict as it is when all rows it goes ``over`` have a result, else open (or missed by single rows)."""
    have = sum(r.found is not None for r in over)
    if have == len(over):
        return verdict
    return replace(
        verdict, miss=verdict.miss if verdict.each else "", open=f"not judged: {have} of {len(over)} computed"
    )


def _bounds(rows: Sequence[Row], target: Target) -> list[tuple[Verdict, list[Row]]]:
    """Every bound with the rows it goes over."""
    out: list[tuple[Verdict, list[Row]]] = []
    asked = [r for r in rows if r.case.use in target.counts and r.case.test is not None]
    use = counted(rows, target)
    mean, cov = mean_and_cov(use)
    if target.mean is not None:
        low, high = target.mean
        miss = "" if low <= mean <= high else f"by {low - mean if mean < low else mean - high:+.3f}"
        verdict = Verdict("mean test/prediction", f"{low:g} to {high:g}", f"{mean:.3f}", miss or _none(use))
        out.append((verdict, asked))
    if target.cov is not None:
        miss = "" if cov <= target.cov else f"by {100 * (cov - target.cov):.1f} points"
        verdict = Verdict("COV", f"at most {100 * target.cov:g} %", f"{100 * cov:.1f} %", miss or _none(use))
        out.append((verdict, asked))
    if target.near is not None:
        share, within = target.near
        close = sum(abs(r.ratio - 1.0) <= within for r in use)
        lack = int(np.ceil(share * len(use))) - close
        out.append((Verdict(
            f"rows within {100 * within:g} % of the prediction", f"at least {100 * share:g} %",
            f"{close} of {len(use)}", f"by {lack} rows" if lack > 0 else _none(use),
        ), asked))  # fmt: skip
    if target.within is not None:
        low, high = target.within
        off = [f"{r.case.name} {r.ratio:.2f}" for r in use if not low <= r.ratio <= high]
        out.append((Verdict(
            "every row", f"{low:g} to {high:g}", f"{len(use) - len(off)} of {len(use)}", ", ".join(off) or _none(use),
            each=True,
        ), asked))  # fmt: skip
    if target.modes:
        named = [r for r in rows if r.case.mode and r.case.use in target.counts]
        seen = sum(r.found is not None for r in named)
        wrong = [r.case.name for r in named if r.wrong_mode]
        told = f"{len(wrong)} of {seen} wrong"
        out.append((Verdict("mode of failure", "none wrong", told, ", ".join(wrong), each=True), named))
    if target.extra:
        held = [(r, float(r.found.extras[target.extra])) for r in use if r.found and target.extra in r.found.extras]
        off = [f"{r.case.name} {v:.2f}" for r, v in held if not abs(v - 1.0) <= target.extra_within]
        out.append((Verdict(
            target.extra.replace("_", " "), f"1 within {100 * target.extra_within:g} %",
            f"{len(held) - len(off)} of {len(held)} inside", ", ".join(off), each=True,
        ), asked))  # fmt: skip
    if target.band is not None:
        banded = [r for r in rows if r.case.band is not None]
        seen = sum(r.found is not None for r in banded)
        off = [f"{r.case.name} {100 * r.outside:.1f} %" for r in banded if r.outside > target.band]
        out.append((Verdict(
            "inside the stated band", f"at most {100 * target.band:g} % outside",
            f"{seen - len(off)} of {seen}", ", ".join(off), each=True,
        ), banded))  # fmt: skip
    return out


def _none(use: Sequence[Row]) -> str:
    return "" if use else "no row to count"
