"""What comes with the package: examples, keys, manual, versions; extras that are asked for before anything is computed.

Source: the files of the project; the core metadata of Python packages (PyPA) for versions. The whole way through a
wheel in a fresh environment is `bash scripts/wheel`.
"""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest

import fesplice
from fesplice import read, run_study
from fesplice.cli import about, main
from fesplice.contracts import FolderFault, InputFault
from fesplice.specimen.examples import example_files, write_examples
from fesplice.specimen.keys import key_tables, matching
from fesplice.study import Resources, read_study

ROOT = Path(__file__).resolve().parents[2]
STUDY = ROOT / "models" / "studies" / "spacing-confinement.toml"


def shell(words: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(sys, "argv", ["fesplice", *words])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def test_examples_are_the_models_and_can_be_used(tmp_path: Path) -> None:
    written = write_examples(tmp_path / "new")
    assert {p.name for p in written} >= {p.name for p in (ROOT / "models").glob("*.toml")}
    for path in written:
        assert path.read_bytes() == example_files()[path.relative_to(tmp_path / "new").as_posix()].read_bytes()
    assert read(tmp_path / "new" / "as29-100-t3.toml").name == "AS29-100-T3"
    assert read_study(tmp_path / "new" / "studies" / "demo-series.toml").views


def test_a_folder_with_anything_in_it_is_refused_untouched(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(FolderFault, match="not empty") as fault:
        write_examples(tmp_path)
    assert fault.value.exit_code == 2 and [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
    with pytest.raises(FolderFault, match="not empty"):
        write_examples(tmp_path / "mine.txt")


def test_the_wheel_carries_every_example() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    carried = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    for name in example_files():
        assert carried[f"models/{name}"] == f"fesplice/examples/{name}"
    assert "Typing :: Typed" in project["project"]["classifiers"] and (ROOT / "fesplice" / "py.typed").is_file()


def test_the_citation_is_of_this_version() -> None:
    assert f"version: {fesplice.__version__}\n" in (ROOT / "CITATION.cff").read_text(encoding="utf-8")


def test_keys_are_found_by_words(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert len(matching([])) == len(key_tables())
    rows = [k.path for t in matching(["bars.left", "depth"]) for k in t.keys]
    assert "bars.left.depth" in rows and "body.depth" not in rows
    assert shell(["keys", "bars.left", "cover"], monkeypatch) == 0
    said = capsys.readouterr().out
    assert "[bars.left], [bars.right]" in said and "clear cover to the tension face" in said
    assert shell(["keys", "nothing-of-the-kind"], monkeypatch) == 2
    assert "nothing-of-the-kind" in capsys.readouterr().err


def test_versions_that_matter(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert shell(["--version"], monkeypatch) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"fesplice {fesplice.__version__} (program ")
    assert all(f"{name} {version(name)}\n" in said for name in ("numpy", "gmsh", "numba", "dask"))


def test_a_manual_that_was_not_built_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(about, "__file__", str(tmp_path / "cli" / "about.py"))
    assert shell(["manual", "--path"], monkeypatch) == 2
    assert "bash scripts/manual" in capsys.readouterr().err
    page = tmp_path / "manual" / "html" / "index.html"
    page.parent.mkdir(parents=True)
    page.write_text("<p>manual")
    opened = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    assert shell(["manual", "--path"], monkeypatch) == 0
    assert capsys.readouterr().out.strip() == str(page) and not opened
    assert shell(["manual"], monkeypatch) == 0
    assert opened == [page.as_uri()]


@pytest.mark.parametrize(("missing", "workers"), [("dask", 2), ("distributed", 1), ("cryptography", 2)])
def test_an_extra_is_asked_for_before_anything_is_computed(
    missing: str, workers: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr("fesplice.store.extras.find_spec", lambda name: None if name == missing else real(name))

    def never(*_: object) -> dict:
        raise AssertionError("computed")

    with pytest.raises(InputFault, match=rf"{missing}.*fesplice\[study\]") as fault:
        run_study(STUDY, tmp_path / "study", resources=Resources(workers), task=never)
    assert fault.value.exit_code == 2 and not (tmp_path / "study").exists()


def test_workers_are_not_asked_for_where_none_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr("fesplice.store.extras.find_spec", lambda name: None if name == "dask" else real(name))
    done = run_study(STUDY, tmp_path / "s", resources=Resources(0), task=lambda *_: {"elevation": {"state": "failed"}})
    assert done.is_file()
