"""The page of a running test in a real Chromium: it updates by itself, tells signals and gauges, and fits a phone.

The run is written by hand (``report_data``); text is put in as text (HTML Living Standard); WCAG 2.2, 1.4.10 (no
scrolling in two directions) for narrow screens.
"""

from __future__ import annotations

import runpy
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

from fesplice.pipeline.watch import Page

WATCH = runpy.run_path(str(Path(__file__).parents[1] / "unit" / "test_watch.py"))
EVIL = "<img src=x onerror=document.body.dataset.evil=1>"


@pytest.fixture(scope="module")
def chrome() -> Iterator[webdriver.Chrome]:
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if browser is None or driver is None:
        pytest.fail("Chromium and its driver are needed (Debian: apt-get install chromium chromium-driver)")
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    alone = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", alone):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    chrome = webdriver.Chrome(options=options, service=Service(driver))
    yield chrome
    chrome.quit()


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    made, written, compare = (WATCH[k] for k in ("MADE", "WRITTEN", "COMPARE"))
    folder = tmp_path_factory.mktemp("live") / "p"
    written["write_run"](folder / "elevation")
    compare["PLAN"]["write_plan"](folder / "plan-pass-2")
    made["write"](folder, made["made"](load=110e3, expected=compare["SHOWS"]))
    (folder / "specimen.toml").write_text(written["SPECIMEN"], encoding="utf-8")
    return folder


def words(chrome: webdriver.Chrome, mark: str) -> str:
    return str(chrome.execute_script(f"return document.getElementById('{mark}').textContent"))


def until(chrome: webdriver.Chrome, mark: str, text: str) -> None:
    WebDriverWait(chrome, 20.0, 0.1).until(lambda c: text in words(c, mark))


def test_it_updates_by_itself_and_says_what_it_is_not(chrome, home: Path, tmp_path: Path) -> None:
    rows, add, rest = WATCH["rows"], WATCH["add"], WATCH["REST"]
    live, log = WATCH["live_of"](home, tmp_path)
    page = Page(live)
    try:
        page.show(live.look())
        chrome.get(page.address)
        until(chrome, "state", "waiting for readings")
        assert words(chrome, "caution").startswith("No safety system")
        add(log, WATCH["HEAD"] + rows(rest) + rows(np.linspace(0.0, 50.0, 200), 3.0))
        page.show(live.look())
        # the mean of the last five readings, 0.25 kN apart
        until(chrome, "load", "49.5")
        assert words(chrome, "signals") == "" and words(chrome, "share") == "45"
        add(log, rows(np.linspace(50.0, 90.0, 200), 23.0, strain=2.0) + rows(np.full(20, 90.0), 43.0, strain=2.0))
        live.look()
        add(log, rows(np.full(20, 90.0), 45.0, strain=2.0))
        page.show(live.look())
        until(chrome, "load", "90.0")
        assert "60 % of the predicted load" in words(chrome, "signals") and "80 %" in words(chrome, "signals")
        assert words(chrome, "outside").startswith("face") and words(chrome, "largest") == "90.0"
        assert not [x for x in chrome.get_log("browser") if x["level"] == "SEVERE" and "favicon" not in x["message"]]
        for width in (1400, 420):
            chrome.execute_cdp_cmd(
                "Emulation.setDeviceMetricsOverride",
                {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False},
            )
            assert chrome.execute_script("return document.documentElement.scrollWidth") <= width
    finally:
        page.close()
        live.close()
    # the program has ended: what stands there is called old
    hidden = "return document.getElementById('stale').hidden"
    WebDriverWait(chrome, 20.0, 0.1).until(lambda c: not c.execute_script(hidden))


def test_what_a_log_or_file_says_is_text(chrome, home: Path, tmp_path: Path) -> None:
    from dataclasses import replace

    live, _ = WATCH["live_of"](home, tmp_path)
    page = Page(live)
    try:
        page.show(replace(live.look(), state=EVIL, coming=EVIL))
        chrome.get(page.address)
        until(chrome, "state", EVIL)
        until(chrome, "coming", EVIL)
        assert chrome.execute_script("return document.body.dataset.evil") is None
        assert chrome.execute_script("return document.images.length") == 0
    finally:
        page.close()
        live.close()
