"""A comparison as text for the terminal."""

from __future__ import annotations

import math
from textwrap import shorten

from fesplice.measured.claims import count
from fesplice.measured.comparison import Comparison, Ratio
from fesplice.measured.record import CAUTION
from fesplice.measured.text import table

#: Most characters of a sentence in its line; the page has it whole.
SHORT = 96


def comparison_text(found: Comparison) -> str:
    """What held, what did not, mode against mode, ratios; one block for every test."""
    parts = [found.found.specimen, f"  {found.found.sentence}", f"  {found.frozen}", *(f"  {a}" for a in found.age)]
    for t in found.tests:
        held = ", ".join(f"{n} {v}" for v, n in count(t.claims).items())
        parts += ["", f"{t.name}: sentences of the prediction: {held}"]
        parts += table([(c.verdict, shorten(c.sentence, SHORT, placeholder=" …"), c.why) for c in t.claims])
        parts += ["", f"mode: prediction {t.mode.computed}; laboratory {t.mode.seen}: {t.mode.verdict}"]
        parts += [f"  {line}" for line in t.mode.seen_evidence]
        parts += ["", "Test over prediction"]
        parts += table([("quantity", "test", "prediction", "ratio", "band"), *(_row(r) for r in t.ratios)])
        parts += ["", "Events: computed, test"]
        parts += table([(_load(p.computed), _load(p.seen), p.what) for p in t.pairs])
        if t.remarks:
            parts += ["", "Remarks", *(f"  {line}" for line in t.remarks)]
    return "\n".join((*parts, "", CAUTION))


def _row(r: Ratio) -> tuple[str, ...]:
    unit, scale = ("kN", 1e-3) if r.unit == "N" else (r.unit, 1.0)
    inside = {None: "", True: "inside", False: "outside"}[r.inside]
    return (
        r.quantity, f"{r.test * scale:.4g} {unit}", f"{r.predicted * scale:.4g} {unit}", f"{r.ratio:.2f}",
        f"{inside}{'; ' if inside and r.note else ''}{r.note}",
    )  # fmt: skip


def _load(value: float) -> str:
    return f"{value / 1e3:.0f} kN" if math.isfinite(value) else "–"
