"""fesplice: anchorage failure of hooked-bar splices in cast closures, computed in plane stress.

The public names are loaded when first asked for, so that ``import fesplice`` is quick
and loads no mesher, no plotting library and no file format. Each verb of the command line has one:

``read(path)``            specimen file -> Specimen, or one report of all its faults; ``vary`` changes it
``check(specimen)``       hand checks, before any mesh; ``schedule``, ``drawing``, ``sheet`` for the laboratory
``analyse(...)``          Specimen -> computed run of one view on disk
``predict(...)``          Specimen -> both views, coupled and read together; ``Prediction.read(folder)`` later
``Run(folder)``           a run on disk, finished or not, for reading; ``findings(run)`` what it found
``report(run)``           figures and page of a run, ``draw`` the figures alone, ``prediction_page(folder)`` all pages
``viewer(folder)``        the page one can play, of a run or of both views of a prediction
``export(run)``           files for general viewers; ``grid(run)`` a step in pyvista; ``profile`` along a bar
``plot(answer, ax=None)`` any answer on matplotlib axes, also as its method; ``answer.to_frame()`` as a table
``freeze``, ``verify``, ``pack``   fix a prediction, hold a folder against its digests, one archive for a letter
``run_study(...)``        study file -> many runs, one ``StudyTable``; ``read_study``, ``cases``, ``study_page``
``convergence``, ``fit``  whether an answer hangs on mesh and step; a power law of results
``reduce(...)``           logs of a test -> a ``Test``; ``replay``, ``materials``; ``follow`` a growing log
``compare(...)``          reduced tests laid over the prediction of their specimen; ``learn`` from them
``Watcher()``             progress that is seen, for every ``progress=``; ``shown_in("us")`` units of what is drawn
``InputFault``, ``FolderFault``, ``NotConverged``   what may be raised
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from fesplice.answers import Chart as Chart
    from fesplice.contracts import FolderFault as FolderFault
    from fesplice.contracts import InputFault as InputFault
    from fesplice.contracts import NotConverged as NotConverged
    from fesplice.measured import Test as Test
    from fesplice.measured import reduce as reduce
    from fesplice.measured.comparison import Comparison as Comparison
    from fesplice.measured.materials import built_toml as materials
    from fesplice.measured.reduce import replay as replay
    from fesplice.pipeline import analyse as analyse
    from fesplice.pipeline import predict as predict
    from fesplice.pipeline.before import schedule as schedule
    from fesplice.pipeline.before import sheet as sheet
    from fesplice.pipeline.compare import compare as compare
    from fesplice.pipeline.freeze import freeze_prediction as freeze
    from fesplice.pipeline.learn import learn as learn
    from fesplice.pipeline.pack import pack as pack
    from fesplice.pipeline.pages import draw_pages as prediction_page
    from fesplice.pipeline.progress import Hears as Hears
    from fesplice.pipeline.progress import Progress as Progress
    from fesplice.pipeline.watch import follow as follow
    from fesplice.pipeline.watcher import Watcher as Watcher
    from fesplice.post.elevation.bars import profile as profile
    from fesplice.post.prediction import Prediction as Prediction
    from fesplice.post.record import findings as findings
    from fesplice.report import report as report
    from fesplice.report.axes import plot as plot
    from fesplice.report.drawing import specimen_drawing as drawing
    from fesplice.report.figures import draw as draw
    from fesplice.report.grid import grid as grid
    from fesplice.report.viewer import viewer as viewer
    from fesplice.sizing import check as check
    from fesplice.specimen.examples import write_examples as examples
    from fesplice.specimen.read import read as read
    from fesplice.specimen.read import vary as vary
    from fesplice.store.export import export as export
    from fesplice.store.run import Run as Run
    from fesplice.study import run_study as run_study
    from fesplice.study.cases import cases as cases
    from fesplice.study.convergence import convergence as convergence
    from fesplice.study.file import read_study as read_study
    from fesplice.study.fit import fit as fit
    from fesplice.study.readings import show as study_page
    from fesplice.study.table import Table as StudyTable
    from fesplice.study.verify import verify as verify
    from fesplice.units import shown_in as shown_in

#: Public names and where they live.
_HOME = {
    "Chart": "fesplice.answers:Chart",
    "Comparison": "fesplice.measured.comparison:Comparison",
    "FolderFault": "fesplice.contracts:FolderFault",
    "Hears": "fesplice.pipeline.progress:Hears",
    "InputFault": "fesplice.contracts:InputFault",
    "NotConverged": "fesplice.contracts:NotConverged",
    "Prediction": "fesplice.post.prediction:Prediction",
    "Progress": "fesplice.pipeline.progress:Progress",
    "Run": "fesplice.store.run:Run",
    "StudyTable": "fesplice.study.table:Table",
    "Test": "fesplice.measured:Test",
    "Watcher": "fesplice.pipeline.watcher:Watcher",
    "analyse": "fesplice.pipeline:analyse",
    "cases": "fesplice.study.cases:cases",
    "check": "fesplice.sizing:check",
    "compare": "fesplice.pipeline.compare:compare",
    "convergence": "fesplice.study.convergence:convergence",
    "draw": "fesplice.report.figures:draw",
    "drawing": "fesplice.report.drawing:specimen_drawing",
    "examples": "fesplice.specimen.examples:write_examples",
    "export": "fesplice.store.export:export",
    "findings": "fesplice.post.record:findings",
    "fit": "fesplice.study.fit:fit",
    "follow": "fesplice.pipeline.watch:follow",
    "freeze": "fesplice.pipeline.freeze:freeze_prediction",
    "grid": "fesplice.report.grid:grid",
    "learn": "fesplice.pipeline.learn:learn",
    "materials": "fesplice.measured.materials:built_toml",
    "pack": "fesplice.pipeline.pack:pack",
    "plot": "fesplice.report.axes:plot",
    "predict": "fesplice.pipeline:predict",
    "prediction_page": "fesplice.pipeline.pages:draw_pages",
    "profile": "fesplice.post.elevation.bars:profile",
    "read": "fesplice.specimen.read:read",
    "read_study": "fesplice.study.file:read_study",
    "reduce": "fesplice.measured:reduce",
    "replay": "fesplice.measured.reduce:replay",
    "report": "fesplice.report:report",
    "run_study": "fesplice.study:run_study",
    "schedule": "fesplice.pipeline.before:schedule",
    "sheet": "fesplice.pipeline.before:sheet",
    "shown_in": "fesplice.units:shown_in",
    "study_page": "fesplice.study.readings:show",
    "vary": "fesplice.specimen.read:vary",
    "verify": "fesplice.study.verify:verify",
    "viewer": "fesplice.report.viewer:viewer",
}

__all__ = [
    "Chart",
    "Comparison",
    "FolderFault",
    "Hears",
    "InputFault",
    "NotConverged",
    "Prediction",
    "Progress",
    "Run",
    "StudyTable",
    "Test",
    "Watcher",
    "__version__",
    "analyse",
    "cases",
    "check",
    "compare",
    "convergence",
    "draw",
    "drawing",
    "examples",
    "export",
    "findings",
    "fit",
    "follow",
    "freeze",
    "grid",
    "learn",
    "materials",
    "pack",
    "plot",
    "predict",
    "prediction_page",
    "profile",
    "read",
    "read_study",
    "reduce",
    "replay",
    "report",
    "run_study",
    "schedule",
    "sheet",
    "shown_in",
    "study_page",
    "vary",
    "verify",
    "viewer",
]


class _Front(ModuleType):
    """This module, in which a room never takes the place of the public name that it shares (``report``)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Front


def __getattr__(name: str) -> Any:
    """Load a public name from its home and keep it."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, own = _HOME[name].partition(":")
    value = getattr(import_module(module), own)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
