"""Verbs about one run: compute it, show it, export it; and the drawing of a specimen."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import (
    CAUTION,
    JsonFile,
    LogFile,
    Quiet,
    RunFolder,
    SpecimenFile,
    Units,
    Watch,
    err,
    out,
    silent,
    write_json,
)
from fesplice.cli.console import drawing as drawn_now
from fesplice.contracts import InputFault, NotConverged


def analyse(
    specimen: SpecimenFile,
    folder: Annotated[
        Path, typer.Option("--out", help="run folder; left out: runs/NAME, or runs/NAME-plan", show_default=False)
    ] = Path(),
    view: Annotated[str, typer.Option(help="elevation, or plan: the slab at bar level")] = "elevation",
    pictures: Annotated[bool, typer.Option(help="draw the figures and the page at the end")] = True,
    json_file: JsonFile = None,
    quiet: Quiet = False,
    log: LogFile = None,
    units: Units = "",
) -> None:
    """Compute a specimen to failure, seen from the side or in plan; a run that was stopped goes on."""
    from fesplice.pipeline import analyse as run_analysis
    from fesplice.pipeline.views import folder_name
    from fesplice.report.text import summary_text
    from fesplice.specimen import read
    from fesplice.store import Run

    given = read(specimen)
    target = folder if folder != Path() else Path("runs") / folder_name(given, view)
    stopped: NotConverged | None = None
    with Watch(quiet, log) as watch:
        try:
            run_analysis(given, target, view=view, progress=watch)
        except NotConverged as fault:
            stopped = fault
        except KeyboardInterrupt:
            err.print("fesplice: stopped; the same command goes on from the last accepted step")
            raise typer.Exit(130) from None
    run = Run(target)
    page = _draw(run, quiet) if pictures and run.n_steps else None
    out.print(summary_text(run, page))
    write_json(json_file, _tree(run) if json_file is not None else {})
    if stopped is not None:
        raise stopped


def pictures(
    folder: RunFolder,
    step: Annotated[
        list[int] | None, typer.Option(help="step to show, negative counts from the end; may be repeated")
    ] = None,
    load: Annotated[
        list[str] | None, typer.Option(help='load to show, with its unit, e.g. "134 kN"; may be repeated')
    ] = None,
    stress: Annotated[
        list[str] | None,
        typer.Option(help='bar stress to show, e.g. "400 MPa", one for a whole series; may be repeated'),
    ] = None,
    beside: Annotated[
        list[Path] | None, typer.Option(help="run whose axes hold here too, for a series; may be repeated")
    ] = None,
    units: Units = "",
) -> None:
    """Make the pictures of a run or a prediction again, with the page: service, first loss and strength; or those at
    the steps, loads or bar stresses asked for, which are the nearest steps and lie in a folder of their own.
    """
    from fesplice.report import draw
    from fesplice.report.prediction_page import pictures_at, prediction_page
    from fesplice.report.view import Shown, View
    from fesplice.report.within import is_prediction
    from fesplice.store import Run

    shown = Shown(
        tuple(step or ()), _numbers("load", load, "force"), _numbers("stress", stress, "stress"),
        tuple(run for path in beside or () for run in _runs(path)),
    )  # fmt: skip
    if is_prediction(folder):
        if shown.chosen:
            for path in pictures_at(folder, shown, progress=drawn_now):
                out.print(str(path))
        else:
            out.print(f"page: {prediction_page(folder, progress=drawn_now, shown=shown)}")
        return
    run = Run(folder)
    if not shown.chosen:
        out.print(f"page: {_draw(View(run, shown))}")
        return
    drawn = draw(View(run, shown))
    for files in drawn.files.values():
        out.print(str(files[0]))
    for name, reason in drawn.left_out.items():
        out.print(f"left out: {name} ({reason})")


def _numbers(key: str, texts: list[str] | None, kind: str) -> tuple[float, ...]:
    """Values with units as told on the command line; raises :class:`InputFault` for what is none."""
    from fesplice.units import UnitFault, parse

    try:
        return tuple(parse(text, kind) for text in texts or ())
    except UnitFault as fault:
        raise InputFault(f"--{key}", str(fault)) from None


def _runs(folder: Path) -> tuple:
    """The run of a folder; of a prediction its elevation and its coupled plan."""
    from fesplice.report.prediction_page import runs_of
    from fesplice.report.within import is_prediction
    from fesplice.store import Run

    return tuple(run for run in runs_of(folder) if run is not None) if is_prediction(folder) else (Run(folder),)


def viewer(
    folder: RunFolder,
    target: Annotated[
        Path, typer.Option("--out", help="file to write; left out: viewer.html in the folder", show_default=False)
    ] = Path(),
    units: Units = "",
) -> None:
    """Write the page one can play, of a run or of both views of a prediction: one file, nothing fetched.

    The page holds both systems of units; --units tells which it begins with.
    """
    from fesplice.report.viewer import viewer as write

    begin = "us" if units == "us" else "si"
    out.print(f"viewer: {write(folder, None if target == Path() else target, units=begin)}")


def summary(
    folder: RunFolder,
    json_file: JsonFile = None,
    units: Units = "",
) -> None:
    """Print the findings of a run or a prediction, also of a run that is still running or was stopped."""
    from fesplice.post.prediction import Prediction
    from fesplice.report.text import summary_text
    from fesplice.report.within import is_prediction
    from fesplice.store import Run

    if is_prediction(folder):
        found = Prediction.read(folder)
        for sentence in found.sentences:
            out.print(sentence)
        out.print(CAUTION)
        write_json(json_file, found.tree())
        return
    run = Run(folder)
    out.print(summary_text(run))
    write_json(json_file, _tree(run) if json_file is not None else {})


def export(
    folder: RunFolder,
    step: Annotated[int | None, typer.Option(help="only this step; left out: all")] = None,
) -> None:
    """Write VTU and PVD files that general viewers open."""
    from fesplice.store import Run
    from fesplice.store.export import export as write

    out.print(str(write(Run(folder), "all" if step is None else step)))


def drawing(
    specimen: SpecimenFile,
    folder: Annotated[Path, typer.Option("--out", help="folder of the drawing")] = Path("drawings"),
    units: Units = "",
) -> None:
    """Draw a specimen with its bars and dimensions; nothing is computed."""
    from fesplice.report import specimen_drawing
    from fesplice.specimen import read

    given = read(specimen)
    for path in specimen_drawing(given, folder, given.name.lower()):
        out.print(str(path))


def _draw(run, quiet: bool = False) -> Path:
    """The page with its figures."""
    from fesplice.report import report

    return report(run, progress=silent if quiet else drawn_now)


def _tree(run) -> dict:
    """Findings of a run as its folder keeps them, with whose they are."""
    from fesplice.post.record import as_stored, findings

    return {"specimen": run.specimen_name, "outcome": run.outcome.name, **as_stored(findings(run))}
