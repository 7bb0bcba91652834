"""What is written before a test: the schedule of the bars, the sheet of the test day."""

from __future__ import annotations

from pathlib import Path

from fesplice.contracts import InputFault
from fesplice.geometry import clashes
from fesplice.post.prediction import Prediction
from fesplice.post.readings import gauge_table
from fesplice.sizing import check
from fesplice.sizing.cage import cage
from fesplice.sizing.instruments import gauges_of
from fesplice.sizing.testday import test_day
from fesplice.specimen import Specimen
from fesplice.store import Run


def schedule(specimen: Specimen, folder: str | Path) -> list[Path]:
    """Write bar schedule and clashes (CSV) and the drawing for CAD (DXF); answer their paths.

    Bars that clash are listed and drawn. Raises :class:`FolderFault` when the disk refuses.
    """
    from fesplice.report.barlist import write_barlist
    from fesplice.report.dxf import write_dxf

    place, name, pieces = Path(folder), specimen.name.lower(), cage(specimen)
    tables = write_barlist(specimen, pieces, clashes(specimen), place, name)
    return [*tables, write_dxf(specimen, pieces, place / f"{name}.dxf")]


def sheet(specimen: Specimen, path: str | Path, run: str | Path | None = None, paper: str = "A4") -> list[Path]:
    """Write the sheet of the test day (.html or .pdf) and, with a prediction, its readings as CSV; answer their paths.

    ``run``: folder of a run or a prediction of the specimen, for what gauges should read. Raises :class:`InputFault`
    for a beam that does not stand, another specimen, suffix or paper; :class:`FolderFault` when the disk refuses.
    """
    from fesplice.report.prediction_page import runs_of
    from fesplice.report.sheet import sheet as compose
    from fesplice.report.sheetprint import write_sheet
    from fesplice.report.within import is_prediction

    found = check(specimen)
    if falls := [m for m in found.missed if m.key == "own strength"]:
        raise InputFault(specimen.name, f"no sheet of a beam that does not stand: {falls[0].note}")
    side = plan = predicted = table = None
    if run is not None:
        home = Path(run)
        predicted = Prediction.read(home) if is_prediction(home) else None
        side, plan = (Run(home), None) if predicted is None else runs_of(home, predicted)
        if predicted is not None and side is not None:
            table = gauge_table(specimen, gauges_of(specimen), side, plan)
    page = compose(specimen, found, test_day(specimen, found), side, plan, predicted, table)
    target = Path(path)
    written = write_sheet(page, target, paper)
    return [written, target.with_suffix(".csv")] if page.csv else [written]
