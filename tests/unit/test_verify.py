"""``fesplice verify``: what was cut, edited, exchanged or made of other runs is told; what is whole agrees.

The curve is made again from the steps by another way than the one it was written by: forces of the supports and bar
forces instead of the load factor (statics). SHA-256 as in FIPS 180-4.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import FolderFault
from fesplice.pipeline import analyse, predict
from fesplice.pipeline.verify import verify_folder
from fesplice.specimen import read
from fesplice.specimen.read import vary_many
from fesplice.store.folder import read_manifest, write_manifest

MODELS = Path(__file__).resolve().parents[2] / "models"
COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 3}


@pytest.fixture(scope="module")
def computed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run of each view and a prediction, coarse and short."""
    s = vary_many(read(MODELS / "as19-100-t3.toml"), COARSE)
    home = tmp_path_factory.mktemp("computed")
    up = vary_many(s, {"loading.tension_face": "up", "compression_bars.through_closure": True})
    analyse(up, home / "up")
    analyse(vary_many(s, {"body.shear_span": "1800 mm"}), home / "three")
    predict(s, home / "prediction")
    return home


def told(folder: Path) -> dict[str, str]:
    return {look.what: look.said for look in verify_folder(folder) if look.held is False}


@pytest.mark.parametrize("name", ["up", "three", "prediction"])
def test_what_is_whole_agrees(computed: Path, name: str) -> None:
    looks = list(verify_folder(computed / name))
    assert all(look.held for look in looks), [str(look) for look in looks]
    assert sum("columns made again" in look.said for look in looks) == (4 if name == "prediction" else 1)
    shown = CliRunner().invoke(app, ["verify", str(computed / name)])
    assert shown.exit_code == 0 and f"{len(looks)} agree, 0 differ" in shown.stdout


@pytest.fixture
def copy(computed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(computed / "prediction", tmp_path / "copy"))


def test_a_cut_curve_is_told_with_the_peak_that_the_steps_have(copy: Path) -> None:
    path = copy / "elevation" / "curve.csv"
    lines = path.read_bytes().splitlines(keepends=True)
    peak, step = max((float(line.split(b",")[1]) / 1e3, int(line.split(b",")[0])) for line in lines[1:])
    path.write_bytes(b"".join(lines[:-2]))
    shown = CliRunner().invoke(app, ["verify", str(copy)])
    assert shown.exit_code == 1 and f"from the steps: peak {peak:.4g} kN, step {step}" in " ".join(shown.stdout.split())


def test_a_curve_of_an_old_run_without_digests_is_held_against_its_steps(copy: Path) -> None:
    home = copy / "plan-free"
    manifest = read_manifest(home)
    write_manifest(home, manifest | {"digests": {}})
    assert not told(home)
    path = home / "curve.csv"
    rows = [line.split(",") for line in path.read_text().splitlines()]
    rows[2][1] = repr(1.01 * float(rows[2][1]))
    path.write_text("\n".join(map(",".join, rows)) + "\n")
    assert "load_N" in told(home)[f"{path} against the steps"]


def test_findings_that_the_steps_do_not_tell_are_told(copy: Path) -> None:
    home = copy / "plan-free"
    manifest = read_manifest(home)
    found = manifest["summary"]["findings"] | {"peak_load": 1.0}
    write_manifest(home, manifest | {"summary": manifest["summary"] | {"findings": found}})
    assert "peak_load" in told(home)[f"{home}: findings against the steps"]


@pytest.mark.parametrize("key", ["load", "passes"])
def test_an_edited_prediction_is_told(copy: Path, key: str) -> None:
    path = copy / "prediction.json"
    kept = json.loads(path.read_text())
    inside = kept["prediction"]
    if key == "load":
        inside["load"] *= 2.0
    else:
        inside["coupled"]["bar_stress"] *= 2.0
    path.write_text(json.dumps(kept))
    assert f"{path} against its runs" in told(copy)


def test_an_exchanged_step_gauges_of_another_and_a_lost_mesh_are_told(copy: Path) -> None:
    steps = copy / "elevation" / "steps"
    shutil.copyfile(steps / "000001.h5", steps / "000002.h5")
    (copy / "plan-free" / "mesh.h5").unlink()
    found = told(copy)
    assert str(steps) in found and str(copy / "plan-free" / "mesh.h5") in found
    shown = CliRunner().invoke(app, ["verify", str(copy)])
    assert shown.exit_code == 1 and "is not believed" in shown.stdout


def test_gauges_of_another_prediction_are_told(copy: Path) -> None:
    path = copy / "gauges.csv"
    path.write_text(path.read_text().replace("0", "1", 1))
    assert str(path) in told(copy)


def test_no_folder_of_ours_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(FolderFault, match="is not a run folder"):
        list(verify_folder(tmp_path))
    assert CliRunner().invoke(app, ["verify", str(tmp_path / "none")]).exception is not None
