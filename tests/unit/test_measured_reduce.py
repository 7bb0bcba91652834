"""A test folder: faults of rig and log, ledger, replay, record read back; the invented logs and what was put into them.

Rules of the house and common practice; the faults planted in models/tests are listed at the end of each rig file.
"""

from __future__ import annotations

import csv
import importlib
import importlib.util
import json
import shutil
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import FolderFault, InputFault
from fesplice.measured import Test as Record
from fesplice.measured import reduce, replay
from fesplice.measured.expected import ByHand
from fesplice.measured.rig import read_rig_text
from fesplice.measured.text import test_text as told
from fesplice.sizing.instruments import gauges_toml, suggested
from fesplice.sizing.statics import statics
from fesplice.specimen import read, read_text

steps = importlib.import_module("fesplice.measured.reduce")
ROOT = Path(__file__).parents[2]
TESTS = ROOT / "models" / "tests"
_spec = importlib.util.spec_from_file_location("measured_data", Path(__file__).parent / "measured_data.py")
assert _spec is not None and _spec.loader is not None
data = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(data)
SPECIMEN = ROOT / "models" / "as29-100-u.toml"
DEMO = {"as29-100-u": ("log.csv",), "as29-100-t3": ("log.txt",), "as19-100-t3": ("loads.csv", "strains.csv")}


@pytest.fixture(scope="module")
def reduced(tmp_path_factory: pytest.TempPathFactory):
    place = tmp_path_factory.mktemp("demo")
    models = ROOT / "models"
    return {
        name: reduce([TESTS / name / f for f in logs], TESTS / name / "rig.toml", models / f"{name}.toml", place / name)
        for name, logs in DEMO.items()
    }


def small(folder: Path, more: dict[str, np.ndarray] | None = None, rows: int = 400) -> tuple[Path, Path]:
    """A log of load and midspan deflection, and its rig file."""
    t = np.arange(rows) * 0.5
    load = np.interp(t, [20.0, 0.5 * rows - 20.0], [0.0, 100.0])
    log = data.write_log(folder / "log.csv", t, {"P": load, "mid": 0.1 * load, **(more or {})})
    gauges = data.gauge("P", "load") + data.gauge("mid", "deflection", x='"0 mm"')
    rig = data.write_rig(folder / "rig.toml", "AS29-100-U", {"P": 'unit = "kN"', "mid": 'unit = "mm"'}, gauges)
    return log, rig


# ------------------------------------------------------------------ the invented logs
PLANTED = {
    "as29-100-u": {("A1 lead", "spiking"), ("A2 face", "drifting"), ("B1 lead", "zero under load")},
    "as29-100-t3": {
        ("A1 tangent", "dead"), ("B1 face", "swapped"), ("B1 tail", "swapped"), ("joint right", "wrong sign"),
    },
    "as19-100-t3": {("ram left", "clipped"), ("A2 face", "zero again")},
}  # fmt: skip


@pytest.mark.parametrize("name", DEMO)
def test_what_was_planted_is_told_and_nothing_else(reduced, name: str) -> None:
    assert {(s.gauge, s.fault) for s in reduced[name].suspects} == PLANTED[name]
    assert all(s.reason for s in reduced[name].suspects)


@pytest.mark.parametrize("name", DEMO)
def test_a_test_replays_to_the_same_bytes_and_reads_back_as_itself(reduced, name: str) -> None:
    test = reduced[name]
    assert replay(test.folder) == ()
    again = Record.from_dict(json.loads(test.to_json()))
    assert again.to_json() == test.to_json() and again.bar_stress[0].line == test.bar_stress[0].line
    assert "INVENTED" in (test.folder / "rig.toml").read_text(encoding="utf-8")
    for log in test.logs:
        assert (test.folder / "raw" / log.name).read_bytes() == (TESTS / name / log.name).read_bytes()


def test_every_correction_is_a_line_and_parquet_holds_it(reduced) -> None:
    test = reduced["as29-100-u"]
    with (test.folder / "ledger.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    done = {(r["step"], r["channel"]) for r in rows}
    for channel in test.channels:
        assert {("map", channel.name), ("scale", channel.name), ("zero", channel.name)} <= done
    spikes = next(r for r in rows if r["step"] == "despike")
    assert spikes["channel"] == "sg_A1_lead" and int(spikes["rows"]) == 6
    # the record alone makes the reading from the raw number
    raw = (test.folder / "raw" / "log.csv").read_text(encoding="cp1252").splitlines()
    names = raw[4].split(";")
    load = next(c for c in test.channels if c.name == "load_L")
    number = float(raw[-1].split(";")[names.index("load_L")].replace(",", "."))
    table = pq.read_table(test.folder / "readings.parquet")
    read = table.column("load_L [N]").to_pylist()[-1]
    assert read == pytest.approx(load.sign * (number * load.factor - load.zero))
    assert load.zero == pytest.approx(3000.0, abs=60.0)
    assert test.series()["load_N"].max() == test.results["largest load"].value


def test_loggers_joined_by_the_time_of_day(reduced) -> None:
    test = reduced["as19-100-t3"]
    assert [log.name for log in test.logs] == ["loads.csv", "strains.csv"]
    text = (test.folder / "ledger.csv").read_text(encoding="utf-8")
    assert "joined to loads.csv by the clocks" in text
    b = next(b for b in test.bar_stress if b.line == "B" and b.share == 1.0)
    assert b.gauge == pytest.approx(b.fibre, rel=0.10)


def test_what_was_told_can_be_put_right_in_the_rig_file(reduced, tmp_path: Path) -> None:
    """The gauge set to zero again, with the time that was told; then line A agrees with the moment as line B does."""
    home = TESTS / "as19-100-t3"
    told = next(s for s in reduced["as19-100-t3"].suspects if s.fault == "zero again")
    rig = tmp_path / "rig.toml"
    text = (home / "rig.toml").read_text(encoding="utf-8")
    rig.write_text(text.replace('gauge = "A2 face"', f'gauge = "A2 face"\nrezero = [{told.since:g}]'), encoding="utf-8")
    logs = [home / name for name in DEMO["as19-100-t3"]]
    test = reduce(logs, rig, ROOT / "models" / "as19-100-t3.toml", tmp_path / "out")
    assert {(s.gauge, s.fault) for s in test.suspects} == {("ram left", "clipped")}
    before, after = (
        next(b for b in x.bar_stress if b.line == "A" and b.share == 0.9) for x in (reduced["as19-100-t3"], test)
    )
    assert abs(before.gauge / before.fibre - 1.0) > 0.15 and abs(after.gauge / after.fibre - 1.0) < 0.1
    assert "set to zero again" in (tmp_path / "out" / "ledger.csv").read_text(encoding="utf-8")


# ------------------------------------------------------------------ faults of the rig file
RIG = '[test]\nspecimen = "AS29-100-U"\n[channel.P]\nunit = "kN"\n'
FAULTS = [
    (RIG.replace("unit", "uint"), "did you mean 'unit'"),
    (RIG + "sign = 2\n", "allowed: 1 or -1"),
    (RIG + "range = [10, 5]\n", "lowest reading first"),
    (RIG + "factor = 0\n", "must lie between 1e-15 and 1e+15, of either sign"),
    (RIG + 'factor = "2"\n', "a plain finite number"),
    (RIG + "zero_window = [50, 5]\n", "must not end before it begins"),
    (RIG + '[time]\nunit = "fortnight"\n', "allowed: s, ms, min, h or day"),
    (RIG + '[materials]\nclosure = "../c.csv"\n', "beside the rig file or below it"),
    (RIG + "[[event]]\ntime = -1\ntext = 'x'\n", "not below 0"),
    ('[test]\nspecimen = "AS29-100-U"\n', "channel: missing"),
    ("[channel.P]\n", "test: missing"),
]


@pytest.mark.parametrize(("text", "told"), FAULTS, ids=[t for _, t in FAULTS])
def test_faults_of_a_rig_file_are_told_with_their_place(text: str, told: str) -> None:
    with pytest.raises(InputFault) as caught:
        read_rig_text(text, "rig.toml")
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('id = "mid"', 'id = "midspan"', "did you mean 'midspan'"),
        ('[channel."mid"]', '[channel."mod"]', "no gauge 'mod'; did you mean 'mid'"),
        ('unit = "mm"', 'unit = "kN"', "no unit of a length"),
        ('unit = "mm"', "", "missing; the log's header gives none either"),
        ('specimen = "AS29-100-U"', 'specimen = "AS29-100-T3"', "the specimen file is of 'AS29-100-U'"),
        ('kind = "load"', 'kind = "lift"\nx = "0 mm"', "no channel reads a load"),
        ('x = "0 mm"', 'x = "9 m"', "lies off the beam"),
        ("[test]\n", "[test]\nzero_window = [900, 950]\n", "no reading between; the log runs to 199.5 s"),
        ("[test]\n", '[test]\ntension_face = "up"\n', 'the specimen file says "down"'),
        ("[test]\n", '[materials]\nclosure = "none.csv"\n[test]\n', "no such file"),
    ],
)
def test_what_does_not_fit_together_is_told_and_nothing_is_written(tmp_path: Path, old, new, told) -> None:
    log, rig = small(tmp_path)
    assert old in rig.read_text()
    rig.write_text(rig.read_text().replace(old, new))
    with pytest.raises(InputFault) as caught:
        reduce([log], rig, SPECIMEN, tmp_path / "out")
    assert told in str(caught.value)
    assert not (tmp_path / "out").exists() and not list(tmp_path.glob(".out*"))


def test_a_channel_that_no_log_holds_and_a_unit_that_the_log_contradicts(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    log.write_text(log.read_text().replace("time_s;P;mid", "time_s;P;Mid"))
    with pytest.raises(InputFault, match="channel.mid: no column of that name; did you mean 'Mid'"):
        reduce([log], rig, SPECIMEN, tmp_path / "out")
    log.write_text(log.read_text().replace("time_s;P;Mid\n", "time_s;P;mid\ns;kN;in\n"))
    with pytest.raises(InputFault, match="the log's header says 'in'"):
        reduce([log], rig, SPECIMEN, tmp_path / "out")


def test_a_folder_of_somebody_is_refused_and_one_of_the_same_logs_is_done_again(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("years of work")
    with pytest.raises(FolderFault, match="nothing was written"):
        reduce([log], rig, SPECIMEN, tmp_path / "mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["thesis.txt"]
    first = reduce([log], rig, SPECIMEN, tmp_path / "out")
    rig.write_text(rig.read_text().replace('[channel."mid"]', '[channel."mid"]\nsign = -1'))
    second = reduce([log], rig, SPECIMEN, tmp_path / "out")
    name = "midspan deflection at the peak"
    assert second.results[name].value == pytest.approx(-first.results[name].value)
    other = tmp_path / "other"
    other.mkdir()
    log2, rig2 = small(other, rows=500)
    with pytest.raises(FolderFault, match="other raw logs"):
        reduce([log2], rig2, SPECIMEN, tmp_path / "out")
    assert Record.read(tmp_path / "out").to_json() == second.to_json()


def test_a_changed_copy_is_noticed(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    out = reduce([log], rig, SPECIMEN, tmp_path / "out").folder
    assert out is not None and replay(out) == ()
    text = (out / "ledger.csv").read_bytes()
    (out / "ledger.csv").write_bytes(text.replace(b"load", b"laod", 1))
    assert replay(out) == ("ledger.csv",)
    with (out / "raw" / "log.csv").open("ab") as stream:
        stream.write(b"0;0;0\n")
    with pytest.raises(FolderFault, match="has changed since"):
        replay(out)


def test_a_log_that_is_still_written_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log, rig = small(tmp_path)
    read_logs = steps.read_logs

    def while_it_grows(*given):
        axis = read_logs(*given)
        with log.open("a") as stream:
            stream.write("200;1;1\n")
        return axis

    monkeypatch.setattr(steps, "read_logs", while_it_grows)
    with pytest.raises(InputFault, match="changed while it was read"):
        reduce([log], rig, SPECIMEN, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_parts_of_a_log_and_a_restart(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    lines = log.read_text().splitlines()
    (tmp_path / "b.csv").write_text("\n".join([lines[0], *lines[201:]]) + "\n")
    (tmp_path / "a.csv").write_text("\n".join(lines[:201]) + "\n")
    whole = reduce([log], rig, SPECIMEN, tmp_path / "one")
    parts = reduce([tmp_path / "a.csv", tmp_path / "b.csv"], rig, SPECIMEN, tmp_path / "two")
    np.testing.assert_allclose(whole.series()["load_N"], parts.series()["load_N"])
    np.testing.assert_allclose(whole.series()["t_s"], parts.series()["t_s"])


def test_materials_and_built_sizes_feed_the_reduction(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    (tmp_path / "cyl.csv").write_text("strength [MPa],splitting [MPa]\n30.0,2.6\n32.0,2.8\n34.0,3.0\n")
    e = np.linspace(0.0, 0.05, 400)
    f = np.minimum(195e3 * e, 700.0 + 2000.0 * np.maximum(e - 0.0036, 0.0))
    rows = "".join(f"{a:.6f};{b:.3f}\n" for a, b in zip(e, f))
    (tmp_path / "c1.csv").write_text("strain [-];stress [MPa]\n" + rows)
    text = '\n[materials]\nclosure = "cyl.csv"\n[materials.steel]\nmain = ["c1.csv"]\n'
    rig.write_text(rig.read_text() + text)
    specimen = tmp_path / "s.toml"
    built = '\n[as_built]\ncalibrated = ["joint.friction"]\njoint.friction = 0.8\nbars.left.depth = "510 mm"\n'
    specimen.write_text(SPECIMEN.read_text(encoding="utf-8") + built)
    test = reduce([log], rig, specimen, tmp_path / "out")
    marks = {m.path: (m.mark, m.value) for m in test.materials}
    assert marks["bars.left.depth"] == ("measured", "510 mm") and marks["joint.friction"][0] == "calibrated"
    assert marks["concrete.closure.strength"] == ("measured", "32 MPa")
    # axial from splitting: 0.9 x 2.8
    assert marks["concrete.closure.tensile_strength"] == ("measured", "2.52 MPa")
    mark, modulus = marks["steel.main.elastic_modulus"]
    assert mark == "measured" and float(modulus.removesuffix(" MPa")) == pytest.approx(195e3, rel=1e-3)
    assert marks["concrete.closure.fracture_energy"][0] == "estimated"
    peak = next(b for b in test.bar_stress if b.share == 1.0)
    # d measured: 2 mm in 510, load cell 1 % of its share of the moment
    own = 1.0 - 100e3 * 1500.0 / peak.moment
    assert peak.uncertainty / peak.fibre == pytest.approx(np.hypot(0.01 * (1.0 - own), 2.0 / 510.0), rel=0.02)
    assert replay(test.folder) == ()


def test_the_verbs(tmp_path: Path) -> None:
    log, rig = small(tmp_path)
    run = CliRunner()
    done = run.invoke(
        app, ["reduce", str(log), "--rig", str(rig), "--specimen", str(SPECIMEN), "--out", str(tmp_path / "t")]
    )
    assert done.exit_code == 0, done.output
    assert "largest load" in done.output and "100" in done.output and "not a safety system" in done.output
    assert run.invoke(app, ["replay", str(tmp_path / "t")]).exit_code == 0
    shutil.rmtree(tmp_path / "t" / "raw")
    with pytest.raises(FolderFault, match="is gone"):
        replay(tmp_path / "t")


def test_material_tests_as_a_table_to_paste(tmp_path: Path) -> None:
    (tmp_path / "cyl.csv").write_text("load [kN],diameter [mm]\n560,150\n580,150\n")
    strain = np.linspace(0.0, 0.04, 300)
    stress = np.minimum(200e3 * strain, 720.0 + 3000.0 * np.maximum(strain - 0.0036, 0.0))
    rows = "".join(f"{a:.6f},{b:.2f}\n" for a, b in zip(strain, stress))
    (tmp_path / "c.csv").write_text("strain [-],stress [MPa]\n" + rows)
    verb = ["materials", str(SPECIMEN), "--closure", str(tmp_path / "cyl.csv"), "--steel", f"main={tmp_path / 'c.csv'}"]
    done = CliRunner().invoke(app, verb)
    assert done.exit_code == 0, done.output
    s = read_text(SPECIMEN.read_text(encoding="utf-8") + "\n" + done.output)
    # 570 kN on a cylinder of 150 mm
    assert s.concrete.closure is not None
    assert s.concrete.closure.strength == pytest.approx(570e3 / (0.25 * np.pi * 150.0**2), rel=1e-3)
    assert s.steel["main"].yield_strength == pytest.approx(725.0, rel=0.01)
    assert all(b.mark == "measured" for b in s.built) and len(s.steel["main"].curve) > 5


@given(st.binary(max_size=300), st.booleans())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_junk_instead_of_a_log_is_one_message(tmp_path: Path, junk: bytes, appended: bool) -> None:
    log, rig = small(tmp_path)
    bad = tmp_path / "bad.csv"
    bad.write_bytes(log.read_bytes() + junk if appended else junk)
    try:
        reduce([bad], rig, SPECIMEN, tmp_path / "junk")
    except InputFault as fault:
        assert "bad.csv" in str(fault) or "rig.toml" in str(fault)
    finally:
        shutil.rmtree(tmp_path / "junk", ignore_errors=True)
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".junk")]


def test_the_rig_file_of_the_page_is_one() -> None:
    text = (TESTS / "README.md").read_text(encoding="utf-8").split("```toml\n")[1].split("```")[0]
    rig = read_rig_text(text, "README.md")
    assert rig.channel["load_L"].unit == "kN" and rig.gauges[0].ram == "left"
    # every key that the page names in a remark is one of the schema
    for key in ("factor", "sign", "zero", "zero_window", "rezero", "range", "accuracy", "device", "use"):
        assert key in type(rig.channel["load_L"]).model_fields and key in text


def test_curvature_of_a_pair_of_gauges(tmp_path: Path) -> None:
    """phi = (400 + 200) microstrain over 575 mm."""
    t = np.arange(400) * 0.5
    share = np.interp(t, [20.0, 180.0], [0.0, 1.0])
    log, rig = small(tmp_path, {"top": -200.0 * share, "low": 400.0 * share})
    text = '[channel.top]\nunit = "ue"\n[channel.low]\nunit = "ue"\n'
    text += data.gauge("top", "concrete_strain", face='"compression"', x='"0 mm"')
    text += data.gauge("low", "concrete_strain", face='"tension"', x='"0 mm"')
    rig.write_text(rig.read_text() + text)
    test = reduce([log], rig, SPECIMEN, tmp_path / "out")
    assert test.results["curvature at x = 0 mm, at the peak"].value == pytest.approx(600e-6 / 575.0, rel=0.01)


EVERY = ("as29-cb.toml", "as29-100-x.toml", "as29-100-s3.toml", "plain/straight-lap.toml", "plain/cracked-section.toml")


@pytest.mark.parametrize("path", EVERY)
def test_every_kind_of_specimen_reduces_with_the_gauges_suggested_for_it(tmp_path: Path, path: str) -> None:
    """A log in which every channel reads what hand formulas expect: nothing is suspect, the ways agree as they must."""
    s = read(ROOT / "models" / path)
    text = gauges_toml(suggested(s))
    gauged = read_text(s.text + "\n" + text)
    st = statics(s)
    top = 0.5 * min(x.load(x.yielding) for x in st.values())
    expected = ByHand(gauged, st, top)
    t = np.arange(0.0, 300.0, 0.5)
    share = np.interp(t, [30.0, 299.5], [0.0, 1.0])
    units = {"force": ("kN", 1e-3), "strain": ("ue", 1e6), "length": ("mm", 1.0)}
    rng = np.random.default_rng(3)
    columns = {}
    for g in gauged.gauges:
        full = top if g.kind == "load" else expected.reading(g)
        columns[g.channel] = units[g.quantity][1] * full * (share + rng.normal(0.0, 1e-3, len(t)))
    log = data.write_log(tmp_path / "log.csv", t, columns)
    channels = {g.channel: f'unit = "{units[g.quantity][0]}"' for g in gauged.gauges}
    rig = data.write_rig(tmp_path / "rig.toml", s.name, channels, text)
    test = reduce([log], rig, ROOT / "models" / path, tmp_path / "out")
    assert test.suspects == ()
    assert test.results["largest load"].value == pytest.approx(top, rel=5e-3)
    last = [b for b in test.bar_stress if b.share == 1.0]
    assert len(last) == len(st) and all(b.gauge == pytest.approx(b.fibre, rel=0.04) for b in last)
    assert all("not found" not in v.formula for v in test.results.values())
    assert "largest load" in told(test)


def test_cracks_frames_and_photographs_stand_in_the_record(tmp_path: Path) -> None:
    """A crack of 3-4-5; a frame in pure shear of 200 microstrain, whose principal strain is that."""
    log, rig = small(tmp_path)
    (tmp_path / "traced.csv").write_text(
        "face;crack;x [mm];y [mm];load [kN];width [mm]\n"
        "S;1;0;0;60;0,05\nS;1;30;40;60;0,10\nS;1;60;80;60;\nN;2;0;0;80;\nN;2;0;100;80;0,2\n"
    )
    (tmp_path / "f.csv").write_text("x [mm],y [mm],exx [ue],eyy [ue],exy [ue]\n0,0,0,0,0\n10,5,0,0,200\n")
    (tmp_path / "p.jpg").write_bytes(b"picture")
    more = '[[cracks]]\nfile = "traced.csv"\n[[frame]]\nfile = "f.csv"\ntime = 50\nface = "S"\n'
    rig.write_text(rig.read_text() + more + '[[photograph]]\nfile = "p.jpg"\nscale = "0.2 mm"\n')
    test = reduce([log], rig, SPECIMEN, tmp_path / "out")
    one, two = test.cracks
    assert (one.face, one.load, one.length, one.width) == ("S", 60e3, pytest.approx(100.0), pytest.approx(0.1))
    assert one.angle == pytest.approx(np.degrees(np.arctan2(4.0, 3.0))) and two.angle == pytest.approx(90.0)
    assert one.points[1] == (30.0, 40.0)
    frame = test.frames[0]
    assert frame.points == 2 and frame.principal_strain == pytest.approx(200e-6) and frame.extent == (0, 10, 0, 5)
    assert test.photographs[0].scale == 0.2
    assert Record.from_dict(json.loads(test.to_json())).cracks == test.cracks
    assert "face S" in told(test) and replay(tmp_path / "out") == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("face,crack,x,y\nS,1,0,0\n", "line 1"),
        ("face,crack,x [mm],y [mm]\nS,1,0,zero\n", "line 2, column 4: y = 'zero': a number"),
        ("face,crack,x [mm],y [mm]\nQ,1,0,0\n", "allowed: N, S"),
        ("face,crakc,x [mm],y [mm]\nS,1,0,0\n", "did you mean 'crakc'"),
    ],
)
def test_a_bad_tracing_is_told_with_its_place(tmp_path: Path, text: str, message: str) -> None:
    log, rig = small(tmp_path)
    (tmp_path / "traced.csv").write_text(text)
    rig.write_text(rig.read_text() + '[[cracks]]\nfile = "traced.csv"\n')
    with pytest.raises(InputFault) as caught:
        reduce([log], rig, SPECIMEN, tmp_path / "out")
    assert message in str(caught.value) and "traced.csv" in str(caught.value) and not (tmp_path / "out").exists()


def test_a_file_of_the_rig_may_not_bear_a_name_of_the_test(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="a name that a test uses itself"):
        read_rig_text(RIG + '[[cracks]]\nfile = "readings.csv"\n')
