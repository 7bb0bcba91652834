"""Verbs before a test: check a specimen, schedule its bars, print the sheet of the test day."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import JsonFile, SpecimenFile, Units, out, write_json
from fesplice.contracts import InputFault


def check(
    specimen: SpecimenFile,
    json_file: JsonFile = None,
    page: Annotated[
        Path | None, typer.Option("--page", help="also write the check as an HTML page", show_default=False)
    ] = None,
    stress: Annotated[str, typer.Option(help="design bar stress of the code lengths, with its unit")] = "420 MPa",
    units: Units = "",
) -> None:
    """Hand checks before casting: margins, band of prediction, code lengths. Exit 1 if a margin is missed."""
    from fesplice.report.check import check_page, check_text
    from fesplice.sizing import check as check_specimen
    from fesplice.specimen import read

    given = read(specimen)
    found = check_specimen(given, _stress(stress))
    first, rest = check_text(given, found).split("\n", 1)
    out.print(first, style=None if found.ok else "bold red")
    out.print(rest)
    if json_file is not None:
        out.print("")
        write_json(json_file, found.as_dict())
    if page is not None:
        out.print(f"\npage: {check_page(given, found, page)}")
    if not found.ok:
        raise typer.Exit(1)


def schedule(
    specimen: SpecimenFile,
    folder: Annotated[Path, typer.Option("--out", help="folder of the files")] = Path("schedules"),
    units: Units = "",
) -> None:
    """Bar schedule (CSV), clash list (CSV) and drawing for CAD (DXF). Exit 1 if bars clash."""
    from fesplice.geometry import clashes
    from fesplice.pipeline.before import schedule as write
    from fesplice.report.barlist import barlist_text
    from fesplice.sizing.cage import cage
    from fesplice.specimen import read

    given = read(specimen)
    faults = clashes(given)
    out.print(barlist_text(given, cage(given), faults))
    for path in write(given, folder):
        out.print(str(path))
    if faults:
        raise typer.Exit(1)


def sheet(
    specimen: SpecimenFile,
    file: Annotated[
        Path | None,
        typer.Option("--out", help="file of the sheet, .html or .pdf; left out: NAME-sheet.html", show_default=False),
    ] = None,
    run: Annotated[
        Path | None, typer.Option("--run", help="run or prediction of it for the readings", show_default=False)
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="A4 or letter")] = "A4",
    suggest: Annotated[
        bool, typer.Option("--suggest", help="only print recommended [[gauges]], to paste into the specimen file")
    ] = False,
    units: Units = "",
) -> None:
    """One page for the test day: loads, steps, stop rules, rig, gauges and sensors with expected readings."""
    if suggest:
        from fesplice.sizing.instruments import gauges_toml, suggested
        from fesplice.specimen import read as read_file

        out.print(gauges_toml(suggested(read_file(specimen))))
        return
    from fesplice.pipeline.before import sheet as write
    from fesplice.specimen import read

    given = read(specimen)
    target = file if file is not None else Path(f"{given.name.lower()}-sheet.html")
    for path in write(given, target, run, paper):
        out.print(str(path))


def _stress(text: str) -> float:
    from fesplice.contracts import Fault
    from fesplice.units import UnitFault, parse

    try:
        return parse(text, "stress")
    except UnitFault as fault:
        raise InputFault("check", [Fault("--stress", text, str(fault))]) from None
