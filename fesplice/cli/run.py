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
) -> None:
    """Compute a specimen to failure, seen from the side or in plan; a run that was stopped goes on."""
    from fesplice.pipeline import analyse as run_analysis
    from fesplice.report.text import summary_text
    from fesplice.specimen import read
    from fesplice.store import Run

    given = read(specimen)
    name = given.name.lower() + ("" if view == "elevation" else f"-{view}")
    target = folder if folder != Path() else Path("runs") / name
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
    step: Annotated[int | None, typer.Option(help="step to show; negative counts from the end")] = None,
) -> None:
    """Make the pictures of a run or a prediction again, or those of one step; without a step also the page."""
    from fesplice.report import draw
    from fesplice.report.prediction_page import is_prediction, prediction_page
    from fesplice.store import Run

    if is_prediction(folder):
        if step is not None:
            raise InputFault("step", f"{folder} is a prediction; its runs lie in the folders inside")
        out.print(f"page: {prediction_page(folder, progress=drawn_now)}")
        return
    run = Run(folder)
    if step is None:
        out.print(f"page: {_draw(run)}")
        return
    drawn = draw(run, step=step)
    for files in drawn.files.values():
        out.print(str(files[0]))
    for name, reason in drawn.left_out.items():
        out.print(f"left out: {name} ({reason})")


def summary(folder: RunFolder, json_file: JsonFile = None) -> None:
    """Print the findings of a run or a prediction, also of a run that is still running or was stopped."""
    from fesplice.post.prediction import Prediction
    from fesplice.report.prediction_page import is_prediction
    from fesplice.report.text import summary_text
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
