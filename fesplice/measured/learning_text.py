"""A learned model as text for the terminal."""

from __future__ import annotations

from fesplice.measured.learning import COUPLED, Model, prior_for
from fesplice.measured.record import CAUTION
from fesplice.measured.text import table
from fesplice.post.errors import predictive


def model_text(model: Model) -> str:
    """Tests, weight and error of every model, and how its 90 % band held with each test left out in turn."""
    number = len(model.lessons)
    parts = [f"{number} test{'' if number == 1 else 's'}, {len(set(model.series))} series"]
    parts += table([
        ("test", "bar stress", "coupled views", "test/prediction"),
        *(
            (n.test, f"{n.stress:.0f} MPa", f"{n.said[COUPLED]:.0f} MPa" if COUPLED in n.said else "not computed",
             f"{n.stress / n.said[COUPLED]:.2f}" if COUPLED in n.said else "–")
            for n in model.lessons
        ),
    ])  # fmt: skip
    parts += ["", "Models: weight, test/prediction at 5, 50, 95 %, tests in their 90 % band when left out"]
    rows = []
    for name, weight in sorted(model.weights.items(), key=lambda item: -item[1]):
        spread = predictive(prior_for(name), model.errors(name), model.series, model.series[-1])
        ends = " ".join(f"{spread.quantile(q):.2f}" for q in (0.05, 0.5, 0.95))
        rows.append((f"{100.0 * weight:.0f} %", ends, f"{100.0 * model.held[name]:.0f} %", name))
    parts += table(rows)
    parts += ["", f"Prior of the coupled views: {prior_for(COUPLED).source}; of formulas: {prior_for('').source}"]
    if model.remarks:
        parts += ["", "Remarks", *(f"  {line}" for line in model.remarks)]
    return "\n".join((*parts, "", CAUTION))
