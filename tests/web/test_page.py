"""The page of a run: one file, nothing fetched, untrusted text harmless, every picture shown.

Read with the standard library's HTML parser everywhere; where Chromium is installed the page is also
laid out by it. Escaping and data URIs: HTML Living Standard, RFC 2397. 1 kip = 4.4482216 kN.
"""

from __future__ import annotations

import base64
import json
import re
import runpy
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
from PIL import Image

from fesplice.contracts import FolderFault, Outcome
from fesplice.report import report, write_page
from fesplice.report.figures import FIGURES, Drawn
from fesplice.report.view import View
from fesplice.report.views import VIEWS

DATA = runpy.run_path(str(Path(__file__).parents[1] / "unit" / "report_data.py"))
EVIL = """<script>alert('x')</script> "><img src=//h.example/x onerror=alert(1)> & {{ 7*7 }}"""
VOID = {"meta", "img", "br", "wbr", "link", "hr", "input"}
CHROMIUM = next((p for p in ("/usr/bin/chromium", shutil.which("chromium")) if p and Path(p).exists()), None)


class Reader(HTMLParser):
    """Elements, texts and attributes of a page; complains about tags that do not close in order."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open)
        self.open.pop()

    def handle_data(self, data):
        self.text.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.elements if name == tag]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    note = EVIL.replace("\\", "\\\\").replace('"', '\\"')
    text = DATA["SPECIMEN"].replace('note = "for tests"', f'note = "{note}"')
    folder = tmp_path_factory.mktemp("page") / "run"
    run = DATA["write_run"](folder, text=text)
    heard: list[str] = []
    path = report(run, progress=heard.append)
    assert heard == [FIGURES[name].title for name in VIEWS["elevation"].figures] + ["Page"]
    return path


@pytest.fixture(scope="module")
def reader(page):
    return Reader(page.read_text(encoding="utf-8"))


# ------------------------------------------------------------------ one file
def test_the_page_stands_in_the_run_folder_and_is_small(page):
    assert page.name == "report.html" and (page.parent / "manifest.json").is_file()
    assert 100_000 < page.stat().st_size < 8_000_000


def test_every_tag_closes_and_nothing_is_fetched(reader):
    assert reader.open == []
    assert not reader.of("script") and not reader.of("link") and not reader.of("iframe") and not reader.of("object")
    for _, attrs in reader.elements:
        for name, value in attrs.items():
            assert not name.startswith("on"), (name, value)
            if name in ("src", "href", "srcset", "action", "data"):
                assert value is not None and value.startswith(("data:image/", "#")), value
    policy = next(m for m in reader.of("meta") if m.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in (policy["content"] or "")


def test_style_asks_for_nothing_outside_and_knows_print(page):
    style = re.search(r"<style>(.*?)</style>", page.read_text(encoding="utf-8"), re.DOTALL)
    assert style and "@media print" in style[1] and "@page" in style[1]
    assert "url(" not in style[1] and "@import" not in style[1]


def test_untrusted_text_is_shown_not_run(page, reader):
    html = page.read_text(encoding="utf-8")
    assert "<script" not in html and "h.example/x onerror=alert(1)>" not in html
    assert EVIL in "".join(reader.text)
    # the note stands in the head line as it was written, the whole file in its listing
    assert sum(EVIL in part for part in reader.text) >= 1 and "[bars.left]" in "".join(reader.text)


def test_links_lead_to_places_on_the_page(reader):
    places = {attrs["id"] for _, attrs in reader.elements if "id" in attrs}
    for link in reader.of("a"):
        assert (link["href"] or "").removeprefix("#") in places


# ------------------------------------------------------------------ pictures
def test_every_figure_is_embedded_with_words_for_those_who_cannot_see(page, reader):
    images = reader.of("img")
    assert {attrs["id"] for attrs in reader.of("figure")} == {f"figure-{name}" for name in drawn_names(page)}
    assert len(images) == len(reader.of("figcaption")) == len(drawn_names(page))
    for image in images:
        assert len(image["alt"] or "") > 40
        kind, _, data = (image["src"] or "").partition(",")
        if kind == "data:image/png;base64":
            assert base64.b64decode(data, validate=True)[:8] == b"\x89PNG\r\n\x1a\n"
        else:
            # RFC 2397: without ";base64" what follows the comma is text with percent signs for what a URL cannot hold
            assert kind == "data:image/svg+xml" and ElementTree.fromstring(unquote(data)).tag.endswith("}svg")


def drawn_names(page: Path) -> set[str]:
    return {p.stem for p in (page.parent / "figures").glob("*.png")}


# ------------------------------------------------------------------ words and numbers
def words(reader: Reader) -> str:
    return " ".join(" ".join(reader.text).split())


def test_findings_are_told_in_both_systems(reader):
    text = words(reader)
    # 132 kN / 4.4482216 = 29.7 kip; 360 MPa / 6.894757 = 52.2 ksi; 0.6 of the largest load is the service stage
    assert "132 kN (29.7 kip)" in text
    assert re.search(r"3[56]\d(\.\d)? MPa \(5[12](\.\d)? ksi\)", text)
    assert "0.3 mm (0.0118 in)" in text
    assert Outcome.softened.value in text


def test_inputs_tell_their_origin(reader):
    text = words(reader)
    assert "1.95 MPa (0.283 ksi) given" in text
    estimate = r"3\.149 MPa \(0\.457 ksi\) estimated mean axial tensile strength f_ct ?; 0\.3 f_ck\^\(2/3\)"
    assert re.search(estimate, text)


def test_cautions_limits_and_record_are_there(reader):
    text = words(reader)
    for phrase in (
        "neither a design check nor a safety system", "licensed engineer", "plane stress", "tolerances.force",
        "out of the plane of this view", "in the plan, not in the elevation", "a warning <for> people", "diverged",
        "manifest.json", "steps/ (7 files)", "SHA-256 of the mesh",
    ):  # fmt: skip
        assert phrase in text, phrase


def test_a_failed_try_is_listed(page, reader):
    rows = re.findall(r"<tr>(.*?)</tr>", page.read_text(encoding="utf-8"), re.DOTALL)
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in rows]
    assert ["3", "0.4", "newton", "diverged", "6", "3"] in [row[:6] for row in cells]
    assert ["newton", "converged", "7"] in cells


def test_an_unfinished_run_says_so_and_figures_left_out_are_named(tmp_path):
    run = DATA["write_run"](tmp_path / "r", loads=(0.0, 50e3, 90e3), outcome=None)
    path = write_page(View(run), Drawn(left_out={"scene": "no library <here>"}), tmp_path / "deep" / "p.html")
    text = words(Reader(path.read_text(encoding="utf-8")))
    assert "not finished; the run can be resumed" in text
    assert "up to the last accepted step" in text
    assert "Deformed splice was left out: no library <here>." in text


def test_a_page_that_cannot_be_written_is_a_fault_of_one_line(page, tmp_path):
    from fesplice.store import Run

    (tmp_path / "taken").write_text("x")
    with pytest.raises(FolderFault, match="cannot be written"):
        write_page(Run(page.parent), Drawn(), tmp_path / "taken" / "p.html")


# ------------------------------------------------------------------ laid out
PROBE = """<script>
addEventListener("load", () => {
  const images = [...document.images].map(i => [i.naturalWidth, i.getBoundingClientRect().width]);
  const probe = {images, page: document.documentElement.scrollWidth, window: innerWidth,
                 letters: parseFloat(getComputedStyle(document.querySelector("p")).fontSize)};
  document.body.setAttribute("data-probe", JSON.stringify(probe));
});
</script></body>"""


def chromium(*options: str) -> str:
    assert CHROMIUM is not None
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
               "--host-resolver-rules=MAP * ~NOTFOUND", *options]  # fmt: skip
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True).stdout


@pytest.mark.parametrize("width", [1200, 600])
def test_pictures_load_and_nothing_sticks_out(page, reader, width, tmp_path):
    if CHROMIUM is None:
        # without a browser: every picture at least says its width is that of its column
        assert all(image["class"] in ("full", "narrow") for image in reader.of("img"))
        return
    html = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text(encoding="utf-8"))
    probed = tmp_path / "probed.html"
    probed.write_text(html.replace("</body>", PROBE), encoding="utf-8")
    dom = chromium(f"--window-size={width},1000", "--virtual-time-budget=10000", "--dump-dom", probed.as_uri())
    found = re.search(r'data-probe="([^"]*)"', dom)
    assert found
    probe = json.loads(found[1].replace("&quot;", '"'))
    assert len(probe["images"]) == len(reader.of("img"))
    assert all(natural > 0 and 0 < shown <= probe["window"] for natural, shown in probe["images"])
    assert probe["page"] <= probe["window"]
    assert probe["letters"] >= 16.0


def test_dark_letters_on_white_and_a_printable_page(page, tmp_path):
    if CHROMIUM is None:
        style = page.read_text(encoding="utf-8")
        assert "background: #fff; color: var(--ink)" in style and "--ink: #1a1a1a" in style
        return
    picture = tmp_path / "page.png"
    chromium("--window-size=1200,1600", f"--screenshot={picture}", page.as_uri())
    with Image.open(picture) as image:
        grey = np.asarray(image.convert("L"))
    assert np.median(grey) > 250 and grey.min() < 60 and 0.01 < (grey < 128).mean() < 0.3
    printed = tmp_path / "page.pdf"
    chromium("--no-pdf-header-footer", f"--print-to-pdf={printed}", page.as_uri())
    content = printed.read_bytes()
    assert content[:5] == b"%PDF-" and len(re.findall(rb"/Type\s*/Page[^s]", content)) > 3
