"""A running test followed: whole lines only, rotation, truncation, half lines; signals; a page for this machine alone.

The run is written by hand (``report_data``: 132 kN at the fifth step, 2 mm of deflection a step). Files are changed as
POSIX describes rename and truncate; the Host header as RFC 9110, section 7.2, and loopback as RFC 1122 have it.
"""

from __future__ import annotations

import http.client
import json
import os
import runpy
import socket
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from fesplice.cli import main
from fesplice.contracts import FolderFault, InputFault
from fesplice.measured.follow import Tail
from fesplice.measured.live import Live, Now
from fesplice.measured.live_text import line, screen
from fesplice.pipeline.watch import Page, follow, there

COMPARE = runpy.run_path(str(Path(__file__).with_name("test_compare.py")))
MADE, DATA, WRITTEN = (COMPARE[k] for k in ("MADE", "DATA", "WRITTEN"))
HEAD = "time_s;P;mid;face\n;kN;mm;um/m\n"
GAUGES = (
    DATA["gauge"]("P", "load") + DATA["gauge"]("mid", "deflection", x='"0 mm"')
    + DATA["gauge"]("face", "bar_strain", bar='"A1"', from_joint='"0 mm"')
)  # fmt: skip


# ------------------------------------------------------------------ the file
def test_half_a_line_waits_for_its_end(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"a;1\r\nb;")
    tail = Tail(path)
    assert tail.look().lines == ("a;1",)
    with path.open("ab") as stream:
        stream.write(b"2\nc")
    assert tail.look().lines == ("b;2",)
    assert tail.look().lines == ()
    tail.close()


def test_a_log_that_is_renamed_is_read_to_its_end_and_the_new_one_from_its_beginning(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("1\n2\n")
    tail = Tail(path)
    tail.look()
    with path.open("a") as old:
        old.write("3\n")
        old.flush()
        path.rename(tmp_path / "log.1.csv")
        assert tail.look().lines == ("3",) and not tail.gone
        old.write("4\n")
    path.write_text("5\n")
    found = [tail.look() for _ in range(3)]
    assert [x for g in found for x in g.lines] == ["4", "5"] and sum(g.anew for g in found) == 1
    tail.close()


def test_a_log_cut_to_nothing_is_read_anew_even_where_it_has_grown_beyond(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("1\n2\n3\n")
    tail = Tail(path)
    tail.look()
    os.truncate(path, 0)
    assert tail.look().lines == ()
    path.write_text("9\n")
    assert tail.look().lines == ("9",)
    with path.open("r+") as stream:
        stream.truncate()
        stream.write("7\n8\n6\n5\n")
    got = tail.look()
    assert got.lines == ("7", "8", "6", "5") and got.anew
    tail.close()


def test_a_log_that_is_not_there_yet_is_waited_for_and_letters_of_two_bytes_are_not_cut(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    tail = Tail(path, "utf-16-le")
    assert tail.look().lines == () and tail.gone
    data = "Prüfung;1\nü\n".encode("utf-16-le")
    path.write_bytes(data[:5])
    assert tail.look().lines == () and not tail.gone
    path.write_bytes(data)
    assert tail.look().lines == ("Prüfung;1", "ü")
    tail.close()


# ------------------------------------------------------------------ the test
@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("watch") / "p"
    WRITTEN["write_run"](folder / "elevation")
    COMPARE["PLAN"]["write_plan"](folder / "plan-pass-2")
    MADE["write"](folder, MADE["made"](load=110e3, expected=COMPARE["SHOWS"]))
    (folder / "specimen.toml").write_text(WRITTEN["SPECIMEN"], encoding="utf-8")
    return folder


def rig(place: Path, head: str = "") -> Path:
    channels = {"P": 'unit = "kN"', "mid": 'unit = "mm"', "face": 'unit = "um/m"'}
    return DATA["write_rig"](place / "r.toml", "R-100-U", channels, GAUGES, head)


def rows(load: np.ndarray, start: float = 0.0, soft: float = 1.0, strain: float = 1.0) -> str:
    """Lines of a log as the run would read: deflection times ``soft``, strain times ``strain``."""
    at = np.array(WRITTEN["LOADS"][:5]) / 1e3
    mid = soft * np.interp(load, at, [0.0, 2.0, 4.0, 6.0, 8.0])
    face = strain * 1800.0 * np.interp(load, at, [0.0, 0.25, 0.5, 0.75, 1.0])
    lines = enumerate(zip(load, mid, face, strict=True))
    return "".join(f"{start + 0.1 * k:.1f};{p:.3f};{m:.4f};{e:.1f}\n" for k, (p, m, e) in lines)


REST = np.zeros(30)


def live_of(home: Path, place: Path, head: str = "") -> tuple[Live, Path]:
    log = place / "log.csv"
    return follow(log, home, rig(place, head)), log


def add(log: Path, text: str) -> None:
    with log.open("a", encoding="utf-8") as stream:
        stream.write(text)


def test_load_stress_and_deflection_are_those_of_the_log(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    assert live.look().state == "waiting for readings"
    add(log, HEAD + rows(REST))
    assert live.look().load == pytest.approx(0.0)
    add(log, rows(np.linspace(0.0, 80.0, 200), 3.0) + rows(np.full(10, 80.0), 23.0))
    now = live.look()
    assert now.load == pytest.approx(80e3) and now.largest == pytest.approx(80e3)
    assert now.share == pytest.approx(80.0 / 110.0) and now.deflection == pytest.approx(4.0)
    # M = P a and own weight of 23.9 kNm, over a lever arm of 0.928 d (hand check of the series)
    by_hand = (80e3 * 1500.0 + 23.9e6) / (1290.0 * 0.928 * 515.0)
    assert now.bar_stress == pytest.approx(by_hand, rel=0.03)
    assert now.stiffness == pytest.approx(1.0, abs=0.05) and not now.outside
    assert [s.text for s in now.signals] == ["60 % of the predicted load"]
    assert "110" not in now.coming and now.ahead > 0.0
    assert "No safety system" in screen(now, "x") and "80.0 kN per ram" in line(now)
    live.close()


def test_signals_come_once_at_60_80_and_95_percent(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 109.0, 400), 3.0) + rows(np.linspace(109.0, 90.0, 50), 43.0))
    add(log, rows(np.linspace(90.0, 109.0, 50), 48.0))
    shares = [s for s in live.look().signals if s.level == "share"]
    assert [s.text[:4] for s in shares] == ["60 %", "80 %", "95 %"]
    assert [s.load for s in shares] == pytest.approx([66e3, 88e3, 104.5e3], rel=0.02)
    live.close()


def test_a_loss_of_stiffness_is_told_and_an_honest_test_gives_none(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 60.0, 300), 3.0))
    assert not [s for s in live.look().signals if s.level != "share"]
    # from here deflection grows four times as fast as computed
    load = np.linspace(60.0, 75.0, 150)
    mid = 3.0 + 4.0 * (load - 60.0) * 2.0 / 40.0
    add(log, "".join(f"{33 + 0.1 * k:.1f};{p:.3f};{m:.4f};0\n" for k, (p, m) in enumerate(zip(load, mid))))
    found = [s for s in live.look().signals if s.level == "stiffness"]
    assert len(found) == 1 and 60e3 < found[0].load < 68e3
    live.close()


def test_a_load_that_falls_while_the_beam_goes_on_is_told_and_unloading_is_not(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    up = HEAD + rows(REST) + rows(np.linspace(0.0, 60.0, 300), 3.0)
    add(log, up + rows(np.linspace(60.0, 20.0, 100), 33.0))
    assert not [s for s in live.look().signals if s.level == "fall"]
    live.close()
    other = tmp_path / "b"
    other.mkdir()
    live, log = live_of(home, other)
    add(log, up + "".join(f"{33 + 0.1 * k:.1f};{60 - k:.1f};{3.0 + 0.02 * k:.3f};0\n" for k in range(20)))
    found = [s for s in live.look().signals if s.level == "fall"]
    assert len(found) == 1 and found[0].load == pytest.approx(57e3, abs=4e3)
    live.close()


def test_a_gauge_that_leaves_its_band_is_named_with_it(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 80.0, 200), 3.0, strain=2.0))
    live.look()
    add(log, rows(np.full(30, 80.0), 23.0, strain=2.0))
    now = live.look()
    assert [g.gauge for g in now.outside] == ["face"]
    assert now.outside[0].reading == pytest.approx(1800.0, rel=0.01) and now.outside[0].high < 1500.0
    live.close()


def test_it_survives_rotation_truncation_and_odd_lines(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 50.0, 200), 3.0))
    live.look()
    log.rename(tmp_path / "log.old")
    assert live.look().load == pytest.approx(50e3, rel=0.02)
    add(log, HEAD + rows(np.linspace(50.0, 60.0, 50), 23.0) + "logger restarted\n28.0;60.0")
    for _ in range(3):
        now = live.look()
    assert now.largest == pytest.approx(60e3, rel=0.01) and now.begun == 1 and now.passed >= 2
    os.truncate(log, 0)
    log.write_text(HEAD + rows(np.full(20, 40.0), 28.0), encoding="utf-8")
    now = live.look()
    # zeros and the largest load are of the test, not of the file
    assert now.load == pytest.approx(40e3, rel=0.01) and now.largest == pytest.approx(60e3, rel=0.01)
    assert now.begun == 2
    log.unlink()
    live.look()
    now = live.look()
    assert now.load == pytest.approx(40e3, rel=0.01) and now.state == "the log is gone; waiting for it"
    live.close()


def test_a_zero_window_without_readings_is_told(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path, "zero_window = [1.0, 2.0]\n")
    add(log, HEAD + "0.0;5.0;0;0\n")
    assert "zero is being read" in live.look().state
    add(log, rows(np.full(20, 30.0), 5.0))
    now = live.look()
    assert "NO ZERO was read for P" in now.state and now.load == pytest.approx(30e3)
    live.close()


def test_following_costs_less_than_a_twentieth_of_a_core_at_ten_readings_a_second(home: Path, tmp_path: Path) -> None:
    """Four looks and ten readings a second: CPU time of ten seconds' worth of both, done as fast as it goes."""
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 60.0, 300), 3.0))
    live.look()
    begin = time.process_time()
    for k in range(40):
        add(log, rows(np.full(3, 60.0), 33.0 + 0.3 * k))
        screen(live.look(), "x")
    assert time.process_time() - begin < 0.05 * 10.0
    live.close()


# ------------------------------------------------------------------ several logs
def two(home: Path, place: Path, head: str = "") -> tuple[Live, Path, Path]:
    """Load and deflection ten times a second in one log, the gauge on the bar once a second in another."""
    loads, strains = place / "loads.csv", place / "strains.csv"
    return follow([strains, loads], home, rig(place, head)), loads, strains


def of_loads(t: np.ndarray, load: np.ndarray) -> str:
    return "".join(f"{a:.1f};{p:.3f};{p / 20.0:.4f}\n" for a, p in zip(t, load, strict=True))


def test_logs_of_two_loggers_are_joined_by_time_as_the_reduction_joins_them(home: Path, tmp_path: Path) -> None:
    """Held against the reduction of the same files: straight lines between the readings of the slower logger."""
    live, loads, strains = two(home, tmp_path, "zero_window = [0.0, 5.0]\n")
    t = np.arange(0.0, 40.0, 0.1)
    load = np.interp(t, [0.0, 6.0, 40.0], [0.0, 0.0, 80.0])
    slow = np.arange(0.3, 42.0, 0.7)
    loads.write_text("time_s;P;mid\n;kN;mm\n" + of_loads(t, load), encoding="utf-8")
    strain = 12.0 + 15.0 * np.interp(slow, t, load)
    text = "".join(f"{a:.1f};{e:.2f}\n" for a, e in zip(slow, strain, strict=True))
    strains.write_text("time_s;face\n;um/m\n" + text, encoding="utf-8")
    seen = live.stream.look(last=True)
    at = [c.name for c in live.stream.channels].index("face")
    # counters: first readings are simultaneous
    own = slow - slow[0]
    zero = np.interp(t[t <= 5.0], own, strain).mean()
    wanted = (np.interp(t, own, strain) - zero) * 1e-6
    assert [row[1][at] for row in seen] == pytest.approx(wanted, abs=1e-8)

    from fesplice.measured import reduce

    specimen = tmp_path / "s.toml"
    specimen.write_text(WRITTEN["SPECIMEN"], encoding="utf-8")
    table = reduce([loads, strains], tmp_path / "r.toml", specimen, tmp_path / "test").series("readings")
    for k, name in enumerate(("P [N]", "mid [mm]", "face [strain]")):
        assert [row[1][k] for row in seen] == pytest.approx(table[name], rel=1e-9, abs=1e-12), name
    live.close()


def test_the_load_does_not_wait_for_a_logger_that_lags_and_the_lag_is_told(home: Path, tmp_path: Path) -> None:
    live, loads, strains = two(home, tmp_path)
    t = np.arange(0.0, 30.0, 0.1)
    loads.write_text("time_s;P;mid\n;kN;mm\n" + of_loads(t[:40], 0.0 * t[:40]), encoding="utf-8")
    assert live.look().state == "waiting for readings of strains.csv"
    strains.write_text("time_s;face\n;um/m\n" + "".join(f"{k / 2};7\n" for k in range(20)), encoding="utf-8")
    add(loads, of_loads(t[40:80], np.linspace(0.0, 8.0, 40)))
    assert live.look().state == "following"
    add(loads, of_loads(t[80:], np.linspace(8.0, 40.0, 220)))
    now = live.look()
    assert now.load == pytest.approx(40e3, rel=0.02) and "strains.csv is 20 s behind" in now.state
    strains.unlink()
    live.look()
    assert "strains.csv is gone" in live.look().state
    live.close()


def test_a_clock_that_starts_again_in_a_new_file_is_counted_on(home: Path, tmp_path: Path) -> None:
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 40.0, 100), 3.0))
    live.look()
    log.rename(tmp_path / "log.old")
    live.look()
    add(log, HEAD + rows(np.full(20, 50.0), 0.0))
    assert live.look().t == pytest.approx(12.9 + 2.0, abs=0.2)
    live.close()


def test_logs_that_do_not_go_together_are_one_message(home: Path, tmp_path: Path) -> None:
    text = HEAD + rows(REST)
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputFault, match="stands in another log too"):
        follow([tmp_path / "a.csv", tmp_path / "b.csv"], home, rig(tmp_path)).look()
    (tmp_path / "b.csv").write_text("time_s;Q\n;kN\n" + "".join(f"{k};{k}\n" for k in range(9)), encoding="utf-8")
    with pytest.raises(InputFault, match="holds no mapped channel; columns: time_s, Q"):
        follow([tmp_path / "a.csv", tmp_path / "b.csv"], home, rig(tmp_path)).look()
    with pytest.raises(InputFault, match="is named twice"):
        there([log := tmp_path / "a.csv", log])


# ------------------------------------------------------------------ the page
def ask(port: int, path: str, host: str | None = None) -> tuple[int, bytes, str]:
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    link.request("GET", path, headers={"Host": host} if host else {})
    answer = link.getresponse()
    found = answer.status, answer.read(), answer.getheader("Content-Security-Policy") or ""
    link.close()
    return found


@pytest.fixture
def served(home: Path, tmp_path: Path):
    live, log = live_of(home, tmp_path)
    add(log, HEAD + rows(REST) + rows(np.linspace(0.0, 80.0, 200), 3.0))
    page = Page(live)
    page.show(live.look())
    yield page
    page.close()
    live.close()


def test_the_page_is_served_to_this_machine_alone_under_its_own_name(served: Page) -> None:
    status, body, _ = ask(served.port, "/")
    assert status == 200 and b"No safety system" in body and b"now.json" in body and b"http://" not in body
    now = json.loads(ask(served.port, "/now.json")[1])
    assert now["load"] == pytest.approx(80e3, rel=0.02) and now["caution"].startswith("No safety system")
    assert ask(served.port, "/../etc/passwd")[0] == 404 and ask(served.port, "/x")[0] == 404
    # a name that leads here by somebody else's doing gets nothing
    assert ask(served.port, "/now.json", "evil.example")[0] == 404
    assert served._server.server_address[0] == "127.0.0.1"
    with socket.socket() as other, pytest.raises(OSError):
        other.settimeout(2.0)
        other.connect((socket.gethostbyname(socket.gethostname()), served.port + 1))


def test_a_port_that_is_taken_is_one_message(served: Page, home: Path, tmp_path: Path) -> None:
    live, _ = live_of(home, tmp_path)
    with pytest.raises(InputFault, match=f"no page on port {served.port}"):
        Page(live, served.port)
    with pytest.raises(InputFault, match="no page on port 70000"):
        Page(live, 70000)


# ------------------------------------------------------------------ the verb
def run(monkeypatch, capsys, *words: str) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["fesplice", *words])
    with pytest.raises(SystemExit) as end:
        main()
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


def test_the_verb_follows_a_growing_log_and_gives_signals(home: Path, tmp_path: Path, monkeypatch, capsys) -> None:
    log = tmp_path / "log.csv"
    log.write_text(HEAD + rows(REST), encoding="utf-8")

    def grow() -> None:
        for k, part in enumerate(np.array_split(np.linspace(0.0, 100.0, 400), 8)):
            time.sleep(0.15)
            text = rows(part, 3.0 + 5.0 * k)
            # the logger writes when its buffer is full, in the middle of a line
            for half in (text[:-7], text[-7:]):
                add(log, half)
                time.sleep(0.05)

    worker = threading.Thread(target=grow)
    worker.start()
    words = ("--prediction", str(home), "--rig", str(rig(tmp_path)), "--end-after", "1.5")
    code, out, _ = run(monkeypatch, capsys, "watch", str(log), *words)
    worker.join()
    assert code == 0 and out.startswith("No safety system")
    assert out.count("SIGNAL 60 % OF THE PREDICTED LOAD") == 1 and out.count("SIGNAL 80 %") == 1
    # the mean of the last five readings, 0.25 kN apart
    assert "99.5 kN per ram" in out


def test_bad_calls_are_one_message(home: Path, tmp_path: Path, monkeypatch, capsys) -> None:
    good = rig(tmp_path)
    code, _, said = run(monkeypatch, capsys, "watch", str(tmp_path), "--prediction", str(home), "--rig", str(good))
    assert code == 2 and "is a folder" in said
    code, _, said = run(
        monkeypatch, capsys, "watch", str(tmp_path / "no" / "log"), "--prediction", str(home), "--rig", str(good)
    )
    assert code == 2 and "no such folder" in said
    log = tmp_path / "log.csv"
    log.write_text("time_s;Q\n;kN\n" + "".join(f"{k};{k}\n" for k in range(30)), encoding="utf-8")
    words = ("--prediction", str(home), "--rig", str(good), "--end-after", "1")
    code, _, said = run(monkeypatch, capsys, "watch", str(log), *words)
    assert code == 2 and "no column reads the load (P)" in said
    with pytest.raises(FolderFault):
        follow(log, tmp_path, good)


def test_nothing_is_known_before_the_first_reading() -> None:
    nan = float("nan")
    empty = Now("waiting for readings", nan, *([nan] * 6), (), 0, "", nan, (), 0, 0, 0)
    assert line(empty) == "waiting for readings; 0 readings"
    assert empty.to_dict()["load"] is None and "no signal so far" in screen(empty, "x")
