"""Verbs of the trade on the command line; no logic. Exit codes: 0 done, 2 bad input, 3 no convergence, 130 stopped."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from fesplice.contracts import FespliceError, NotConverged

app = typer.Typer(add_completion=False, no_args_is_help=True, pretty_exceptions_enable=False)
out = Console(highlight=False, soft_wrap=True, markup=False)
err = Console(stderr=True, highlight=False, soft_wrap=True, markup=False)

SpecimenFile = Annotated[Path, typer.Argument(help="specimen file (TOML)", show_default=False)]
RunFolder = Annotated[Path, typer.Argument(help="run folder", show_default=False)]


@app.callback(invoke_without_command=True)
def _root(version: Annotated[bool, typer.Option("--version", help="print the version and leave")] = False) -> None:
    """Nonlinear analysis of hooked-bar splice zones in two dimensions. A research aid, not a design check."""
    if version:
        from fesplice import __version__

        out.print(__version__)
        raise typer.Exit


@app.command()
def analyse(
    specimen: SpecimenFile,
    folder: Annotated[
        Path, typer.Option("--out", help="run folder; left out: runs/NAME", show_default=False)
    ] = Path(),
    pictures: Annotated[bool, typer.Option(help="draw the figures and the page at the end")] = True,
) -> None:
    """Compute the elevation of a specimen to failure; a run that was stopped goes on."""
    from fesplice.pipeline import analyse as run_analysis
    from fesplice.report.text import summary_text
    from fesplice.specimen import read
    from fesplice.store import Run

    given = read(specimen)
    target = folder if folder != Path() else Path("runs") / given.name.lower()
    stopped: NotConverged | None = None
    with _watch() as watch:
        try:
            run_analysis(given, target, progress=watch)
        except NotConverged as fault:
            stopped = fault
        except KeyboardInterrupt:
            err.print("fesplice: stopped; the same command goes on from the last accepted step")
            raise typer.Exit(130) from None
    run = Run(target)
    page = _draw(run) if pictures and run.n_steps else None
    out.print(summary_text(run, page))
    if stopped is not None:
        raise stopped


@app.command()
def pictures(
    folder: RunFolder,
    step: Annotated[int | None, typer.Option(help="step to show; negative counts from the end")] = None,
) -> None:
    """Make the pictures of a run again, or those of one step; without a step also the page."""
    from fesplice.report import draw
    from fesplice.store import Run

    run = Run(folder)
    if step is None:
        out.print(f"page: {_draw(run)}")
        return
    drawn = draw(run, step=step)
    for files in drawn.files.values():
        out.print(str(files[0]))
    for name, reason in drawn.left_out.items():
        out.print(f"left out: {name} ({reason})")


@app.command()
def summary(folder: RunFolder) -> None:
    """Print the findings of a run, also of one that is still running or was stopped."""
    from fesplice.report.text import summary_text
    from fesplice.store import Run

    out.print(summary_text(Run(folder)))


@app.command()
def export(
    folder: RunFolder,
    step: Annotated[int | None, typer.Option(help="only this step; left out: all")] = None,
) -> None:
    """Write VTU and PVD files that general viewers open."""
    from fesplice.store import Run
    from fesplice.store.export import export as write

    out.print(str(write(Run(folder), "all" if step is None else step)))


@app.command()
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


def _draw(run) -> Path:
    from fesplice.report import report

    return report(run, told=lambda title: err.print(f"drawing: {title}") if not err.is_terminal else None)


class _watch:
    """Live line on a terminal, plain lines elsewhere."""

    def __init__(self) -> None:
        self.live = err.is_terminal
        self.bar = Progress(
            TextColumn("{task.description}"), BarColumn(bar_width=20), TimeElapsedColumn(), console=err, transient=True
        )

    def __enter__(self) -> _watch:
        if self.live:
            self.bar.start()
            self.task = self.bar.add_task("meshing", total=None)
        return self

    def __exit__(self, *_: object) -> None:
        if self.live:
            self.bar.stop()

    def __call__(self, now) -> None:
        left = "" if now.left is None else f"  about {now.left:.0f} s left"
        text = (
            f"step {now.step.index:3d}  {now.load / 1e3:8.2f} kN per ram  {now.deflection:7.2f} mm  "
            f"bar {now.bar_stress:5.0f} MPa  {now.step.iterations:2d} iterations  "
            f"residual {now.step.residual:.0e}{left}"
        )
        if self.live:
            self.bar.update(self.task, description=text)
        else:
            err.print(text)


def main() -> None:
    """Entry point: every fault is one message on standard error and an exit code."""
    try:
        app()
    except FespliceError as fault:
        err.print(f"fesplice: {fault}")
        sys.exit(fault.exit_code)
    except OSError as fault:
        # standard output that cannot take the text: a full disk, a closed pipe
        err.print(f"fesplice: cannot write: {fault.strerror or fault}")
        # what is left in the buffer would fail once more while the interpreter ends
        sys.stdout = open(os.devnull, "w", encoding="utf-8")
        sys.exit(2)
