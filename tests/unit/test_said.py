"""What leaves the program as text does nothing but say: terminal, tables, messages, any encoding.

Control sequences: ECMA-48 (ESC [ 2 J clears a screen). Formula cells: CWE-1236.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.cli.console import CHARACTERS, LINES, bounded, visible
from fesplice.contracts import FolderFault, Outcome
from fesplice.post.record import findings
from fesplice.specimen import read, vary
from fesplice.store import Run
from fesplice.store.cells import harmless, meant
from fesplice.store.folder import write_manifest
from fesplice.study.table import csv_text, read_csv

MODELS = Path(__file__).resolve().parents[2] / "models"


def test_terminal_escapes_and_turned_writing_are_spelled_out() -> None:
    assert visible("a\x1b[2Jb\x07\x9b1m\u202ec\td\n") == "a\\x1b[2Jb\\x07\\x9b1m\\u202ec\td\n"


def test_escapes_of_a_note_do_not_reach_the_terminal(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(vary(read(MODELS / "as29-100-u.toml"), "note", "x\x1b]0;owned\x07y").text)
    shown = CliRunner().invoke(app, ["check", str(file)])
    assert shown.exit_code == 0 and "\x1b" not in shown.stdout and "x\\x1b]0;owned\\x07y" in shown.stdout


def test_a_message_stays_short_and_counts_the_rest() -> None:
    many = bounded("\n".join(f"- fault {k}" for k in range(300)))
    assert len(many.splitlines()) == LINES and many.endswith("... and 261 more lines")
    assert len(bounded("x" * 9000)) <= CHARACTERS and "more characters" in bounded("x" * 9000)
    assert len(bounded("\n".join(["y" * 500] * 30))) <= CHARACTERS
    assert bounded("two\nlines") == "two\nlines"


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-8"])
def test_any_encoding_of_standard_output_takes_every_text(encoding: str) -> None:
    code = "import sys; from fesplice.cli import main; sys.argv = ['fesplice', 'keys', 'span']; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env=os.environ | {"PYTHONIOENCODING": encoding}
    )
    assert done.returncode == 0 and b"body.span" in done.stdout or b"span" in done.stdout, done.stderr
    assert b"Traceback" not in done.stderr
    spelled = "import sys; from fesplice.cli.console import any_encoding, out; any_encoding(); out.print('h² ≤ 3° Ⅷ')"
    done = subprocess.run(
        [sys.executable, "-c", spelled], capture_output=True, env=os.environ | {"PYTHONIOENCODING": encoding}
    )
    assert done.returncode == 0
    if encoding == "ascii":
        assert done.stdout.strip() == b"h2 <= 3 deg \\u2167"


@pytest.mark.parametrize("text", ["=1+1", "+cmd|x", "-x", "@SUM(A1)", "\t=1", " =1"])
def test_no_cell_is_a_formula_and_what_was_meant_comes_back(text: str, tmp_path: Path) -> None:
    assert harmless(text) == f"'{text}" and meant(harmless(text)) == text
    path = tmp_path / "t.csv"
    path.write_text(csv_text([text, "n"], [{text: text, "n": -1.5}]))
    with open(path, newline="") as stream:
        assert all(cell[0] == "'" or cell in ("n", "-1.5") for row in csv.reader(stream) for cell in row)
    assert read_csv(path) == [{text: text, "n": -1.5}]


@pytest.mark.parametrize("text", ["-1.5", "+3", "1e-9", "plain", "'quoted'", "-inf", "a-b"])
def test_numbers_and_plain_texts_stay(text: str) -> None:
    assert harmless(text) == text == meant(text)


def test_a_plan_without_the_columns_of_its_bars_is_a_fault_of_the_folder(tmp_path: Path) -> None:
    """A run of an earlier version, without digests: its curve can be read and lacks what it must have."""
    import runpy

    home = tmp_path / "plan"
    runpy.run_path(str(Path(__file__).with_name("plan_data.py")))["write_plan"](home)
    manifest = json.loads((home / "manifest.json").read_text())
    write_manifest(home, manifest | {"digests": {}, "summary": {}})
    good = Path(shutil.copytree(home, tmp_path / "good"))
    assert findings(Run(good)).peak_load > 0.0
    with open(home / "curve.csv", newline="") as stream:
        rows = list(csv.reader(stream))
    keep = [j for j, name in enumerate(rows[0]) if not name.startswith("bar_stress")]
    (home / "curve.csv").write_text("".join(",".join(row[j] for j in keep) + "\n" for row in rows))
    with pytest.raises(FolderFault, match=str(home)):
        findings(Run(home))
    assert CliRunner().invoke(app, ["summary", str(home)]).exit_code != 0


def test_a_fault_of_a_reader_on_files_that_are_vouched_for_is_not_blamed_on_them(tmp_path: Path) -> None:
    import runpy

    from fesplice.store.run import believing

    run = runpy.run_path(str(Path(__file__).with_name("plan_data.py")))["write_plan"](tmp_path / "plan")

    @believing
    def broken(run: Run) -> None:
        raise KeyError("a slip in the reader")

    with pytest.raises(KeyError, match="a slip"):
        broken(run)


def test_a_fault_of_a_reader_is_not_blamed_on_an_unfinished_run_nor_a_slip_of_the_program_on_any(
    tmp_path: Path,
) -> None:
    """The first by the digests of the state, the second by its kind: no file makes an object of ours lack a name."""
    import runpy

    from fesplice.store.run import believing

    @believing
    def broken(run: Run, fault: type[Exception] = KeyError) -> None:
        raise fault("a slip in the reader")

    parts = runpy.run_path(str(Path(__file__).with_name("test_store.py")))
    with parts["begin"](tmp_path / "grows") as writer:
        for step in (1, 2):
            writer.attempt(step=step, number=1, outcome=Outcome.converged, seconds=0.5)
            writer.accept(parts["record"](step))
    run = Run(tmp_path / "grows")
    assert run.vouched
    with pytest.raises(KeyError, match="a slip"):
        broken(run)
    curve = tmp_path / "grows" / "curve.csv"
    curve.write_bytes(curve.read_bytes().replace(b"1", b"2", 1))
    with pytest.raises(FolderFault):
        broken(Run(tmp_path / "grows"))
    for fault in (AttributeError, RuntimeError, NameError, AssertionError):
        with pytest.raises(fault, match="a slip"):
            broken(Run(tmp_path / "grows"), fault)
