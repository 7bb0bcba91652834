"""The verb that reads both views of a specimen together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import (
    CAUTION,
    JsonFile,
    LogFile,
    Quiet,
    SpecimenFile,
    Units,
    Watch,
    drawing,
    err,
    out,
    silent,
    write_json,
)
from fesplice.contracts import NotConverged


def predict(
    specimen: SpecimenFile,
    folder: Annotated[
        Path, typer.Option("--out", help="folder of the prediction; left out: runs/NAME-prediction", show_default=False)
    ] = Path(),
    learned: Annotated[
        Path | None, typer.Option("--learned", help="model that tests taught (verb learn)", show_default=False)
    ] = None,
    pictures: Annotated[bool, typer.Option(help="draw the figures and write the pages at the end")] = True,
    json_file: JsonFile = None,
    quiet: Quiet = False,
    log: LogFile = None,
    units: Units = "",
) -> None:
    """Compute elevation and plan, couple them, and say what governs, with evidence; one that was stopped goes on."""
    from fesplice.pipeline import predict as compute
    from fesplice.specimen import read
    from fesplice.store.folder import is_frozen

    given = read(specimen)
    target = folder if folder != Path() else Path("runs") / f"{given.name.lower()}-prediction"
    with Watch(quiet, log) as watch:
        try:
            found = compute(given, target, progress=watch, learned=learned)
        except KeyboardInterrupt:
            err.print("fesplice: stopped; the same command goes on from the last accepted steps")
            raise typer.Exit(130) from None
    page = _page(target, quiet) if pictures and not is_frozen(target) else None
    out.print(f"specimen      {given.name}")
    for sentence in found.sentences:
        out.print(sentence)
    out.print(f"folder        {target}")
    if page is not None:
        out.print(f"page          {page}")
    out.print(CAUTION)
    write_json(json_file, found.tree())
    if found.notes:
        raise NotConverged("; ".join(found.notes))


def _page(folder: Path, quiet: bool) -> Path:
    from fesplice.pipeline.pages import draw_pages

    return draw_pages(folder, progress=silent if quiet else drawing)
