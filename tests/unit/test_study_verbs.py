"""What the verbs of studies print, draw and refuse, on tables and on an elastic beam.

Sources: the load of an uncracked beam at a given deflection does not hang on the element size (beam theory);
a power law without scatter must be found again (algebra). HTML by the parser of the standard library.
"""

from __future__ import annotations

import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fesplice.cli import main
from fesplice.contracts import InputFault
from fesplice.specimen import read, vary_many
from fesplice.study import Resources, Table, read_study_text, run_study
from fesplice.study.convergence import convergence, judge
from fesplice.study.equation import describe, gather, numbers
from fesplice.study.readings import show
from fesplice.study.table import read_csv, write_csv

MODELS = Path(__file__).parents[2] / "models"
SPACINGS = (28.7, 60.0, 100.0, 150.0)
STUDY = """
name = "Spacing"
base = "as29-100-u.toml"
views = "both"
[grid]
"bars.spacing" = ["contact", "60 mm", "100 mm", "150 mm"]
"concrete.closure.strength" = ["30 MPa", "40 MPa"]
[[lists]]
name = "confinement"
labels = ["none", "ties"]
[lists.keys]
confinement = [{ kind = "none" }, { kind = "ties", size = "10", spacing = "85 mm", number = 6, steel = "ties" }]
"""


def law(text: str, folder: str, views: list[str]) -> dict:
    """A power law in the place of runs; the plan of one case fails."""
    from fesplice.specimen import read_text

    s = read_text(text)
    stress = 50.0 * s.bars.spacing**-0.1 * s.concrete.closure.strength**0.5 * (1.3 if s.confinement.number else 1.0)
    run = {"state": "done", "peak_MPa": stress, "peak_kN": stress / 3, "mode": "splitting", "seconds": 1.0}
    plan = run if s.bars.spacing < 149 or s.confinement.number else {"state": "failed", "reason": "no such plane"}
    both = plan | {"MPa": stress, "kN": stress / 3, "bracket_low_MPa": 0.8 * stress, "bracket_high_MPa": 1.1 * stress}
    return {"elevation": run, "plan": plan, "prediction": both if plan is run else plan}


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    run_study(read_study_text(STUDY, "study.toml", MODELS), folder, resources=Resources(workers=0), task=law)
    return folder


class Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.images: list[str] = []
        self.titles: list[str] = []
        self.links: list[str] = []
        self._tag = ""

    def handle_starttag(self, tag: str, attrs) -> None:
        self._tag = tag
        found = dict(attrs)
        self.images += [found["src"]] if tag == "img" else []
        self.links += [found[k] for k in ("href", "src") if k in found and not found[k].startswith("data:")]

    def handle_data(self, data: str) -> None:
        if self._tag == "h2" and data.strip():
            self.titles.append(data.strip())


def shell(arguments: list[str], monkeypatch) -> int:
    monkeypatch.setattr(sys, "argv", ["fesplice", *arguments])
    try:
        main()
    except SystemExit as leaving:
        return int(leaving.code or 0)
    return 0


# ------------------------------------------------------------------ table and readings
def test_failures_are_rows_with_their_reason(study: Path):
    with Table(study) as table:
        rows = table.rows()
        paths = table.export()
    assert len(rows) == 16 and [r["state"] for r in rows].count("failed") == 2
    assert all("plan: no such plane" in r["reason"] for r in rows if r["state"] == "failed")
    back = read_csv(paths[0])
    assert len(back) == 16 and back[0]["elevation_peak_MPa"] == pytest.approx(rows[0]["elevation_peak_MPa"], rel=1e-6)
    import pyarrow.parquet as parquet

    again = parquet.read_table(paths[1]).to_pylist()
    assert [r["elevation_peak_MPa"] for r in again] == [r["elevation_peak_MPa"] for r in rows]
    assert "specimen" not in again[0]


def test_again_computes_what_failed_anew_and_keeps_what_it_left(tmp_path: Path):
    given = read_study_text(STUDY, "study.toml", MODELS)
    asked: list[tuple[str, ...]] = []

    def leaves_folders(text: str, folder: str, views: list[str]) -> dict:
        asked.append(tuple(views))
        for name in ("elevation", "plan-free", "plan-pass-1"):
            (Path(folder) / name).mkdir(parents=True, exist_ok=True)
        return law(text, folder, views)

    for again in (False, False, True):
        run_study(given, tmp_path, resources=Resources(workers=0), task=leaves_folders, again=again)
    assert len(asked) == 16 + 0 + 2 and set(asked) == {("elevation", "plan", "prediction")}
    with Table(tmp_path) as table:
        rows = table.rows()
    for row in rows:
        names = {f.name for f in (tmp_path / "runs" / row["id"]).iterdir()}
        kept = {"plan-free.earlier-1", "plan-pass-1.earlier-1"} if row["state"] == "failed" else set()
        assert names == {"elevation", "plan-free", "plan-pass-1"} | kept
    assert [r["state"] for r in rows].count("failed") == 2


@pytest.mark.parametrize("where", ["nobody", "tcp://127.0.0.1:port", "other://127.0.0.1:8786", "file"])
def test_a_scheduler_that_cannot_be_is_refused_at_once(where: str, tmp_path: Path):
    if where == "file":
        where = str(tmp_path / "scheduler.json")
        Path(where).write_text("[]", encoding="utf-8")
    given = read_study_text(STUDY, "study.toml", MODELS)
    with pytest.raises(InputFault, match="scheduler"):
        run_study(given, tmp_path / "out", resources=Resources(scheduler=where), task=law)


def test_readings_are_drawn_with_their_numbers(study: Path):
    page, found = show(study)
    assert {r.title for r in found.found} == {"Strength", "Main effects", "Interaction", "Mechanisms"}
    # nothing is random in a grid: no rank correlation, no percentiles, no interval of a share
    assert found.left_out.keys() == {"Response curves", "Test over prediction", "Sensitivity", "Percentiles"}
    assert all("nothing is random" in found.left_out[title] for title in ("Sensitivity", "Percentiles"))
    assert all(r["low"] is None and r["high"] is None for r in read_csv(study / "figures" / "modes.csv"))
    parser = Page()
    html = page.read_text(encoding="utf-8")
    parser.feed(html)
    assert len(parser.images) == 4 and not parser.links
    assert parser.titles[-3:] == ["Left out", "Cases", "Study file"] and "no such plane" in html
    points = [r for r in read_csv(study / "figures" / "strength.csv") if str(r["panel"]).startswith("both")]
    assert sorted({r["spacing (mm)"] for r in points}) == list(SPACINGS)
    one = next(r for r in points if r["line"] == "strength 30 MPa, none")
    assert one["low"] == pytest.approx(0.8 * one["bar stress at the joint face (MPa)"], rel=1e-5)
    for name in ("strength", "effects", "interaction", "modes"):
        assert all((study / "figures" / f"{name}.{kind}").stat().st_size > 100 for kind in ("png", "pdf", "svg", "csv"))
    effects = next(r for r in found.found if r.title == "Main effects")
    shares = [float(value.split()[0]) for _, value in effects.rows]
    # two cases are missing, so that factors share a little of what they explain
    assert 90 < sum(shares) <= 101


def test_verbs_from_the_shell(study: Path, tmp_path: Path, monkeypatch, capfd):
    file = tmp_path / "s.toml"
    file.write_text(STUDY.replace("as29", str(MODELS / "as29")).replace('"contact"', '"800 mm"'), encoding="utf-8")
    assert shell(["study", "plan", str(file)], monkeypatch) == 0
    told = capfd.readouterr().out
    assert "16 cases" in told and "12 to compute" in told and "outside the width" in told and "MPa (" in told
    assert shell(["study", "run", str(file), "--workers", "-1", "--out", str(tmp_path / "run")], monkeypatch) == 2
    assert "--workers = -1" in capfd.readouterr().err and not (tmp_path / "run").exists()
    assert shell(["study", "show", str(tmp_path)], monkeypatch) == 2
    assert shell(["study", "show", str(study), "--strength", "best"], monkeypatch) == 2
    assert "there are bond_loss" in capfd.readouterr().err
    options = ["--response", "prediction_MPa", "--terms", "s_mm,f_cm_MPa"]
    assert shell(["study", "fit", str(study), *options, "--out", str(tmp_path / "fit")], monkeypatch) == 0
    assert "fitted to analyses" in capfd.readouterr().out and (tmp_path / "fit" / "equation.csv").exists()
    assert shell(["study", "fit", str(study), "--response", "none"], monkeypatch) == 2


# ------------------------------------------------------------------ equation
def test_a_law_is_found_again_and_sources_stay_apart(study: Path, tmp_path: Path):
    rows = [r for r in gather([study]) if r["confinement"] == "none"]
    told = "\n".join(describe(rows, "elevation_peak_MPa", ["s_mm"], {"f_cm_MPa": 0.5}, at={"s_mm": 90, "f_cm_MPa": 35}))
    assert "= 50 s_mm^-0.1 f_cm_MPa^0.5" in told and "mean 1.000, COV 0.000" in told and "inside" in told
    assert "held" in told and "fitted to analyses" in told and "8 of analysis" in told
    out = "\n".join(describe(rows, "elevation_peak_MPa", ["s_mm"], {"f_cm_MPa": 0.5}, at={"s_mm": 300, "f_cm_MPa": 35}))
    assert "OUTSIDE the data" in out
    tests = [
        {"source": "test", "label": k, "s_mm": 50.0 + k, "f_cm_MPa": 30.0, "elevation_peak_MPa": 200.0 + k * k}
        for k in range(5)
    ]
    write_csv(tmp_path / "tests.csv", list(tests[0]), tests)
    both = gather([study, tmp_path / "tests.csv"])
    with pytest.raises(InputFault, match="16 rows of analysis, 5 rows of test"):
        describe(both, "elevation_peak_MPa", ["s_mm"], {})
    # a column that only rounding moves has no exponent, and scatter has no sign
    with pytest.raises(InputFault, match="l_s_mm: the same in all rows"):
        describe(rows, "elevation_peak_MPa", ["s_mm", "l_s_mm"], {})
    with pytest.raises(InputFault, match="more-cov"):
        describe(rows, "elevation_peak_MPa", ["s_mm"], {}, more_cov=-0.1)
    assert any("mixed here" in line for line in describe(both, "elevation_peak_MPa", ["s_mm"], {}, source="mixed"))


@pytest.mark.parametrize("text", ["a", "a=", "=2", "a=b", "a=1,b"])
def test_numbers_that_are_none(text: str):
    with pytest.raises(InputFault, match="column=number"):
        numbers("--held", text)


# ------------------------------------------------------------------ convergence
def test_convergence_of_an_elastic_beam(tmp_path: Path):
    changes = {"mesh.splice": "40 mm", "mesh.elsewhere": "100 mm", "analysis.step": "0.05 mm"}
    beam = vary_many(read(MODELS / "plain" / "cracked-section.toml"), changes | {"analysis.end_deflection": "0.1 mm"})
    page, found = convergence(beam, tmp_path, views="elevation", resources=Resources(workers=0))
    assert [m.change for m in found[:3]] == ["elements x 1.4", "elements x 0.7", "step x 0.5"]
    assert len(found) == 6 and all(m.held for m in found if m.change.startswith("elements"))
    # so few steps end where the last one happens to, and the page says what that means
    html = page.read_text(encoding="utf-8")
    assert ("NOT converged" in html) == (not all(m.held for m in found))
    assert (tmp_path / "figures" / "convergence.csv").exists()


def test_convergence_of_both_planes_is_drawn(tmp_path: Path, monkeypatch):
    """Five strengths, each a panel: of both views before their first drop and at their largest, and of both read."""
    from fesplice.study import convergence as module

    def quick(study, folder, **others):
        return run_study(study, folder, **others | {"task": law, "resources": Resources(workers=0)})

    monkeypatch.setattr(module, "run_study", quick)
    page, found = convergence(read(MODELS / "as29-100-u.toml"), tmp_path, views="both")
    rows = read_csv(tmp_path / "figures" / "convergence.csv")
    assert len({m.strength for m in found}) == len({r["panel"] for r in rows}) == 5
    assert len({m.change for m in found}) == 4 and all(m.held for m in found)
    assert "Converged: no strength" in page.read_text(encoding="utf-8")


def test_what_moves_changes_its_mode_or_has_no_result_is_not_converged():
    def row(change: str, stress: float | None, mode: str, state: str = "done") -> dict:
        return {
            "change": change,
            "elevation_peak_MPa": stress,
            "elevation_mode": mode,
            "state": state,
            "reason": "no disk",
        }

    rows = [row("as given", 100.0, "a"), row("fine", 104.9, "a"), row("coarse", 94.9, "a"), row("step", 101.0, "b"),
            row("thick", None, "a", "lost")]  # fmt: skip
    found = [m for m in judge(rows, ("elevation",)) if m.strength == "elevation, largest"]
    assert [m.held for m in found] == [True, False, False, False]
    assert found[1].moved == pytest.approx(-0.051) and found[3].reason == "lost: no disk"
    # equal strengths of runs that their number of steps has ended prove nothing
    cut = [r | {"elevation_reason": "ended by analysis.max_steps"} for r in rows[:2]]
    (one,) = (m for m in judge(cut, ("elevation",)) if m.strength == "elevation, largest")
    assert not one.held and one.reason.count("max_steps") == 2
