"""The study with the layout of real series beside what is published and what is common practice; part of TRENDS.md.

Published statements are what stored abstracts say of lapped hooks and of laps whose bars do not touch; none gives a
complete row, so each is set beside a ratio of two computations. No law of the model was chosen by them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from trends_words import exact, named, number, told

from fesplice.provisions import aci408r_03, ec2_2023_loops, mc2010, orangun_1977

Row = Mapping[str, str]
#: Kinds of confinement as the study labels them, after the bar size.
KINDS = ("none", "ties at 3 d_b", "stirrups at 3 d_b", "hooked transverse bar")
SIZES = ("29", "19")
COMMON = "common practice, no source"


class Series:
    """Predictions by (case, spacing label)."""

    def __init__(self, tables: Sequence[Sequence[Row]]):
        self.rows = {(r["case"], r["spacing"]): r for table in tables for r in table}
        self.spacings = tuple(dict.fromkeys(spacing for _, spacing in self.rows))

    def row(self, case: str, spacing: str) -> Row:
        """A row, empty when there is none."""
        return self.rows.get((case, spacing), {})

    def ratio(self, one: tuple[str, str], other: tuple[str, str]) -> tuple[float | None, str]:
        """Predicted stress of ``one`` over that of ``other``, and the mark of a bound: > or < where one side is one."""
        top, base = self.row(*one), self.row(*other)
        a, b = number(top, "prediction_MPa"), number(base, "prediction_MPa")
        if a is None or not b:
            return None, ""
        marks = ("" if exact(top, "prediction") else ">") + ("" if exact(base, "prediction") else "<")
        return a / b, marks if len(marks) < 2 else "?"

    def change(self, one: tuple[str, str], other: tuple[str, str]) -> str:
        """The same as a change in per cent; "?" where both sides are lower bounds."""
        ratio, mark = self.ratio(one, other)
        return "–" if ratio is None else f"{mark}{100.0 * (ratio - 1.0):+.0f} %"

    def times(self, one: tuple[str, str], other: tuple[str, str]) -> str:
        """The same as a factor."""
        ratio, mark = self.ratio(one, other)
        return "–" if ratio is None else f"{mark}{ratio:.2f}"


def stress(row: Row) -> str:
    """Predicted bar stress [MPa], a lower bound with ">"."""
    return told(number(row, "prediction_MPa"), exact(row, "prediction"))


# ------------------------------------------------------------------ formulas for the same bars
def straight_equations(row: Row) -> float | None:
    """Mean of three straight-lap equations for the bars of a row without transverse steel [MPa].

    ACI 408R-03, Orangun, Jirsa & Breen 1977 (both from memory) and fib MC2010 6.1-19, with the least of the covers and
    half the clear gap between pairs.
    """
    names = ("f_cm_MPa", "d_b_mm", "A_b_mm2", "l_s_mm", "cover_mm", "side_cover_mm", "bars.gap_mm")
    given = [number(row, name) for name in names]
    if any(v is None for v in given):
        return None
    f_c, d, area, lap, bottom, side, gap = (float(v) for v in given if v is not None)
    half = 0.5 * (gap - d)
    least, most = min(bottom, side, half), max(side, half)
    aci = aci408r_03.splice_stress(f_c, d, area, lap, least, max(min(side, half), bottom), units="SI").value
    ojb = orangun_1977.splice_stress(f_c, d, lap, least, units="SI").value
    fib = mc2010.lap_stress(f_c, d, lap, least, max(most, least)).value
    return (aci + ojb + fib) / 3.0


def loops(near: Row, far: Row) -> float | None:
    """Strength at one clear spacing over that at another by EN 1992-1-1:2023 (11.13) with full transverse steel."""
    values = [number(r, c) for r in (near, far) for c in ("s_mm", "d_b_mm", "l_s_mm")]
    if any(v is None for v in values):
        return None
    s0, d, lap, s1, _, _ = (float(v) for v in values if v is not None)
    near_one, far_one = (
        ec2_2023_loops.loop_strength(30.0, 1e4, 16.0, lap, 1.0, max(s - d, 0.0)).value for s in (s0, s1)
    )
    return far_one / near_one


# ------------------------------------------------------------------ the page
def tables(series: Series) -> list[str]:
    """Strength by spacing and confinement, and what governs, for both bar sizes."""
    out = ["## The layout of real series\n"]
    out += [
        "Bars alternate (A B A B), the beam widens with the spacing at one side cover, bars stay elastic",
        "([real-series.toml](real-series.toml)). Both planes coupled; in brackets the change against contact, then the",
        "plane that governs, its mechanism and the bracket.\n",
    ]
    first = series.spacings[0]
    for size in SIZES:
        out += [f"| {size} mm, spacing | " + " | ".join(KINDS) + " |", "|--:|" + "---|" * len(KINDS)]
        for spacing in series.spacings:
            cells = []
            for kind in KINDS:
                here = (f"{size} {kind}", spacing)
                r = series.row(*here)
                low, high = number(r, "prediction_bracket_low_MPa"), number(r, "prediction_bracket_high_MPa")
                mode = named(r.get("prediction_mode") or r.get("prediction_reason"))
                bracket = "" if low is None or high is None else f", {low:.0f} to {high:.0f}"
                plane = (r.get("prediction_plane") or "?")[0]
                moved = series.change(here, (f"{size} {kind}", first))
                cells.append(f"{stress(r)} ({moved}); {plane}: {mode}{bracket}")
            out.append(f"| {spacing} | " + " | ".join(cells) + " |")
        out.append("")
    lost = [f"{case}, {spacing}" for (case, spacing), r in series.rows.items() if not number(r, "prediction_MPa")]
    return [*out, f"Cases without a prediction: {', '.join(lost) if lost else 'none'}.", ""]


def published(series: Series) -> list[str]:
    """Statements of tests and of practice beside ratios of computations."""
    first, last, middle = series.spacings[0], series.spacings[-1], "100 mm"

    def both(tell: Callable[[str], str]) -> str:
        return "; ".join(f"{size} mm: {tell(size)}" for size in SIZES)

    def over_equations(size: str) -> str:
        shares = []
        for spacing in (first, middle, last):
            r = series.row(f"{size} none", spacing)
            value, base = number(r, "prediction_MPa"), straight_equations(r)
            shares.append(
                "–" if value is None or not base else f"{'' if exact(r, 'prediction') else '>'}{value / base:.2f}"
            )
        return f"{', '.join(shares)} at {first}, {middle}, {last}"

    def kind(k: int, spacing: str) -> Callable[[str], str]:
        return lambda size: series.change((f"{size} {KINDS[k]}", spacing), (f"{size} none", spacing))

    def moved(k: int, a: str, b: str) -> Callable[[str], str]:
        return lambda size: series.change((f"{size} {KINDS[k]}", b), (f"{size} {KINDS[k]}", a))

    def versus(other: str, spacing: str) -> Callable[[str], str]:
        return lambda size: series.times((f"{size} none", spacing), (f"{size} {other}", spacing))

    def longer(spacing: str) -> Callable[[str], str]:
        return lambda size: series.change((f"{size} lap +25 %", spacing), (f"{size} none", spacing))

    def code(size: str) -> str:
        share = loops(series.row(f"{size} none", first), series.row(f"{size} none", last))
        return "–" if share is None else f"formula {100.0 * (share - 1.0):+.0f} %"

    def points(spacing: str) -> Callable[[str], str]:
        def tell(size: str) -> str:
            none = (f"{size} none", spacing)
            (high, a), (low, b) = (series.ratio((f"{size} {KINDS[k]}", spacing), none) for k in (2, 1))
            if high is None or low is None:
                return "–"
            return f"{'at bounds ' if a or b else ''}{100.0 * (high - low):+.0f} points"

        return tell

    facts = [
        ("hooked laps hold what comparable straight ones hold", "Judd 1965 (8 beams, No. 8), abstract",
         f"hooked over straight, computed: in contact {both(versus('straight', first))}; "
         f"at {middle} {both(versus('straight', middle))}"),
        ("hook over straight 1.32", "Wang et al. 2024 (one joint each), abstract", "the same two rows"),
        ("at least 1.5 of straight-lap equations", "Han & Chun 2024 (14 beams of mixed details), abstract",
         f"over the mean of three equations, without transverse steel: {both(over_equations)}"),
        ("a longer lap is not effective", "Han & Chun 2024, abstract",
         f"lap +25 %: in contact {both(longer(first))}; at {middle} {both(longer(middle))}"),
        ("lap +25 % gives +12 to +18 %, and nothing where heads pry out", "Lee et al. 2016 (7 beams), abstract",
         "the same rows"),
        ("a bar inside 180 degree bends helps not appreciably", "Judd 1965, abstract (here bends of 90 degrees)",
         f"in contact {both(kind(3, first))}; at {middle} {both(kind(3, middle))}; at {last} {both(kind(3, last))}"),
        ("a hooked transverse bar that holds the edge bars is a substantial gain", COMMON, "the same rows"),
        ("stirrups above ties in the plane by about 15 points, both at 3 d_b", COMMON,
         f"in contact {both(points(first))}; at {middle} {both(points(middle))}; at {last} {both(points(last))}"),
        ("transverse steel is the most effective detail", "Han & Chun 2024, abstract",
         f"at {middle}: ties {both(kind(1, middle))}; stirrups {both(kind(2, middle))}"),
        ("unconfined laps lose about 12 % from contact to 150 mm", COMMON, both(moved(0, first, last))),
        ("no loss to 225 mm (straight); contact or spaced makes no difference (straight)",
         "Mun & Chun, Kluge & Tuma 1945, abstracts", "the same row"),
        ("confined laps gain from 100 to 150 mm", COMMON,
         f"ties {both(moved(1, middle, last))}; stirrups {both(moved(2, middle, last))}"),
        ("stress grows with spacing where stirrups are (straight)", "Hwang, Yang & Ma 2022 (24 beams), abstract",
         f"stirrups, {first} to {last}: {both(moved(2, first, last))}"),
        ("lapped loops lose with spacing at every amount of transverse steel",
         "EN 1992-1-1:2023 (11.13) as an open library codes it",
         f"{first} to {last}: {both(code)}; computed with ties {both(moved(1, first, last))}, with stirrups "
         f"{both(moved(2, first, last))}"),
    ]  # fmt: skip
    out = ["### What is published, beside ratios of these computations\n"]
    out += ["Nothing of the model was chosen by these rows. > and < mark ratios with a load that never fell in them.\n"]
    out += ["| statement | source | model |", "|---|---|---|"]
    return [*out, *(f"| {a} | {b} | {c} |" for a, b, c in facts), ""]


def part(main: Sequence[Row], beside: Sequence[Row]) -> list[str]:
    """The part of the page; nothing while the study has not been computed."""
    if not main:
        return []
    series = Series([main])
    page = tables(series)
    series.rows.update(Series([beside]).rows)
    return [*page, *published(series)]
