"""What the page one can play holds: the numbers of figures and findings, as few bytes, and nothing that runs.

Sources: base64 RFC 4648, gzip RFC 1952 (read here by the standard library alone); digests in a content security policy
CSP Level 3, 2.3.1. 1 in = 25.4 mm, 1 kip = 4.4482216 kN, 1 ksi = 6.894757 MPa. The numbers are compared with those of
the project's own readers, which have tests of their own against closed forms.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
import runpy
import struct
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import fesplice
from fesplice.contracts import FolderFault, InputFault
from fesplice.laws.cohesive import CohesiveInterface
from fesplice.post.elevation.bars import profile
from fesplice.post.elevation.hooks import station_tension
from fesplice.post.elevation.layout import tensile_strengths
from fesplice.post.elevation.trace import plane_split
from fesplice.post.plan.truss import truss
from fesplice.post.readings import gauge_table
from fesplice.post.runs import specimen_of
from fesplice.report import paper
from fesplice.report.cracks import cracks_of
from fesplice.report.plan.slab import slab_of
from fesplice.report.view import View, nearest
from fesplice.report.viewer.pack import Parcel, directions, even, exponential
from fesplice.report.viewer.page import CAUTION, follow
from fesplice.report.viewer.places import _planes
from fesplice.report.viewer.scene import _Plane
from fesplice.report.views import VIEWS
from fesplice.report.within import viewer_of
from fesplice.sizing.instruments import gauges_of
from fesplice.store import Run

HERE = Path(__file__).parent
SIDE, PLAN, WHOLE = (runpy.run_path(str(HERE / f"{n}_data.py")) for n in ("report", "plan", "prediction"))
EVIL = """</script><script>document.body.dataset.evil=1</script> "><img src=//h.example/x onerror=alert(1)> {{ 7*7 }}"""


class Tags(HTMLParser):
    """Tags with their attributes, and the text of each script and style."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inside: dict[str, list[str]] = {"script": [], "style": []}
        self._open = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in self.inside:
            self._open = tag
            self.inside[tag].append("")

    def handle_endtag(self, tag):
        self._open = "" if tag == self._open else self._open

    def handle_data(self, data):
        if self._open:
            self.inside[self._open][-1] += data


def opened(path: Path) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Header and values of all arrays of a page, decoded after the words of ``pack`` and nothing of its code."""
    found = re.search(r'id="parcel">([^<]*)<', path.read_text(encoding="utf-8"))
    assert found
    whole = gzip.decompress(base64.b64decode(found[1], validate=True))
    (length,) = struct.unpack("<I", whole[:4])
    header = json.loads(whole[4 : 4 + length])
    arrays = {}
    for name, told in header["arrays"].items():
        data = whole[4 + length + told["at"] :][: told["bytes"]]
        if told["type"] == "i2":
            half = len(data) // 2
            data = bytes(b for pair in zip(data[:half], data[half:]) for b in pair)
        values = np.frombuffer(data, f"<{told['type']}").reshape(told["shape"])
        if told["steps"]:
            values = np.cumsum(values, axis=0, dtype=values.dtype)
        arrays[name] = np.array(told["levels"])[values] if "levels" in told else values * told["scale"]
    return header, arrays


@pytest.fixture(scope="module")
def side(tmp_path_factory) -> Run:
    note = EVIL.replace('"', '\\"')
    return SIDE["write_run"](tmp_path_factory.mktemp("side") / "run",
                             text=SIDE["SPECIMEN"].replace('note = "for tests"', f'note = "{note}"'))  # fmt: skip


@pytest.fixture(scope="module")
def plan(tmp_path_factory) -> Run:
    return PLAN["write_plan"](tmp_path_factory.mktemp("plan") / "run")


@pytest.fixture(scope="module")
def side_page(side) -> Path:
    return fesplice.viewer(side)


@pytest.fixture(scope="module")
def plan_page(plan) -> Path:
    return fesplice.viewer(plan.folder, plan.folder / "viewer.html", units="us")


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    folder = WHOLE["write"](tmp_path_factory.mktemp("both") / "home", WHOLE["made"]())
    SIDE["write_run"](folder / "elevation", text=PLAN["TEXT"])
    PLAN["write_plan"](folder / "plan-pass-2")
    (folder / ".fesplice").write_text('{"kind": "prediction", "files": []}')
    return folder


# ------------------------------------------------------------------ codes
@given(st.lists(st.floats(0.0, 1e4), min_size=1, max_size=50), st.sampled_from([0.01, 0.05, 1.0]))
def test_codes_of_eight_bits_keep_a_value_in_proportion(values, fine):
    values = np.array(values)
    codes, levels = exponential(values, fine)
    # half a step of an exponential scale: (1 + top / fine)^(1/510) - 1 of the value plus what is fine
    off = np.expm1(np.log1p(max(values.max(), fine) / fine) / 510.0) * (values + fine)
    assert np.all(np.abs(levels[codes] - values) <= off * (1.0 + 1e-9) + 1e-12)
    assert levels[0] == 0.0 and np.all(np.diff(levels) > 0.0)


def test_the_stated_loss_of_a_field_is_about_two_percent():
    """An opening of 30 mm in a slab that has split leaves 0.3 mm known to better than 2 %."""
    codes, levels = exponential(np.array([30.0, 0.3, 0.05]), 0.01)
    assert levels[codes] == pytest.approx([30.0, 0.3, 0.05], rel=0.02)


@given(st.floats(-20.0, 20.0))
def test_directions_have_no_sense(angle):
    codes, levels = directions(np.array([angle]))
    apart = (levels[codes][0] - angle) % np.pi
    assert min(apart, np.pi - apart) <= np.pi / 512 * (1 + 1e-9)


def test_even_codes_and_scaled_values_come_back():
    codes, levels = even(np.array([0.0, 0.25, 1.0, 2.0]), 1.0)
    assert levels[codes] == pytest.approx([0.0, 0.25, 1.0, 1.0], abs=1 / 510)
    parcel = Parcel({"a": 1})
    values = np.array([[1.0, -2.0], [3.0, np.nan], [-4.0, 0.5]])
    parcel.scaled("x", values)
    text = parcel.text()
    assert text == parcel.text()
    told = parcel._arrays["x"]
    assert told["steps"] and told["scale"] == pytest.approx(4.0 / 32767)


# ------------------------------------------------------------------ an elevation
def test_fields_are_those_of_the_figures(side, side_page):
    header, arrays = opened(side_page)
    told, view = header["views"][0], View(side)
    row = 4
    stage = view.stage("strength", row, "deflection_mm")
    cracks = cracks_of(view, stage)
    opening = arrays["0/opening"][row]
    joints = sum(len(g.cells) for g in side.mesh.of_kind("joint").values())
    assert np.count_nonzero(opening >= 0.01 * 0.98) == len(cracks.width) - joints > 0
    # the crack of the made run: 0.4 mm at the largest load, its normal at 0.25 rad
    assert opening.max() == pytest.approx(0.4, rel=0.02)
    cracked = np.flatnonzero(opening == opening.max())
    assert arrays["0/crack"][row][cracked] == pytest.approx(0.25 + 0.5 * np.pi, abs=np.pi / 500)
    # the closure is under (1.2, 0.2, 0.5) MPa: Mohr's circle
    mean, radius = 0.7, np.hypot(0.5, 0.5)
    assert arrays["0/tension"][row].max() == pytest.approx(mean + radius, rel=0.02)
    assert arrays["0/upward"][row].max() == pytest.approx(0.2, rel=0.05)
    assert told["concrete"] == len(view.elements.size) < len(arrays["0/cells"])
    assert arrays["0/moved"][row] == pytest.approx(side.step(row).displacements(len(side.mesh.points)), abs=2e-3)


def test_bars_are_those_of_the_profiles(side, side_page):
    header, arrays = opened(side_page)
    told = header["views"][0]
    for row in (2, 6):
        for k, bar in enumerate(told["bars"]):
            state = profile(side.mesh, side.step(row).fields, bar["name"])
            here = slice(told["start"][k], told["start"][k + 1])
            assert arrays["0/bars/stress"][row, here] == pytest.approx(state.at_nodes, abs=0.02)
            assert arrays["0/bars/slip"][row, here] == pytest.approx(state.slip, abs=1e-5)
            assert arrays["0/bars/bond"][row, here] == pytest.approx(state.tau, abs=1e-3)
            assert arrays["0/bars/arc"][here] == pytest.approx(state.arc, rel=1e-6)


def test_stations_and_gauges_are_those_of_the_findings(side, side_page):
    header, arrays = opened(side_page)
    told = header["views"][0]
    row = 3
    tension = station_tension(side.mesh, side.step(row).fields, tensile_strengths(side))
    assert [p["name"] for p in told["stations"]] == [t.station for t in tension]
    tops = np.array([p["top"] for p in told["stations"]])
    assert arrays["0/stations"][row] * tops == pytest.approx([t.major for t in tension], abs=1e-3)
    asked = gauges_of(specimen_of(side))
    table = gauge_table(specimen_of(side), asked, side, None)
    for k, place in enumerate(told["gauges"]):
        wanted = table.reading[:, table.column(place["name"])]
        off = np.abs(wanted).max() / 6e4
        assert arrays["0/gauges"][:, k] * place["top"] == pytest.approx(wanted, rel=1e-3, abs=off)
    of = {g["name"]: (k, g) for k, g in enumerate(told["gauges"])}
    assert len(of) > 10 and of["A1 face"][1]["xy"] == pytest.approx([-280.0, 60.0], abs=1.0)
    assert of["midspan"][1]["xy"] == [0.0, 0.0] and of["load right"][1]["xy"] == pytest.approx([900.0, 575.0])


def test_the_plane_of_a_hook_has_its_share_split(side):
    """Half of what the cover has left is lost in the middle of the way, all of it at the end, on either side."""
    lost = {"A": (0.0, 0.5, 1.0), "B": (0.0, 0.25, 1.0)}
    mesh = SimpleNamespace(**{**vars(side.mesh), "groups": {**side.mesh.groups, "plane:A": None, "plane:B": None}})
    places = _planes(mesh)  # pyright: ignore
    assert [p.name for p in places] == ["A/plane", "B/plane"] and places[0].xy[1] == pytest.approx(60.0)
    for line, values in lost.items():
        for value in values:
            cover = np.array([1.0, 0.8, 0.6])
            fields = {f"plane:{line}/left": (1.0 - value) * cover, f"plane:{line}/cover": cover}
            assert plane_split(fields, line) == pytest.approx(value, abs=1e-12)


def test_curve_and_marks_are_told(side, side_page):
    header, arrays = opened(side_page)
    told = header["views"][0]
    assert arrays["0/curve/load"] == pytest.approx(side.curve["load_N"])
    assert {m["name"] for m in told["marks"] if m["stage"]} >= {"service", "strength"}
    assert next(m["row"] for m in told["marks"] if m["name"] == "strength") == 4
    assert told["steps"] == list(side.indices) and told["per"] == VIEWS["elevation"].per
    assert header["sentence"] == View(side).findings.assessment.sentence and header["caution"] == CAUTION


def test_the_rim_closes_and_joints_are_part_of_it(side, side_page):
    header, arrays = opened(side_page)
    edges = arrays["0/edges"].astype(int)
    _, count = np.unique(edges, return_counts=True)
    assert np.all(count % 2 == 0)
    joint = side.mesh.groups["joint:left"].cells
    ends = {tuple(sorted(pair)) for pair in edges.tolist()}
    assert all(tuple(sorted(map(int, cell[:2]))) in ends for cell in joint)


# ------------------------------------------------------------------ a plan
def test_struts_and_ties_are_those_of_the_model(plan, plan_page):
    header, arrays = opened(plan_page)
    told, view = header["views"][0], View(plan)
    row = 2
    start = arrays["0/members/start"].astype(int)
    rows = arrays["0/members"][start[row] : start[row + 1]]
    drawn = {told["members"][int(r[0])]["name"]: r[5] for r in rows}
    model = {m.name: m.force for m in truss(slab_of(view).forces, plan.step(row).fields).members}
    assert drawn and all(force == pytest.approx(model[name], rel=1e-5) for name, force in drawn.items())
    assert {"strut", "tie"} <= {told["members"][int(r[0])]["kind"] for r in rows}


def test_units_are_both_there(plan_page):
    header, _ = opened(plan_page)
    assert header["begin"] == "us"
    assert header["units"]["length"] == {"si": ["mm", 1.0], "us": ["in", 25.4]}
    assert header["units"]["force"]["us"] == ["kip", pytest.approx(4448.2216)]
    assert header["units"]["stress"]["us"] == ["ksi", pytest.approx(6.894757)]


def test_the_plane_loses_what_its_law_says():
    """One node is pulled to and fro along the bars: what is left is the secant of the law's own answer."""
    law = CohesiveInterface(58.0, np.array([2.0]), np.array([0.0]), 2.0, 0.07, along=1.0)
    path = [0.0, 0.01, 0.02, 0.05, 0.03, 0.0, 0.06, 0.2]
    history, steps = law.fresh((1, 1)), []
    for d in path:
        answer = law.respond(np.array([[[d, 0.0]]]), history, np.ones((1, 1)))
        history = answer.history
        steps.append({"interface/slip": np.array([[d, 0.0]]), "interface/stress": answer.stress[0]})
    mesh = SimpleNamespace(points=np.zeros((4, 2)), groups={"interface": SimpleNamespace(cells=np.array([[0, 3]]))})
    run = SimpleNamespace(mesh=mesh, indices=tuple(range(len(path))), step=lambda k: SimpleNamespace(fields=steps[k]))
    shape = SimpleNamespace(cells=np.array([[0, 0, 0, 0]]), concrete=1)
    plane = _Plane(SimpleNamespace(run=run), shape)  # pyright: ignore
    lost = [float(plane.lost(fields)[0]) for fields in steps]
    # a triangle of area G_F: 2 MPa at 2/58 mm, nothing at 2 G_F / f_t; secant stiffness over the elastic one
    start, fall = 2.0 / 58.0, 2.0 * 0.07 / 2.0
    secant = [1.0 if d <= start else max(2.0 * (1.0 - (d - start) / (fall - start)), 0.0) / (58.0 * d) for d in path]
    reached = np.maximum.accumulate(1.0 - np.array(secant))
    assert lost == pytest.approx(reached, abs=2e-3)
    assert lost[3] == lost[4] == lost[5] < lost[6] < lost[7] and lost[7] > 0.99


# ------------------------------------------------------------------ both views
def test_a_prediction_shows_both_views_at_one_bar_stress(home):
    path = fesplice.viewer(home)
    assert path == home / "viewer.html"
    header, arrays = opened(path)
    assert [v["name"] for v in header["views"]] == ["elevation", "plan"]
    assert header["sentence"] == fesplice.Prediction.read(home).sentence
    # the plan governs (400 MPa against 500): it leads
    assert header["lead"] == 1
    highest = [View(Run(home / name)).bar_stress for name in ("elevation", "plan-pass-2")]
    for lead in (0, 1):
        for row, pair in enumerate(header["follow"][lead]):
            assert pair[lead] == row and pair[1 - lead] == nearest(highest[1 - lead], highest[lead][row])


def test_pages_written_before_a_viewer_link_to_it(home, tmp_path):
    # what the templates leave where there is no viewer is what the link is put in place of
    waits = paper.render("_viewer.html", viewer="")
    assert "viewer.html" not in waits
    pages = {home / "elevation" / "report.html": "../viewer.html", home / "prediction.html": "viewer.html"}
    for page in pages:
        page.write_text(f"<p>Said</p>{waits}<p>more</p>", encoding="utf-8")
    fesplice.viewer(home, tmp_path / "elsewhere.html")
    assert all(waits in page.read_text(encoding="utf-8") for page in pages)
    (home / "viewer.html").unlink(missing_ok=True)
    assert viewer_of(home) == viewer_of(home / "elevation") == ""
    fesplice.viewer(home)
    for page, link in pages.items():
        text = page.read_text(encoding="utf-8")
        assert re.findall(r'<a href="([^"]*)"', text) == [link] and waits not in text
        assert (page.parent / link).resolve().is_file() and viewer_of(page.parent) == link


def test_a_view_follows_the_stress_and_is_held_where_it_carries_no_more():
    side, plan = np.array([0.0, 100.0, 200.0, 300.0, 400.0]), np.array([0.0, 90.0, 180.0, 240.0, 240.0])
    followed = follow([side, plan])
    assert [pair[1] for pair in followed[0]] == [0, 1, 2, 3, 3]
    assert [pair[0] for pair in followed[1]] == [0, 1, 2, 2, 2]


# ------------------------------------------------------------------ one file, nothing foreign
def test_one_file_that_fetches_nothing_and_runs_only_its_own(side_page):
    html = side_page.read_text(encoding="utf-8")
    read = Tags(html)
    assert html.count("<script") == 2 and "http:" not in html and "https:" not in html
    for tag, attrs in read.tags:
        assert tag not in ("link", "iframe", "object", "img", "base", "form")
        assert not any(name.startswith("on") or name in ("src", "href", "style") for name in attrs), (tag, attrs)
    policy = next(a["content"] for t, a in read.tags if t == "meta" and a.get("http-equiv"))
    assert policy and "default-src 'none'" in policy and "unsafe" not in policy
    for kind, text in (("script", read.inside["script"][-1]), ("style", read.inside["style"][0])):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    script = read.inside["script"][-1]
    makers = ("innerHTML", "outerHTML", "insertAdjacent", "document.write", "eval(", "Function(", "fetch(", "XMLHttp")
    for word in makers:
        assert word not in script, word


def test_hostile_names_are_no_markup(side_page):
    html = side_page.read_text(encoding="utf-8")
    assert "h.example" not in html and "dataset.evil" not in html and "{{" not in html
    assert opened(side_page)[0]["note"] == EVIL


def test_the_same_run_gives_the_same_page(side, side_page):
    before = side_page.read_bytes()
    assert fesplice.viewer(Run(side.folder)).read_bytes() == before


# ------------------------------------------------------------------ faults
def test_faults_are_one_line_and_nothing_is_overwritten(side, tmp_path, monkeypatch, capsys):
    with pytest.raises(InputFault, match="allowed: si, us"):
        fesplice.viewer(side, units="cgs")
    with pytest.raises(FolderFault):
        fesplice.viewer(tmp_path)
    mine = tmp_path / "viewer.html"
    mine.write_text("mine")
    with pytest.raises(FolderFault):
        fesplice.viewer(side, mine)
    assert mine.read_text() == "mine"
    from fesplice.cli import main

    monkeypatch.setattr("sys.argv", ["fesplice", "viewer", str(side.folder), "--units", "us"])
    with pytest.raises(SystemExit) as leaving:
        main()
    assert leaving.value.code == 0 and "viewer.html" in capsys.readouterr().out
    assert opened(side.folder / "viewer.html")[0]["begin"] == "us"
    fesplice.viewer(side)


def test_a_run_without_steps_says_so(tmp_path):
    run = SIDE["write_run"](tmp_path / "r", loads=(), outcome=None)
    with pytest.raises(FolderFault, match="no step is stored yet"):
        fesplice.viewer(run)


def test_a_run_that_goes_on_can_be_played(tmp_path):
    run = SIDE["write_run"](tmp_path / "r", loads=(0.0, 50e3), outcome=None)
    header, _ = opened(fesplice.viewer(run))
    assert "not finished" in header["views"][0]["outcome"] and header["views"][0]["steps"] == [0, 1]


@pytest.mark.parametrize("splice", ["straight", "continuous"])
def test_bars_without_hooks_can_be_played(tmp_path, splice):
    text = SIDE["SPECIMEN"].replace('splice = "hooked"', f'splice = "{splice}"')
    if splice == "continuous":
        text = text.replace('closure = "560 mm"', 'closure = "0 mm"')
        text = text.replace('lap = "460 mm"\nspacing = "100 mm"\n', "")
        text = re.sub(r"\[concrete.closure\].*?(?=\[steel)", "", text, flags=re.DOTALL)
    header, arrays = opened(fesplice.viewer(SIDE["write_run"](tmp_path / "r", text=text)))
    told = header["views"][0]
    assert told["stations"] == [] or splice == "straight"
    assert len(told["gauges"]) >= 2 and told["windows"]["splice"][0] < 0.0 < told["windows"]["splice"][1]
    assert arrays["0/bars/stress"].shape == (7, told["start"][-1])
