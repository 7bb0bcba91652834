"""Trends of the demonstration studies as one page of tables: strength against spacing, confinement, judgement values.

Reads models/studies/*/results.csv as ``scripts/study`` leaves them and writes models/studies/TRENDS.md. What tests
are known to show stands beside what the model gives; where they differ the page says so.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Mapping
from pathlib import Path

from trends_series import part
from trends_words import change, exact, named, number, percent, told

from fesplice.post.mechanisms import Mechanism
from fesplice.provisions.aashto_lrfd_9 import shaft_tie_spacing

STUDIES = Path(__file__).resolve().parents[1] / "models" / "studies"
NONE, TIES, STIRRUPS, HOOKED = "none", "ties at 3 d_b", "stirrups at 3 d_b", "hooked transverse bar"
HEAD = """# Trends of the demonstration studies

Written by `scripts/trends.py` from the tables beside it; `bash scripts/study` makes those. The specimens are
the invented series "Amber Slough", 29 mm bars, lap 460 mm (AS19: 19 mm bars, lap 280 mm): computations, not tests.
Bar stress at the joint face in MPa. ">" marks a load that never fell by 15 %: a lower bound.

"""
#: The ties, bars and lap of the series 29: areas of a leg and a bar [mm2], yield strength [MPa], lap [mm].
TIE, BAR, TIE_YIELD, LAP = 71.0, 645.0, 460.0, 460.0
FACTS = """## What tests are known to show

| fact | source | model |
|---|---|---|
"""


def rows(study: str) -> list[dict[str, str]]:
    """The table of one study; empty when it has not been computed."""
    path = STUDIES / study / "results.csv"
    if not path.is_file():
        return []
    with path.open(encoding="utf-8") as table:
        return list(csv.DictReader(table))


class Sweep:
    """Predictions by (spacing [mm], confinement)."""

    def __init__(self, table: list[dict[str, str]]):
        self.rows = {(round(float(r["s_mm"])), r["confinement"]): r for r in table if r.get("s_mm")}
        self.spacings = sorted({s for s, _ in self.rows})
        self.kinds = [k for k in (NONE, TIES, STIRRUPS, HOOKED) if any(kind == k for _, kind in self.rows)]

    def stress(self, spacing: int, kind: str, column: str = "prediction_MPa") -> float | None:
        """Predicted bar stress of one case."""
        return number(self.rows.get((spacing, kind), {}), column)

    def sure(self, spacing: int, kind: str) -> bool:
        """False where the prediction is a lower bound."""
        return exact(self.rows.get((spacing, kind), {}), "prediction")


def sweep_tables(sweep: Sweep) -> list[str]:
    """Strength, change against contact, mechanism and bracket, spacing by confinement."""
    first = sweep.spacings[0]
    out = ["## Spacing and confinement, both planes coupled\n"]
    head = "| spacing | " + " | ".join(sweep.kinds) + " |"
    line = "|--:|" + "--:|" * len(sweep.kinds)
    out += [head, line]
    for s in sweep.spacings:
        cells = []
        for k in sweep.kinds:
            here = sweep.stress(s, k)
            cells.append(f"{told(here, sweep.sure(s, k))} ({percent(change(here, sweep.stress(first, k)))})")
        out.append(f"| {s} mm{' (contact)' if s == first else ''} | " + " | ".join(cells) + " |")
    out += ["", "In brackets: change against contact. What governs (e elevation, p plan), and the bracket:", ""]
    out += [head, "|--:|" + "---|" * len(sweep.kinds)]
    for s in sweep.spacings:
        cells = []
        for k in sweep.kinds:
            r = sweep.rows.get((s, k), {})
            low, high = number(r, "prediction_bracket_low_MPa"), number(r, "prediction_bracket_high_MPa")
            mode = named(r.get("prediction_mode"))
            agreed = "" if r.get("prediction_agreed") in ("1", "") else ", passes did not agree"
            cells.append(f"{(r.get('prediction_plane') or '?')[0]}: {mode}, {told(low)} to {told(high)}{agreed}")
        out.append(f"| {s} mm | " + " | ".join(cells) + " |")
    failed = [r["label"] for r in sweep.rows.values() if r["state"] != "done"]
    out += ["", f"Cases without a prediction: {', '.join(failed) if failed else 'none'}.", ""]
    return out


def facts(sweep: Sweep) -> list[str]:
    """Known facts beside what the model gives."""
    first, last = sweep.spacings[0], sweep.spacings[-1]
    s = min(sweep.spacings, key=lambda v: abs(v - 100))
    loss = percent(change(sweep.stress(last, NONE), sweep.stress(first, NONE)))
    wider = {k: percent(change(sweep.stress(last, k), sweep.stress(s, k))) for k in (TIES, STIRRUPS, HOOKED)}

    def gain(kind: str, at: int) -> str:
        """Over none at one spacing; a bar that yields ends what can be gained."""
        yields = sweep.rows.get((at, kind), {}).get("prediction_mode") == Mechanism.yielding
        return percent(change(sweep.stress(at, kind), sweep.stress(at, NONE))) + (" (bars yield)" if yields else "")

    def both(at: int) -> str:
        apart = (change(sweep.stress(at, k), sweep.stress(at, NONE)) for k in (STIRRUPS, TIES))
        high, low = (a or 0.0 for a in apart)
        return f"at {at} mm stirrups {gain(STIRRUPS, at)}, ties {gain(TIES, at)}: {high - low:+.0f} points"

    common = "common practice, no source"
    table = [
        ("unconfined laps lose about 12 % from contact to 150 mm", common, f"{loss} from {first} to {last} mm"),
        ("confined laps gain from 100 to 150 mm", common, ", ".join(f"{k} {v}" for k, v in wider.items())),
        ("stirrups above ties in the plane by about 15 points, both at 3 d_b", common,
         f"{both(s)}; {both(last)}"),
        ("a hooked transverse bar that holds the edge bars is a substantial gain over none", common,
         ", ".join(f"{gain(HOOKED, at)} at {at} mm" for at in (first, s, last))),
        ("force passes between staggered heads by diagonal struts, about 55 deg to the bars",
         "Thompson et al., headed laps (struts found; angle from memory)",
         "struts are found; at strength they lie flatter, since bond hands much of the force over along the bars"),
        ("non-contact laps of straight bars with stirrups gain with spacing", "Hwang, Yang & Ma 2022, abstract",
         f"hooks with stirrups {wider[STIRRUPS]} from {s} to {last} mm"),
        ("splice strength does not depend on spacing up to about 6 d_b", "Sagan et al. 1991, from memory",
         f"{loss} up to {last / 28.7:.1f} d_b, unconfined"),
    ]  # fmt: skip
    return [FACTS.rstrip("\n"), *(f"| {a} | {b} | {c} |" for a, b, c in table), ""]


def judgement(table: list[dict[str, str]]) -> list[str]:
    """Strength of the plan under every judgement value, and the span each makes."""
    by = {(r["case"], r["value"]): r for r in table}
    cases = list(dict.fromkeys(r["case"] for r in table))
    values = list(dict.fromkeys(r["value"] for r in table))

    def strength(case: str, value: str) -> tuple[float | None, bool]:
        return plan_strength(by.get((case, value), {}))

    out = ["## Judgement values of the plan, one at a time\n", "Plan alone, spacing 100 mm, no vertical stress.\n"]
    out += ["| value | " + " | ".join(cases) + " |", "|---|" + "--:|" * len(cases)]
    for value in values:
        cells = []
        for case in cases:
            (here, sure), (base, _) = strength(case, value), strength(case, "default")
            cells.append(told(here, sure) + (f" ({percent(change(here, base))})" if value != "default" else ""))
        out.append(f"| {value} | " + " | ".join(cells) + " |")
    spans = []
    for case in cases:
        found = [100.0 * (strength(case, v)[0] or 0.0) / (strength(case, "default")[0] or 1.0) - 100.0 for v in values]
        spans.append(f"{case} {min(found):+.0f} to {max(found):+.0f} %")
    modes = {case: sorted({named(by[case, v]["plan_mode"]) for v in values if (case, v) in by}) for case in cases}
    seen = "; ".join(f"{case}: {', '.join(m)}" for case, m in modes.items())
    return [*out, "", f"Span: {'; '.join(spans)}. Modes seen: {seen}.", ""]


def elevation(table: list[dict[str, str]]) -> list[str]:
    """Bar stress of the elevation at its three events under every judgement value, specimen by specimen."""
    out = ["## Judgement values of the elevation, one at a time\n", "Elevation alone, spacing 100 mm.\n"]
    out += ["| specimen | value | half of a lead past its bond peak | before a drop of 15 % | largest load | mode |"]
    out += ["|---|---|--:|--:|--:|---|"]
    for case in dict.fromkeys(r["case"] for r in table):
        these = [r for r in table if r["case"] == case]
        base: dict[str, str] = next((r for r in these if r["value"] == "default"), {})
        for r in these:
            cells = []
            for column in ("elevation_bond_loss_MPa", "elevation_drop_MPa", "elevation_peak_MPa"):
                here = number(r, column)
                moved = "" if r is base or here is None else f" ({percent(change(here, number(base, column)))})"
                cells.append(told(here) + moved)
            mode = named(r["elevation_mode"] or r["elevation_reason"])
            out.append(f"| {case} | {r['value']} | {' | '.join(cells)} | {mode} |")
    return [*out, ""]


def plan_strength(row: Mapping[str, str]) -> tuple[float | None, bool]:
    """Bar stress of a plan before its first drop, or at its largest load; and whether it fell at all."""
    drop, peak = number(row, "plan_drop_MPa"), number(row, "plan_peak_MPa")
    return (drop, True) if drop is not None else (peak, False)


def causes(table: list[dict[str, str]]) -> list[str]:
    """Strength of the plan alone by assumption, and what each does to the trends."""
    by = {(r["assumption"], r["confinement"], round(float(r["s_mm"]))): r for r in table}
    kinds = [k for k in (NONE, TIES, STIRRUPS, HOOKED) if any(key[1] == k for key in by)]
    spacings = sorted({key[2] for key in by})
    first, middle, last = spacings[0], min(spacings, key=lambda s: abs(s - 100)), spacings[-1]

    def stress(what: str, kind: str, s: int) -> tuple[float | None, bool]:
        return plan_strength(by.get((what, kind, s), {}))

    out = ["## What the trends in plan hang on\n"]
    out += [f"Plan alone, no vertical stress, one assumption changed at a time; {', '.join(map(str, spacings))} mm.\n"]
    out += ["| assumption | " + " | ".join(kinds) + " |", "|---|" + "---|" * len(kinds)]
    assumptions = list(dict.fromkeys(r["assumption"] for r in table))
    for what in assumptions:
        cells = [" / ".join(told(*stress(what, k, s)) for s in spacings) for k in kinds]
        out.append(f"| {what} | " + " | ".join(cells) + " |")
    out += [
        "",
        f"| assumption | none, {first} to {last} mm | ties, {middle} to {last} | stirrups, {middle} to {last} "
        f"| gains over none at {middle} mm: ties, stirrups, hooked bar | at {last} mm |",
    ]
    out += ["|---|--:|--:|--:|---|---|"]
    for what in assumptions:

        def moved(kind: str, a: int, b: int, what: str = what) -> str:
            return percent(change(stress(what, kind, b)[0], stress(what, kind, a)[0]))

        def gains(s: int, what: str = what) -> str:
            base = stress(what, NONE, s)[0]
            return ", ".join(percent(change(stress(what, k, s)[0], base)) for k in (TIES, STIRRUPS, HOOKED))

        out.append(
            f"| {what} | {moved(NONE, first, last)} | {moved(TIES, middle, last)} | "
            f"{moved(STIRRUPS, middle, last)} | {gains(middle)} | {gains(last)} |"
        )
    return [*out, ""]


def ties(table: list[dict[str, str]]) -> list[str]:
    """Plans with ties at several spacings beside the bar stress that McLean & Smith's truss gives them."""
    out = ["## Spacing of ties beside McLean & Smith (1997)\n"]
    out += [
        "Plan alone, pairs 100 mm apart, closed D10 ties of two legs about each pair, f_y 460 MPa. Their truss (45",
        "degrees, from memory): f = n A_tr f_ytr l_s / (A_l s).\n",
    ]
    out += ["| ties | truss MPa | model MPa | model/truss | mechanism |", "|---|--:|--:|--:|---|"]
    for r in table:
        pitch, (here, sure) = float(r["confinement.spacing_mm"]), plan_strength(r)
        by_hand = shaft_tie_spacing(2, TIE, TIE_YIELD, LAP, BAR, 1.0).value / pitch
        ratio = "–" if here is None else f"{here / by_hand:.2f}"
        out.append(f"| {r['ties']} | {by_hand:.0f} | {told(here, sure)} | {ratio} | {named(r['plan_mode'])} |")
    return [*out, ""]


def series(table: list[dict[str, str]]) -> list[str]:
    """Every specimen of the demonstration series: prediction beside the hand formulas."""
    out = ["## The series as it would be predicted before the tests\n"]
    out += [
        "Both planes coupled, meshes of the specimen files. Formula: embedment formula with spacing factor, in the",
        "partner reading (`fesplice check`); it is no test either.\n",
    ]
    head = ("specimen", "bar stress MPa", "load per ram kN", "plane: mechanism", "bracket MPa", "formula MPa", "ratio")
    out += ["| " + " | ".join(head) + " |"]
    out += ["|---|--:|--:|---|---|--:|--:|"]
    for r in table:
        here, by_hand = number(r, "prediction_MPa"), number(r, "hand_stress_MPa")
        sure = exact(r, "prediction")
        low, high = number(r, "prediction_bracket_low_MPa"), number(r, "prediction_bracket_high_MPa")
        ratio = "–" if here is None or not by_hand else f"{here / by_hand:.2f}"
        load = number(r, "prediction_kN")
        mode = named(r.get("prediction_mode"))
        out.append(
            f"| {r['case']} | {told(here, sure)} | {told(load)} | {r.get('prediction_plane') or '?'}: {mode} | "
            f"{told(low)} to {told(high)} | {told(by_hand)} | {ratio} |"
        )
    return [*out, ""]


def main() -> int:
    """Write the page; 1 when there is nothing to write it from."""
    names = ("spacing-confinement", "demo-series", "causes", "judgement-values", "judgement-elevation", "tie-spacing")
    swept, demo, cause, judged, side, tied = (rows(name) for name in names)
    if not (swept or demo or cause or judged or side):
        print("no results: bash scripts/study first", file=sys.stderr)
        return 1
    text = HEAD
    if swept:
        sweep = Sweep(swept)
        text += "\n".join([*sweep_tables(sweep), *facts(sweep)]) + "\n"
        text += "![strength against spacing](spacing-confinement/figures/strength.png)\n\n"
    if real := part(rows("real-series"), rows("real-series-laps")):
        text += "\n".join(real) + "\n"
    if demo:
        text += "\n".join(series(demo)) + "\n"
    if cause:
        text += "\n".join(causes(cause)) + "\n"
    if tied:
        text += "\n".join(ties(tied)) + "\n"
    if judged:
        text += "\n".join(judgement(judged)) + "\n"
    if side:
        text += "\n".join(elevation(side)) + "\n"
    notes = STUDIES / "NOTES.md"
    if notes.is_file():
        text += notes.read_text(encoding="utf-8")
    (STUDIES / "TRENDS.md").write_text(text, encoding="utf-8")
    print(STUDIES / "TRENDS.md")
    return 0


if __name__ == "__main__":
    sys.exit(main())
