"""Verbs about many specimens: what a study would compute, computing it, its readings."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fesplice.cli.console import SpecimenFile, Units, err, out
from fesplice.contracts import InputFault

if TYPE_CHECKING:
    from fesplice.study import Resources, StudyProgress

study = typer.Typer(
    add_completion=False, no_args_is_help=True, help="Many specimens from one file: sweeps, scatter, trends."
)

StudyFile = Annotated[Path, typer.Argument(help="study file (TOML)", show_default=False)]
StudyFolder = Annotated[Path, typer.Argument(help="folder of a study", show_default=False)]


def _folder(file: Path, folder: Path) -> Path:
    return folder if folder != Path() else Path("runs") / file.stem


def _kn(load: float, digits: int = 1) -> str:
    """A load per ram [N]; none where own weight alone goes beyond."""
    return f"{load / 1e3:.{digits}f} kN" if load >= 0.0 else "none"


@study.command()
def plan(
    file: StudyFile,
    units: Units = "",
) -> None:
    """List the cases with their hand values, and those that cannot be built with the reason; nothing is computed."""
    from fesplice.sizing import check
    from fesplice.specimen import read_text
    from fesplice.study import cases, read_study

    given = read_study(file)
    found = cases(given, _planning())
    if all(case.dropped for case in found):
        raise InputFault(str(file), f"nothing to compute: no case can be built; case 1: {found[0].reason}")
    views = [p for p in given.views if p != "prediction"]
    together = ", read together" if "prediction" in given.views else ""
    out.print(f"{given.name}: {len(found)} cases, {' and '.join(views)}{together}")
    out.print("   no  first crack   yield  formulas, least to largest (central)  case")
    for case in found:
        if case.dropped:
            out.print(f"{case.number:5d}  dropped: {case.label}: {case.reason}")
            continue
        hand = check(read_text(case.text))
        first, yields, band = _kn(hand.loads.cracking_load), _kn(hand.loads.yield_load), hand.band
        said = "no lap: the bars yield"
        if not band.yields:
            said = f"{band.low.stress:.0f} to {band.high.stress:.0f} MPa ({band.central.stress:.0f} MPa, "
            said += f"{_kn(band.central.load, 0)})"
        missed = f"; margin missed: {', '.join(m.name for m in hand.missed)}" if hand.missed else ""
        out.print(f"{case.number:5d}  {first:>11s} {yields:>10s}  {said:37s}  {case.label}{missed}")
    kept = sum(not case.dropped for case in found)
    out.print(f"{kept} to compute, {len(found) - kept} dropped")


@study.command()
def run(
    file: StudyFile,
    folder: Annotated[Path, typer.Option("--out", help="folder; left out: runs/NAME", show_default=False)] = Path(),
    workers: Annotated[int | None, typer.Option(help="worker processes here; 0: none", show_default=False)] = None,
    scheduler: Annotated[str, typer.Option(help="address of a running scheduler, or its file")] = "",
    again: Annotated[
        bool, typer.Option(help="compute failed and stopped cases anew; what they left is kept beside, *.earlier-1")
    ] = False,
    units: Units = "",
) -> None:
    """Compute what is open of a study; a stopped one goes on. Exit 3: some did not converge, 4: some are lost."""
    from fesplice.study import Table, read_study, run_study

    given = read_study(file)
    target = _folder(file, folder)
    wanted = _resources(given.resources, workers, scheduler)
    try:
        run_study(given, target, resources=wanted, progress=_tell, again=again, planning=_planning(), notice=_notice)
    except KeyboardInterrupt:
        err.print("fesplice: stopped; the same command goes on where every run stands")
        raise typer.Exit(130) from None
    with Table(target) as table:
        states = [row["state"] for row in table.rows()]
        for path in table.export():
            out.print(str(path))
    counts = ", ".join(f"{states.count(s)} {s}" for s in dict.fromkeys(states))
    out.print(f"{len(states)} cases: {counts}")
    if code := exit_code(states):
        raise typer.Exit(code)


def exit_code(states: list[str]) -> int:
    """0 where every case that can be built is done; 3 where some did not converge, 4 where some have no result."""
    if any(state in ("lost", "failed", "waiting") for state in states):
        return 4
    return 3 if "stopped" in states else 0


def _planning() -> Callable[[int, int], None]:
    """Tells of planning once it takes longer than two seconds, and then every two."""
    last = [time.monotonic()]

    def tell(done: int, total: int) -> None:
        if time.monotonic() - last[0] > 2.0:
            last[0] = time.monotonic()
            err.print(f"planning: {done} of {total}")

    return tell


def _notice(text: str) -> None:
    err.print(f"fesplice: {text}")


def _resources(given: Resources, workers: int | None, scheduler: str) -> Resources | None:
    """What the command line asks for; None where the file decides."""
    from fesplice.contracts import Fault

    if workers is not None and workers < 0:
        raise InputFault("study", [Fault("--workers", workers, "0 or more")])
    if scheduler:
        return replace(given, scheduler=scheduler)
    return None if workers is None else replace(given, workers=workers, adaptive=None, scheduler="")


def _tell(now: StudyProgress, name: str = "") -> None:
    err.print(now.line(name))


@study.command()
def show(
    folder: StudyFolder,
    strength: Annotated[
        str, typer.Option(help="predicted, first (drop), peak or bond_loss; left out: the best there is")
    ] = "",
    units: Units = "",
) -> None:
    """Draw the readings of a study and write its page: strengths, curves, effects, sensitivities, mechanisms."""
    from fesplice.study.readings import show as draw

    page, found = draw(folder, strength)
    for reading in found.found:
        out.print(f"{reading.title}: {reading.files[0]}")
    for title, reason in found.left_out.items():
        out.print(f"left out: {title} ({reason})")
    out.print(f"page: {page}")


@study.command()
def convergence(
    specimen: SpecimenFile,
    folder: Annotated[
        Path, typer.Option("--out", help="folder; left out: runs/NAME-convergence", show_default=False)
    ] = Path(),
    views: Annotated[str, typer.Option(help="elevation, plan or both")] = "both",
    workers: Annotated[int, typer.Option(help="worker processes here; 0: none")] = 2,
    units: Units = "",
) -> None:
    """Three element sizes, two steps, two thicknesses of the plan: does the answer of a specimen hang on them?"""
    from fesplice.contracts import Fault
    from fesplice.specimen import read
    from fesplice.study import Resources
    from fesplice.study.convergence import convergence as compute
    from fesplice.study.description import VIEWS

    if views not in VIEWS or workers < 0:
        allowed = [Fault("--views", views, f"allowed: {', '.join(VIEWS)}"), Fault("--workers", workers, "0 or more")]
        raise InputFault("convergence", [allowed[views in VIEWS]])
    given = read(specimen)
    target = folder if folder != Path() else Path("runs") / f"{given.name.lower()}-convergence"
    page, found = compute(given, target, views=views, resources=Resources(workers), progress=_tell)
    for m in found:
        said = "held" if m.held else f"NOT held{f' ({m.reason})' if m.reason else ''}"
        out.print(
            f"{m.strength}, {m.change}: {m.before:.0f} -> {m.after:.0f} MPa, {m.mode_before} -> {m.mode_after}: {said}"
        )
    out.print(f"page: {page}")


@study.command()
def fit(
    tables: Annotated[list[Path], typer.Argument(help="folders of studies, or CSV tables with a column source")],
    response: Annotated[str, typer.Option(help="column to describe, e.g. prediction_MPa")],
    terms: Annotated[str, typer.Option(help="columns with free exponents, by commas")] = "",
    held: Annotated[str, typer.Option(help="columns with given exponents, e.g. f_cm_MPa=0.25")] = "",
    source: Annotated[str, typer.Option(help="test, analysis, or mixed; needed when the rows have several")] = "",
    at: Annotated[str, typer.Option(help="evaluate there, e.g. f_cm_MPa=35,l_s_over_d_b=16")] = "",
    beta: Annotated[float, typer.Option(help="reliability index of the resistance factors")] = 3.0,
    more_cov: Annotated[
        float, typer.Option(help="scatter of materials and dimensions, added to that of the fit")
    ] = 0.0,
    folder: Annotated[Path, typer.Option("--out", help="folder of figure and table", show_default=False)] = Path(),
    units: Units = "",
) -> None:
    """Fit a power law to results, with its bias, scatter, leave-one-out and resistance factors."""
    from fesplice.study.equation import describe, gather, numbers

    free = [t.strip() for t in terms.split(",") if t.strip()]
    found = describe(
        gather(tables), response, free, numbers("--held", held), source=source, at=numbers("--at", at), beta=beta,
        more_cov=more_cov, folder=None if folder == Path() else folder,
    )  # fmt: skip
    for line in found:
        out.print(line)
