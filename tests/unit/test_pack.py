"""``fesplice pack``: one archive that unpacks to a folder the program reads and whose page anyone can open.

Unpacked with the zip module of Python's library, which reads what the format's note describes (APPNOTE 6.3).
"""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import FolderFault
from fesplice.pipeline import predict
from fesplice.pipeline.pack import LARGEST, pack
from fesplice.pipeline.pages import draw_pages
from fesplice.post.prediction import Prediction
from fesplice.post.readings import GaugeTable
from fesplice.post.record import findings
from fesplice.post.values import to_dict
from fesplice.specimen import read
from fesplice.specimen.read import vary_many
from fesplice.store import Run

MODELS = Path(__file__).resolve().parents[2] / "models"
COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 3}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A prediction, coarse and short, with its pages; what was told of its steps lies in ``told``."""
    folder = tmp_path_factory.mktemp("pack") / "p"
    seen: list[str] = []
    s = vary_many(read(MODELS / "as19-100-t3.toml"), COARSE)
    predict(s, folder, progress=lambda now, name: seen.append(name) if now is not None else None)
    # every step of every run is told, wherever it is computed
    runs = sorted(p.parent.name for p in folder.glob("*/manifest.json"))
    assert {name: seen.count(name) for name in runs} == {name: Run(folder / name).n_steps for name in runs}
    assert len(runs) >= 4 and not list(folder.glob("*.log"))
    draw_pages(folder)
    assert (folder / "elevation" / "report.html").is_file() and not list(folder.glob("*.log"))
    return folder


def unpacked(parcel: Path, place: Path) -> Path:
    with zipfile.ZipFile(parcel) as archive:
        assert archive.testzip() is None
        archive.extractall(place)
    (only,) = place.iterdir()
    return only


def test_a_prediction_unpacked_says_the_same(home: Path, tmp_path: Path) -> None:
    parcel = pack(home, tmp_path / "p.zip")
    assert parcel.size == parcel.path.stat().st_size <= LARGEST
    there = unpacked(parcel.path, tmp_path / "away")
    assert to_dict(Prediction.read(there)) == to_dict(Prediction.read(home))
    assert GaugeTable.read(there).to_csv() == GaugeTable.read(home).to_csv()
    for run in ("elevation", "plan-free", "plan-intact", "plan-pass-1"):
        assert to_dict(findings(Run(there / run))) == to_dict(findings(Run(home / run)))
    shown = [CliRunner().invoke(app, ["summary", str(place)]) for place in (home, there)]
    assert shown[0].exit_code == shown[1].exit_code == 0 and shown[0].stdout == shown[1].stdout
    # the page holds all it shows, and links to pages that went along
    text = (there / "prediction.html").read_text(encoding="utf-8")
    links = re.findall(r'(?:src|href)="(?!data:|#)([^"]+)"', text)
    assert links and all((there / link).is_file() for link in links if "://" not in link)
    assert "not a design check" in (there / "README.txt").read_text(encoding="utf-8")


def test_one_run_unpacked_says_the_same(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["pack", str(home / "elevation")])
    assert done.exit_code == 0 and "elevation.zip" in done.stdout
    there = unpacked(tmp_path / "elevation.zip", tmp_path / "away")
    assert to_dict(findings(Run(there))) == to_dict(findings(Run(home / "elevation")))
    assert (there / "specimen.toml").read_text(encoding="utf-8") == Run(there).specimen_text
    assert {p.suffix for p in (there / "figures").iterdir()} == {".csv"} and not (there / "steps").exists()
    told = [CliRunner().invoke(app, ["summary", str(place)]).stdout for place in (home / "elevation", there)]
    assert told[0].replace(str(home / "elevation"), "X") == told[1].replace(str(there), "X")


def test_the_same_folder_gives_the_same_archive(home: Path, tmp_path: Path) -> None:
    one, two = (pack(home, tmp_path / name).path.read_bytes() for name in ("1.zip", "2.zip"))
    assert one == two


def test_nothing_is_overwritten_and_what_is_not_ready_is_refused(home: Path, tmp_path: Path) -> None:
    taken = tmp_path / "taken.zip"
    taken.write_text("mine")
    with pytest.raises(FolderFault, match="stands there already"):
        pack(home, taken)
    assert taken.read_text() == "mine"
    with pytest.raises(FolderFault, match=r"no page report\.html yet: fesplice pictures"):
        pack(home / "plan-free", tmp_path / "new.zip")
    with pytest.raises(FolderFault, match="not a run folder"):
        pack(tmp_path, tmp_path / "new.zip")
    assert [p.name for p in tmp_path.iterdir()] == ["taken.zip"]
