"""Folders that the trials start from: an unfinished run, runs of both views, a prediction, a study, a reduced test."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fesplice.contracts import Outcome
from fesplice.measured import reduce
from fesplice.pipeline import analyse, predict
from fesplice.specimen import Specimen, read
from fesplice.specimen.read import vary_many
from fesplice.store.folder import read_manifest, write_manifest
from fesplice.study import Resources, Table, run_study

MODELS = Path(__file__).resolve().parents[2] / "models"
#: Coarse and short: seconds, and every kind of file is there.
COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 3}
STUDY = """
name = "Faults"
base = "{base}"
views = "elevation"
[set]
"mesh.splice" = "50 mm"
"mesh.elsewhere" = "120 mm"
"analysis.step" = "0.05 mm"
"analysis.max_steps" = 4
[grid]
"bars.left.depth" = [{depths}]
"""


@cache
def coarse(name: str = "as19-100-t3", **more: object) -> Specimen:
    """A demonstration specimen that computes in a second."""
    return vary_many(read(MODELS / f"{name}.toml"), COARSE | more)


def study_text(cases: int = 3) -> str:
    """A study of so many short cases; all of them can be built, however many."""
    step = min(0.1, 15.0 / cases)
    depths = ", ".join(f'"{380.0 + step * k:.3f} mm"' for k in range(cases))
    return STUDY.format(base=MODELS / "plain" / "cracked-section.toml", depths=depths)


@dataclass(frozen=True)
class Made:
    """Where each folder lies."""

    home: Path

    @property
    def folders(self) -> dict[str, Path]:
        """All of them by name."""
        return {name: self.home / name for name in ("elevation", "plan", "unfinished", "prediction", "study", "test")}


def make(home: Path) -> Made:
    """Compute them once."""
    made = Made(home)
    s = coarse()
    analyse(s, home / "elevation")
    analyse(s, home / "plan", view="plan")
    shutil.copytree(home / "elevation", home / "unfinished")
    manifest = read_manifest(home / "unfinished")
    interrupted = {"name": Outcome.interrupted.name, "sentence": Outcome.interrupted.value}
    write_manifest(home / "unfinished", manifest | {"outcome": interrupted, "summary": {}, "digests": {}, "steps": 0})
    predict(s, home / "prediction")
    file = home / "study.toml"
    file.write_text(study_text(), encoding="utf-8")
    run_study(file, home / "study", resources=Resources(workers=0))
    with Table(home / "study") as table:
        table.export()
    logged = MODELS / "tests" / "as19-100-t3"
    logs = [logged / name for name in ("loads.csv", "strains.csv")]
    reduce(logs, logged / "rig.toml", MODELS / "as19-100-t3.toml", home / "test")
    return made
