"""Coverage of the bands that the record of published tests gives, each row left out in turn.

    python scripts/learned_coverage.py

Hooks: the tests, in two series, and beside them the points of the descriptive equation. Laps: points of three
equations, no tests; told for comparison and not used by any prior. A 90 % band should hold about nine rows of ten;
points of an equation scatter less than tests and lie inside more often.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from fesplice.post import scatter
from fesplice.post.errors import Prior, leave_one_out, predictive

RECORD = Path(__file__).resolve().parents[1] / "models" / "validation" / "RESULTS.csv"


def rows(series: str, use: str) -> list[tuple[str, float]]:
    """Source and test over prediction of the rows of a series."""
    with RECORD.open(encoding="utf-8") as stream:
        return [
            (r["source"], float(r["test_over_prediction"])) for r in csv.DictReader(stream)
            if r["series"] == series and r["use"] == use and r["test_over_prediction"]
        ]  # fmt: skip


#: A prior that knows next to nothing, so that no row is judged by a prior made from it: 15 % held as three tests would.
VAGUE = Prior(0.0, 1.5, 1.5 * 0.15**2, 1.0, 4.0, "vague")


def line(name: str, found: list[tuple[str, float]]) -> str:
    """One row of the table: each test by the others and a vague prior."""
    logs, series = [math.log(v) for _, v in found], [s for s, _ in found]
    held = leave_one_out(VAGUE, logs, series)
    last = predictive(VAGUE, logs, series, series[0])
    band = f"{last.quantile(0.05):.2f} to {last.quantile(0.95):.2f}"
    return f"{name:44s} {len(held):3d} rows  {sum(held):3d} inside ({100.0 * sum(held) / len(held):.0f} %)   {band}"


def whole_series_out(record: Mapping[str, Sequence[float]], of: Prior) -> str:
    """Each series by the mean and scatter of the other alone, with the share between series of the whole record."""
    inside = total = 0
    for name, values in record.items():
        rest = [math.log(v) for other, ratios in record.items() if other != name for v in ratios]
        mean = sum(rest) / len(rest)
        free = len(rest) - 1
        rate = 0.5 * sum((v - mean) ** 2 for v in rest)
        band = predictive(Prior(mean, 0.5 * free, rate, of.between, of.between + 1.0 / len(rest), ""), (), (), "")
        inside += sum(band.quantile(0.05) <= v <= band.quantile(0.95) for v in values)
        total += len(values)
    return f"whole series left out: {inside} of {total} inside ({100.0 * inside / total:.0f} %)"


def main() -> None:
    """Print the table."""
    print("90 % bands, each row left out in turn; last: 5 to 95 % of test over prediction in the series")
    print(line("hooks in joints, tests", rows("hooks", "indication")))
    print(line("hooks in joints, points of an equation", rows("hooks", "surrogate")))
    print(line("straight laps, points of three equations", rows("laps", "surrogate")))
    print(line("beams, tests", rows("beams", "pass_fail")))
    for kind, record in (("hooks", scatter.HOOKS), ("beams", scatter.BEAMS)):
        band = scatter.unseen(kind)
        ends = f"{band.quantile(0.05):.2f} to {band.quantile(0.95):.2f}"
        print(f"{kind}: {whole_series_out(record, scatter.prior(kind))}; band of a series not seen yet {ends}")


if __name__ == "__main__":
    main()
