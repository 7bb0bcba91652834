"""A reduction that dies: an older test stays as it was, a new one is whole or not there, the next is the same.

Compared byte by byte with the reduction left in peace. SIGKILL is as POSIX describes it; between any two calls that
rename, write or delete (``_place`` and what it calls) the child kills itself.

Run as a program this file is the child: ``test_measured_kill.py OUT CALLS LOG RIG SPECIMEN``.
"""

from __future__ import annotations

import os
import runpy
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

COMPARE = Path(__file__).with_name("test_compare.py")
CALLS = ("rename", "replace", "rmdir")


def child(out: str, calls: int, *files: str) -> None:
    """Reduce, and die before the ``calls``-th call that puts something in its place."""
    from fesplice.measured import reduce

    left = calls
    for name in CALLS:
        real = getattr(os, name)

        def dying(*words, real=real, **more):
            nonlocal left
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*words, **more)

        setattr(os, name, dying)
    reduce([files[0]], files[1], files[2], out)


if __name__ == "__main__":
    child(sys.argv[1], int(sys.argv[2]), *sys.argv[3:])
    sys.exit(0)


def kept(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def given(tmp_path_factory) -> tuple[list[str], dict[str, bytes]]:
    """Log, rig, specimen, and what the reduction left in peace writes."""
    written = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
    data = runpy.run_path(str(Path(__file__).with_name("measured_data.py")))
    place = tmp_path_factory.mktemp("given")
    (place / "s.toml").write_text(written["SPECIMEN"], encoding="utf-8")
    t = np.arange(400.0)
    share = np.interp(t, [40.0, 360.0, 399.0], [0.0, 1.0, 0.6])
    log = data["write_log"](place / "a.csv", t, {"P": 120.0 * share, "mid": 8.0 * share})
    gauges = data["gauge"]("P", "load") + data["gauge"]("mid", "deflection", x='"0 mm"')
    rig = data["write_rig"](place / "r.toml", "R-100-U", {"P": 'unit = "kN"', "mid": 'unit = "mm"'}, gauges)
    files = [str(log), str(rig), str(place / "s.toml")]
    assert run(place / "peace", 0, files) == 0
    return files, kept(place / "peace")


def start(out: Path, calls: int, files: list[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, __file__, str(out), str(calls), *files], stderr=subprocess.PIPE)


def run(out: Path, calls: int, files: list[str]) -> int:
    process = start(out, calls, files)
    process.communicate(timeout=300)
    return process.returncode


def test_killed_between_any_two_calls_a_new_test_is_whole_or_not_there(given, tmp_path: Path) -> None:
    files, peace = given
    died, calls = 0, 1
    while True:
        out = tmp_path / f"t{calls}"
        ended = run(out, calls, files)
        if ended == 0:
            assert kept(out) == peace
            break
        assert ended == -signal.SIGKILL
        died += 1
        # a folder that stands there without a record would be somebody's: it must not be there at all
        assert not out.exists() or kept(out) == peace
        if calls % 4 == 1:
            assert run(out, 0, files) == 0 and kept(out) == peace
        calls += 1 if calls < 4 else 4
    assert died >= 2


def test_killed_while_it_replaces_an_older_test_the_older_one_or_a_mixture_that_is_told(given, tmp_path: Path) -> None:
    """The record goes last: until it stands, the older record is there, and replay tells which files are others."""
    from fesplice.measured import Test, replay

    files, peace = given
    rig = Path(files[1]).read_text(encoding="utf-8").replace("[test]\n", '[test]\nnote = "once more"\n')
    other = tmp_path / "r.toml"
    other.write_text(rig, encoding="utf-8")
    again = [files[0], str(other), files[2]]
    whole = tmp_path / "whole"
    assert run(whole, 0, files) == 0 and run(whole, 0, again) == 0
    after, before = kept(whole), peace
    for calls in (1, 3, 6, 9, 12, 15, 18):
        out = tmp_path / f"t{calls}"
        assert run(out, 0, files) == 0
        ended = run(out, calls, again)
        found = kept(out)
        record = Test.read(out)
        assert found["test.json"] in (before["test.json"], after["test.json"])
        assert record.note == ("once more" if ended == 0 or found["test.json"] == after["test.json"] else "")
        assert all(found[n] in (before.get(n), after.get(n)) for n in found)
        if ended != 0 and found != before:
            assert replay(out) or found == after
        assert run(out, 0, again) == 0 and kept(out) == after


def test_killed_at_any_time_the_raw_log_is_as_it_was(given, tmp_path: Path) -> None:
    files, peace = given
    raw = Path(files[0]).read_bytes()
    for k, wait in enumerate((0.4, 0.9, 1.3, 1.7, 2.2)):
        out = tmp_path / f"t{k}"
        process = start(out, 0, files)
        time.sleep(wait)
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=60)
        assert not out.exists() or kept(out) == peace
        assert Path(files[0]).read_bytes() == raw
    assert run(out, 0, files) == 0 and kept(out) == peace
